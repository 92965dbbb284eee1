"""What the live engine tells, 20 times a second and once in a while.

Plain frozen dataclasses of numbers, texts and tuples: any JSON writer takes them as they are.
What is not known is None, never 'not a number'.

    Update       20 a second: all numbers, the strip chart's newest points, the state
    Spectrum     2 a second: the running spectrum, its lines
    Status       with every update: recording, what is safe on disk, what went wrong
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

State = Literal["idle", "waiting", "no tone", "settling", "reading", "away", "stopped"]
"""idle: nothing was started. waiting: no sound has arrived. no tone: sound, and no single steady
tone in it. settling: a tone, and too little of it for a reading. reading: figures are there. away:
the source was lost and is being waited for. stopped: it ended, or was stopped."""

Turn = Literal["rising", "steady", "falling"]


@dataclass(frozen=True, slots=True)
class Figure:
    """A value with its standard uncertainty.

    Parameters
    ----------
    value, u : float
    unit : str
    text, u_text : str
        Both rounded to the uncertainty; the value as the terminal prints it, without its unit:
        '±0.147', '+0.31', '−2.1'.
    within : float
        Half-width of the interval that holds the value with 95 %.
    within_text : str
        The same as printed: '±0.024'.
    """

    value: float
    u: float
    unit: str
    text: str
    u_text: str
    within: float
    within_text: str


@dataclass(frozen=True, slots=True)
class SpeedNow:
    """Speed over the last seconds.

    Parameters
    ----------
    percent, cents, hz : Figure
        Deviation from nominal speed in % and in cents, and the tone as heard in Hz; mean over
        the last `over_s` seconds under a bell-shaped weight.
    over_s : float
    turn : {'rising', 'steady', 'falling'}
        Which way the speed goes; steady unless the slope is beyond twice its uncertainty.
    percent_per_min : Figure or None
        Slope over the longest stretch that is read.
    """

    percent: Figure
    cents: Figure
    hz: Figure
    over_s: float
    turn: Turn
    percent_per_min: Figure | None


@dataclass(frozen=True, slots=True)
class Window:
    """What the newest stretch of a given length says: to the digit what a file of it would.

    Parameters
    ----------
    name_s : float
        Length asked for: 5, 10 or 30 s of settled tone.
    counted_s : float
        Length that was reached so far.
    first_frame, frames : int
        The stretch of sound that it rests on; it includes the filters' settling.
    flutter : Figure or None
        Two-sigma weighted peak (printed ±); None until there is enough.
    needle : Figure or None
        Middle of the quasi-peak needle.
    needle_low, needle_high : float or None
        Where the needle plays.
    weighted_rms, unweighted_peak, unweighted_rms, wow, flutter_rms : Figure or None
    speed, drift, balance : Figure or None
        Mean deviation (%), its slope (%/min), left over right (dB).
    """

    name_s: float
    counted_s: float
    first_frame: int
    frames: int
    flutter: Figure | None = None
    needle: Figure | None = None
    needle_low: float | None = None
    needle_high: float | None = None
    weighted_rms: Figure | None = None
    unweighted_peak: Figure | None = None
    unweighted_rms: Figure | None = None
    wow: Figure | None = None
    flutter_rms: Figure | None = None
    speed: Figure | None = None
    drift: Figure | None = None
    balance: Figure | None = None


@dataclass(frozen=True, slots=True)
class Level:
    """How loud a channel is.

    Parameters
    ----------
    channel : str
        'left', 'right' or 'mono'.
    rms_db, peak_db : float or None
        Of the last block, dB re a full-scale sine (AES17); None for digital silence.
    held_peak_db : float or None
        Highest peak of the last 3 s.
    tone_db : float or None
        Lowest level of the tone alone in the newest 20 ms; None without a tone.
    clipped : bool
        Whether full scale was met in the last 3 s.
    """

    channel: str
    rms_db: float | None
    peak_db: float | None
    held_peak_db: float | None
    tone_db: float | None
    clipped: bool


@dataclass(frozen=True, slots=True)
class Phase:
    """The right channel against the left one, from the tone, over the last second.

    Parameters
    ----------
    degrees, microseconds : Figure
        Positive: the right channel comes later. A whole turn cannot be seen: at 3150 Hz the
        delay is known up to multiples of 317 µs.
    sway_microseconds : float
        Standard deviation of the delay within the second.
    """

    degrees: Figure
    microseconds: Figure
    sway_microseconds: float


@dataclass(frozen=True, slots=True)
class Lost:
    """A loss of the tone: when it began, in seconds of sound since the start, and how long."""

    channel: str
    at_s: float
    length_s: float


@dataclass(frozen=True, slots=True)
class Dropouts:
    """Losses of 12 dB and more for 20 ms and more.

    Parameters
    ----------
    count : int
        Since the start, counted over all channels.
    per_minute : float or None
        Against the time in which there was a tone; None in the first ten seconds of it.
    latest : tuple of Lost
        The newest few, newest first.
    """

    count: int
    per_minute: float | None
    latest: tuple[Lost, ...] = ()


@dataclass(frozen=True, slots=True)
class Strip:
    """New points of the strip chart.

    Parameters
    ----------
    first : int
        Number of the first point since the start; a jump against the last message means that
        points were missed.
    rate_hz : float
        Points a second.
    percent : tuple of float or None
        Deviation from nominal speed, mean of the channels that carry the tone; None where it
        was lost.
    weighted_percent : tuple of float or None
        The same through the weighting.
    """

    first: int
    rate_hz: float
    percent: tuple[float | None, ...]
    weighted_percent: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that went wrong or was put right: at which second of sound, and in which words."""

    at_s: float
    words: str


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording that runs.

    Parameters
    ----------
    first_frame : int
    length_s : float
        So far.
    asked_s : float or None
        Length after which it ends by itself; None until it is ended.
    """

    first_frame: int
    length_s: float
    asked_s: float | None


@dataclass(frozen=True, slots=True)
class Status:
    """What is safe, and what went wrong.

    Parameters
    ----------
    source, kind : str
        Name of the source and what it is: 'file', 'device', 'virtual'.
    rate_hz : float
    channels : int
    recording : Recording or None
    finished : int
        Recordings that have come to their end and wait to be kept (`LiveEngine.finished`).
    held_s : float
        How far back a stretch can still be kept.
    on_disk : bool
        Whether the sound is being written to disk; if not, the last happening says why.
    overflows : int
        Places at which sound was lost since the start.
    lost_s : float
        How much, as far as anybody knows.
    happenings : tuple of Happening
        The newest few, newest first.
    """

    source: str
    kind: str
    rate_hz: float
    channels: int
    recording: Recording | None
    finished: int
    held_s: float
    on_disk: bool
    overflows: int
    lost_s: float
    happenings: tuple[Happening, ...] = ()


@dataclass(frozen=True, slots=True)
class Update:
    """One message, the same for every page.

    Parameters
    ----------
    session : str
        Changes whenever a source is started.
    number : int
        Counts up within the session.
    time_s : float
        Seconds of sound since the start.
    made_at : float
        When the newest block arrived, by the clock of the machine (s since 1970).
    state : State
    words : str
        The state in one sentence.
    tone_hz : float or None
        The tape's tone at nominal speed.
    speed : SpeedNow or None
    needle_percent : float or None
        What the needle shows now (printed ±).
    windows : tuple of Window
        Over 5, 10 and 30 s.
    levels : tuple of Level
    phase : Phase or None
    dropouts : Dropouts
    strip : Strip
    doubts : tuple of str
        Whole sentences.
    status : Status
    """

    session: str
    number: int
    time_s: float
    made_at: float
    state: State
    words: str
    tone_hz: float | None
    speed: SpeedNow | None
    needle_percent: float | None
    windows: tuple[Window, ...]
    levels: tuple[Level, ...]
    phase: Phase | None
    dropouts: Dropouts
    strip: Strip
    doubts: tuple[str, ...]
    status: Status


@dataclass(frozen=True, slots=True)
class SpectrumLine:
    """A line of the flutter's spectrum (`runstrue.result.Line`)."""

    rate_hz: float
    u_rate_hz: float
    peak_percent: float
    u_peak_percent: float
    weighted_peak_percent: float


@dataclass(frozen=True, slots=True)
class Spectrum:
    """The running spectrum of the deviation.

    Parameters
    ----------
    session : str
    number : int
    time_s : float
        Seconds of sound at its end.
    over_s : float
        Length that it stands on.
    rates_hz, peak_percent : tuple of float
        About 300 points from 0.2 to 200 Hz, evenly spread in the logarithm: the peak of a sine
        that would stand there; the highest of the points that fall together.
    lines : tuple of SpectrumLine
        By falling size.
    """

    session: str
    number: int
    time_s: float
    over_s: float
    rates_hz: tuple[float, ...]
    peak_percent: tuple[float, ...]
    lines: tuple[SpectrumLine, ...]


Message = Update | Spectrum
