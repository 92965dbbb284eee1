"""The chance that a deck meets a limit, given one reading of it with its uncertainty.

JCGM 106:2012 clause 7: what is known about the true value after the measurement is a
distribution about the reading; the chance of conformity is the share of it that lies inside
what is allowed. Normal, or Student's t when the uncertainty itself rests on few observations
(JCGM 100:2008 G.3).
"""

from __future__ import annotations

import math

from runstrue.quantity import Quantity, t_chance_below

# Readings that cannot be negative by their nature. Voltages, delays, speeds and decibels can.
_NEVER_NEGATIVE = ("flutter.", "distortion.", "torque.", "force.", "dropout.", "time.", "play.")


def never_negative(quantity_id: str) -> bool:
    """Whether a quantity with this id cannot be less than zero by its nature."""
    return quantity_id.startswith(_NEVER_NEGATIVE) or quantity_id == "azimuth.sway"


def conformity_chance(
    quantity: Quantity, low: float | None, high: float | None, *, from_zero: bool = False
) -> float:
    """Chance that the true value lies from `low` to `high`.

    Parameters
    ----------
    quantity : Quantity
        Reading with standard uncertainty and degrees of freedom.
    low, high : float or None
        What is allowed, in the unit of the reading; None leaves that side open.
    from_zero : bool
        Whether the true value is known not to be negative. The part of the distribution
        below zero is then cut off and the rest scaled up, which is what a flat prior on
        zero and above gives (JCGM 106:2012 clause 6). It makes the verdict more careful:
        the chance of breaking an upper limit rises, to twice itself for a reading of zero.

    Returns
    -------
    float
        From 0 to 1. With an uncertainty of zero it is 0 or 1, the limits belonging to what
        is allowed.

    Examples
    --------
    >>> round(conformity_chance(Quantity(-5.47, "V", 0.05), None, -5.40), 4)
    0.9192
    """
    if quantity.u == 0:
        over = high is not None and quantity.value > high
        under = low is not None and quantity.value < low
        return float(not (over or under))
    if from_zero:
        low = max(low, 0.0) if low is not None else 0.0
        if high is not None and high < low:
            return 0.0
    inside = _share(quantity, low, high)
    if from_zero:
        inside /= max(_share(quantity, 0.0, None), 1e-300)
    return min(max(inside, 0.0), 1.0)


def _share(quantity: Quantity, low: float | None, high: float | None) -> float:
    """Share of the distribution between two bounds, reckoned in the tail that is smaller."""

    def below(bound: float) -> float:
        return t_chance_below((bound - quantity.value) / quantity.u, quantity.degrees_of_freedom)

    def above(bound: float) -> float:
        return t_chance_below((quantity.value - bound) / quantity.u, quantity.degrees_of_freedom)

    if low is None and high is None:
        return 1.0
    if low is None:
        return below(high if high is not None else math.inf)
    if high is None:
        return above(low)
    if low > quantity.value:  # both bounds in the upper tail: subtract small from small
        return above(low) - above(high)
    return below(high) - below(low)
