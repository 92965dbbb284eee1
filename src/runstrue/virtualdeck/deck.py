"""A tape deck with known faults, as a description in plain figures.

    VirtualDeck            one deck
    ├── Component          something that turns evenly: capstan, roller, belt, motor
    ├── Hub                something that turns with the tape pack, so that its rate slides
    ├── Unrest             speed that wanders at random: slipping belt, scrape, bearings
    ├── WarmUp             speed that settles after a cold start
    ├── Hiss, HumLine      what is heard besides the tape
    ├── Wobble, Dropout, RandomDropouts     what happens to the level
    ├── Skew               how one channel trails the other
    ├── Chain              what recording and playing do to the sound (`chain`)
    └── Meter              the deck's own needles (`meters`)

`runstrue.virtualdeck.motion` makes movement of it, `runstrue.virtualdeck.play` sound.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from runstrue.virtualdeck.chain import Chain
from runstrue.virtualdeck.described import Described
from runstrue.virtualdeck.meters import Meter

# 1 7/8 inch per second, exactly; the rounded 47.6 of papers is not called a speed error.
CASSETTE_SPEED_MM_PER_S = 47.625

Side = Literal["take-up", "supply"]


@dataclass(frozen=True, slots=True)
class Harmonic(Described):
    """One multiple of a part's rate.

    Parameters
    ----------
    multiple : int
        At least 1.
    share : float
        Its peak as a multiple of the component's ``peak_percent``.
    phase_turns : float
        Added to the component's phase times the multiple, in turns (1 is a whole cycle).
    """

    multiple: int
    share: float
    phase_turns: float = 0.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.multiple >= 1, f"the multiple {self.multiple}", "at least 1 is needed")


FUNDAMENTAL = (Harmonic(1, 1.0),)


@dataclass(frozen=True, slots=True)
class Component(Described):
    """A speed variation of an even rate.

    Σ peak · share · sin(2π (multiple · (rate · t + phase) + harmonic's phase))

    Parameters
    ----------
    part : str
        In plain words: 'capstan', 'pinch roller'.
    rate_hz : float
        Turns per second as they happen (not at nominal speed), more than 0.
    peak_percent : float
        Peak deviation of a harmonic whose share is 1.
    phase_turns : float
        Where the part stands when the transport starts.
    harmonics : tuple of Harmonic
    """

    part: str
    rate_hz: float
    peak_percent: float
    phase_turns: float = 0.0
    harmonics: tuple[Harmonic, ...] = FUNDAMENTAL

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.rate_hz > 0, f"a rate of {self.rate_hz} Hz", "a rate above 0 is needed")


@dataclass(frozen=True, slots=True)
class Hub(Described):
    """A speed variation once a turn of a tape pack, whose rate slides as the pack changes.

    Parameters
    ----------
    part : str
    peak_percent : float
    radius_mm : float
        Of the pack when the transport starts (an empty cassette hub: about 11 mm, from memory).
    tape_um : float
        Thickness of the tape: C60 16, C90 11 to 12.
    side : {'take-up', 'supply'}
        A take-up pack grows, a supply pack shrinks.
    speed_mm_per_s : float
        Nominal tape speed.
    phase_turns : float
    harmonics : tuple of Harmonic

    Notes
    -----
    The tape's side area passes from pack to pack: r² = r₀² ± h v t / π.
    """

    part: str
    peak_percent: float
    radius_mm: float = 11.0
    tape_um: float = 16.0
    side: Side = "take-up"
    speed_mm_per_s: float = CASSETTE_SPEED_MM_PER_S
    phase_turns: float = 0.0
    harmonics: tuple[Harmonic, ...] = FUNDAMENTAL

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(
            min(self.radius_mm, self.tape_um, self.speed_mm_per_s) > 0,
            f"radius {self.radius_mm} mm, tape {self.tape_um} µm, {self.speed_mm_per_s} mm/s",
            "figures above 0 are needed",
        )


@dataclass(frozen=True, slots=True)
class Unrest(Described):
    """A speed that wanders at random within a band (Gaussian).

    Parameters
    ----------
    part : str
    rms_percent : float
        Standard deviation in the band, at least 0.
    low_hz, high_hz : float
        Edges of the band, 0.02 ≤ low < high ≤ 200.
    slope_db_per_octave : float
        How the spectral density of the deviation falls (negative) or rises inside the band.
    """

    part: str
    rms_percent: float
    low_hz: float
    high_hz: float
    slope_db_per_octave: float = 0.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.rms_percent >= 0, f"r.m.s. {self.rms_percent} %", "0 or more is needed")
        self.need(
            0.02 <= self.low_hz < self.high_hz <= 200,
            f"the band {self.low_hz} to {self.high_hz} Hz",
            "a band between 0.02 and 200 Hz is needed",
        )


@dataclass(frozen=True, slots=True)
class WarmUp(Described):
    """A speed that begins off and settles: start · exp(−t / time constant)."""

    start_percent: float
    time_constant_s: float

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(
            self.time_constant_s > 0,
            f"a time constant of {self.time_constant_s} s",
            "more than 0 s is needed",
        )


@dataclass(frozen=True, slots=True)
class Hiss(Described):
    """Noise, Gaussian, independent in each channel.

    Parameters
    ----------
    ratio_db : float
        Power of the stimulus over the power of the noise from 20 Hz to 20 kHz. The stimulus is
        taken as it would come from a channel without imbalance, wobble or dropout.
    pole_hz, zero_hz : float or None
        Both or neither: the noise falls by 6 dB an octave from the pole to the zero, as replay
        equalisation makes it of amplifier noise (cassette: 50 Hz, and 1326 Hz for 120 µs or
        2274 Hz for 70 µs, time constants of IEC 60094, from memory). Neither: white.
    reference_dbfs : float or None
        The level of a sine to use in place of that of the stimulus.
    """

    ratio_db: float
    pole_hz: float | None = None
    zero_hz: float | None = None
    reference_dbfs: float | None = None

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        both = self.pole_hz is not None and self.zero_hz is not None
        neither = self.pole_hz is None and self.zero_hz is None
        self.need(both or neither, "only one of pole and zero", "both or neither are needed")
        if self.pole_hz is not None and self.zero_hz is not None:
            self.need(
                min(self.pole_hz, self.zero_hz) > 0,
                f"pole {self.pole_hz} Hz, zero {self.zero_hz} Hz",
                "frequencies above 0 are needed",
            )


@dataclass(frozen=True, slots=True)
class HumLine(Described):
    """One line of mains hum: frequency, level against the stimulus in dB, phase in turns."""

    frequency_hz: float
    level_db: float
    phase_turns: float = 0.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.frequency_hz > 0, f"{self.frequency_hz} Hz", "more than 0 Hz is needed")


@dataclass(frozen=True, slots=True)
class Wobble(Described):
    """A level that swings: 1 + peak/100 · sin(2π (rate · t + phase)).

    ``channel`` is a number from 0, or None for all channels.
    """

    rate_hz: float
    peak_percent: float
    phase_turns: float = 0.0
    channel: int | None = None

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.rate_hz > 0, f"a rate of {self.rate_hz} Hz", "a rate above 0 is needed")


@dataclass(frozen=True, slots=True)
class Dropout(Described):
    """A short loss of level.

    Parameters
    ----------
    at_s : float
        Where it begins, in true seconds from the start of the recording.
    length_s : float
        From full level to full level, more than 0; up to 1 ms of it at either end is the edge.
    depth_db : float
        How far the level falls, at least 0.
    channel : int or None
        None for all channels.
    """

    at_s: float
    length_s: float
    depth_db: float
    channel: int | None = None

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.length_s > 0, f"a length of {self.length_s} s", "more than 0 s is needed")
        self.need(self.depth_db >= 0, f"a depth of {self.depth_db} dB", "0 or more is needed")


@dataclass(frozen=True, slots=True)
class RandomDropouts(Described):
    """Dropouts at random places (Poisson) while the transport runs."""

    per_minute: float
    length_s: float
    depth_db: float
    channel: int | None = None

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.per_minute >= 0, f"{self.per_minute} a minute", "0 or more is needed")


@dataclass(frozen=True, slots=True)
class Skew(Described):
    """How the second and every further channel trails the first (azimuth).

    Parameters
    ----------
    delay_us : float
        Distance along the tape in µs at nominal speed; positive: those channels come later.
    sway_us : float
        Peak by which the delay swings, as a sine that is 0 when the transport starts.
    sway_rate_hz : float
        More than 0.
    """

    delay_us: float = 0.0
    sway_us: float = 0.0
    sway_rate_hz: float = 1.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.sway_rate_hz > 0, f"a sway of {self.sway_rate_hz} Hz", "more is needed")


@dataclass(frozen=True, slots=True)
class VirtualDeck(Described):
    """One deck.

    Parameters
    ----------
    name : str
    speed_error_percent : float
        Constant part of the deviation from nominal speed, between −50 and 100.
    drift_percent_per_min : float
        Linear change of the speed.
    warm_up : WarmUp or None
    components : tuple of Component
    hubs : tuple of Hub
    unrest : tuple of Unrest
    hiss : Hiss or None
    hum : tuple of HumLine
    wobbles : tuple of Wobble
    dropouts : tuple of Dropout or RandomDropouts
    level_db : float
        Gain of everything that comes from the deck, hiss and hum included.
    imbalance_db : float
        Gain of the stimulus in the second and further channels against the first.
    dead_channels : tuple of int
        Channels in which nothing of the stimulus is left; hiss and hum stay.
    skew : Skew
    run_up_s, run_down_s : float
        How long the tape takes from standstill to speed, and back, at least 0. Speed and level
        follow a raised cosine; every turning part follows the tape.
    clock_error_ppm : float
        How much faster than it says the sound card takes its samples.
    preset : str
        Key of the preset it came from, or empty.
    chain : Chain or None
        None: what is on the tape comes out as it is, with nothing but the gains above.
    meters : tuple of Meter
        Left, right.
    """

    name: str
    speed_error_percent: float = 0.0
    drift_percent_per_min: float = 0.0
    warm_up: WarmUp | None = None
    components: tuple[Component, ...] = ()
    hubs: tuple[Hub, ...] = ()
    unrest: tuple[Unrest, ...] = ()
    hiss: Hiss | None = None
    hum: tuple[HumLine, ...] = ()
    wobbles: tuple[Wobble, ...] = ()
    dropouts: tuple[Dropout | RandomDropouts, ...] = ()
    level_db: float = 0.0
    imbalance_db: float = 0.0
    dead_channels: tuple[int, ...] = ()
    skew: Skew = Skew()
    run_up_s: float = 0.0
    run_down_s: float = 0.0
    clock_error_ppm: float = 0.0
    preset: str = ""
    chain: Chain | None = None
    meters: tuple[Meter, ...] = ()

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(
            -50 <= self.speed_error_percent <= 100,
            f"a speed error of {self.speed_error_percent} %",
            "between −50 and 100 % is needed",
        )
        self.need(
            min(self.run_up_s, self.run_down_s) >= 0,
            f"run-up {self.run_up_s} s, run-down {self.run_down_s} s",
            "0 s or more is needed",
        )
        self.need(
            abs(self.clock_error_ppm) <= 10_000,
            f"a clock error of {self.clock_error_ppm} ppm",
            "at most 10 000 ppm either way is needed",
        )
