"""What seems wrong with a recording as a whole, in words: 'This looks like …'.

Two kinds: what makes that nothing of it may be measured (another programme, backwards, double
speed, automatic level control), and what is only told (half a programme, two in one file, swapped
or dead channels, voice in between).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from runstrue.measure.finding_chain import Chain, best_chain, has_a_tone
from runstrue.measure.finding_evidence import Evidence
from runstrue.measure.finding_features import Features
from runstrue.measure.finding_runs import Run, Tonal
from runstrue.stimulus.programme import Programme, Section
from runstrue.stimulus.programmes import KEYS
from runstrue.stimulus.programmes import programme as own_programme

SPEED_TAKEN = 0.07
"""Off nominal speed: 6 % is what a deck may be, and one more for what sways."""
SAME_SPEED = 0.02
FEWEST, LEAST_SHARE = 2.5, 0.5
FAINT_DBFS = -55.0
ONE_CHANNEL = 1e-4  # of the sound, −80 dB: no two channels of a tape are that alike
DEAD_DB = 40.0
MISSING_SHARE = 0.2
LEVELLED_SLOPE, LEVELLED_SPAN_DB = 0.5, 9.0


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """A recording as it was heard: frames, which of them are tones, and the runs of these."""

    features: Features
    tonal: Tonal
    runs: Sequence[Run]

    def evidence(self, reference_db: float) -> Evidence:
        """Return what to look for sections with."""
        return Evidence(self.features, self.tonal, reference_db)


def fits(programme: Programme, chain: Chain) -> bool:
    """Whether a chain is the programme, and not some tones that happen to lie right."""
    if not chain.pairs:
        return False
    tones = [number for number, one in enumerate(programme.sections) if has_a_tone(one)]
    first, last = chain.pairs[0][0], chain.pairs[-1][0]
    covered = sum(first <= number <= last for number in tones)
    fewest = min(FEWEST, 0.6 * len(tones))
    return chain.score >= max(fewest, LEAST_SHARE * covered)


def why_not_trusted(heard: Heard, chain: Chain, programme: Programme) -> str:
    """Return what is wrong with the recording as a whole, a sentence, or nothing."""
    if heard.features.cell_power.max() <= 0:
        return "The recording is silent: check the plugs and the input of the sound card."
    backwards = best_chain(programme, _mirrored(heard))
    if fits(programme, backwards) and backwards.score > 1.3 * chain.score:
        loudest = max(max(run.level_db) for run in heard.runs)
        if loudest < FAINT_DBFS:
            return (
                "This looks like the wrong side of the tape: the programme is heard backwards and "
                "faintly. Turn the tape over."
            )
        return "This looks like the programme played backwards: was the file or the tape turned?"
    other = _looks_like(heard, chain, programme)
    if other:
        return other
    if not fits(programme, chain):
        return (
            f"Nothing that looks like '{programme.name}' was found: is it another tape, or the "
            "wrong side of it? A few of its tones, one after the other, are needed to know it."
        )
    off = chain.speed_ratio - 1
    if abs(off) > SPEED_TAKEN:
        for ratio, words in ((2.0, "double"), (0.5, "half")):
            if abs(chain.speed_ratio / ratio - 1) < SPEED_TAKEN:
                return f"This looks like '{programme.name}' played at {words} speed."
        way = "fast" if off > 0 else "slow"
        return (
            f"This looks like '{programme.name}' played {abs(100 * off):.0f} % too {way}; up to "
            "6 % can be measured."
        )
    return _levelled(heard, chain, programme)


def remarks_on(heard: Heard, chain: Chain, programme: Programme) -> Iterator[str]:
    """Yield what should be told about a recording that can be used."""
    yield from _part(chain, programme)
    yield from _clipped(heard)
    yield from _breaks(heard, chain, programme)
    yield from _more_than_one(heard, chain, programme)
    if heard.features.channels == 1 or is_mono(heard.features):
        yield (
            "The recording is mono: nothing can be said about left against right."
            if heard.features.channels == 1
            else "Both channels are one and the same: this looks like a mono recording, and "
            "nothing can be said about left against right."
        )
    elif dead_channel(heard, chain) is not None:
        name = ("left", "right")[dead_channel(heard, chain) or 0]
        yield f"The {name} channel holds nothing of the programme: check the plug and the deck."
    elif is_swapped(heard, chain, programme):
        yield (
            "The channels look swapped: what was recorded on the left is heard on the right. Left "
            "and right below are those of the programme."
        )


def is_mono(features: Features) -> bool:
    """Whether both channels hold the same."""
    return features.channels == 2 and features.difference < ONE_CHANNEL


def is_swapped(heard: Heard, chain: Chain, programme: Programme) -> bool:
    """Whether sections of one channel alone are heard on the other."""
    if heard.features.channels != 2 or is_mono(heard.features):
        return False
    apart_db = [
        (run.level_db[0] - run.level_db[1]) * (1 if section.channels == "left" else -1)
        for number, index in chain.pairs
        if (section := programme.sections[number]).channels != "both" and (run := heard.runs[index])
    ]
    return bool(apart_db) and all(one < -6 for one in apart_db)


def dead_channel(heard: Heard, chain: Chain) -> int | None:
    """The channel in which nothing is heard of what the other one holds, or None."""
    if heard.features.channels != 2 or not chain.pairs:
        return None
    levels = np.array([heard.runs[index].level_db for _, index in chain.pairs])
    apart_db = np.maximum(levels[:, 0], -120) - np.maximum(levels[:, 1], -120)
    if (apart_db > DEAD_DB).all():
        return 1
    return 0 if (apart_db < -DEAD_DB).all() else None


def clipped_from_s(features: Features, starts_s: float, ends_s: float) -> float | None:
    """Where a stretch first stands still at full scale, or None."""
    first, last = (round(edge / features.cell_s) for edge in (starts_s, ends_s))
    cells = np.flatnonzero(features.clipped[:, max(first, 0) : max(last, 0)].sum(axis=0) >= 2)
    return None if not cells.size else (first + int(cells[0])) * features.cell_s


def _mirrored(heard: Heard) -> list[Run]:
    """The runs as they would be heard backwards."""
    end_s, last = heard.features.duration_s, heard.features.frames - 1
    return [
        replace(run, first=last - run.last, last=last - run.first, starts_s=end_s - run.ends_s,
                ends_s=end_s - run.starts_s)
        for run in reversed(heard.runs)
    ]  # fmt: skip


def _looks_like(heard: Heard, chain: Chain, programme: Programme) -> str:
    """Say which of our own programmes explains more of the recording, if one does."""
    explained_s = _explained_s(heard.runs, chain, programme)
    for key in KEYS:
        other = own_programme(key)
        if other.key == programme.key:
            continue
        its = best_chain(other, heard.runs, (1 - SPEED_TAKEN, 1 + SPEED_TAKEN))
        more = _explained_s(heard.runs, its, other)
        certain = _pilot_says(heard, its, other) and not _pilot_says(heard, chain, programme)
        if fits(other, its) and its.score > chain.score and (
            more > 1.2 * explained_s or (certain and more > 0.9 * explained_s)
        ):  # fmt: skip
            return (
                f"This looks like the programme '{other.name}' ({other.key}), not "
                f"'{programme.name}'."
            )
    return ""


def _pilot_says(heard: Heard, chain: Chain, programme: Programme) -> bool:
    """Whether the programme's own pilot is heard where the chain puts it."""
    pilot = next((one for one in programme.sections if one.kind == "pilot"), None)
    if pilot is None or not chain.pairs:
        return False
    number, index = min(
        chain.pairs, key=lambda pair: abs(programme.sections[pair[0]].starts_s - pilot.ends_s)
    )
    away_s = (pilot.starts_s - programme.sections[number].starts_s) / chain.speed_ratio
    begin_s = heard.runs[index].starts_s + away_s
    return heard.evidence(0.0).shows(pilot, begin_s, chain.speed_ratio)


