"""The mathematics of as found against as left: a difference, and how sure it is.

Two readings made with the same test tape and the same sound card share those errors. In
their difference what is shared cancels and only the random parts remain, so that a small
repair can be shown with a tape that is none too good.

Source: JCGM 100:2008 (GUM) 5.2.2, equation 16, with a correlation coefficient of 1 for what
is shared and of 0 for the rest; degrees of freedom G.4.1 (Welch-Satterthwaite).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from runstrue.catalogue import KINDS, Wanted
from runstrue.quantity import Budget, Contribution, Quantity, t_chance_below
from runstrue.result import Result

Outcome = Literal[
    "clearly better",
    "probably better",
    "clearly worse",
    "probably worse",
    "clearly higher",
    "probably higher",
    "clearly lower",
    "probably lower",
    "no change that can be told from chance",
    "cannot be compared",
]

# From which chance on a direction is called. A deck has some twenty readings: at 99 % a bench
# that changed nothing calls one 'clearly' changed in about a third of all visits, at 97.5 %
# (the two-sided 95 %) in two thirds. Own choice, stated wherever the words are shown.
CLEARLY_FROM = 0.99
PROBABLY_FROM = 0.95


@dataclass(frozen=True, slots=True)
class Difference:
    """As left less as found.

    Parameters
    ----------
    quantity : Quantity
        The difference, in the unit of the readings, with what both share cancelled.
    budget : Budget
        What is left of the uncertainty.
    chance_better : float or None
        Chance, 0 to 1, that the deck is nearer to what is wanted than before; None where only
        its sheet knows which way is good.
    chance_higher : float
        Chance that the figure rose.
    outcome : str
        In plain words.
    """

    quantity: Quantity
    budget: Budget
    chance_better: float | None
    chance_higher: float
    outcome: Outcome

    @property
    def times_u(self) -> float:
        """Size of the difference in standard uncertainties; infinite where u is 0."""
        size = abs(self.quantity.value)
        if self.quantity.u > 0:
            return size / self.quantity.u
        return math.inf if size else 0.0


def difference(found: Result, left: Result) -> Difference | None:
    """Return what changed between two readings of the same quantity by the same method.

    Parameters
    ----------
    found, left : Result
        In the same unit. Their shared contributions are taken to act in the same direction.

    Returns
    -------
    Difference or None
        None where one of them has no figure, or where they do not measure the same thing in
        the same way.

    Notes
    -----
    Where a quantity should be near zero, 'better' means |left| < |found|, linearised about
    the two values: if they lie on either side of zero, a shared error brings one nearer and
    takes the other away, so there it does not cancel but adds.
    """
    if found.quantity is None or left.quantity is None:
        return None
    alike = (found.id, found.method, found.quantity.unit)
    if alike != (left.id, left.method, left.quantity.unit):
        return None
    budget_found, budget_left = whole_budget(found), whole_budget(left)
    remaining = difference_budget(budget_found, budget_left)
    value = left.quantity.value - found.quantity.value
    chance_higher = _chance_above_zero(value, remaining)
    wanted: Wanted = KINDS[found.id].wanted if found.id in KINDS else "as stated"
    chance_better: float | None = None
    if wanted == "high":
        chance_better = chance_higher
    elif wanted == "low":
        chance_better = 1.0 - chance_higher
    elif wanted == "near zero":
        apart = found.quantity.value * left.quantity.value < 0
        budget = difference_budget(budget_found, budget_left, opposite=apart)
        nearer_by = abs(found.quantity.value) - abs(left.quantity.value)
        chance_better = _chance_above_zero(nearer_by, budget)
    return Difference(
        remaining.quantity(value, found.quantity.unit),
        remaining,
        chance_better,
        chance_higher,
        _outcome(chance_better, chance_higher),
    )


def difference_budget(found: Budget, left: Budget, *, opposite: bool = False) -> Budget:
    """Return the budget of left − found, or with `opposite` that of left + found.

    Shared contributions of the same name and the same, not empty, source are fully
    correlated: their uncertainties are taken from each other (or with `opposite` added).
    Everything else is independent and stays, marked with where it came from.
    """
    shared_found, alone_found = _by_key(found)
    shared_left, alone_left = _by_key(left)
    parts: list[Contribution] = []
    for key in sorted(shared_found.keys() & shared_left.keys()):
        first, second = shared_found[key], shared_left[key]
        u = first.u + second.u if opposite else abs(first.u - second.u)
        freedom = min(first.degrees_of_freedom, second.degrees_of_freedom)
        parts.append(replace(first, u=u, degrees_of_freedom=freedom))
    for stage, shared, alone, other in (
        ("as found", shared_found, alone_found, shared_left),
        ("as left", shared_left, alone_left, shared_found),
    ):
        unmatched = [part for key, part in shared.items() if key not in other]
        parts += [replace(part, name=f"{part.name}, {stage}") for part in (*unmatched, *alone)]
    return Budget(tuple(parts))


def whole_budget(result: Result) -> Budget:
    """Return the budget of a reading, with anything not itemised as a random part.

    A typed reading has an uncertainty but no budget; leaving it out would make every change
    of it certain.
    """
    quantity, budget = result.quantity, result.budget
    if quantity is None:
        return budget
    rest_squared = quantity.u**2 - budget.u**2
    # A rest of less than a thousandth of u is rounding of stored figures, no contribution.
    if rest_squared <= (1e-3 * quantity.u) ** 2:
        return budget
    freedom = math.inf if budget.contributions else quantity.degrees_of_freedom
    rest = Contribution("not itemised", math.sqrt(rest_squared), "random", "", freedom)
    return Budget((*budget.contributions, rest))


def _by_key(
    budget: Iterable[Contribution],
) -> tuple[dict[tuple[str, str], Contribution], list[Contribution]]:
    """Part what can cancel, by name and source, from what cannot."""
    shared: dict[tuple[str, str], Contribution] = {}
    alone: list[Contribution] = []
    for part in budget:
        key = (part.name, part.source)
        if part.kind != "shared" or not part.source:
            alone.append(part)
        elif key in shared:  # listed twice: independent within one budget, as Budget.u has it
            before = shared[key]
            shared[key] = replace(
                before,
                u=math.hypot(before.u, part.u),
                degrees_of_freedom=min(before.degrees_of_freedom, part.degrees_of_freedom),
            )
        else:
            shared[key] = part
    return shared, alone


def _chance_above_zero(value: float, budget: Budget) -> float:
    if budget.u > 0:
        return t_chance_below(value / budget.u, budget.degrees_of_freedom)
    return 0.5 if value == 0 else float(value > 0)


def _outcome(chance_better: float | None, chance_higher: float) -> Outcome:
    words: tuple[tuple[float, Outcome, Outcome], ...]
    if chance_better is None:
        chance = chance_higher
        words = (
            (CLEARLY_FROM, "clearly higher", "clearly lower"),
            (PROBABLY_FROM, "probably higher", "probably lower"),
        )
    else:
        chance = chance_better
        words = (
            (CLEARLY_FROM, "clearly better", "clearly worse"),
            (PROBABLY_FROM, "probably better", "probably worse"),
        )
    for limit, up, down in words:
        if chance >= limit:
            return up
        if 1.0 - chance >= limit:
            return down
    return "no change that can be told from chance"
