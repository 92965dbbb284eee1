"""From what the detectors said to results with uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence

from runstrue.measure.flutter import FlutterReadout
from runstrue.measure.hiss import Hiss
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Line, Result, Trace
from runstrue.stimulus.testtape import TestTape

ALIKE = 1 / 3
"""How far the flutter on the tape may run in step with the deck's: correlation taken as
rectangular within ±1/3. Tape and deck come from different machines, so their lines fall
together only by chance or at the hubs (judgement, no source)."""

TAPE_COLOUR = {
    "weighted_peak": 1.0,
    "weighted_rms": 0.7,
    "unweighted_peak": 2.1,
    "unweighted_average": 1.3,
    "unweighted_rms": 1.4,
    "wow_rms": 1.0,
    "flutter_rms": 1.0,
}
"""A tape's own flutter is stated as weighted peak; by the other methods it is this much larger
or smaller, or as the deck's if that is more. From the pairs of figures in a professional
cassette deck's service manual (±0.085 % weighted beside ±0.18 % unweighted, 0.06 and 0.11 % by
NAB), r.m.s. a tenth above the average; wow and flutter each half of the power of that."""

NEEDLE_LATITUDE = 0.04
"""Two needles that meet the standard may differ: ±4 % of the reading for the 100 ms pulse, the
narrowest of its windows (from memory, fairly sure); taken as rectangular."""

ROWS = (
    ("flutter.weighted_peak", "two-sigma/1", "weighted_peak", "weighted_rms"),
    ("flutter.weighted_rms", "weighted-rms/1", "weighted_rms", "weighted_rms"),
    ("flutter.unweighted_peak", "flat-two-sigma/1", "unweighted_peak", "unweighted_rms"),
    ("flutter.unweighted_rms", "flat-rms/1", "unweighted_rms", "unweighted_rms"),
    ("flutter.unweighted_average", "flat-average/1", "unweighted_average", "unweighted_average"),
    ("flutter.wow_rms", "wow-rms/1", "wow_rms", "wow_rms"),
    ("flutter.flutter_rms", "flutter-rms/1", "flutter_rms", "flutter_rms"),
)
"""Id, method, figure, and the figure of the same band whose scatter is the smoother one."""

SHORT_BRIDGE_S = 0.5
"""Time for which the straight line across a short loss still shows in the weighted deviation:
twice the time constant of the curve's slow end (1/(2π·0.63 Hz) = 0.25 s)."""

FINITE = "finite length of the record"


def flutter_results(
    readout: FlutterReadout,
    hiss: Hiss,
    lines: tuple[Line, ...],
    spectrum: Trace | None,
    channel: str,
    tape: TestTape,
    *,
    self_recorded: bool,
    conditions: dict[str, Condition],
) -> list[Result]:
    """Results of one channel by every method."""
    told: dict[str, Condition] = {**conditions, "used_s": readout.used_s}
    results = []
    for quantity_id, method, name, smoother in ROWS:
        finite = max(_length_u(readout, name), _length_u(readout, smoother, scaled_to=name))
        budget = _budget(readout, hiss, name, finite, tape, self_recorded=self_recorded)
        first = quantity_id == "flutter.weighted_peak"
        results.append(
            Result(
                id=quantity_id,
                method=method,
                channel=channel,
                quantity=budget.quantity(getattr(readout.figures, name), "%"),
                budget=budget,
                lines=lines if first else (),
                conditions=told,
                traces=_traces(readout, spectrum, channel) if first else (),
            )
        )
    results.insert(1, _needle(readout, results[0], channel, told))
    return results


def _needle(
    readout: FlutterReadout, weighted_peak: Result, channel: str, told: dict[str, Condition]
) -> Result:
    """What a needle showed; tape and hiss do to it what they do to the two-sigma figure."""
    if readout.needle is None:
        return Result(
            id="flutter.indicated_peak",
            method="needle/1",
            channel=channel,
            quantity=None,
            conditions=told,
            doubts=("The tone was never unbroken for long enough for a needle to settle.",),
        )
    middle = readout.needle.middle
    alike = [part for part in weighted_peak.budget if part.name != FINITE]
    latitude = NEEDLE_LATITUDE / math.sqrt(3) * middle
    budget = Budget(
        (
            Contribution(FINITE, _standard_error(readout.needle_pieces), "random"),
            Contribution("latitude of the needle's standard", latitude, "shared", "needle"),
            *alike,
        )
    )
    return Result(
        id="flutter.indicated_peak",
        method="needle/1",
        channel=channel,
        quantity=budget.quantity(middle, "%"),
        budget=budget,
        spread=readout.needle,
        conditions=told,
    )


