"""Readings against limits, like with like: meets, does not meet, too close, or not comparable.

Every limit names the kind of reading that it means; only a reading of that kind is held
against it, and nothing is converted from one method to another. Where the sheet does not say
which is meant, every candidate is judged and shown, and the question that settles it is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from runstrue.catalogue import KINDS
from runstrue.quantity import Quantity
from runstrue.result import Result
from runstrue.verdict import bench
from runstrue.verdict.chance import conformity_chance, never_negative
from runstrue.verdict.choose import differing_condition, readings_for
from runstrue.verdict.models import Candidate, DecisionRule, Limit, Outcome, Reason, Verdict
from runstrue.verdict.needle import needle_note, widened_by_wander
from runstrue.verdict.ownrecording import judge_own_recording
from runstrue.verdict.response import judge_response
from runstrue.verdict.settle import DEFAULT_RULE


def judge(
    limits: Iterable[Limit],
    results: Sequence[Result],
    rule: DecisionRule = DEFAULT_RULE,
    conditions: Mapping[str, str] | None = None,
) -> tuple[Verdict, ...]:
    """Hold readings against limits.

    Parameters
    ----------
    limits : iterable of Limit
        As `read_sheet` returns them, or of a standard for comparison.
    results : sequence of Result
        Readings of one deck, one stage, one side; typed ones too.
    rule : DecisionRule
        From which chance on a limit is met.
    conditions : mapping, optional
        How the pass was made, in the words of `Limit.conditions`: {'speed': '9.5 cm/s'}. A
        limit that holds for another speed, tape or noise reduction cannot be compared.

    Returns
    -------
    tuple of Verdict
        One for each limit, in the same order.

    References
    ----------
    JCGM 106:2012 clauses 7 and 8.
    """
    return tuple(_judge_one(limit, results, rule, conditions or {}) for limit in limits)


def _judge_one(
    limit: Limit, results: Sequence[Result], rule: DecisionRule, conditions: Mapping[str, str]
) -> Verdict:
    differing = differing_condition(limit, conditions)
    if differing:
        return _no(limit, rule, "other conditions", differing)
    if limit.ids[0] == "response.band" and any(one.id == "response.gain" for one in results):
        return judge_response(limit, results, rule)
    found = {quantity_id: readings_for(limit, quantity_id, results) for quantity_id in limit.ids}
    measured = {quantity_id: readings for quantity_id, readings in found.items() if readings}
    if not measured:
        return _no(limit, rule, "not measured", "not measured here")
    if not limit.has_bound:
        return _without_bound(limit, rule, next(iter(measured.values()))[0])
    judged = {
        quantity_id: _worst([_judge_reading(limit, reading, results, rule) for reading in readings])
        for quantity_id, readings in measured.items()
    }
    if limit.sure == "ambiguous":
        return _several_ways(limit, rule, judged)
    verdict = next(iter(judged.values())).verdict
    assumed = (limit.question,) if limit.sure == "likely" and limit.question else ()
    return bench.changed(verdict, notes=(*verdict.notes, *assumed))


@dataclass(frozen=True, slots=True)
class _Judged:
    """A verdict on one reading, with the chance that sorts it."""

    verdict: Verdict

    @property
    def order(self) -> float:
        chance = self.verdict.chance
        return 2.0 if chance is None else chance


def _worst(judged: Sequence[_Judged]) -> _Judged:
    """Return the channel that meets the limit least."""
    return min(judged, key=lambda one: one.order)


def _judge_reading(
    limit: Limit, reading: Result, results: Sequence[Result], rule: DecisionRule
) -> _Judged:
    quantity = reading.quantity
    if reading.conditions.get("tone_undecided"):
        return _Judged(_tone_undecided(limit, rule, reading, results))
    if quantity is None:
        own = bool(reading.conditions.get("self_recorded"))
        why = reading.doubts[0] if reading.doubts else "the reading has no figure"
        why = why[:1].lower() + why[1:]
        return _Judged(_no(limit, rule, "self-recorded" if own else "not known", why, reading))
    if quantity.unit != limit.unit:
        return _Judged(
            _no(
                limit, rule, "unit",
                f"the reading is in {quantity.unit}, the sheet in {limit.unit}", reading,
            )
        )  # fmt: skip
    if reading.conditions.get("self_recorded") and reading.id.startswith("flutter."):
        return _Judged(judge_own_recording(limit, reading, quantity, rule))
    if reading.id == "flutter.indicated_peak":
        quantity = widened_by_wander(quantity, reading.spread)
    chance = chance_of(limit, reading.id, quantity)
    outcome = rule.outcome(chance)
    advice = bench.advice(limit, reading, quantity, outcome, rule)
    notes = needle_note(limit, reading, results, outcome)
    if quantity.u == 0:
        notes = (*notes, "No uncertainty was stated with the reading; it was taken as exact.")
    return _Judged(
        _verdict(
            limit, rule, reading, quantity, outcome, chance,
            words=bench.join(bench.outcome_words(outcome, chance), advice),
            advice=advice, notes=notes,
        )
    )  # fmt: skip


def chance_of(limit: Limit, quantity_id: str, quantity: Quantity) -> float:
    """Chance that the true value meets a limit."""
    return conformity_chance(quantity, limit.low, limit.high, from_zero=never_negative(quantity_id))


def _several_ways(limit: Limit, rule: DecisionRule, judged: Mapping[str, _Judged]) -> Verdict:
    """Judge an ambiguous limit: a common outcome of all candidates counts, else the question."""
    candidates = tuple(
        Candidate(
            id=verdict.id, method=verdict.method, channel=verdict.channel, value=verdict.value,
            unit=verdict.unit, u=verdict.u, outcome=verdict.outcome, chance=verdict.chance,
        )
        for verdict in (one.verdict for one in judged.values())
        if verdict.value is not None and verdict.u is not None and verdict.chance is not None
    )  # fmt: skip
    first = next(iter(judged.values())).verdict
    outcomes = {candidate.outcome for candidate in candidates}
    complete = len(limit.ids) > 1 and len(candidates) == len(limit.ids)
    if complete and len(outcomes) == 1 and outcomes <= {"meets", "does not meet"}:
        outcome = outcomes.pop()
        chances = [candidate.chance for candidate in candidates]
        chance = min(chances) if outcome == "meets" else max(chances)
        words = f"{bench.outcome_words(outcome, chance)}, by every method the sheet could mean"
        return bench.changed(
            first, outcome=outcome, chance=chance, words=bench.join(words, first.advice),
            candidates=candidates, notes=(),
        )  # fmt: skip
    each = "; ".join(
        f"{KINDS[candidate.id].name} {bench.outcome_words(candidate.outcome, candidate.chance)}"
        for candidate in candidates
    )
    words = bench.join("cannot be compared until the sheet's words are clear", each)
    return bench.changed(
        first, outcome="cannot be compared", reason="method open", chance=None,
        words=bench.join(words, limit.question), advice=limit.question, candidates=candidates,
        notes=(),
    )  # fmt: skip


def _tone_undecided(
    limit: Limit, rule: DecisionRule, reading: Result, results: Sequence[Result]
) -> Verdict:
    """Show the speed against each tone that fits; the tape's owner must say which it holds."""
    shown: list[str] = []
    for result in results:
        tone = result.conditions.get("tone_hz")
        same = (result.id, result.method, result.channel) == (
            reading.id, reading.method, reading.channel,
        )  # fmt: skip
        if same and result.quantity and isinstance(tone, float | int):
            shown.append(f"{result.quantity.value_text(signed=True)} % if it holds {tone:g} Hz")
    advice = "say with --tone which tone the tape holds"
    words = bench.join("cannot be compared until the tape is named", ", ".join(shown))
    return bench.changed(
        _no(limit, rule, "tape not named", words, reading),
        words=bench.join(words, advice), advice=advice,
    )  # fmt: skip


