"""Harmonics of a tone: third and total, over level from one ramp, and where the tape gives out.

Each harmonic is read by the power in a band around it, since flutter spreads the n-th one n times
as wide as the tone. The noise beside it is taken off.

- Third and total harmonic distortion of steady tones, in % of the fundamental (sheets name
  either; the third prevails on tape, whose curve is odd).
- From a ramp, frame by frame: the level at which the third harmonic reaches 3 % (MOL, 'full
  modulation'; DIN 45 500 at 333 Hz), read between the frames by a line through the logarithm of
  the third harmonic against level, since K3 grows with the square of the level there.
- From a ramp of 10 kHz: the highest level that the tape gives back (SOL).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.band_power import BandPower, Spectrum, half_width_hz, level_db, u_level_db
from runstrue.errors import SignalError
from runstrue.measure.noise import FULL_SCALE, Reference
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Table

Array = NDArray[np.float64]

HIGHEST_HARMONIC = 9
AUDIBLE_HZ = 20_000.0
FRAME_S = 0.25
MOST_FRAMES = 150  # of a ramp: a fifth of a decibel each over 30 dB
MOL_PERCENT = 3.0
FIT_PERCENT = (1.0, 6.0)
"""Third harmonics between which the line for MOL is fitted; the square law holds there."""
TOP_REACH_DB = 3.0  # either side of the highest level, where its curve is fitted
SURE = 2.0  # a harmonic below twice its uncertainty is 'at most'


@dataclass(frozen=True, slots=True)
class Harmonics:
    """Powers of a tone and of its multiples.

    Parameters
    ----------
    fundamental : BandPower
    multiples : tuple of (int, BandPower)
        From 2 up.
    """

    fundamental: BandPower
    multiples: tuple[tuple[int, BandPower], ...]

    def percent(self, *which: int) -> tuple[float, float]:
        """Harmonics, all or some, in % of the fundamental, with the standard uncertainty."""
        chosen = [power for multiple, power in self.multiples if not which or multiple in which]
        total = sum(power.power for power in chosen)
        u_total = math.sqrt(sum(power.u_power**2 for power in chosen))
        base = self.fundamental.power
        share = math.sqrt(max(total, 0.0) / base)
        # near zero the root has no slope: the size that the noise alone could have
        u_share = u_total / base / (2 * share) if total > u_total else math.sqrt(u_total / base)
        return 100 * share, 100 * u_share


def harmonics_of(
    samples: NDArray[np.floating], rate_hz: float, tone_hz: float, highest: int = HIGHEST_HARMONIC
) -> Harmonics:
    """Read a tone and its multiples.

    Parameters
    ----------
    samples : ndarray of float, shape (frame,)
    rate_hz : float
    tone_hz : float
        As played.
    highest : int
        Highest multiple; none above 20 kHz or half the rate is read.
    """
    spectrum = Spectrum(samples, rate_hz)
    room_hz = tone_hz / 4  # half to the next multiple, of which the noise takes half again

    def read(multiple: int) -> BandPower:
        half = min(half_width_hz(multiple * tone_hz), room_hz)
        return spectrum.around(multiple * tone_hz, half)

    top = min(AUDIBLE_HZ, rate_hz / 2 - room_hz)
    count = min(highest, int(top / tone_hz))
    return Harmonics(read(1), tuple((multiple, read(multiple)) for multiple in range(2, count + 1)))


def measure_distortion(stretches: Sequence[Stretch], channels: Sequence[str]) -> tuple[Result, ...]:
    """Third and total harmonic distortion of steady tones.

    Parameters
    ----------
    stretches : sequence of Stretch
        Sections of one tone each.
    channels : sequence of str

    Returns
    -------
    tuple of Result
        `distortion.third` and `distortion.total` in %, by tone, level and channel; conditions
        hold the second harmonic and whether odd or even ones prevail.
    """
    results: list[Result] = []
    for stretch in stretches:
        tone_hz = stretch.section.frequencies_hz[0]
        for index, name in enumerate(channels):
            found = harmonics_of(
                stretch.samples[index], stretch.rate_hz, tone_hz * stretch.found.speed_ratio
            )
            if found.fundamental.power <= 0 or not found.multiples:
                continue
            even = sum(max(power.power, 0) for n, power in found.multiples if n % 2 == 0)
            odd = sum(max(power.power, 0) for n, power in found.multiples if n % 2)
            second, u_second = found.percent(2)
            conditions: dict[str, Condition] = {
                "tone": f"{tone_hz:g} Hz",
                "level": f"{stretch.section.level_db:g} dB",
                "pattern": "even" if even > odd and second > SURE * u_second else "odd",
                "second, %": round(second, 3),
            }
            for quantity_id, which in (("distortion.third", (3,)), ("distortion.total", ())):
                value, u = found.percent(*which)
                budget = Budget((Contribution("noise", u, "random"),))
                told = conditions
                doubts: tuple[str, ...] = ()
                if value <= SURE * u:
                    told = {**conditions, "at most": round(value + 2 * u, 5)}
                    doubts = (f"No more than the noise hides: at most {value + 2 * u:.2g} %.",)
                results.append(
                    Result(quantity_id, "harmonics-band/1", name, budget.quantity(value, "%"),
                           budget, conditions=told, doubts=doubts)
                )  # fmt: skip
    if not results:
        raise SignalError("No tone stands above the noise", "one is needed for its harmonics")
    return tuple(results)


@dataclass(frozen=True, slots=True, eq=False)
class Ramp:
    """A ramp frame by frame.

    Parameters
    ----------
    declared_db : ndarray, shape (frame,)
        Recorded level in the middle of each frame, against the programme's reference.
    level_dbfs : ndarray, shape (frame,)
        Level of the fundamental as played.
    third_percent, u_third_percent : ndarray, shape (frame,)
    """

    declared_db: Array
    level_dbfs: Array
    third_percent: Array
    u_third_percent: Array


def read_ramp(stretch: Stretch, index: int) -> Ramp:
    """Read the fundamental and its third harmonic along a ramp."""
    section, rate_hz = stretch.section, stretch.rate_hz
    tone_hz = section.frequencies_hz[0] * stretch.found.speed_ratio
    frame = round(FRAME_S * rate_hz)
    hop = max(frame // 2, (stretch.samples.shape[1] - frame) // MOST_FRAMES)
    samples = stretch.samples[index]
    lost_s = section.lasts_s / stretch.found.speed_ratio - stretch.duration_s
    rise_db = (section.level_to_db or 0.0) - section.level_db
    rows = []
    for first in range(0, samples.size - frame + 1, hop):
        found = harmonics_of(samples[first : first + frame], rate_hz, tone_hz, 3)
        if found.fundamental.power <= 0:
            continue
        middle_s = (first + frame / 2) / rate_hz + lost_s / 2
        share = middle_s * stretch.found.speed_ratio / section.lasts_s
        third, u_third = found.percent(3)
        rows.append(
            (section.level_db + share * rise_db, level_db(found.fundamental.power), third, u_third)
        )
    if len(rows) < 8:
        raise SignalError(
            f"Only {stretch.duration_s:.1f} s of the level ramp could be read",
            "its whole length is needed", "play the section in full",
        )  # fmt: skip
    return Ramp(*(np.array(column) for column in zip(*rows, strict=True)))


def measure_mol(
    stretch: Stretch, channels: Sequence[str], reference: Reference | None = None
) -> tuple[Result, ...]:
    """Level with 3 % third harmonic, from a ramp.

    Returns
    -------
    tuple of Result
        `level.mol` in dB against the reference (else full scale), by channel, with the third
        harmonic over level as its table. Where the ramp does not reach 3 %, there is no figure
        and a doubt says how far it went.
    """
    results = []
    for index, name in enumerate(channels):
        ramp = read_ramp(stretch, index)
        zero_db = reference.level_dbfs[index] if reference else 0.0
        table = Table(
            tuple((ramp.level_dbfs - zero_db).tolist()), tuple(ramp.third_percent.tolist()),
            tuple(ramp.u_third_percent.tolist()), "dB", "%",
        )  # fmt: skip
        conditions: dict[str, Condition] = {
            "tone": f"{stretch.section.frequencies_hz[0]:g} Hz",
            "against": reference.words if reference else FULL_SCALE,
        }
        read = _crossing(ramp)
        if read is None:
            doubt = (
                f"The third harmonic reached only {ramp.third_percent.max():.2g} %: record louder "
                "to find where it is 3 %."
            )
            results.append(
                Result("level.mol", "mol-ramp/1", name, None, table=table, conditions=conditions,
                       doubts=(doubt,))
            )  # fmt: skip
            continue
        found_db, u_db = read
        parts = [Contribution("scatter about the fitted curve", u_db, "random")]
        if reference:
            parts.append(reference.contribution)
        budget = Budget(tuple(parts))
        results.append(
            Result("level.mol", "mol-ramp/1", name, budget.quantity(found_db - zero_db, "dB"),
                   budget, table=table, conditions=conditions)
        )  # fmt: skip
    return tuple(results)


def measure_sol(
    stretch: Stretch, channels: Sequence[str], reference: Reference | None = None
) -> tuple[Result, ...]:
    """Highest level that a treble ramp gives back.

    Returns
    -------
    tuple of Result
        `level.sol` in dB against the reference (else full scale), by channel; the table is the
        level given back over the level recorded. Where the level still rises at the ramp's end
        there is no figure.
    """
    results = []
    tone_hz = stretch.section.frequencies_hz[0]
    for index, name in enumerate(channels):
        declared_db, level_dbfs, u_frame_db = _levels_along(stretch, index)
        zero_db = reference.level_dbfs[index] if reference else 0.0
        top, u_db = _top(declared_db, level_dbfs)
        conditions: dict[str, Condition] = {
            "tone": f"{tone_hz:g} Hz",
            "against": reference.words if reference else FULL_SCALE,
        }
        table = Table(
            tuple(declared_db.tolist()), tuple((level_dbfs - zero_db).tolist()),
            tuple(u_frame_db.tolist()), "dB", "dB",
        )  # fmt: skip
        if top is None:
            results.append(
                Result("level.sol", "sol-ramp/1", name, None, table=table, conditions=conditions,
                       doubts=("The level still rises at the end of the ramp: record louder.",))
            )  # fmt: skip
            continue
        parts = [Contribution("scatter about the fitted curve", u_db, "random")]
        if reference:
            parts.append(reference.contribution)
        budget = Budget(tuple(parts))
        value_db = top - zero_db
        results.append(
            Result("level.sol", "sol-ramp/1", name, budget.quantity(value_db, "dB"), budget,
                   table=table, conditions=conditions)
        )  # fmt: skip
    return tuple(results)


def _crossing(ramp: Ramp) -> tuple[float, float] | None:
    """Level in dB FS at which the third harmonic is 3 %, and its uncertainty."""
    low, high = FIT_PERCENT
    third = ramp.third_percent
    beyond = np.flatnonzero(third >= MOL_PERCENT)
    if not beyond.size:
        return None
    near = (third >= low) & (third <= high) & (third > SURE * ramp.u_third_percent)
    if near.sum() < 4:
        return None
    # level as a curve over the logarithm of the harmonic, x = lg K3 − lg 3 %
    x = np.log10(third[near] / MOL_PERCENT)
    y = ramp.level_dbfs[near]
    found_db, u_db = _at_zero(x, y, 2 if near.sum() >= 8 else 1)
    other_db, _ = _at_zero(x, y, 3 if near.sum() >= 8 else 2)
    return found_db, math.hypot(u_db, (found_db - other_db) / math.sqrt(3))


def _top(declared_db: Array, level_dbfs: Array) -> tuple[float | None, float]:
    """Highest level of a curve, by a quartic around it; None where it stands at the end.

    What a cubic says otherwise is taken as the error of the shape, as a rectangle.
    """
    place = int(np.argmax(level_dbfs))
    near = np.abs(declared_db - declared_db[place]) < TOP_REACH_DB
    if declared_db[-1] - declared_db[place] < TOP_REACH_DB / 2 or near.sum() < 6:
        return None, 0.0
    x, y = declared_db[near], level_dbfs[near]
    even = np.linspace(x[0], x[-1], 501)
    cubic, quartic = (np.polynomial.Polynomial.fit(x, y, degree) for degree in (3, 4))
    scatter_db = float(np.std(y - quartic(x), ddof=5)) if x.size > 6 else 0.0
    found_db, other_db = float(quartic(even).max()), float(cubic(even).max())
    noise_db = scatter_db * math.sqrt(5 / x.size)
    return found_db, math.hypot(noise_db, (found_db - other_db) / math.sqrt(3))


def _at_zero(x: Array, y: Array, degree: int) -> tuple[float, float]:
    """Value at 0 of a polynomial through points, and its standard uncertainty."""
    columns = np.vander(x, degree + 1, increasing=True)
    solution, rest, _, _ = np.linalg.lstsq(columns, y, rcond=None)
    freedom = max(x.size - degree - 1, 1)
    variance = float(rest[0]) / freedom if rest.size else 0.0
    covariance = np.linalg.inv(columns.T @ columns) * variance
    # neighbouring frames overlap by half and share noise: as if there were two thirds as many
    return float(solution[0]), math.sqrt(float(covariance[0, 0]) * 1.5)


def _levels_along(stretch: Stretch, index: int) -> tuple[Array, Array, Array]:
    section, rate_hz = stretch.section, stretch.rate_hz
    tone_hz = section.frequencies_hz[0] * stretch.found.speed_ratio
    frame = round(FRAME_S * rate_hz)
    hop = max(frame // 2, (stretch.samples.shape[1] - frame) // MOST_FRAMES)
    samples = stretch.samples[index]
    lost_s = section.lasts_s / stretch.found.speed_ratio - stretch.duration_s
    rise_db = (section.level_to_db or 0.0) - section.level_db
    rows = []
    for first in range(0, samples.size - frame + 1, hop):
        power = Spectrum(samples[first : first + frame], rate_hz).around(
            tone_hz, half_width_hz(tone_hz)
        )
        if power.power > 0:
            middle_s = (first + frame / 2) / rate_hz + lost_s / 2
            share = middle_s * stretch.found.speed_ratio / section.lasts_s
            rows.append(
                (section.level_db + share * rise_db, level_db(power.power), u_level_db(power))
            )
    if len(rows) < 10:
        raise SignalError(
            f"Only {stretch.duration_s:.1f} s of the level ramp could be read",
            "its whole length is needed", "play the section in full",
        )  # fmt: skip
    declared_db, level_dbfs, u_db = (np.array(column) for column in zip(*rows, strict=True))
    return declared_db, level_dbfs, u_db