def _explained_s(runs: Sequence[Run], chain: Chain, programme: Programme) -> float:
    return sum(
        min(runs[index].lasts_s, programme.sections[number].lasts_s / chain.speed_ratio)
        for number, index in chain.pairs
    )


def _levelled(heard: Heard, chain: Chain, programme: Programme) -> str:
    """Say whether loud and soft tones come out alike: automatic level control."""
    wanted, seen = [], []
    for number, index in chain.pairs:
        section = programme.sections[number]
        tone_hz = section.frequencies_hz[0]
        if section.kind == "tone" and 200 <= tone_hz <= 2000 and section.level_db <= 0:
            wanted.append(section.level_db)
            seen.append(max(heard.runs[index].level_db))
    if len(wanted) < 4 or max(wanted) - min(wanted) < LEVELLED_SPAN_DB:
        return ""
    slope = float(np.polyfit(wanted, seen, 1)[0])
    if slope > LEVELLED_SLOPE:
        return ""
    return (
        f"This looks as if automatic level control is on: tones that lie 10 dB apart come out "
        f"{10 * slope:.0f} dB apart. Switch it off, at the sound card and on the deck."
    )


def _part(chain: Chain, programme: Programme) -> Iterator[str]:
    first_s = programme.sections[chain.pairs[0][0]].starts_s
    behind_s = programme.lasts_s - programme.sections[chain.pairs[-1][0]].ends_s
    most_s = MISSING_SHARE * programme.lasts_s
    places = [("beginning", first_s), ("end", behind_s)]
    lacking = [f"{share_s / 60:.1f} min from its {name}" for name, share_s in places
               if share_s > most_s]  # fmt: skip
    if lacking:
        yield (
            f"This looks like a part of the programme: {' and '.join(lacking)} "
            f"{'is' if len(lacking) == 1 else 'are'} not on the recording."
        )


