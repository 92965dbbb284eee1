"""Wow and flutter of a tone that was recorded and played on the same deck.

Recording and playing bring the same flutter, amplitude a, in a phase φ that differs at every
start: the reading is r = 2a·|cos(φ/2)|, anything from nothing to 2a. Two things can be said:

* r ≤ 2a always, so a ≥ r/2: when half the reading is surely above the limit, so is the deck.
* φ/2 is even over 0 to 90°, and r < a means |cos(φ/2)| < 1/2, that is φ/2 > 60°: one start in
  three. If a were above the limit, N starts would all read below the limit, hence below a,
  with a chance of at most 3^−N: 1/27 for three starts.

With many unrelated lines r tends to 1.414 a at every start, inside both bounds.
Sources: several replays, IEC 60386 3.4 (JIS C 5569-1991); the vector sum is own reckoning.
"""

from __future__ import annotations

from dataclasses import replace

from runstrue.quantity import Quantity
from runstrue.result import Result
from runstrue.verdict import bench
from runstrue.verdict.chance import conformity_chance
from runstrue.verdict.models import DecisionRule, Limit, Outcome, Reason, Verdict
from runstrue.verdict.settle import number_word

# Fewer starts than these can all read low by chance (1 in 9 for two).
FEWEST_STARTS = 3

# Chance that one start reads below a single pass (derivation above).
_CHANCE_LOW = 1 / 3


def judge_own_recording(
    limit: Limit, reading: Result, quantity: Quantity, rule: DecisionRule
) -> Verdict:
    """Judge a flutter reading of an own recording by what can be said at all.

    Parameters
    ----------
    limit : Limit
        An upper limit of a flutter reading.
    reading : Result
        Of one start, or the largest of several with the condition 'starts'.
    quantity : Quantity
        Its figure.
    rule : DecisionRule
    """
    starts = int(float(reading.conditions.get("starts", 1.0)))
    largest = max(quantity.value, reading.spread.high) if reading.spread else quantity.value
    reading_of_all = replace(quantity, value=largest if starts > 1 else quantity.value)
    half = replace(reading_of_all, value=reading_of_all.value / 2, u=quantity.u / 2)
    at_best = conformity_chance(half, limit.low, limit.high, from_zero=True)
    if rule.outcome(at_best) == "does not meet":
        note = "Half the reading of an own recording is already above the limit."
        return _verdict(
            limit, reading, reading_of_all, rule, "does not meet", at_best, note,
            bench.FLUTTER_ADVICE,
        )  # fmt: skip
    if starts >= FEWEST_STARTS:
        below = conformity_chance(reading_of_all, limit.low, limit.high, from_zero=True)
        chance = below * (1 - _CHANCE_LOW**starts)
        if rule.outcome(chance) == "meets":
            note = (
                f"Own recording: the largest of {number_word(starts)} starts is below the limit; "
                f"that all of them read low by chance is at most 1 in {3**starts}."
            )
            return _verdict(
                limit, reading, reading_of_all, rule, "meets", chance, note, "leave it alone"
            )
        advice = "use a test tape: recording and playing cannot be told apart here"
        note = "The starts prove neither that it meets nor that it does not."
    else:
        advice = "make at least three starts and measure them together, or use a test tape"
        note = "One start of an own recording can read low by any amount."
    words = f"cannot be compared: recorded and played on the same deck: {advice}"
    return _verdict(
        limit, reading, reading_of_all, rule, "cannot be compared", None, note, advice, words
    )


def _verdict(
    limit: Limit,
    reading: Result,
    quantity: Quantity,
    rule: DecisionRule,
    outcome: Outcome,
    chance: float | None,
    note: str,
    advice: str,
    words: str = "",
) -> Verdict:
    reason: Reason = "self-recorded" if chance is None else ""
    if chance is not None:
        words = bench.join(bench.outcome_words(outcome, chance), advice)
    return Verdict(
        id=reading.id,
        method=reading.method,
        channel=reading.channel,
        limit=limit,
        outcome=outcome,
        reason=reason,
        chance=chance,
        rule=rule.words,
        words=words,
        advice=advice,
        notes=(note,),
        value=quantity.value,
        unit=quantity.unit,
        u=quantity.u,
    )
