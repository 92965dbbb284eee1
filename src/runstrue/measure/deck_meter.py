"""What the deck's own level meter does wrong, from what its needles showed.

The programme 'meters' is fed to the deck, and somebody writes down each needle. In volts rather
than decibels a sound meter is a straight line through zero: shown = gain × fed. So

    shown = offset + gain × fed + bend × fed²      (all against the 0 dB of the programme)

tells an offset (a needle that is moved by something even without a signal: a leaky coupling
capacitor before it) from a gain (a trimmer, a missing diode: −6.0 dB) and from a bend (a leaky
or shorted diode). A constant offset with no signal is not a gain fault.

Bursts tell its ballistics. A VU meter (IEC 60268-17) is a damped pendulum that reaches 99 % in
300 ms with 1 to 1.5 % of overshoot: of a lone burst of 300 ms it shows −0.1 dB, of 100 ms −5.6
dB, of 30 ms −15.4 dB. Pulses of either polarity tell a half-wave rectifier.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Table

Array = NDArray[np.float64]

READ_U_DB = 0.3
"""Standard uncertainty of reading a small needle by eye near 0 dB (own choice)."""
DAMPING, NATURAL_RAD_S = 0.8127, 13.51
"""Overshoot of 1.25 % and 99 % after 300 ms: IEC 60268-17, worked out for a second-order meter."""
SEEN = 3.0  # a fault counts from three standard uncertainties
LEAST_OFFSET = 0.02
"""Of the deflection at 0 dB: about the width of a needle (own choice)."""
LEAST_GAIN_DB = 0.7  # own choice: what makers of small meters allow, and the eye
LEAST_BEND = 0.08
PASSED_OVER = ("lead-in", "pilot", "response", "left", "right", "level")
"""Sections of the programme that say nothing of the needle's line."""


@dataclass(frozen=True, slots=True)
class Needle:
    """What one needle showed, by section: level fed and level shown, in dB."""

    steps: Mapping[float, float]
    rest: float | None = None
    bursts: Mapping[float, float] | None = None  # s: dB
    pulses_up: float | None = None
    pulses_down: float | None = None


@dataclass(frozen=True, slots=True)
class Fit:
    """shown = offset + gain · fed + bend · fed², with standard uncertainties."""

    offset: float
    gain: float
    bend: float
    u: tuple[float, float, float]


def measure_meter(needles: Mapping[str, Needle]) -> tuple[Result, ...]:
    """Fit each needle, and say what its fault looks like.

    Parameters
    ----------
    needles : mapping of str to Needle
        By channel.

    Returns
    -------
    tuple of Result
        By channel `meter.offset` in % of the deflection at 0 dB, `meter.gain` in dB,
        `meter.bend` in %; `meter.tracking` in dB between the channels; `meter.ballistics` in dB
        against a VU meter for the burst of 300 ms. Conditions hold the pattern and a hint.

    Raises
    ------
    InputError
        When fewer than four steps were read on a needle.
    """
    results: list[Result] = []
    for channel, needle in needles.items():
        fit = fit_needle(needle, channel)
        pattern = pattern_of(fit, needle)
        told: dict[str, Condition] = {"pattern": pattern, "hint": HINTS[pattern]}
        fed = tuple(sorted(needle.steps))
        table = Table(
            fed, tuple(needle.steps[one] for one in fed), tuple(READ_U_DB for _ in fed), "dB", "dB"
        )
        for quantity_id, value, u, unit in (
            ("meter.offset", 100 * fit.offset, 100 * fit.u[0], "%"),
            ("meter.gain", 20 * math.log10(max(fit.gain, 1e-3)),
             20 / math.log(10) * fit.u[1] / max(fit.gain, 1e-3), "dB"),
            ("meter.bend", 100 * fit.bend, 100 * fit.u[2], "%"),
        ):  # fmt: skip
            budget = Budget((Contribution("reading of the needle", u, "random"),))
            results.append(
                Result(quantity_id, "meter-fit/1", channel, budget.quantity(value, unit), budget,
                       table=table if quantity_id == "meter.gain" else None, conditions=told)
            )  # fmt: skip
        results += _ballistics(channel, needle)
    if len(needles) == 2:
        results.append(_tracking(*needles.values()))
    return tuple(results)


