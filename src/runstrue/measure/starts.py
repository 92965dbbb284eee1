"""Several starts of one reading, put together.

With a test tape, starts are repeats: their mean is taken, and what differs from start to start
shrinks with their number. A tone that the deck recorded itself is another matter: the flutter of
recording and that of playing meet in another phase at every start, add or cancel, and no start
is right. Then the largest and the mean over the starts are told, and nothing is divided by two:
with many unrelated lines that would read a third too low.

Sources: several replays of an own recording: IEC 60386 3.4 (JIS C 5569-1991), which leaves the
combination open here; the largest, and the mean, are both common practice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from runstrue.errors import InputError
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Measured, Result, Spread

FEWEST_OWN_STARTS = 3


def combine_starts(starts: Sequence[Measured]) -> Measured:
    """Put the starts of one reading together.

    Parameters
    ----------
    starts : sequence of Measured
        At least two, made with the same tape, tone and sound card.

    Raises
    ------
    InputError
        When there are fewer, or they do not belong together.
    """
    if len(starts) < 2:
        raise InputError(
            "One start was given", "at least two are needed", "name all files of the reading"
        )
    first = starts[0]
    for key in ("tone_hz", "tape", "sound_card", "self_recorded"):
        seen = sorted({str(start.conditions.get(key)) for start in starts})
        if len(seen) > 1:
            raise InputError(
                f"The starts differ in their {key.replace('_', ' ')} ({' and '.join(seen)})",
                "starts of one reading must be made alike",
                "measure them as separate files",
            )
    own = bool(first.conditions.get("self_recorded"))
    results = []
    for result in first.results:
        alike = [_same(start, result) for start in starts]
        present = [other for other in alike if other is not None]
        if len(present) == len(starts):
            results.append(_combined(present, own=own))
    doubts = tuple(dict.fromkeys(doubt for start in starts for doubt in start.doubts))
    if own and len(starts) >= FEWEST_OWN_STARTS:
        doubts = tuple(doubt for doubt in doubts if "--starts" not in doubt)
    used_s = sum(float(start.conditions.get("used_s", 0.0)) for start in starts)
    return replace(
        first,
        summary=f"{len(starts)} starts; the first: {first.summary}",
        results=tuple(results),
        conditions={**first.conditions, "starts": float(len(starts)), "used_s": used_s},
        doubts=doubts,
    )


def _same(start: Measured, wanted: Result) -> Result | None:
    key = (wanted.id, wanted.method, wanted.channel, wanted.conditions.get("tone_hz"))
    for result in start.results:
        if (result.id, result.method, result.channel, result.conditions.get("tone_hz")) == key:
            return result
    return None


def _combined(results: Sequence[Result], *, own: bool) -> Result:
    quantities = [result.quantity for result in results if result.quantity is not None]
    first = results[0]
    told: dict[str, Condition] = {**first.conditions, "starts": float(len(results))}
    if len(quantities) < len(results):
        return replace(first, conditions=told)
    values = [quantity.value for quantity in quantities]
    mean = sum(values) / len(values)
    spread = Spread(min(values), mean, max(values))
    if own and first.id.startswith("flutter."):
        largest = results[values.index(spread.high)]
        return replace(largest, spread=spread, conditions=told, doubts=(
            "The largest of the starts; a single pass of this deck lies between half of it and, "
            "by chance, a little above it.",
        ))  # fmt: skip
    budget = _mean_budget(results, values, mean)
    kept_spread = first.spread if first.spread is not None else spread
    return replace(
        first,
        quantity=budget.quantity(mean, quantities[0].unit),
        budget=budget,
        spread=kept_spread,
        conditions=told,
    )


def _mean_budget(results: Sequence[Result], values: Sequence[float], mean: float) -> Budget:
    """Budget of the mean: the larger of scatter and each start's own random part, over √n."""
    count = len(values)
    scatter = math.sqrt(sum((value - mean) ** 2 for value in values) / (count - 1) / count)
    within = math.sqrt(sum(result.budget.random_u**2 for result in results) / count / count)
    if scatter >= within:
        random = Contribution("differences between starts", scatter, "random",
                              degrees_of_freedom=count - 1)  # fmt: skip
    else:
        freedom = [_random_freedom(result.budget) for result in results]
        random = Contribution("scatter within the starts", within, "random",
                              degrees_of_freedom=sum(freedom))  # fmt: skip
    shared = [part for part in results[0].budget if part.kind == "shared"]
    return Budget((random, *shared))


def _random_freedom(budget: Budget) -> float:
    return Budget(tuple(part for part in budget if part.kind == "random")).degrees_of_freedom