def _budget(
    readout: FlutterReadout,
    hiss: Hiss,
    name: str,
    finite: float,
    tape: TestTape,
    *,
    self_recorded: bool,
) -> Budget:
    value = getattr(readout.figures, name)
    parts = [
        Contribution(FINITE, finite, "random"),
        Contribution("hiss", getattr(hiss.scatter, name), "random"),
        Contribution("lift by hiss", getattr(hiss.lift, name), "shared"),
    ]
    if readout.bridged:
        # each short loss replaces flutter by a straight line: at worst that much of it is missing
        share = readout.bridged * SHORT_BRIDGE_S / readout.used_s
        parts.append(Contribution("short losses of the tone", value * min(share, 1), "random"))
    if not self_recorded:
        peak = readout.figures.weighted_peak
        colour = max(TAPE_COLOUR[name], value / peak if peak > 0 else 0.0)
        own = math.hypot(tape.own_flutter_percent, tape.own_flutter_u_percent or 0.0) * colour
        parts.append(
            Contribution("flutter on the test tape", _own_flutter_u(own, value), "shared",
                         tape.source)
        )  # fmt: skip
    return Budget(tuple(parts))


def _own_flutter_u(own: float, value: float) -> float:
    """Standard uncertainty that the flutter recorded on the tape brings.

    Notes
    -----
    With deck D, tape t and correlation ρ the reading is y² = D² + t² + 2ρDt. Not corrected for:
    the shift t²/2y (at most y), taken as rectangular from zero, and the part ρt.
    """
    shift = min(own**2 / (2 * value), value) if value > 0 else own
    return math.hypot(shift / math.sqrt(3), ALIKE / math.sqrt(3) * own)


def _length_u(readout: FlutterReadout, name: str, scaled_to: str = "") -> float:
    """Standard uncertainty from the finite length, by leaving out one piece at a time.

    Parameters
    ----------
    name : str
        The figure whose scatter is taken.
    scaled_to : str
        The figure that it is scaled to, in proportion: the jackknife of a quantile is rough,
        and is not believed below what the mean or the root mean square of the band shows.

    References
    ----------
    B. Efron, *The Jackknife, the Bootstrap and Other Resampling Plans*, 1982 (from memory,
    sure): u² = (n − 1)/n · Σ(θᵢ − mean)². The factor √((n − 1)/(n − 3)) makes of it the
    standard deviation of the t distribution that belongs to n pieces: JCGM 101:2008 6.4.9.4.
    """
    values = [getattr(figures, name) for figures in readout.without]
    count = len(values)
    if count < 4:
        return float(getattr(readout.figures, scaled_to or name))
    mean = sum(values) / count
    variance = (count - 1) / count * sum((value - mean) ** 2 for value in values)
    u = math.sqrt(variance * (count - 1) / (count - 3))
    own = getattr(readout.figures, name)
    return u * getattr(readout.figures, scaled_to) / own if scaled_to and own > 0 else u


def _standard_error(values: Sequence[float]) -> float:
    """Standard uncertainty of a mean, as that of its t distribution (JCGM 101:2008 6.4.9.4)."""
    count = len(values)
    mean = sum(values) / count
    variance = sum((value - mean) ** 2 for value in values) / (count - 1) / count
    return math.sqrt(variance * (count - 1) / (count - 3))


def _traces(readout: FlutterReadout, spectrum: Trace | None, channel: str) -> tuple[Trace, ...]:
    centres, shares = readout.histogram
    marks = {
        "two-sigma": readout.figures.weighted_peak,
    }
    if readout.needle is not None:
        marks |= {
            "needle low": readout.needle.low,
            "needle middle": readout.needle.middle,
            "needle high": readout.needle.high,
        }
    histogram = Trace(
        "weighted deviation histogram", centres, shares, "weighted deviation", "%",
        "share of the time", "%", channel, marks,
    )  # fmt: skip
    if spectrum is None:
        return (histogram,)
    return (
        histogram,
        Trace(spectrum.name, spectrum.x, spectrum.y, spectrum.x_label, spectrum.x_unit,
              spectrum.y_label, spectrum.y_unit, channel),
    )  # fmt: skip