def _without_bound(limit: Limit, rule: DecisionRule, reading: Result) -> Verdict:
    told = (
        f"the sheet gives {limit.bound_text()} without a tolerance"
        if limit.bound_text()
        else ("the sheet gives no bound")
    )
    quantity = reading.quantity
    if quantity and limit.nominal:
        share = 100 * (quantity.value / limit.nominal - 1)
        way = "above" if share > 0 else "below"
        told += f"; the reading is {abs(share):.1f} % {way} it"
    verdict = _no(limit, rule, "no bound", told, reading)
    return bench.changed(verdict, advice=limit.question, words=bench.join(told, limit.question))


def _no(
    limit: Limit, rule: DecisionRule, reason: Reason, words: str, reading: Result | None = None
) -> Verdict:
    """Return the verdict 'cannot be compared'."""
    quantity = reading.quantity if reading else None
    if not words.startswith(("cannot be compared", "not measured")):
        words = f"cannot be compared: {words}"
    return Verdict(
        id=reading.id if reading else limit.ids[0],
        method=reading.method if reading else "",
        channel=reading.channel if reading else "",
        limit=limit,
        outcome="cannot be compared",
        reason=reason,
        rule=rule.words,
        words=words.rstrip("."),
        value=quantity.value if quantity else None,
        unit=quantity.unit if quantity else limit.unit,
        u=quantity.u if quantity else None,
    )


def _verdict(
    limit: Limit,
    rule: DecisionRule,
    reading: Result,
    quantity: Quantity,
    outcome: Outcome,
    chance: float,
    *,
    words: str,
    advice: str,
    notes: tuple[str, ...],
) -> Verdict:
    return Verdict(
        id=reading.id,
        method=reading.method,
        channel=reading.channel,
        limit=limit,
        outcome=outcome,
        chance=chance,
        rule=rule.words,
        words=words,
        advice=advice,
        notes=notes,
        value=quantity.value,
        unit=quantity.unit,
        u=quantity.u,
    )