def fit_needle(needle: Needle, channel: str = "") -> Fit:
    """Fit a needle's steps, all against the deflection of 0 dB.

    Raises
    ------
    InputError
        When fewer than four steps were read.
    """
    steps = dict(needle.steps)
    if len(steps) < 4:
        raise InputError(
            f"Only {len(steps)} steps were read on the {channel} needle".replace("  ", " "),
            "four at least are needed to tell offset, gain and bend apart",
            "write down what it shows at each step of the programme",
        )
    fed = 10 ** (np.array(list(steps)) / 20)
    shown = 10 ** (np.array(list(steps.values())) / 20)
    weight = 1 / np.maximum(shown * READ_U_DB * math.log(10) / 20, 0.01)
    if needle.rest is not None:
        fed, shown = np.append(fed, 0.0), np.append(shown, _deflection(needle.rest))
        weight = np.append(weight, 100.0)
    columns = np.vander(fed, 3, increasing=True) * weight[:, None]
    solution = np.linalg.lstsq(columns, shown * weight, rcond=None)[0]
    covariance = np.linalg.pinv(columns.T @ columns)
    u = np.sqrt(np.diag(covariance))
    offset, gain, bend = (float(one) for one in solution)
    return Fit(offset, gain, bend, (float(u[0]), float(u[1]), float(u[2])))


def pattern_of(fit: Fit, needle: Needle) -> str:
    """Return the key of `HINTS` that a needle's fault looks like."""
    if abs(fit.offset) > max(SEEN * fit.u[0], LEAST_OFFSET):
        return "offset"
    if needle.pulses_up is not None and needle.pulses_down is not None:
        apart_db = abs(needle.pulses_up - needle.pulses_down)
        half = abs(20 * math.log10(max(fit.gain + fit.bend, 1e-3)) + 6.0) < 1.5
        if apart_db > 1.5:
            return "one diode" if half else "half wave"
    if abs(fit.bend) > max(SEEN * fit.u[2], LEAST_BEND):
        return "bent"
    at_zero_db = 20 * math.log10(max(fit.gain + fit.bend + fit.offset, 1e-3))
    if abs(at_zero_db) > max(LEAST_GAIN_DB, SEEN * READ_U_DB):
        return "one diode" if abs(at_zero_db + 6.0) < 0.8 else "gain"
    return "sound"


HINTS = {
    "sound": "The needle follows; nothing in the meter's circuit stands out.",
    "offset": (
        "The needle is moved by the same amount at every level, even with no signal: a leaky "
        "coupling capacitor before the meter, or its mechanical zero. Not a gain fault: turning "
        "the trimmer cannot mend it."
    ),
    "gain": (
        "All levels are off alike: the meter's trimmer or a resistor. If line out is off by as "
        "much, the level itself is wrong, not the meter."
    ),
    "one diode": (
        "It reads 6 dB low: one diode of a full-wave pair is open; turning the polarity of an "
        "uneven signal then changes the reading."
    ),
    "half wave": (
        "Pulses of one polarity move it more than of the other: it rectifies one half only, by "
        "design or with a diode gone."
    ),
    "bent": (
        "Loud and soft do not go together: a leaky or shorted diode, often germanium; warm it "
        "and see whether the reading drifts."
    ),
}
"""How meter circuits fail: bench lore, from memory; −6.0 dB for one open diode follows."""


def vu_burst_db(length_s: float) -> float:
    """What a VU meter shows of a lone burst, in dB against the same tone held.

    Notes
    -----
    Step response of a second-order meter, ended after `length_s`; the highest deflection is
    taken. IEC 60268-17: 99 % after 300 ms, 1 to 1.5 % of overshoot.
    """
    step_s = 1e-4
    angle, speed, highest = 0.0, 0.0, 0.0
    for number in range(round((length_s + 0.6) / step_s)):
        force = 1.0 if number * step_s < length_s else 0.0
        pull = NATURAL_RAD_S**2 * (force - angle) - 2 * DAMPING * NATURAL_RAD_S * speed
        speed += pull * step_s
        angle += speed * step_s
        highest = max(highest, angle)
    return 20 * math.log10(max(highest, 1e-6))


def _ballistics(channel: str, needle: Needle) -> list[Result]:
    if not needle.bursts or 0.0 not in needle.steps:
        return []
    steady_db = needle.steps[0.0]
    length_s = min(needle.bursts, key=lambda one: abs(one - 0.3))
    shown_db = needle.bursts[length_s] - steady_db
    apart_db = shown_db - vu_burst_db(length_s)
    budget = Budget((Contribution("reading of the needle", math.sqrt(2) * READ_U_DB, "random"),))
    kind = "like a VU meter"
    if apart_db > 2:
        kind = "faster than a VU meter: a peak meter, or its smoothing capacitor is gone"
    elif apart_db < -2:
        kind = "slower than a VU meter: a sticking pivot or a leaky smoothing capacitor"
    lengths = tuple(sorted(needle.bursts))
    table = Table(
        tuple(1000 * one for one in lengths),
        tuple(needle.bursts[one] - steady_db for one in lengths),
        tuple(READ_U_DB for _ in lengths), "ms", "dB",
    )  # fmt: skip
    return [
        Result("meter.ballistics", "meter-burst/1", channel, budget.quantity(apart_db, "dB"),
               budget, table=table, conditions={"burst": f"{1000 * length_s:g} ms", "hint": kind})
    ]  # fmt: skip


