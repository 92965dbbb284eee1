"""From what the detectors said to results with uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence

from runstrue.measure.flutter import Figures, FlutterReadout
from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Condition, Line, Result, Trace
from runstrue.stimulus.testtape import TestTape

ALIKE = 1 / 3
"""How far the flutter on the tape may run in step with the deck's: correlation taken as
rectangular within ±1/3. Tape and deck come from different machines, so their lines fall
together only by chance or at the hubs (judgement, no source)."""

ROWS = (
    ("flutter.weighted_peak", "two-sigma/1", "weighted_peak"),
    ("flutter.weighted_rms", "weighted-rms/1", "weighted_rms"),
    ("flutter.unweighted_peak", "flat-two-sigma/1", "unweighted_peak"),
    ("flutter.unweighted_rms", "flat-rms/1", "unweighted_rms"),
    ("flutter.unweighted_average", "flat-average/1", "unweighted_average"),
    ("flutter.wow_rms", "wow-rms/1", "wow_rms"),
    ("flutter.flutter_rms", "flutter-rms/1", "flutter_rms"),
)

SHORT_BRIDGE_S = 0.5
"""Time for which the straight line across a short loss still shows in the weighted deviation:
twice the time constant of the curve's slow end (1/(2π·0.63 Hz) = 0.25 s)."""


def flutter_results(
    readout: FlutterReadout,
    hiss: Figures,
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
    for quantity_id, method, name in ROWS:
        budget = _budget(readout, hiss, name, tape, self_recorded=self_recorded)
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
    """What a needle showed; it shares hiss and tape with the two-sigma figure."""
    shared = [part for part in weighted_peak.budget if part.name != FINITE]
    middle = readout.needle_blocks
    scatter = _standard_error(middle)
    budget = Budget(
        (Contribution(FINITE, scatter, "random", degrees_of_freedom=len(middle) - 1), *shared)
    )
    return Result(
        id="flutter.indicated_peak",
        method="needle/1",
        channel=channel,
        quantity=Quantity(readout.needle.middle, "%", budget.u, budget.degrees_of_freedom),
        budget=budget,
        spread=readout.needle,
        conditions=told,
    )


FINITE = "finite length of the record"


def _budget(
    readout: FlutterReadout, hiss: Figures, name: str, tape: TestTape, *, self_recorded: bool
) -> Budget:
    value = getattr(readout.figures, name)
    without = [getattr(figures, name) for figures in readout.without]
    parts = [
        Contribution(FINITE, _jackknife(without), "random", degrees_of_freedom=len(without) - 1),
        Contribution("hiss", getattr(hiss, name), "random"),
    ]
    if readout.bridged:
        # each short loss replaces flutter by a straight line: at worst that much of it is missing
        share = readout.bridged * SHORT_BRIDGE_S / readout.used_s
        parts.append(Contribution("short losses of the tone", value * min(share, 1), "random"))
    if not self_recorded:
        peak = readout.figures.weighted_peak
        own = tape.own_flutter_percent * (value / peak if peak > 0 else 1.0)
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


def _jackknife(without: Sequence[float]) -> float:
    """Standard error from leaving out one block at a time.

    References
    ----------
    B. Efron, *The Jackknife, the Bootstrap and Other Resampling Plans*, 1982 (from memory,
    sure): u² = (n − 1)/n · Σ(θᵢ − mean)².
    """
    count = len(without)
    mean = sum(without) / count
    return math.sqrt((count - 1) / count * sum((value - mean) ** 2 for value in without))


def _standard_error(values: Sequence[float]) -> float:
    count = len(values)
    mean = sum(values) / count
    return math.sqrt(sum((value - mean) ** 2 for value in values) / (count - 1) / count)


def _traces(readout: FlutterReadout, spectrum: Trace | None, channel: str) -> tuple[Trace, ...]:
    centres, shares = readout.histogram
    marks = {
        "two-sigma": readout.figures.weighted_peak,
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
