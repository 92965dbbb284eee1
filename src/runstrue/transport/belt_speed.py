"""What a belt does to the speed of the tape.

A belt bends about its middle, so a pulley counts with its diameter plus one thickness:

    tape speed = π · capstan · motor rate · (d + t) / (D + t)

A thicker belt moves the pitch line out; that matters more on the small motor pulley, and the
tape runs faster. So does tar on the motor pulley. (Plane geometry; that belts bend about their
middle is common practice for belts without cord.)
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from runstrue.errors import InputError
from runstrue.quantity import Quantity


def speed_change_percent(
    motor_mm: float, flywheel_mm: float, before_mm: float, after_mm: float
) -> float:
    """Change of tape speed in % when the belt's thickness changes.

    Parameters
    ----------
    motor_mm, flywheel_mm : float
        Diameters where the belt lies: of the driving and of the driven wheel.
    before_mm, after_mm : float
        Thickness on the deck, stretched.

    Examples
    --------
    >>> round(speed_change_percent(8, 50, 0.5, 0.6), 2)
    0.98
    """
    before = (motor_mm + before_mm) / (flywheel_mm + before_mm)
    after = (motor_mm + after_mm) / (flywheel_mm + after_mm)
    return (after / before - 1) * 100


def tar_change_percent(wheel_mm: float, thickness_mm: float, layer_mm: float) -> float:
    """Change in % of the belt's speed for a layer of tar round a driving wheel."""
    return 2 * layer_mm / (wheel_mm + thickness_mm) * 100


def mains_change_percent(built_for_hz: float, mains_hz: float) -> float:
    """Change in % of the tape speed of a mains motor on another mains frequency."""
    for hz in (built_for_hz, mains_hz):
        if not 15 <= hz <= 120:
            raise InputError(f"A mains frequency of {hz:g} Hz was given", "50 or 60 Hz is needed")
    return (mains_hz / built_for_hz - 1) * 100


def motor_pulley_for_mains(
    motor_mm: float, thickness_mm: float, built_for_hz: float, mains_hz: float
) -> float:
    """Diameter in mm of the motor pulley that brings the speed back on another mains frequency."""
    return (motor_mm + thickness_mm) * built_for_hz / mains_hz - thickness_mm


def with_uncertainty(
    function: Callable[..., float], sizes: Sequence[Quantity], unit: str
) -> Quantity:
    """Return a function of sizes that err apart, with its standard uncertainty.

    Each size is moved up and down by its own standard uncertainty (JCGM 100:2008, 5.1.3,
    note 2), and the halves of the swings are added as squares.
    """
    values = [size.value for size in sizes]
    squares = 0.0
    for index, size in enumerate(sizes):
        if size.u:
            ends = []
            for moved in (size.value + size.u, size.value - size.u):
                ends.append(function(*values[:index], moved, *values[index + 1 :]))
            squares += ((ends[0] - ends[1]) / 2) ** 2
    return Quantity(function(*values), unit, math.sqrt(squares))