def _clipped(heard: Heard) -> Iterator[str]:
    cells = np.count_nonzero((heard.features.clipped >= 2).any(axis=0))
    if cells:
        yield (
            f"The recording is clipped at the sound card for {cells * heard.features.cell_s:.1f} s "
            "in all: lower the input and record it again. What is clipped is left out."
        )


def _breaks(heard: Heard, chain: Chain, programme: Programme) -> Iterator[str]:
    """Tell where something was put in or taken out, in a programme whose timing is exact."""
    if programme.kind != "made":
        return
    for (number, index), (later, further) in zip(chain.pairs[:-1], chain.pairs[1:], strict=True):
        one, other = programme.sections[number], programme.sections[later]
        if _is_cut(heard.runs[index], one, chain) or _is_cut(heard.runs[further], other, chain):
            continue
        wanted_s = (other.ends_s - one.ends_s) / chain.speed_ratio
        seen_s = heard.runs[further].ends_s - heard.runs[index].ends_s
        begins_s = heard.runs[further].starts_s - heard.runs[index].starts_s
        off_s = min(
            (seen_s - wanted_s, begins_s - (other.starts_s - one.starts_s) / chain.speed_ratio),
            key=abs,
        )
        if abs(off_s) > 0.5 + 0.01 * wanted_s:
            words = "more" if off_s > 0 else "less"
            yield (
                f"Between '{one.id}' and '{other.id}' there are {abs(off_s):.1f} s {words} than in "
                "the programme: a stop, voice or a cut."
            )


def _is_cut(run: Run, section: Section, chain: Chain) -> bool:
    """Whether only a part of a section was heard as one tone, so that its ends say nothing."""
    return run.lasts_s * chain.speed_ratio < 0.9 * section.lasts_s


def _more_than_one(heard: Heard, chain: Chain, programme: Programme) -> Iterator[str]:
    used = [heard.runs[index] for _, index in chain.pairs]
    begin_s, end_s = used[0].starts_s, used[-1].ends_s
    rest = [run for run in heard.runs if run.ends_s <= begin_s or run.starts_s >= end_s]
    around = (1 - SPEED_TAKEN, 1 + SPEED_TAKEN)
    if sum(run.lasts_s for run in rest) < 5:
        return
    again = best_chain(programme, rest, around)
    if fits(programme, again) and len(again.pairs) >= max(0.3 * len(chain.pairs), 2):
        one_s, other_s = sorted((begin_s, rest[again.pairs[0][1]].starts_s))
        yield (
            f"The programme is on the recording twice, from {_clock(one_s)} and from "
            f"{_clock(other_s)}: the one from {_clock(begin_s)} is taken."
        )
        return
    for key in KEYS:
        other = own_programme(key)
        its = best_chain(other, rest, around)
        if other.key != programme.key and fits(other, its) and len(its.pairs) >= 5:
            yield (
                f"Another programme, '{other.name}', is on the recording too, from "
                f"{_clock(rest[its.pairs[0][1]].starts_s)}: it is passed over."
            )
            return


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
