"""The needle beside the two-sigma figure: what a person would have read, and when it differs.

A live reading wanders by a third of its value and more (common practice, no source), so one
glance settles nothing. The verdict rests on two-sigma (IEC 60386 A1:1988, preferred method);
sheets older than that meant a needle, so it is said where the needle would decide otherwise:
a flat on a roller strikes for less than 5 % of the time and moves the needle alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from runstrue.quantity import Quantity
from runstrue.result import Result, Spread
from runstrue.verdict.models import Limit, Outcome, figure_text


def widened_by_wander(quantity: Quantity, spread: Spread | None) -> Quantity:
    """Return a needle's reading with its wandering in the uncertainty.

    Where between its lowest and highest the needle 'really' stands is not defined, so every
    place between is taken as equally likely: half-width over √3 (JCGM 100:2008 4.3.7).
    """
    if spread is None:
        return quantity
    wander = (spread.high - spread.low) / 2 / math.sqrt(3)
    return replace(quantity, u=math.hypot(quantity.u, wander))


def needle_note(
    limit: Limit, reading: Result, results: Sequence[Result], outcome: Outcome
) -> tuple[str, ...]:
    """Say how a needle would have decided, where that differs from the two-sigma verdict."""
    if limit.high is None or reading.id not in ("flutter.weighted_peak", "flutter.indicated_peak"):
        return ()
    if reading.id == "flutter.indicated_peak":
        return (_only_a_needle(reading.spread, limit.high),)
    needle = next(
        (
            result.spread
            for result in results
            if result.id == "flutter.indicated_peak" and result.channel == reading.channel
        ),
        None,
    )
    if needle is None:
        return ()
    wander = f"between {figure_text(_round(needle.low))} and {figure_text(_round(needle.high))} %"
    if needle.low > limit.high and outcome != "does not meet":
        return (
            f"A needle would have stood above the limit all the time ({wander}); the verdict "
            "rests on two-sigma, which passes over short jolts, so look for a flat or a bump.",
        )
    if needle.high <= limit.high and outcome == "does not meet":
        return (
            f"A needle would have stayed within the limit ({wander}); the verdict rests on "
            "two-sigma.",
        )
    if needle.low <= limit.high < needle.high:
        return (
            f"A needle would have wandered {wander}, across the limit, so a glance at one does "
            "not settle it; the verdict rests on two-sigma.",
        )
    return ()


def _only_a_needle(spread: Spread | None, high: float) -> str:
    if spread is None:
        return (
            "Only a needle was read; it never stands still, so note its lowest and highest too, "
            "or record the tone and let two-sigma decide."
        )
    side = "on both sides of" if spread.low <= high < spread.high else "on one side of"
    return (
        f"Only a needle was read; it wandered between {figure_text(_round(spread.low))} and "
        f"{figure_text(_round(spread.high))} %, {side} the limit, and that counts in the "
        "uncertainty; a recording of the tone lets two-sigma decide."
    )


def _round(percent: float) -> float:
    """Two figures are all that a needle gives."""
    return float(f"{percent:.2g}")
