"""Rubber under stretch: how hard a belt pulls, and how far that can be known.

Nobody prints the stiffness of a deck's belt. Its hardness is a poor guide: two rules from Shore A
hardness to Young's modulus differ by a factor of 1.6 at 60 Shore and nearly 2 at 70 and above. So
every figure here is a `Band`: the middle by one rule, half of it, twice of it.

The pull follows the neo-Hookean law, the plainest for rubber: stress per first area
E / 3 · (q − 1 / q²) with q the stretched length over the free one (textbooks, for instance
L. R. G. Treloar, 'The Physics of Rubber Elasticity', from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from runstrue.errors import InputError

HALF_AND_TWICE = 2.0
USUAL_SHORE_A = 60.0
"""Assumed where nobody says otherwise; no measured figure for deck belts is known."""
SOFTEST, HARDEST = 20.0, 90.0


@dataclass(frozen=True, slots=True)
class Band:
    """A figure that is known within a factor.

    Parameters
    ----------
    low, middle, high : float
        In this order or all alike.
    unit : str
    """

    low: float
    middle: float
    high: float
    unit: str

    def times(self, factor: float, unit: str = "") -> Band:
        """Return it multiplied by a positive number."""
        return Band(self.low * factor, self.middle * factor, self.high * factor, unit or self.unit)

    def __str__(self) -> str:
        """Print both ends with two figures: '0.13 to 0.50 N'."""
        return f"{two_figures(self.low)} to {two_figures(self.high)} {self.unit}"


def two_figures(value: float) -> str:
    """Print with two figures and no exponent.

    Examples
    --------
    >>> two_figures(0.1259), two_figures(12.59), two_figures(0.999)
    ('0.13', '13', '1.0')
    """
    if value == 0:
        return "0"
    rounded = float(f"{value:.1e}")
    decimals = max(1 - math.floor(math.log10(abs(rounded))), 0)
    return f"{rounded:.{decimals}f}"


def modulus_by_indentation(shore_a: float) -> float:
    """Young's modulus in MPa from Shore A hardness.

    Source: A. N. Gent, 'On the relation between indentation hardness and Young's modulus', 1958:
    the hardness gauge taken as a flat punch pressed into an elastic body. The formula is quoted
    from memory.
    """
    _refuse_hardness(shore_a)
    return 0.0981 * (56 + 7.62336 * shore_a) / (0.137505 * (254 - 2.54 * shore_a))


def modulus_by_logarithm(shore_a: float) -> float:
    """Young's modulus in MPa by a straight line fitted to its logarithm, for comparison.

    Source: log10 E = 0.0235 S − 0.6403, in print for 30 to 60 Shore A (at second hand). Some
    print the same figures with the natural exponential, which gives less than half: a slip.
    """
    _refuse_hardness(shore_a)
    return float(10 ** (0.0235 * shore_a - 0.6403))


def modulus(shore_a: float = USUAL_SHORE_A) -> Band:
    """Young's modulus as far as hardness tells it, in MPa."""
    middle = modulus_by_indentation(shore_a)
    return Band(middle / HALF_AND_TWICE, middle, middle * HALF_AND_TWICE, "MPa")


def pull(area_mm2: float, modulus_mpa: float, stretch_percent: float) -> float:
    """Tension in N of a belt stretched by so much.

    Parameters
    ----------
    area_mm2 : float
        Of the free section.
    modulus_mpa : float
    stretch_percent : float
        Above −100; a belt that is not stretched pulls nothing.
    """
    q = 1 + max(stretch_percent, 0.0) / 100
    return area_mm2 * modulus_mpa / 3 * (q - 1 / q**2)


def stretch_under(area_mm2: float, modulus_mpa: float, tension_n: float) -> float:
    """Stretch in % at which a belt pulls so hard (the inverse of `pull`).

    Notes
    -----
    q³ − s q² − 1 = 0 with s = 3 T / (A E) has one root above 1; Newton's steps from above close in
    on it from one side.
    """
    s = 3 * tension_n / (area_mm2 * modulus_mpa)
    q = 1 + s
    for _ in range(60):
        step = (q**3 - s * q**2 - 1) / (3 * q**2 - 2 * s * q)
        q -= step
        if abs(step) < 1e-15 * q:
            break
    return (q - 1) * 100


def creep_percent(area_mm2: float, modulus_mpa: float, rest_n: float, difference_n: float) -> float:
    """Loss of speed in % because a belt is longer where it pulls than where it comes back.

    Parameters
    ----------
    area_mm2, modulus_mpa : float
    rest_n : float
        Tension of both runs while nothing turns.
    difference_n : float
        Tension of the pulling run less that of the other: torque over radius.

    Returns
    -------
    float
        1 − q_slack / q_tight: what enters a pulley in a second must leave it, counted in free
        length. For little stretch it is difference / (A E).
    """
    slack = max(rest_n - difference_n / 2, 0.0)
    q_slack, q_tight = (
        1 + stretch_under(area_mm2, modulus_mpa, tension) / 100
        for tension in (slack, slack + difference_n)
    )
    return (1 - q_slack / q_tight) * 100


def _refuse_hardness(shore_a: float) -> None:
    if not SOFTEST <= shore_a <= HARDEST:
        raise InputError(
            f"A hardness of {shore_a:g} Shore A was given",
            f"{SOFTEST:g} to {HARDEST:g} is needed",
            f"leave it out where it is not known: {USUAL_SHORE_A:g} is then assumed",
        )
