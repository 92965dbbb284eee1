"""Guard bands, and how often a rule of acceptance goes wrong over many decks.

JCGM 106:2012 clause 8 (guard bands) and clause 9.5 (global consumer's and producer's risk).
For a workshop: the consumer's risk is the share of decks that are handed over as good and are
not; the producer's risk the share that are good and are worked on all the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from runstrue.errors import InputError

# Simpson's rule over ±10 standard deviations in this many steps: far below 1e-9 of error for
# the smooth integrands here, whose narrowest feature is u.
_STEPS = 4000
_REACH = 10.0


@dataclass(frozen=True, slots=True)
class GlobalRisk:
    """How often acceptance goes wrong, over all items of a kind.

    Parameters
    ----------
    conformity : float
        Share of items whose true value is inside the tolerance.
    consumer : float
        Share of all items that are accepted although outside (R_C).
    producer : float
        Share of all items that are rejected although inside (R_P).
    """

    conformity: float
    consumer: float
    producer: float


def global_risk(
    tolerance: tuple[float, float],
    acceptance: tuple[float, float],
    mean: float,
    deviation: float,
    u: float,
) -> GlobalRisk:
    """Risks of one rule of acceptance for items that are normally distributed.

    Parameters
    ----------
    tolerance, acceptance : tuple of float
        Lower and upper bound of the true value, and of the reading; ±infinity leaves a side
        open.
    mean, deviation : float
        Of the items' true values; deviation more than 0.
    u : float
        Standard uncertainty of a reading, more than 0.

    Raises
    ------
    InputError
        When deviation or u is not more than 0, or bounds are in the wrong order.

    References
    ----------
    JCGM 106:2012 clause 9.5: R_C is the integral, over true values outside the tolerance, of
    their density times the chance that such an item reads inside the acceptance bounds; R_P
    the same with inside and outside exchanged.
    """
    if not (deviation > 0 and u > 0 and tolerance[0] < tolerance[1]):
        raise InputError(
            "A spread or an uncertainty of zero, or bounds in the wrong order, were given",
            "a spread and an uncertainty above zero and rising bounds are needed",
        )
    items, reading = NormalDist(mean, deviation), NormalDist(0.0, u)

    def accepted(true: float) -> float:
        return reading.cdf(acceptance[1] - true) - reading.cdf(acceptance[0] - true)

    def integral(low: float, high: float, *, of_accepted: bool) -> float:
        low = max(low, mean - _REACH * deviation)
        high = min(high, mean + _REACH * deviation)
        if low >= high:
            return 0.0
        step = (high - low) / _STEPS
        total = 0.0
        for index in range(_STEPS + 1):
            true = low + index * step
            weight = 1 if index in (0, _STEPS) else 4 if index % 2 else 2
            share = accepted(true) if of_accepted else 1 - accepted(true)
            total += weight * items.pdf(true) * share
        return total * step / 3

    return GlobalRisk(
        conformity=items.cdf(tolerance[1]) - items.cdf(tolerance[0]),
        consumer=integral(-math.inf, tolerance[0], of_accepted=True)
        + integral(tolerance[1], math.inf, of_accepted=True),
        producer=integral(*tolerance, of_accepted=False),
    )


def guard_band(u: float, probability: float) -> float:
    """Distance that a reading must keep from a one-sided limit to be sure of it.

    Parameters
    ----------
    u : float
        Standard uncertainty, 0 or more.
    probability : float
        Wanted chance, between 0 and 1: 0.95 gives 1.645 u.

    References
    ----------
    JCGM 106:2012 clause 8.3.
    """
    return NormalDist().inv_cdf(probability) * u


def relative_rejection_limit(limit: float, relative_u: float, probability: float) -> float:
    """Return the reading from which an upper limit is surely broken, u being a share of it.

    The reading v breaks the limit with this chance when v − z·u(v) = limit and u(v) is
    `relative_u` times v.

    Parameters
    ----------
    limit : float
    relative_u : float
        0 or more; z times it must stay below 1.
    probability : float
        Between 0.5 and 1.

    Raises
    ------
    InputError
        When the uncertainty is so large that no reading would be sure.

    Examples
    --------
    >>> round(relative_rejection_limit(100.0, 0.02, 0.999), 1)
    106.6
    """
    share = NormalDist().inv_cdf(probability) * relative_u
    if share >= 1:
        raise InputError(
            f"An uncertainty of {100 * relative_u:g} % of the reading was given",
            "it is too large for any reading to be sure",
        )
    return limit / (1 - share)
