"""What recording and playing do to the sound, as a description in plain figures.

    Chain
    ├── Record       gain, equalisation, treble by bias, saturation
    ├── Tape         modulation noise, erasure, print-through
    ├── Replay       equalisation, gap, spacing, azimuth, crosstalk, noise, gain of each channel
    └── Compander    companding noise reduction, B-type

Every part is ideal or absent unless it is said. `runstrue.virtualdeck.chain_run` makes sound of it
and `runstrue.virtualdeck.chain_truth` says in closed form what it does.

Two things are simpler than in a deck: filters have no phase (what trails is said by `Skew`
alone), and what happens on the tape is placed by the mean speed, without flutter.
"""

from __future__ import annotations

from dataclasses import dataclass

from runstrue.virtualdeck.described import Described

TimeConstants = tuple[float, float | None]

TYPE_I_US: TimeConstants = (120.0, 3180.0)
TYPE_II_US: TimeConstants = (70.0, 3180.0)


@dataclass(frozen=True, slots=True)
class Shelf(Described):
    """Treble that is lifted or lowered: |H|² = (1 + (f/f₀)² g) / (1 + (f/f₀)²), g a power ratio.

    Parameters
    ----------
    corner_hz : float
        f₀, more than 0.
    gain_db : float
        Far above the corner.
    """

    corner_hz: float = 4000.0
    gain_db: float = 0.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.corner_hz > 0, f"a corner at {self.corner_hz} Hz", "more than 0 is needed")


@dataclass(frozen=True, slots=True)
class Saturation(Described):
    """A tape that can take so much and no more.

    Parameters
    ----------
    third_percent : float
        Third harmonic of a low tone recorded at the reference level, in % of it; 0 to 20.
    treble_hz : float
        From here on treble saturates earlier: by 1 + (f / treble_hz)² in power, as the lift
        of a record amplifier makes it.
    second_percent : float
        Second harmonic likewise, 0 to 20: a magnetised head, a leak of direct current.
    """

    third_percent: float = 1.2
    treble_hz: float = 1300.0
    second_percent: float = 0.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        for share in (self.third_percent, self.second_percent):
            self.need(0 <= share <= 20, f"a harmonic of {share} %", "0 to 20 % is needed")
        self.need(self.treble_hz > 0, f"treble from {self.treble_hz} Hz", "more than 0 is needed")


@dataclass(frozen=True, slots=True)
class Record(Described):
    """The recording half.

    Parameters
    ----------
    equalisation_us : (float, float or None)
        Time constants of the flux that it makes, treble and bass, in µs.
    gain_db : float
        Ahead of the tape: a record level that is set wrong.
    treble : Shelf or None
        What wrong bias does to the treble.
    saturation : Saturation or None
        None: a tape that takes everything.
    """

    equalisation_us: TimeConstants = TYPE_I_US
    gain_db: float = 0.0
    treble: Shelf | None = None
    saturation: Saturation | None = None


@dataclass(frozen=True, slots=True)
class ModulationNoise(Described):
    """Gaussian noise that comes and goes with the sound: sound · (1 + m(t)).

    Parameters
    ----------
    ratio_db : float
        Power of the sound over the power of all noise that it brings.
    corner_hz : float
        The density of m falls as 1 / (1 + (f / corner)²).
    """

    ratio_db: float
    corner_hz: float = 300.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.corner_hz > 0, f"a corner at {self.corner_hz} Hz", "more than 0 is needed")


@dataclass(frozen=True, slots=True)
class Erasure(Described):
    """What the erase head leaves.

    Parameters
    ----------
    depth_db : float
        By how much it lowers what was there.
    old_hz, old_level_db : float
        A tone that was on the tape before, and its level against the reference; 0 Hz: a new tape.
    passes_s : tuple of (float, float)
        Stretches of the tape that were erased after recording, in seconds at nominal speed.
    """

    depth_db: float = 70.0
    old_hz: float = 0.0
    old_level_db: float = 0.0
    passes_s: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.depth_db >= 0, f"a depth of {self.depth_db} dB", "0 or more is needed")
        self.need(self.old_hz >= 0, f"an old tone of {self.old_hz} Hz", "0 or more is needed")


