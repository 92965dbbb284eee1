"""How hard a belt can be driven before it slips, and what it does to the bearings.

Euler's belt formula (1762, in every textbook of mechanics): just before slipping the tension of
the pulling run is exp(µ · wrap) times that of the other. Both together stay twice the tension at
rest, so the most that a pulley can be driven with is 2 T r (k − 1) / (k + 1), k = exp(µ · wrap).
A round or square belt that wedges in a V groove grips better than this says.
"""

from __future__ import annotations

import math

from runstrue.transport.rubber import Band

FRICTION = (0.5, 1.0)
"""Rubber on a clean metal or plastic pulley: assumed, common practice, no source."""
MIDDLE_FRICTION = math.sqrt(FRICTION[0] * FRICTION[1])
GRAM_CENTIMETRE_MNM = 0.0980665
"""1 g·cm in mN·m: the standard acceleration of free fall, 9.80665 m/s² (ISO 80000-4:2019)."""


def tension_ratio(friction: float, wrap_rad: float) -> float:
    """Tension of the pulling run over that of the other, just before slipping."""
    return math.exp(friction * wrap_rad)


def most_torque(tension_n: float, radius_mm: float, friction: float, wrap_rad: float) -> float:
    """Most torque in mN·m that a belt hands over at a pulley.

    Parameters
    ----------
    tension_n : float
        Of both runs while nothing turns.
    radius_mm : float
        At the middle of the belt.
    friction : float
    wrap_rad : float
    """
    ratio = tension_ratio(friction, wrap_rad)
    return 2 * tension_n * radius_mm * (ratio - 1) / (ratio + 1)


def grip(tension: Band, radius_mm: float, wrap_rad: float) -> Band:
    """Most torque in mN·m with what is not known of rubber and friction."""

    def at(pull: float, friction: float) -> float:
        return most_torque(pull, radius_mm, friction, wrap_rad)

    return Band(
        at(tension.low, FRICTION[0]),
        at(tension.middle, MIDDLE_FRICTION),
        at(tension.high, FRICTION[1]),
        "mN·m",
    )


def shaft_load(tension: Band, wrap_rad: float) -> Band:
    """Force in N on the axis of a pulley: 2 T sin(wrap / 2)."""
    return tension.times(2 * math.sin(wrap_rad / 2))
