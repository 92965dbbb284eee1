"""The chi-square distribution, for judging scatter with few degrees of freedom.

The chance above x is known in closed form for whole degrees of freedom ν: erfc(√(x/2)) for one,
exp(−x/2) for two, and for two more always (x/2)^(ν/2) exp(−x/2) / Γ(ν/2 + 1) more (recurrence of
the incomplete gamma function, DLMF 8.8.2).
"""

from __future__ import annotations

import math


def chance_above(x: float, degrees_of_freedom: int) -> float:
    """Chance that chi-square with these degrees of freedom lies above `x`.

    Parameters
    ----------
    x : float
        0 or more.
    degrees_of_freedom : int
        At least 1.
    """
    if x <= 0:
        return 1.0
    half, odd = x / 2, degrees_of_freedom % 2
    chance = math.erfc(math.sqrt(half)) if odd else math.exp(-half)
    for freedom in range(1 if odd else 2, degrees_of_freedom, 2):
        chance += math.exp(freedom / 2 * math.log(half) - half - math.lgamma(freedom / 2 + 1))
    return min(chance, 1.0)


def quantile(probability: float, degrees_of_freedom: int) -> float:
    """Return what chi-square stays below with this probability, 0 to 1, both excluded."""
    low, high = 0.0, float(degrees_of_freedom)
    while 1 - chance_above(high, degrees_of_freedom) < probability:
        low, high = high, 2 * high
    for _ in range(100):
        middle = (low + high) / 2
        if 1 - chance_above(middle, degrees_of_freedom) < probability:
            low = middle
        else:
            high = middle
    return (low + high) / 2