def _tracking(left: Needle, right: Needle) -> Result:
    shared = sorted(set(left.steps) & set(right.steps))
    apart = [left.steps[one] - right.steps[one] for one in shared]
    worst = max(apart, key=abs, default=0.0)
    budget = Budget((Contribution("reading of the needles", math.sqrt(2) * READ_U_DB, "random"),))
    table = Table(
        tuple(shared), tuple(apart), tuple(math.sqrt(2) * READ_U_DB for _ in shared), "dB", "dB"
    )
    return Result("meter.tracking", "meter-fit/1", "both", budget.quantity(worst, "dB"), budget,
                  table=table)  # fmt: skip


def _deflection(level_db: float) -> float:
    """Of the deflection at 0 dB; a needle at its rest shows −inf."""
    return 10 ** (level_db / 20) if math.isfinite(level_db) else 0.0


def read_needles(lines: Sequence[str]) -> dict[str, Needle]:
    """Read what somebody wrote down: 'step-5 L -5 R -4.5', 'rest L -inf R -17'.

    Parameters
    ----------
    lines : sequence of str
        A section's id, then each needle's letter (L, R) and what it showed in dB; '-inf' or
        'zero' for a needle at rest. Empty lines and lines that begin with # are passed over.

    Raises
    ------
    InputError
        For a line that cannot be read; it is named.
    """
    steps: dict[str, dict[float, float]] = {"left": {}, "right": {}}
    bursts: dict[str, dict[float, float]] = {"left": {}, "right": {}}
    rest: dict[str, float] = {}
    pulses: dict[tuple[str, str], float] = {}
    for number, line in enumerate(lines, 1):
        words = line.split()
        if not words or words[0].startswith("#"):
            continue
        section = words[0].lower()
        for channel, shown_db in _pairs(words[1:], number, line):
            if section.startswith("step"):
                steps[channel][_fed_db(section, number, line)] = shown_db
            elif section.startswith("rest"):
                rest.setdefault(channel, shown_db)
            elif section.startswith("burst-"):
                bursts[channel][_length_s(section, number, line)] = shown_db
            elif section in ("pulses-up", "pulses-down"):
                pulses[channel, section] = shown_db
            elif not section.startswith(PASSED_OVER):
                raise InputError(
                    f"Line {number} names the section '{words[0]}'",
                    "a section of the programme 'meters' is needed: step-20 to step+3, rest, "
                    "burst-300-ms, pulses-up, pulses-down",
                )
    return {
        channel: Needle(
            steps[channel], rest.get(channel), bursts[channel] or None,
            pulses.get((channel, "pulses-up")), pulses.get((channel, "pulses-down")),
        )
        for channel in ("left", "right")
        if steps[channel]
    }  # fmt: skip


def _pairs(words: Sequence[str], number: int, line: str) -> list[tuple[str, float]]:
    letters = {"l": "left", "r": "right", "left": "left", "right": "right"}
    found = []
    try:
        for letter, value in zip(words[::2], words[1::2], strict=True):
            plain = value.lower().replace("−", "-").replace(",", ".")
            shown = -math.inf if plain in ("-inf", "zero", "rest") else float(plain)
            found.append((letters[letter.lower().rstrip(":=")], shown))
    except (ValueError, KeyError):
        found = []
    if not found or any(math.isnan(shown) or shown == math.inf for _, shown in found):
        raise InputError(
            f"Line {number} reads '{line.strip()}'",
            "a section and what each needle showed in dB are needed, such as 'step-5 L -5 R -4.5'",
        )
    return found


def _fed_db(section: str, number: int, line: str) -> float:
    try:
        return float(section.removeprefix("step"))
    except ValueError:
        raise InputError(
            f"Line {number} reads '{line.strip()}'", "a step such as step-20 or step+3 is needed"
        ) from None


def _length_s(section: str, number: int, line: str) -> float:
    try:
        return float(section.removeprefix("burst-").removesuffix("-ms")) / 1000
    except ValueError:
        raise InputError(
            f"Line {number} reads '{line.strip()}'", "a burst such as burst-300-ms is needed"
        ) from None