@dataclass(frozen=True, slots=True)
class PrintThrough(Described):
    """Echoes of what lies one turn of the pack ahead and behind.

    Parameters
    ----------
    before_db, after_db : float
        Level of the echo ahead of the sound and behind it, at its strongest wavelength.
    turn_s : float
        Time of one turn, at nominal speed.
    thickness_um : float
        Of the whole tape; echoes are strongest where the wavelength is 2π times as long and
        fall off as k e^(−k) around it (from memory).
    """

    before_db: float = -58.0
    after_db: float = -55.0
    turn_s: float = 1.9
    thickness_um: float = 12.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(
            min(self.turn_s, self.thickness_um) > 0,
            f"a turn of {self.turn_s} s, {self.thickness_um} µm of tape", "more than 0 is needed",
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tape(Described):
    """What the tape itself adds."""

    modulation: ModulationNoise | None = None
    erasure: Erasure | None = None
    print_through: PrintThrough | None = None


@dataclass(frozen=True, slots=True)
class Crosstalk(Described):
    """How much of each channel comes out of the other, a quarter turn ahead of it.

    Parameters
    ----------
    level_db : float
        At 1 kHz, against the sound in its own channel.
    corner_hz : float or None
        It rises by 6 dB an octave from here on; None: alike at all frequencies.
    """

    level_db: float = -45.0
    corner_hz: float | None = None


@dataclass(frozen=True, slots=True)
class BiasNoise(Described):
    """Noise of tape and replay amplifier, independent in each channel.

    Parameters
    ----------
    ratio_db : float
        Reference level over all noise from 20 Hz to 20 kHz.
    pole_hz, zero_hz : float
        It falls by 6 dB an octave between them, as replay equalisation makes it; both may be
        equal.
    fall_hz : float
        And falls by 6 dB an octave from here on, as gap and spacing make it.
    """

    ratio_db: float = 52.0
    pole_hz: float = 50.0
    zero_hz: float = 1326.0
    fall_hz: float = 14_000.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(
            min(self.pole_hz, self.zero_hz, self.fall_hz) > 0,
            f"corners at {self.pole_hz}, {self.zero_hz} and {self.fall_hz} Hz",
            "more than 0 Hz is needed",
        )


@dataclass(frozen=True, slots=True)
class Replay(Described):
    """The replay half.

    Parameters
    ----------
    equalisation_us : (float, float or None)
        What it makes flat: time constants of the flux, treble and bass, in µs.
    gap_um : float
        Optical length of the replay head's gap; it acts 1.11 times as long.
    spacing_um : float
        Between tape and head: dirt, a worn pressure pad.
    azimuth_minutes : float
        Angle of the head against what is on the tape, in minutes of arc.
    track_mm : float
        Width of a track.
    treble : Shelf or None
        Of an amplifier, or a head worn in other ways.
    crosstalk : Crosstalk or None
    noise : BiasNoise or None
    gains_db : tuple of float
        Of left, right: of everything that comes from the tape.
    """

    equalisation_us: TimeConstants = TYPE_I_US
    gap_um: float = 0.0
    spacing_um: float = 0.0
    azimuth_minutes: float = 0.0
    track_mm: float = 0.6
    treble: Shelf | None = None
    crosstalk: Crosstalk | None = None
    noise: BiasNoise | None = None
    gains_db: tuple[float, ...] = (0.0, 0.0)

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(
            min(self.gap_um, self.spacing_um) >= 0 and self.track_mm > 0,
            f"a gap of {self.gap_um} µm, a spacing of {self.spacing_um} µm",
            "0 or more is needed",
        )


@dataclass(frozen=True, slots=True)
class Compander(Described):
    """Companding noise reduction, B-type: which halves are on, and by how much they disagree.

    Parameters
    ----------
    recording, playing : bool
    level_error_db : float
        What reaches the playing half is so much louder than what left the recording half, as it
        takes it: a level set wrong.
    """

    recording: bool = True
    playing: bool = True
    level_error_db: float = 0.0


@dataclass(frozen=True, slots=True)
class Chain(Described):
    """Recording and playing.

    Parameters
    ----------
    record : Record
        Counts only for tapes recorded on this deck.
    tape : Tape
    replay : Replay
    compander : Compander or None
    reference_dbfs : float or None
        Level of a sine at the reference level; None takes the stimulus's own.
    speed_mm_per_s : float
        Nominal speed, for wavelengths: 47.625 for cassettes.
    """

    record: Record = Record()
    tape: Tape = Tape()
    replay: Replay = Replay()
    compander: Compander | None = None
    reference_dbfs: float | None = None
    speed_mm_per_s: float = 47.625
