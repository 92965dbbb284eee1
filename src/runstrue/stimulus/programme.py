"""A test programme: a declared list of sections, to be recorded on a deck or bought on a tape.

    Programme      name, reference level, flux, equalisation, what is known of the tape
    └── Section    one tone, ramp, sweep, noise, silence …: where, how long, which channel, how loud

A programme is a `Stimulus`, so a virtual deck plays it as it is, and `Programme.samples` gives
what goes into a file. Every sound follows from the declaration alone: the same programme is the
same to the last bit wherever it is made.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import DescriptionError, InputError
from runstrue.stimulus.protocol import Positions, Samples
from runstrue.stimulus.section_sound import sound_of

SectionKind = Literal[
    "tone", "ramp", "sweep", "multitone", "noise-pink", "noise-white", "silence", "polarity",
    "pilot", "bursts", "two-tone",
]  # fmt: skip
SectionChannels = Literal["both", "left", "right"]
ProgrammeKind = Literal["made", "tape"]
FluxScale = Literal["", "ANSI/AES", "old DIN"]

TRACKS = ("left", "right")
FRAMES_PER_BLOCK = 65_536


@dataclass(frozen=True, slots=True)
class Section:
    """One part of a programme.

    Parameters
    ----------
    id : str
        Unique in its programme: 'response-20-10000'.
    kind : SectionKind
    starts_s, lasts_s : float
        In seconds at nominal speed from the beginning of the programme; on a bought tape, where
        nobody knows to the second, as its description gives them.
    channels : {'both', 'left', 'right'}
        Where it sounds; the other channel is silent.
    level_db : float
        R.m.s. level against the programme's reference level: what a sine of that level reads.
        Of a ramp: at its beginning. Of pulses and bursts: of a sine with the same peak. −inf for
        silence.
    frequencies_hz : tuple of float
        Tone, ramp, bursts: (tone,). Sweep: (from, to). Multitone, two-tone: all. Noise: (lowest,
        highest). Pilot: one tone after the other. Polarity: (pulses per second,).
    level_to_db : float or None
        Where a ramp ends; straight in dB over the section.
    serves : tuple of str
        Ids of `runstrue.catalogue` that it is for.
    burst_s, every_s : float
        Bursts only: length of each, and from the start of one to the start of the next.
    inverted : bool
        Polarity pulses only: they point down.
    """

    id: str
    kind: SectionKind
    starts_s: float
    lasts_s: float
    channels: SectionChannels = "both"
    level_db: float = 0.0
    frequencies_hz: tuple[float, ...] = ()
    level_to_db: float | None = None
    serves: tuple[str, ...] = ()
    burst_s: float = 0.0
    every_s: float = 0.0
    inverted: bool = False

    def __post_init__(self) -> None:
        for seen, needed in _faults(self):
            raise DescriptionError(f"The section '{self.id}' has {seen}", f"{needed} is needed")

    @property
    def ends_s(self) -> float:
        """Where it ends, in seconds at nominal speed."""
        return self.starts_s + self.lasts_s

    @property
    def highest_db(self) -> float:
        """Level where it is loudest."""
        return max(self.level_db, self.level_db if self.level_to_db is None else self.level_to_db)

    def sounds_on(self, track: int) -> bool:
        """Whether it sounds on track 0 (left) or 1 (right)."""
        return self.kind != "silence" and self.channels in ("both", TRACKS[track])


@dataclass(frozen=True, slots=True)
class Programme:
    """A list of sections with what is known about it.

    Parameters
    ----------
    key : str
        Short name, 'full-sheet'; of a tape, its file's name.
    name : str
        In plain words.
    sections : tuple of Section
        In order, without overlap.
    reference_dbfs : float
        Level of the reference (0 dB of the sections) against a sine that just reaches full scale
        (AES17), in the file that is recorded. Without meaning for a bought tape's content.
    kind : {'made', 'tape'}
        Made here, so that its timing is exact; or a bought tape, whose timing is about right.
    reference_hz : float
        The frequency that responses are referred to.
    flux_nwb_per_m : float or None
        Flux of the reference level on a bought tape, in nWb/m.
    flux_scale : {'', 'ANSI/AES', 'old DIN'}
        The scale that figure is on; they differ by 0.75 to 0.92 dB. Empty when nobody says.
    equalisation_us : (float, float or None) or None
        Time constants in µs, treble and bass (None: no bass constant).
    tolerance_db : float
        The tape's levels lie within ± this.
    corrections_db : mapping of str to float
        Per section id: what the tape carries more (+) than its section declares.
    batch, remark : str

    Raises
    ------
    DescriptionError
        When two sections overlap or have one id, or one would pass full scale.
    """

    key: str
    name: str
    sections: tuple[Section, ...]
    reference_dbfs: float = -12.0
    kind: ProgrammeKind = "made"
    reference_hz: float = 315.0
    flux_nwb_per_m: float | None = None
    flux_scale: FluxScale = ""
    equalisation_us: tuple[float, float | None] | None = None
    tolerance_db: float = 0.0
    corrections_db: Mapping[str, float] = field(default_factory=dict)
    batch: str = ""
    remark: str = ""

    def __post_init__(self) -> None:
        _check(self)

    @property
    def lasts_s(self) -> float:
        """Length at nominal speed, in seconds."""
        return self.sections[-1].ends_s

    @property
    def source(self) -> str:
        """What shared uncertainty of its levels belongs to, as `TestTape.source`; else empty."""
        if self.kind == "made":
            return ""
        return f"test tape '{self.name}'" + (f", batch {self.batch}" if self.batch else "")

    @property
    def tracks(self) -> int:
        """Left and right."""
        return len(TRACKS)

    @property
    def rms(self) -> float:
        """Root mean square of a sine at the reference level; full scale is ±1."""
        return float(10 ** (self.reference_dbfs / 20)) / math.sqrt(2)

    @property
    def tone_hz(self) -> float | None:
        """The tone, where there is just one."""
        found = {one.frequencies_hz for one in self.sections if one.kind != "silence"}
        return next(iter(found))[0] if len(found) == 1 and len(next(iter(found))) == 1 else None

    def section(self, section_id: str) -> Section:
        """Return one section.

        Raises
        ------
        InputError
            When there is none of that id.
        """
        for one in self.sections:
            if one.id == section_id:
                return one
        raise InputError(
            f"The programme '{self.key}' has no section '{section_id}'",
            f"it has {', '.join(one.id for one in self.sections)}",
        )

    def serving(self, quantity_id: str) -> tuple[Section, ...]:
        """Return the sections that are for a quantity."""
        return tuple(one for one in self.sections if quantity_id in one.serves)

    def read(self, track: int, base_s: Fraction, offsets_s: Positions) -> Samples:
        """Read one track at any tape positions; see `Stimulus.read`.

        Notes
        -----
        The exact part is taken off against each section's own beginning, so that positions inside
        a section keep 10⁻¹⁴ s however long the programme.
        """
        out = np.zeros(offsets_s.shape)
        if not offsets_s.size:
            return out
        low_s = float(base_s) + float(offsets_s.min())
        high_s = float(base_s) + float(offsets_s.max())
        for one in self.sections:
            if one.ends_s <= low_s or one.starts_s > high_s or not one.sounds_on(track):
                continue
            inside_s = offsets_s + float(base_s - Fraction(one.starts_s))
            within = (inside_s >= 0) & (inside_s < one.lasts_s)
            amplitude = 10 ** (self.reference_dbfs / 20)
            if within.all():
                out += amplitude * sound_of(one).at(inside_s)
            elif within.any():
                out[within] += amplitude * sound_of(one).at(inside_s[within])
        return out

    def samples(self, rate_hz: float = 48_000.0) -> Iterator[NDArray[np.float64]]:
        """Yield the whole programme in blocks of shape (2, frame), full scale ±1.

        Raises
        ------
        InputError
            When the rate is too low for the highest tone.
        """
        highest_hz = max(max(one.frequencies_hz, default=0.0) for one in self.sections)
        if not rate_hz > 2 * highest_hz:
            raise InputError(
                f"A rate of {rate_hz:g} Hz was asked for",
                f"more than {2 * highest_hz:g} Hz is needed for tones up to {highest_hz:g} Hz",
            )
        frames = math.ceil(self.lasts_s * rate_hz)
        for first in range(0, frames, FRAMES_PER_BLOCK):
            base_s = Fraction(first) / Fraction(rate_hz)
            offsets_s = np.arange(min(FRAMES_PER_BLOCK, frames - first)) / rate_hz
            yield np.stack([self.read(track, base_s, offsets_s) for track in range(self.tracks)])


# Kinds, and how many frequencies each needs.
_FREQUENCIES: dict[str, tuple[int, int]] = {
    "tone": (1, 1), "ramp": (1, 1), "sweep": (2, 2), "multitone": (2, 200), "noise-pink": (2, 2),
    "noise-white": (2, 2), "silence": (0, 0), "polarity": (1, 1), "pilot": (2, 64),
    "bursts": (1, 1), "two-tone": (2, 2),
}  # fmt: skip


def _faults(one: Section) -> Iterator[tuple[str, str]]:
    """Yield (what is wrong, what is needed)."""
    if one.kind not in _FREQUENCIES:
        yield f"the kind '{one.kind}'", f"one of {', '.join(_FREQUENCIES)}"
        return
    if one.channels not in get_args(SectionChannels):
        yield f"channels '{one.channels}'", "'both', 'left' or 'right'"
    if not (math.isfinite(one.lasts_s) and one.lasts_s > 0):
        yield f"a length of {one.lasts_s:g} s", "more than 0 s"
    if not (math.isfinite(one.starts_s) and one.starts_s >= 0):
        yield f"a start at {one.starts_s:g} s", "0 s or more"
    least, most = _FREQUENCIES[one.kind]
    if not least <= len(one.frequencies_hz) <= most:
        count = f"{least}" if least == most else f"{least} or more"
        yield f"{len(one.frequencies_hz)} frequencies", f"{count} for '{one.kind}'"
    if not all(math.isfinite(f) and 0 < f <= 100_000 for f in one.frequencies_hz):
        yield f"the frequencies {one.frequencies_hz}", "a frequency above 0 Hz each"
    if one.kind in ("sweep", "noise-pink", "noise-white") and len(one.frequencies_hz) == 2:
        low, high = one.frequencies_hz
        if not low < high:
            yield f"frequencies from {low:g} to {high:g} Hz", "the lower one first"
    if one.kind != "silence" and not math.isfinite(one.level_db):
        yield f"a level of {one.level_db} dB", "a finite level"
    if (one.kind == "ramp") != (one.level_to_db is not None):
        yield "no second level" if one.kind == "ramp" else "a second level", "one for ramps only"
    if one.kind == "bursts" and not 0 < one.burst_s <= one.every_s:
        yield f"bursts of {one.burst_s:g} s every {one.every_s:g} s", "a burst within its period"


def _check(programme: Programme) -> None:
    who = f"The programme '{programme.key}'"
    if not programme.sections:
        raise DescriptionError(f"{who} has no sections", "one at least is needed")
    seen: set[str] = set()
    before_s = 0.0
    for one in programme.sections:
        if one.id in seen:
            raise DescriptionError(f"{who} has two sections '{one.id}'", "one of each is needed")
        seen.add(one.id)
        if one.starts_s < before_s - 1e-9:
            raise DescriptionError(
                f"{who}: the section '{one.id}' begins at {one.starts_s:g} s, before the one "
                f"ahead of it has ended",
                "sections in order and without overlap are needed",
            )
        before_s = one.ends_s
        peak_db = programme.reference_dbfs + one.highest_db
        if programme.kind == "made" and peak_db > 0:
            raise DescriptionError(
                f"{who}: the section '{one.id}' would pass full scale by {peak_db:.1f} dB",
                "a lower reference level is needed",
            )
