"""From a figure with its sign to what is allowed, in the unit of the catalogue."""

from __future__ import annotations

from dataclasses import dataclass, replace

from runstrue.catalogue import Kind
from runstrue.verdict.figures import Figure
from runstrue.verdict.models import Sure

# The catalogue's unit in terms of the dimension's own unit, where they differ.
_CATALOGUE_FACTOR = {
    ("mV", "V"): 1000.0,
    ("µs", "s"): 1e6,
}

# The tones of speed tapes: DIN and IEC 3150 Hz, older American and Japanese practice 3000 Hz.
_SPEED_TONES_HZ = (3000.0, 3150.0)

# Distances in dB that sheets print with or without a minus sign and mean the same.
_DISTANCES = ("noise.", "separation.", "erasure.", "print.")


@dataclass(frozen=True, slots=True)
class Bounds:
    """What is allowed; `refusal` says why nothing could be told."""

    low: float | None = None
    high: float | None = None
    nominal: float | None = None
    sure: Sure = "clear"
    question: str = ""
    refusal: str = ""


def bounds_of(figure: Figure, kind: Kind) -> Bounds:
    """Return what a figure allows for a kind of reading.

    Parameters
    ----------
    figure : Figure
        In its dimension's own unit.
    kind : Kind
        Its unit is that of the result, its `wanted` tells which side a bare figure bounds.
    """
    if kind.id == "speed.deviation":
        return _speed(figure)
    factor = _CATALOGUE_FACTOR.get((kind.unit, figure.dimension), 1.0)
    if kind.id.startswith(_DISTANCES):
        found = _distance(figure)
    elif kind.id == "hum.line":
        found = _hum(figure)
    else:
        found = _plain(figure, kind)

    def scaled(part: float | None) -> float | None:
        return None if part is None else exact(part * factor)

    in_catalogue_unit = replace(
        found, low=scaled(found.low), high=scaled(found.high), nominal=scaled(found.nominal)
    )
    return _about(in_catalogue_unit, figure)


def exact(value: float) -> float:
    """Drop the dust of unit conversion: twelve significant figures are plenty."""
    return float(f"{value:.12g}")


def _about(bounds: Bounds, figure: Figure) -> Bounds:
    """'approx. 90 s', 'typical 0.05 %': taken as the limit, and said."""
    if "about" not in figure.bounds or bounds.refusal or bounds.sure == "ambiguous":
        return bounds
    question = "A typical or approximate figure was taken as the limit."
    return replace(bounds, sure="likely", question=f"{bounds.question} {question}".strip())


def _plain(figure: Figure, kind: Kind) -> Bounds:
    if figure.shape == "tolerance":
        if kind.wanted == "near zero":
            return Bounds(-figure.below, figure.above)
        if kind.wanted == "low" and figure.below == figure.above:
            return Bounds(None, figure.above)  # a peak figure such as ±0.14 %
        return Bounds(refusal="a tolerance stands there without the figure that it belongs to")
    if figure.shape == "around":
        one_sided = kind.wanted == "low" and not kind.id.startswith("time.")
        if one_sided or (kind.wanted == "near zero" and figure.value != 0):
            return Bounds(refusal="a figure with a tolerance stands where one figure is needed")
        return Bounds(figure.value - figure.below, figure.value + figure.above, figure.value)
    if figure.shape == "span":
        if kind.wanted == "low" and not kind.id.startswith("time."):
            return Bounds(refusal="a range stands where one figure is needed")
        if kind.wanted == "high" and kind.unit == "dB":
            return Bounds(refusal="a range stands where one figure is needed")
        return Bounds(figure.below, figure.above)
    return _single(figure, kind)


def _single(figure: Figure, kind: Kind) -> Bounds:
    value = figure.value
    most, least = "at_most" in figure.bounds, "at_least" in figure.bounds
    better = "better" in figure.bounds
    if most and least:
        return Bounds(refusal="the words say both 'at most' and 'at least'")
    if kind.wanted == "near zero":
        if least:
            return Bounds(refusal="'at least' does not fit a figure that should be near zero")
        return Bounds(-abs(value), abs(value))
    if kind.wanted == "low":
        if least:
            return Bounds(refusal="'at least' does not fit a figure that should be low")
        return Bounds(None, value)
    if kind.wanted == "high":
        if most:
            return Bounds(refusal="'at most' does not fit a figure that should be high")
        return Bounds(value, None)
    if most or least:
        return Bounds(None, value) if most else Bounds(value, None)
    if better:
        return Bounds(refusal="'better' does not say whether more or less is meant")
    return Bounds(
        nominal=value,
        sure="ambiguous",
        question="How far may it be off? The sheet gives no tolerance.",
    )


def _distance(figure: Figure) -> Bounds:
    """'56 dB', '−56 dB', '< −45 dB', 'better than −60 dB': at least so far away."""
    if figure.shape != "single":
        return Bounds(refusal="a range or tolerance stands where one figure is needed")
    most, least = "at_most" in figure.bounds, "at_least" in figure.bounds
    if most and least:
        return Bounds(refusal="the words say both 'at most' and 'at least'")
    if (most and figure.value > 0) or (least and figure.value < 0):
        return Bounds(refusal="the sign and the words 'at most' or 'at least' contradict")
    return Bounds(abs(figure.value), None)


def _hum(figure: Figure) -> Bounds:
    """'−50 dB', 'better than 50 dB': so far below the reference level, or farther."""
    if figure.shape != "single":
        return Bounds(refusal="a range or tolerance stands where one figure is needed")
    if figure.value <= 0:
        if "at_least" in figure.bounds:
            return Bounds(refusal="'at least' does not fit a figure that should be low")
        return Bounds(None, figure.value)
    if "at_most" in figure.bounds:
        return Bounds(refusal="the sign and the words 'at most' contradict")
    return Bounds(
        None, -figure.value, None, "likely", "The figure was taken as so far below the level."
    )


def _speed(figure: Figure) -> Bounds:
    if figure.shape == "tolerance":
        return Bounds(-figure.below, figure.above)
    if figure.shape == "around":
        if figure.tolerance_dimension == "Hz":
            if figure.value <= 0:
                return Bounds(refusal="a tone of 0 Hz stands there")
            share = 100 / figure.value
            return Bounds(-exact(figure.below * share), exact(figure.above * share))
        return Bounds(-figure.below, figure.above)
    if figure.shape == "span":
        if figure.dimension == "%":
            return Bounds(figure.below, figure.above)
        middle = (figure.below + figure.above) / 2
        if middle not in _SPEED_TONES_HZ:
            return Bounds(refusal="the tone that the two frequencies lie about is not named")
        half = exact(50 * (figure.above - figure.below) / middle)
        return Bounds(
            -half, half, None, "likely", f"The tone was taken as {middle:.0f} Hz, the middle."
        )
    if "at_least" in figure.bounds:
        return Bounds(refusal="'at least' does not fit a figure that should be near zero")
    return _about(Bounds(-abs(figure.value), abs(figure.value)), figure)
