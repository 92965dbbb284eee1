"""Test programmes in words: what is in them, when, and what was found of them."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path

from runstrue.capture.writing import Written
from runstrue.cli.layout import bold, table, wrapped
from runstrue.measure.sections import Finding, Found
from runstrue.quantity import number_text
from runstrue.stimulus.programme import Programme, Section

INDENT = " " * 18
KINDS = {
    "tone": "tone", "ramp": "rising tone", "sweep": "sweep", "multitone": "many tones at once",
    "noise-pink": "pink noise", "noise-white": "white noise", "silence": "silence",
    "polarity": "pulses", "pilot": "pilot", "bursts": "bursts", "two-tone": "two tones at once",
}  # fmt: skip


def programme_lines(programme: Programme) -> Iterator[str]:
    """Say what is in a programme."""
    yield bold(programme.name)
    facts = [("for", programme.remark), ("length", clock(programme.lasts_s) + " min")]
    if programme.kind == "made":
        facts += [
            ("reference", f"{programme.reference_hz:g} Hz; 0 dB below lies "
             f"{number_text(-programme.reference_dbfs, 0)} dB under full scale of the file"),
            ("loudest", _loudest(programme)),
        ]  # fmt: skip
    else:
        facts[0] = ("remark", programme.remark)
        facts[1] = ("length", f"about {clock(programme.lasts_s)} min")
        facts += _tape_facts(programme)
    for label, text in facts:
        if text:
            yield from wrapped(text, INDENT, first=f"  {label:<16}")
    yield ""
    rows = [_group_row(list(group)) for _, group in groupby(programme.sections, _group_key)]
    yield from table(rows, "<<<<", ("section", "what", "level, dB", "length"), "  ")


def timing_lines(programme: Programme) -> Iterator[str]:
    """Say when each section begins."""
    yield bold(f"{programme.name}: {clock(programme.lasts_s)} min at true speed")
    if programme.kind == "tape":
        yield "  Times are about right: they follow from the lengths in the description."
    rows = [
        (
            clock(one.starts_s, tenths=True),
            f"{one.lasts_s:.1f} s",
            one.id,
            (_what([one]) if len(one.frequencies_hz) == 1 else KINDS[one.kind]) + _side(one),
            _level_text(one),
        )
        for one in programme.sections
    ]
    yield from table(rows, ">><<<", ("from", "length", "section", "what", "level, dB"), "  ")


def written_lines(programme: Programme, path: Path, written: Written) -> Iterator[str]:
    """Say what was written, how loud it is, and what to do with it."""
    peak, rms = max(written.peak_dbfs), max(written.rms_dbfs)
    yield from wrapped(
        f"Written to '{path}': '{programme.name}', {clock(programme.lasts_s)} min. Its highest "
        f"peak lies {number_text(-peak, 1)} dB under full scale, its r.m.s. over all "
        f"{number_text(-rms, 1)} dB under that of a full sine."
    )
    lead = programme.sections[0]
    yield from wrapped(
        f"The first {lead.lasts_s:.0f} s are a steady tone of {lead.frequencies_hz[0]:g} Hz at "
        "0 dB: set the deck's record level with it to the mark that the sheet names, else to 0 on "
        "its meters, and let nothing change from then on."
    )
    yield "Record it, play the tape, record the playback, and then:"
    yield f"  runstrue programme find playback.flac --programme {programme.key}"


def finding_lines(finding: Finding, doubts: Sequence[str]) -> Iterator[str]:
    """Say what was found where, and what was not."""
    total = len(finding.programme.sections)
    off = 100 * (finding.speed_ratio - 1)
    way = "fast" if off > 0 else "slow"
    speed = f"about {abs(off):.1f} % {way}" if abs(off) >= 0.05 else "within 0.1 % of true speed"
    yield from wrapped(
        f"{finding.programme.name}: {len(finding.found)} of {total} sections found; the tape runs "
        f"{speed}."
    )
    for remark in (*finding.remarks, *doubts):
        yield from wrapped(remark, "  ", first="! ")
    if finding.missing:
        yield ""
        yield bold("Not found, or of no use")
        width = max(len(one.section.id) for one in finding.missing) + 4
        for one in finding.missing:
            yield from wrapped(one.why, " " * width, first=f"  {one.section.id}".ljust(width))
    yield ""
    sides = ("mono",) if len(finding.channels) == 1 else ("left", "right")
    rows = [_found_row(one) for one in finding.found]
    heading = ("from", "length", "section", *(f"{side}, dB" for side in sides), "speed")
    yield from table(rows, ">><" + ">" * len(sides) + ">", heading, "  ")
    yield ""
    yield from wrapped(
        "Levels are of all that is heard there, against a full sine; edges are already cut off."
    )


def finding_json(file: Path, finding: Finding, doubts: Sequence[str]) -> str:
    """Return what was found as one JSON document."""
    return json.dumps(
        {
            "format": "runstrue/1",
            "file": str(file),
            "programme": finding.programme.key,
            "trusted": finding.trusted,
            "speed_ratio": round(finding.speed_ratio, 6),
            "channels": list(finding.channels),
            "remarks": list(finding.remarks),
            "doubts": list(doubts),
            "found": [
                {
                    "section": one.section.id,
                    "starts_s": round(one.starts_s, 4),
                    "lasts_s": round(one.lasts_s, 4),
                    "speed_ratio": round(one.speed_ratio, 6),
                    "level_dbfs": [round(level, 2) for level in one.level_dbfs],
                }
                for one in finding.found
            ],
            "missing": [{"section": one.section.id, "why": one.why} for one in finding.missing],
        },
        ensure_ascii=False,
        indent=2,
        allow_nan=False,
    )


def clock(seconds: float, *, tenths: bool = False) -> str:
    """Minutes and seconds: '3:07', or '3:07.5'."""
    parts = round(seconds * 10) if tenths else round(seconds) * 10
    minutes, rest = divmod(parts, 600)
    return f"{minutes}:{rest / 10:04.1f}" if tenths else f"{minutes}:{rest // 10:02d}"


def _found_row(one: Found) -> tuple[str, ...]:
    levels = (number_text(level, 1) if level > -120 else "–" for level in one.level_dbfs)
    return (
        clock(one.starts_s, tenths=True),
        f"{one.lasts_s:.1f} s",
        one.section.id,
        *levels,
        f"{number_text(100 * (one.speed_ratio - 1), 1, signed=True)} %",
    )


def _group_key(one: Section) -> tuple[object, ...]:
    """Tones of one row of the declaration belong together."""
    if one.kind != "tone":
        return (one.id,)
    return (_base(one), one.level_db, one.lasts_s, one.channels)


def _base(one: Section) -> str:
    """'response-20' of 'response-20-315' and of 'response-20-315-2'."""
    base, mark, _ = one.id.partition(f"-{one.frequencies_hz[0]:g}")
    return base if mark else one.id


def _group_row(group: list[Section]) -> tuple[str, ...]:
    first = group[0]
    name = first.id if len(group) == 1 else _base(first)
    each = f"{first.lasts_s:g} s" + (" each" if len(group) > 1 else "")
    return name, _what(group) + _side(first), _level_text(first), each


def _side(one: Section) -> str:
    return "" if one.channels == "both" else f", {one.channels}"


def _what(group: list[Section]) -> str:
    first = group[0]
    tones = [hz for one in group for hz in one.frequencies_hz]
    if first.kind == "silence":
        return "silence"
    if len(group) > 2:
        return f"{len(group)} tones, {_hz(min(tones))} to {_hz(max(tones))}"
    if len(group) > 1:
        return "tones of " + ", ".join(_hz(hz) for hz in tones)
    if first.kind == "multitone":
        return f"{len(tones)} at once, {_hz(min(tones))} to {_hz(max(tones))}"
    if first.kind == "two-tone":
        return f"{_hz(tones[0])} and {_hz(tones[1])} at once"
    if first.kind == "polarity":
        return f"{tones[0]:g} pulses a second" + (", downward" if first.inverted else "")
    if first.kind == "bursts":
        return f"{_hz(tones[0])}, {1000 * first.burst_s:g} ms every {first.every_s:g} s"
    if first.kind == "pilot":
        return f"pilot of {len(tones)} tones"
    if len(tones) == 2:
        return f"{KINDS[first.kind]}, {_hz(tones[0])} to {_hz(tones[1])}"
    return f"{KINDS[first.kind]}, {_hz(tones[0])}"


def _hz(hz: float) -> str:
    return f"{hz / 1000:.3g} kHz" if hz >= 1000 else f"{hz:.3g} Hz"


def _level_text(one: Section) -> str:
    if one.kind == "silence":
        return ""
    text = number_text(one.level_db, 0, signed=one.level_db != 0)
    if one.level_to_db is None:
        return text
    places = 0 if float(one.level_to_db).is_integer() else 1
    return f"{text} to {number_text(one.level_to_db, places, signed=True)}"


def _loudest(programme: Programme) -> str:
    top = max(programme.sections, key=lambda one: one.highest_db)
    under = -(programme.reference_dbfs + top.highest_db)
    return f"'{top.id}', {number_text(under, 1)} dB under full scale: nothing clips"


def _tape_facts(programme: Programme) -> list[tuple[str, str]]:
    scale = f" on the {programme.flux_scale} scale" if programme.flux_scale else ", scale not known"
    flux = programme.flux_nwb_per_m
    constants = programme.equalisation_us
    corrected = ", ".join(
        f"{name} {number_text(value, 1, signed=True)} dB"
        for name, value in programme.corrections_db.items()
    )
    return [
        ("reference", f"{programme.reference_hz:g} Hz"
         + (f"; 0 dB is {flux:g} nWb/m{scale}" if flux is not None else "; its flux is not known")),
        ("equalisation", "not known" if constants is None else f"{constants[0]:g} µs and "
         + (f"{constants[1]:g} µs" if constants[1] is not None else "no bass constant")),
        ("levels", f"within ±{programme.tolerance_db:g} dB"),
        ("carries more", corrected),
        ("batch", programme.batch),
    ]  # fmt: skip
