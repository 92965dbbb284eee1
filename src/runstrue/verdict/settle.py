"""What would settle a verdict that is too close to call: more starts, or a better tape.

Averaging n starts divides the random part of the variance by n and leaves the shared part
(test tape, clock): u_n² = u_random²/n + u_shared² (JCGM 100:2008 4.2.3 and 5.1.2).
"""

from __future__ import annotations

import math

from runstrue.quantity import Budget, Contribution
from runstrue.verdict.chance import conformity_chance, never_negative
from runstrue.verdict.models import DecisionRule, Limit

# More starts than anybody will make at the bench; own choice.
MOST_STARTS = 50

DEFAULT_RULE = DecisionRule()

_NUMBER_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
                 "ten", "eleven", "twelve")  # fmt: skip


def starts_needed(
    value: float, budget: Budget, limit: Limit, rule: DecisionRule = DEFAULT_RULE
) -> int | None:
    """Count the starts like this one whose mean would settle the verdict.

    Parameters
    ----------
    value : float
        The reading, taken to be what the mean of more starts would also give.
    budget : Budget
        Of one such reading, in the unit of the limit.
    limit : Limit
        With at least one of `low` and `high`.
    rule : DecisionRule

    Returns
    -------
    int or None
        1 when it is settled already; None when even `MOST_STARTS` would not settle it.
    """
    for starts in range(1, MOST_STARTS + 1):
        mean = budget_of_mean(budget, starts).quantity(value, limit.unit)
        chance = conformity_chance(
            mean, limit.low, limit.high, from_zero=never_negative(limit.ids[0])
        )
        if rule.outcome(chance) != "too close to call":
            return starts
    return None


def budget_of_mean(budget: Budget, starts: int) -> Budget:
    """Return the budget of the mean of several starts like one.

    Random contributions shrink with the root of the number, and their degrees of freedom add
    up, since each start brings its own; shared contributions stay.
    """
    return Budget(
        tuple(
            part
            if part.kind == "shared"
            else Contribution(
                part.name,
                part.u / math.sqrt(starts),
                part.kind,
                part.source,
                part.degrees_of_freedom * starts,
            )
            for part in budget
        )
    )


def what_would_settle(
    value: float,
    budget: Budget,
    limit: Limit,
    rule: DecisionRule = DEFAULT_RULE,
    starts_so_far: int = 1,
) -> str:
    """Say in bench words what would settle a verdict that is too close to call.

    Parameters
    ----------
    value, budget, limit, rule
        As for `starts_needed`.
    starts_so_far : int
        How many starts the reading already is the mean of, at least 1.
    """
    factor = starts_needed(value, budget, limit, rule)
    if factor is not None:
        return f"about {number_word(factor * starts_so_far)} starts of this length would settle it"
    shared = Budget(tuple(part for part in budget if part.kind == "shared"))
    largest = shared.largest()
    if largest is not None and starts_needed(value, shared, limit, rule) is None:
        return f"more starts would not settle it: {_remedy(largest)}"
    if not any(part.u > 0 for part in budget):
        return "a reading with a stated uncertainty is needed"
    return (
        f"it lies so near the limit that even {MOST_STARTS} starts would hardly settle it; "
        "take it as being on the limit"
    )


def number_word(number: int) -> str:
    """Spell a small number: 'eight'; from thirteen on in figures."""
    return _NUMBER_WORDS[number] if 0 <= number < len(_NUMBER_WORDS) else str(number)


def _remedy(largest: Contribution) -> str:
    """Say what to replace when this shared contribution stands in the way."""
    name = largest.name.lower()
    if "tape" in name:
        return "the test tape is not known well enough; use a better test tape"
    if "clock" in name or "sound card" in name:
        return "the sound card's clock is not known well enough; have it checked"
    return f"the part '{largest.name}' of the uncertainty stands in the way"
