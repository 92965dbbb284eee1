"""The memory stop: how repeatably a deck comes back to zero.

The scatter of n returns is their standard deviation with n − 1 degrees of freedom; its interval
is that of chi-square, and where the next return will lie is told by Student's t (both textbook
formulas for normal scatter; JCGM 100:2008, 4.2 and G.3).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from runstrue.errors import InputError
from runstrue.quantity import Quantity, coverage_factor
from runstrue.transport.chi_square import quantile

INTERVAL = 0.95


@dataclass(frozen=True, slots=True)
class Returns:
    """What the counter showed after returning to zero, in counts.

    Parameters
    ----------
    counts : tuple of float
    mean : Quantity
        Where it stops on average, with its uncertainty.
    scatter : float
        Standard deviation from return to return; what the counter cannot show is no less than
        its step over √12.
    scatter_low, scatter_high : float
        95 % interval of it.
    next_low, next_high : float
        Where the next return will lie, 95 % sure.
    hidden : bool
        The scatter is smaller than the counter can show.
    """

    counts: tuple[float, ...]
    mean: Quantity
    scatter: float
    scatter_low: float
    scatter_high: float
    next_low: float
    next_high: float
    hidden: bool


def returns_of(counts: Sequence[float], step: float = 1.0) -> Returns:
    """Judge the returns of a memory stop.

    Parameters
    ----------
    counts : sequence of float
        What the counter showed after each return; below zero for 999 and the like.
    step : float
        To which the counter is read, in counts.

    Raises
    ------
    InputError
        When there are fewer than three, or one is no number.
    """
    listed = tuple(float(one) for one in counts)
    if len(listed) < 3:
        seen = "1 return was" if len(listed) == 1 else f"{len(listed)} returns were"
        raise InputError(f"{seen} given", "three or more are needed; five tell more")
    if not all(math.isfinite(one) for one in listed) or not 0 < step < math.inf:
        raise InputError("A return is no number", "what the counter showed is needed")
    number, freedom = len(listed), len(listed) - 1
    mean = math.fsum(listed) / number
    seen_scatter = math.sqrt(math.fsum((one - mean) ** 2 for one in listed) / freedom)
    least = step / math.sqrt(12)
    hidden = seen_scatter < least
    scatter = max(seen_scatter, least)
    inside = (1 - INTERVAL) / 2
    low, high = (
        scatter * math.sqrt(freedom / quantile(chance, freedom)) for chance in (1 - inside, inside)
    )
    reach = coverage_factor(INTERVAL, freedom) * scatter * math.sqrt(1 + 1 / number)
    return Returns(
        listed, Quantity(mean, "", scatter / math.sqrt(number), freedom), scatter,
        0.0 if hidden else low, high, mean - reach, mean + reach, hidden,
    )  # fmt: skip
