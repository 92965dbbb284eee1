"""Sections as people write them: one `[[section]]` of a TOML file, laid out one after the other.

    [[section]]
    what = "tones"                 # one after the other, each as long as `lasts_s`
    purpose = "response"
    hz = [315, 63, 1000, 10000]
    level_db = -20
    lasts_s = 8

Our own programmes and the descriptions of bought tapes are written in the same way.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import msgspec

from runstrue.errors import DescriptionError
from runstrue.stimulus.programme import Section, SectionChannels

TONES = "tones"
SILENCE = "silence"
GAP_S = 0.5
"""Silence behind every section where nothing else is said. Own choice."""

# What a section is for, in a word, and the readings that are made from it.
PURPOSES: dict[str, tuple[str, ...]] = {
    "lead-in": (),
    "pilot": (),
    "level": ("level.output", "level.balance", "level.flux"),
    "speed": ("speed.deviation", "speed.drift", "flutter.weighted_peak", "flutter.weighted_rms"),
    "azimuth": ("azimuth.delay", "azimuth.angle", "azimuth.sway"),
    "response": ("response.gain", "response.band", "response.shape"),
    "separation": ("separation.channels",),
    "distortion": ("distortion.third", "distortion.total"),
    "output limit": ("level.mol", "distortion.third"),
    "treble limit": ("level.sol",),
    "noise": (
        "noise.unweighted", "noise.a", "noise.quasi_peak_468", "noise.average_468_2k", "hum.line",
        "hum.total", "hum.odd", "hum.even",
    ),
    "dropouts": ("dropout.count",),
    "erasure": ("erasure.depth",),
    "polarity": ("phase.polarity",),
    "print-through": ("print.through",),
    "modulation noise": ("noise.modulation",),
    "intermodulation": (),
    "noise reduction": ("companding.tracking", "companding.lift", "companding.level"),
    "input": ("input.sensitivity", "input.overload"),
    "meters": (),
}  # fmt: skip


class SectionRow(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One `[[section]]` of a file.

    Parameters
    ----------
    what : str
        A kind of `runstrue.stimulus.programme.Section`, or 'tones': one after the other.
    lasts_s : float
        Length; of 'tones': of each.
    hz : float or list of float
        Its frequency or frequencies.
    level_db, level_to_db : float
        Against the reference level; the second where a ramp ends.
    channels : {'both', 'left', 'right'}
    purpose : str or list of str
        Words of `PURPOSES`.
    id : str
        A name; else made of what it is.
    gap_s : float
        Silence behind it, and between tones.
    corrections_db : mapping of str to float
        By frequency, as in a tape's own table: {"16000" = 0.4} says that the tape carries 0.4 dB
        more there than it should.
    burst_s, every_s, inverted
        As of `Section`.
    """

    what: str
    lasts_s: float
    hz: float | tuple[float, ...] = ()
    level_db: float = 0.0
    level_to_db: float | None = None
    channels: SectionChannels = "both"
    purpose: str | tuple[str, ...] = ()
    id: str = ""
    gap_s: float = GAP_S
    corrections_db: dict[str, float] = {}
    burst_s: float = 0.0
    every_s: float = 0.0
    inverted: bool = False


def laid_out(rows: Sequence[SectionRow]) -> tuple[Section, ...]:
    """Return the sections, each behind the one before and its gap.

    Raises
    ------
    DescriptionError
        When a row cannot be used; the message names its number.
    """
    sections: list[Section] = []
    names: set[str] = set()
    at_s = 0.0
    for number, row in enumerate(rows, 1):
        try:
            _check(row)
            for one in _sections_of(row):
                placed = replace(one, id=_free(one.id, names), starts_s=round(at_s, 6))
                names.add(placed.id)
                sections.append(placed)
                at_s += placed.lasts_s + row.gap_s
        except DescriptionError as error:
            raise DescriptionError(
                f"Section {number}: {error.seen[:1].lower()}{error.seen[1:]}",
                error.needed,
                error.next_step,
            ) from None
    return tuple(sections)


def corrections_of(rows: Sequence[SectionRow]) -> Mapping[str, float]:
    """Return what the tape carries more than declared, by section id.

    Raises
    ------
    DescriptionError
        When a correction is for a frequency that its section has not.
    """
    sections = iter(laid_out(rows))
    found: dict[str, float] = {}
    for number, row in enumerate(rows, 1):
        left = dict(row.corrections_db)
        for _ in _sections_of(row):
            one = next(sections)
            for written, value in row.corrections_db.items():
                if one.frequencies_hz and _number(written) == one.frequencies_hz[0]:
                    found[one.id] = value
                    left.pop(written, None)
        for written in left:
            raise DescriptionError(
                f"Section {number} corrects '{written}', which is no frequency of it",
                'a line such as corrections_db = {"16000" = 0.4} is needed',
            )
    return found


def _sections_of(row: SectionRow) -> Iterator[Section]:
    """Yield the sections of one row, all beginning at 0."""
    tones_hz = row.hz if isinstance(row.hz, tuple) else (row.hz,)
    serves = tuple(dict.fromkeys(one for word in _purposes(row) for one in PURPOSES[word]))
    if row.what == TONES:
        base = row.id or f"{(_purposes(row) or ('tone',))[0]}{row.level_db:+g}".replace("+0", "")
        for tone_hz in tones_hz:
            yield Section(
                f"{base}-{tone_hz:g}", "tone", 0.0, row.lasts_s, row.channels, row.level_db,
                (tone_hz,), serves=serves,
            )  # fmt: skip
        return
    yield Section(
        row.id or _name_of(row, tones_hz),
        row.what,  # type: ignore[arg-type]  # a section refuses what is no kind
        0.0,
        row.lasts_s,
        row.channels,
        -math.inf if row.what == SILENCE else row.level_db,
        tones_hz,
        row.level_to_db,
        serves,
        row.burst_s,
        row.every_s,
        row.inverted,
    )


def _name_of(row: SectionRow, tones_hz: tuple[float, ...]) -> str:
    words = _purposes(row)
    name = words[0].replace(" ", "-") if words else row.what
    if row.what in ("tone", "ramp", "bursts"):
        name += f"-{tones_hz[0]:g}" if tones_hz else ""
    return name if row.channels == "both" else f"{name}-{row.channels}"


def _check(row: SectionRow) -> None:
    for word in _purposes(row):
        if word not in PURPOSES:
            raise DescriptionError(
                f"Its purpose '{word}' is not known", f"one of {', '.join(PURPOSES)} is needed"
            )
    if not (math.isfinite(row.gap_s) and row.gap_s >= 0):
        raise DescriptionError(f"Its gap is {row.gap_s:g} s", "0 s or more is needed")
    if row.what == TONES and not row.hz:
        raise DescriptionError("It has tones without frequencies", "hz = [315, 1000] is needed")


def _purposes(row: SectionRow) -> tuple[str, ...]:
    return (row.purpose,) if isinstance(row.purpose, str) else row.purpose


def _free(name: str, taken: set[str]) -> str:
    """The name, or 'name-2', 'name-3' where it is taken."""
    if name not in taken:
        return name
    return next(f"{name}-{n}" for n in range(2, len(taken) + 3) if f"{name}-{n}" not in taken)


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan
