"""Mains hum: which mains, how strong each line, what of it is on the tape.

The mains is never at exactly 50 or 60 Hz. Its frequency is looked for where all of its
multiples together stand highest above the noise around them; each line's level is then read
with a Hann window, its main lobe summed in power, less the noise beside it. Hum that was
recorded on the tape has moved with the tape's speed, so that a second comb tells it from what
is live, where the speed error is large enough for the record to part them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from runstrue.errors import SignalError
from runstrue.measure.noise import FULL_SCALE, Reference
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Table, Trace

Array = NDArray[np.float64]

MAINS_HZ = (50.0, 60.0)
AROUND_HZ = 0.6
"""Public mains stays within about ±0.5 Hz (EN 50160, from memory)."""
HIGHEST_MULTIPLE = 20
SHORTEST_S = 10.0
LOBE_BINS = 2  # the main lobe of the Hann window reaches two bins either way
BESIDE_BINS = (4, 30)  # where the noise beside a line is taken, either side
STANDS_OUT = 7.0
"""A line counts from seven times the noise's mean in its lobe. Five Hann bins of noise are worth
2.9 independent ones (their correlations are 4/9 and 1/36), so that their mean passes five with a
chance of 1 in 18 000 (gamma distribution): a comb looks at some 1200 places and takes the best.
The mean itself is known to a fifth, hence the two more."""
TOLD_APART_BINS = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class HumLines:
    """The lines of one comb in one channel.

    Parameters
    ----------
    mains_hz : float
    multiple : ndarray of int, shape (line,)
        1 to 20, as far as half the sample rate reaches.
    power : ndarray, shape (line,)
        Mean square of each line less the noise beside it, full scale ±1; at least 0.
    u_power : ndarray, shape (line,)
        Standard uncertainty of that.
    sure : ndarray of bool, shape (line,)
        Whether the line stands out of the noise.
    """

    mains_hz: float
    multiple: NDArray[np.int_]
    power: Array
    u_power: Array
    sure: NDArray[np.bool_]

    def total(self, which: str = "all") -> float:
        """Mean square of the lines that stand out: 'all', 'odd' or 'even' multiples."""
        chosen = {"all": self.multiple > 0, "odd": self.multiple % 2 == 1}.get(
            which, self.multiple % 2 == 0
        )
        return float(self.power[chosen & self.sure].sum())


def measure_hum(
    samples: NDArray[np.floating],
    rate_hz: float,
    channels: Sequence[str],
    reference: Reference | None = None,
    speed_ratio: float = 1.0,
) -> tuple[Result, ...]:
    """Hum of a silent stretch.

    Parameters
    ----------
    samples : ndarray of float, shape (channel, frame)
        Full scale is ±1; at least 10 s.
    rate_hz : float
    channels : sequence of str
    reference : Reference, optional
        What levels are told against; else full scale.
    speed_ratio : float
        Played over nominal speed: where hum recorded on a tape of right speed would stand.

    Returns
    -------
    tuple of Result
        For each channel `hum.total`, `hum.odd`, `hum.even` in dB against the reference, the
        first with a table of the lines. Without any line that stands out the quantity is None.

    Raises
    ------
    SignalError
        When the stretch is shorter than 10 s.
    """
    length_s = samples.shape[1] / rate_hz
    if length_s < SHORTEST_S:
        raise SignalError(
            f"Only {length_s:.1f} s of silence were found",
            f"{SHORTEST_S:g} s are needed to tell the lines of the mains apart",
            "record a longer silence",
        )
    power = _power(samples)
    bin_hz = rate_hz / samples.shape[1]
    mains_hz = _mains(power, bin_hz)
    on_tape_hz = mains_hz * speed_ratio
    parted = abs(on_tape_hz - mains_hz) >= TOLD_APART_BINS * bin_hz
    results: list[Result] = []
    for index, name in enumerate(channels):
        live = _lines(power[index], bin_hz, mains_hz)
        tape = _lines(power[index], bin_hz, on_tape_hz) if parted else None
        level_db = reference.level_dbfs[index] if reference else 0.0
        trace = _spectrum(power[index], bin_hz, name, level_db)
        results += _results(live, tape, name, level_db, reference, trace)
    return tuple(results)


def hum_lines_hz(results: Sequence[Result]) -> tuple[float, ...]:
    """Return the lines that were found in any channel, to be left out of noise readings."""
    found = {
        round(float(line_hz), 3)
        for one in results
        if one.id == "hum.total" and one.table is not None
        for line_hz in one.table.x
    }
    return tuple(sorted(found))


PATTERNS = {
    "none": "No line of the mains stands out of the noise.",
    "fundamental": (
        "Nearly all of it is the mains frequency itself: a magnetic field reaches the head, an "
        "input transformer or wiring."
    ),
    "odd": (
        "Odd multiples lead: a field from a saturating mains transformer or motor, or a "
        "half-wave supply."
    ),
    "even": (
        "Even multiples lead: ripple of a full-wave rectifier, from a tired reservoir capacitor, "
        "a poor regulator or a shared ground."
    ),
    "comb": (
        "Many multiples of like strength, a buzz: charging pulses of a rectifier, or a ground loop."
    ),
}
"""What a pattern usually means: mailing-list wisdom of broadcast engineers, second-hand."""


def pattern_of(lines: HumLines) -> str:
    """Return the key of `PATTERNS` that these lines look like."""
    total = lines.total()
    if total == 0:
        return "none"
    if lines.power[0] * lines.sure[0] > 0.9 * total:
        return "fundamental"
    strongest = lines.power[lines.sure].max()
    if np.count_nonzero(lines.sure & (lines.power > 0.1 * strongest)) >= 7:
        return "comb"
    return "even" if lines.total("even") > total / 2 else "odd"


def _power(samples: NDArray[np.floating]) -> Array:
    """Mean square by bin: the sum over a line's lobe is the line's mean square."""
    frames = samples.shape[1]
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(frames) / frames)
    spectrum = rfft((samples - samples.mean(axis=1, keepdims=True)) * window, axis=1)
    return np.asarray(2 * np.abs(spectrum) ** 2 / (frames * np.sum(window**2)))


def _mains(power: Array, bin_hz: float) -> float:
    """Frequency whose multiples together stand highest above what is beside them."""
    both = power.sum(axis=0)
    best_hz, best = MAINS_HZ[0], -math.inf
    for nominal_hz in MAINS_HZ:
        step_hz = bin_hz / HIGHEST_MULTIPLE
        for candidate_hz in np.arange(nominal_hz - AROUND_HZ, nominal_hz + AROUND_HZ, step_hz):
            multiples = _multiples(candidate_hz, both.size * bin_hz)
            places = np.rint(multiples * candidate_hz / bin_hz).astype(int)
            floor = _beside(both, places)
            score = float(np.sum(np.log(np.maximum(both[places] / floor, 1.0))))
            if score > best:
                best_hz, best = float(candidate_hz), score
    return _finer(both, bin_hz, best_hz)


def _finer(power: Array, bin_hz: float, mains_hz: float) -> float:
    """Mean of the lobes' centres, each weighted by how well it is known."""
    multiples = _multiples(mains_hz, power.size * bin_hz)
    places = np.rint(multiples * mains_hz / bin_hz).astype(int)
    floor = _beside(power, places)
    weights, centres_hz = [], []
    for multiple, place, noise in zip(multiples, places, floor, strict=True):
        lobe = np.maximum(power[place - LOBE_BINS : place + LOBE_BINS + 1] - noise, 0)
        if lobe.sum() > STANDS_OUT * 5 * noise:
            bins = np.arange(place - LOBE_BINS, place + LOBE_BINS + 1)
            centres_hz.append(float(np.sum(bins * lobe) / lobe.sum()) * bin_hz / multiple)
            weights.append(multiple**2 * min(float(lobe.sum() / noise), 1e6))
    return float(np.average(centres_hz, weights=weights)) if weights else mains_hz


def _multiples(mains_hz: float, highest_hz: float) -> NDArray[np.int_]:
    count = min(HIGHEST_MULTIPLE, int((highest_hz - 5) / mains_hz))
    return np.arange(1, count + 1)


def _beside(power: Array, places: NDArray[np.int_]) -> Array:
    """Mean noise power of a bin beside each place (median over ln 2)."""
    near, far = BESIDE_BINS
    offsets = np.concatenate((np.arange(-far, -near + 1), np.arange(near, far + 1)))
    around = power[np.clip(places[:, None] + offsets, 1, power.size - 1)]
    return np.asarray(np.maximum(np.median(around, axis=1) / math.log(2), 1e-30))


def _lines(power: Array, bin_hz: float, mains_hz: float) -> HumLines:
    multiples = _multiples(mains_hz, power.size * bin_hz)
    places = np.rint(multiples * mains_hz / bin_hz).astype(int)
    noise = _beside(power, places)
    width = 2 * LOBE_BINS + 1
    lobes = np.array([power[p - LOBE_BINS : p + LOBE_BINS + 1].sum() for p in places])
    level = np.maximum(lobes - width * noise, 0.0)
    # noise in the lobe scatters by its own size over √(independent bins); with the line it beats
    u_noise = width * noise / math.sqrt(width / 2)
    u_beat = np.sqrt(2 * level * noise * 1.5)
    return HumLines(
        mains_hz, multiples, level, np.hypot(u_noise, u_beat), lobes > STANDS_OUT * width * noise
    )


def _results(
    live: HumLines,
    tape: HumLines | None,
    channel: str,
    level_db: float,
    reference: Reference | None,
    trace: Trace,
) -> list[Result]:
    pattern = pattern_of(live)
    conditions: dict[str, Condition] = {
        "pattern": pattern,
        "hint": PATTERNS[pattern],
        "against": reference.words if reference else FULL_SCALE,
    }
    doubts = []
    if pattern != "none":
        conditions["mains"] = f"{live.mains_hz:.2f} Hz"
        if tape is None:
            doubts.append(
                "The tape's speed is too near right to tell live hum from hum that is on the "
                "tape; stop the tape and listen whether it stays."
            )
    if tape is not None and tape.total() > 0:
        conditions["on the tape, dB"] = round(10 * math.log10(2 * tape.total()) - level_db, 1)
        doubts.append(
            f"Lines stand at multiples of {tape.mains_hz:.2f} Hz too, where the tape's speed "
            "moves hum that was recorded on it."
        )
    found = []
    for which in ("even", "odd", "all"):
        chosen = live.sure & (
            (live.multiple > 0) if which == "all" else (live.multiple % 2 == (which == "odd"))
        )
        power = float(live.power[chosen].sum())
        quantity_id = "hum.total" if which == "all" else f"hum.{which}"
        if power <= 0:
            found.append(
                Result(quantity_id, "hum-comb/1", channel, None, conditions=conditions,
                       traces=(trace,) if which == "all" else (), doubts=tuple(doubts))
            )  # fmt: skip
            continue
        u_db = 10 / math.log(10) * float(np.sqrt(np.sum(live.u_power[chosen] ** 2))) / power
        parts = [Contribution("noise beside the lines", u_db, "random")]
        if reference is not None:
            parts.append(reference.contribution)
        budget = Budget(tuple(parts))
        value_db = 10 * math.log10(2 * power) - level_db
        table = None
        if which == "all":
            levels_db = 10 * np.log10(2 * live.power[chosen]) - level_db
            u_levels_db = 10 / math.log(10) * live.u_power[chosen] / live.power[chosen]
            table = Table(
                tuple((live.multiple[chosen] * live.mains_hz).tolist()),
                tuple(levels_db.tolist()), tuple(u_levels_db.tolist()), "Hz", "dB",
            )  # fmt: skip
        found.append(
            Result(
                quantity_id, "hum-comb/1", channel, budget.quantity(value_db, "dB"), budget,
                table=table, conditions=conditions,
                traces=(trace,) if which == "all" else (), doubts=tuple(doubts),
            )
        )  # fmt: skip
    return found


def _spectrum(power: Array, bin_hz: float, channel: str, level_db: float) -> Trace:
    """Return the low end of the spectrum, for drawing."""
    last = int(1200 / bin_hz)
    # a line's power is spread over its lobe: three neighbouring bins hold nearly all of it
    smooth = np.convolve(power[: last + 1], np.ones(3), mode="same")[1:]
    step = max(round(1.0 / bin_hz), 1)  # the highest in each hertz is what can be seen
    whole = smooth.size // step * step
    highest = smooth[:whole].reshape(-1, step).max(axis=1)
    return Trace(
        "hum spectrum",
        (np.arange(highest.size) + 0.5) * step * bin_hz,
        10 * np.log10(2 * np.maximum(highest, 1e-20)) - level_db,
        "frequency", "Hz", "level", "dB", channel,
    )  # fmt: skip
