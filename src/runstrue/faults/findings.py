"""Readings and verdicts as evidence about faults.

The rules (`findings.yaml`) say which signs in the readings answer which check; this module looks
for the signs. A sign counts only where the reading is sure of it, with its own uncertainty: the
chance that the true value lies there is at least `sure_from` (JCGM 106:2012 clause 7). What is
not sure is no finding, and the check stays open.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from runstrue.catalogue import KINDS
from runstrue.faults.models import Evidence
from runstrue.faults.parts import PartShare, PartsSeen, see_parts
from runstrue.faults.read import read_knowledge
from runstrue.faults.rules import (
    PLACEHOLDER,
    Bound,
    PartSign,
    Rule,
    Rules,
    Sign,
    Test,
    read_rules,
)
from runstrue.faults.seen import Placed, Seen, seen_of
from runstrue.quantity import Quantity
from runstrue.result import Measured, Result
from runstrue.verdict.chance import conformity_chance, never_negative
from runstrue.verdict.models import Limit, Verdict


@dataclass(frozen=True, slots=True)
class Finding:
    """What readings say to one check.

    Parameters
    ----------
    evidence : Evidence
    results : tuple of Result
        The readings that it came from.
    points : bool
        Whether the outcome points to any cause; else it only clears some.
    """

    evidence: Evidence
    results: tuple[Result, ...]
    points: bool


def findings_of(
    measured: Measured,
    verdicts: Sequence[Verdict] = (),
    attribution: Sequence[Result] | None = None,
) -> tuple[Evidence, ...]:
    """Return the faults that readings speak of.

    Parameters
    ----------
    measured : Measured
        Of one pass, or typed readings.
    verdicts : sequence of Verdict
        On these readings, by the deck's own sheet.
    attribution : sequence of Result or None
        Which part makes how much of the flutter; else what `measured` holds of it.

    Returns
    -------
    tuple of Evidence
        At most one for each check, in the order of the rules; empty where nothing is amiss, or
        nothing sure. What readings clear is in `read_findings` besides.
    """
    found = read_findings(measured, verdicts, attribution)
    return tuple(one.evidence for one in found if one.points)


def read_findings(
    measured: Measured,
    verdicts: Sequence[Verdict] = (),
    attribution: Sequence[Result] | None = None,
    *,
    passes: Sequence[Placed] = (),
) -> tuple[Finding, ...]:
    """Return everything that readings say to checks: what they point to, and what they clear.

    Parameters
    ----------
    measured, verdicts, attribution
        As for `findings_of`.
    passes : sequence of (str, Measured)
        All passes of the visit in the order of time, this one last, each with its place on the
        tape ('start', 'middle', 'end', or empty): they tell what changes along a side.
    """
    looking = _Looking(measured, verdicts, attribution, read_rules(), passes)
    return tuple(one for check in looking.rules.checks() if (one := looking.at(check)))


def checks_read(measured: Measured, attribution: Sequence[Result] | None = None) -> tuple[str, ...]:
    """Return the checks that these readings could answer, if they were sure enough."""
    rules = read_rules()
    looking = _Looking(measured, (), attribution, rules)
    return tuple(
        check for check in rules.checks() if any(looking.has_all(rule) for rule in rules.of(check))
    )


class _Looking:
    """One set of readings, looked at by all rules."""

    def __init__(
        self,
        measured: Measured,
        verdicts: Sequence[Verdict],
        attribution: Sequence[Result] | None,
        rules: Rules,
        passes: Sequence[Placed] = (),
    ) -> None:
        self.rules = rules
        self.results = (*measured.results, *(attribution or ()))
        self.verdicts = verdicts
        self.parts = see_parts(self.results)
        self.passes = passes

    def at(self, check: str) -> Finding | None:
        """Answer one check by the first rule whose signs are all there."""
        for rule in self.rules.of(check):
            told = self._told(rule)
            if told is not None:
                return told
        return None

    def has_all(self, rule: Rule) -> bool:
        """Whether there are readings for all signs of a rule."""
        return all(
            self.parts is not None
            if isinstance(sign, PartSign)
            else bool(seen_of(self.results, sign, self.passes))
            for sign in rule.signs
        )

    def _told(self, rule: Rule) -> Finding | None:
        shown: list[Seen] = []
        parts: tuple[PartShare, ...] = ()
        for sign in rule.signs:
            if isinstance(sign, PartSign):
                found = self._parts(sign)
                if found is None:
                    return None
                parts += found
            else:
                seen = self._seen(sign)
                if not seen:
                    return None
                shown += seen
        results = tuple(
            dict.fromkeys(
                (*(one for seen in shown for one in seen.results),
                 *(one for part in parts for one in part.results))
            )
        )  # fmt: skip
        outcome = next(
            one for one in read_knowledge().checks[rule.check].outcomes if one.id == rule.outcome
        )
        evidence = Evidence(
            kind="check", key=rule.check, answer=rule.outcome,
            because=_sentence(rule.because, shown, parts),
        )  # fmt: skip
        return Finding(evidence, results, bool(outcome.points_to))

    def _parts(self, sign: PartSign) -> tuple[PartShare, ...] | None:
        """Return the parts that a sign speaks of; None where it is not sure."""
        if self.parts is None:
            return None
        chosen = self.parts.of_kinds(sign.kinds)
        bound = self._part_bound(sign.share)
        if sign.none:
            small = all(
                conformity_chance(one.peak, None, bound, from_zero=True) >= self.rules.sure_from
                for one in chosen
            )
            return chosen if small and self._rest_is_small(bound) else None
        large = tuple(
            one
            for one in chosen
            if conformity_chance(one.peak, bound, None, from_zero=True) >= self.rules.sure_from
            and sign.pattern in ("", one.pattern)
        )
        return large if len(large) >= sign.count else None

    def _rest_is_small(self, bound: float) -> bool:
        """Whether no line that is nobody's stands out either."""
        assert isinstance(self.parts, PartsSeen)
        return self.parts.unexplained_percent < bound

    def _part_bound(self, share: Bound) -> float:
        """Half of what the sheet allows all parts together, or the figure of the rule."""
        assert share.high is not None
        if share.sheet:
            for verdict in self.verdicts:
                if verdict.id == "flutter.weighted_peak" and verdict.limit.high is not None:
                    return verdict.limit.high / 2
        return share.high

    def _seen(self, sign: Sign) -> list[Seen]:
        """Return the readings that show a sign; empty where it is not sure."""
        offered = [
            one
            for one in seen_of(self.results, sign, self.passes)
            if one.quantity is not None or not sign.tests
        ]
        if not offered:
            return []
        holding = [one for one in offered if self._holds(sign, one)]
        if sign.on == "any":
            open_tone = any(one.results[0].conditions.get("tone_undecided") for one in offered)
            return [] if open_tone and holding != offered else holding[:1]
        by_side: dict[str, list[Seen]] = {}
        for one in offered:
            by_side.setdefault(one.channel, []).append(one)
        if sign.on == "every":
            return holding if all(any(one in holding for one in side) for side in
                                  by_side.values()) else []  # fmt: skip
        shown = [one for one in holding if one.channel in ("left", "right")]
        others = [one for one in offered if one.channel not in {shown_.channel for shown_ in shown}]
        alone = len({one.channel for one in shown}) == 1 and bool(others)
        return shown[:1] if alone and all(self._fails(sign, one) for one in others) else []

    def _holds(self, sign: Sign, seen: Seen) -> bool:
        return all(
            self._chance(sign, test, bound, seen) >= self.rules.sure_from
            for test, bound in sign.tests
        )

    def _fails(self, sign: Sign, seen: Seen) -> bool:
        """Whether a sign is surely not there."""
        return any(
            self._chance(sign, OPPOSITE[test], bound, seen) >= self.rules.sure_from
            for test, bound in sign.tests
            if test in OPPOSITE
        )

    def _chance(self, sign: Sign, test: Test, bound: Bound, seen: Seen) -> float:
        """Chance that a test is passed; 0.5 where nobody can tell."""
        if bound.sheet and sign.of == "value":
            limit = self._limit(seen.results[0].id)
            if limit is not None:
                return _chance_by(limit, test, seen)
        if bound.high is None:
            return 0.5
        low = bound.low if test == "between" else -bound.high
        return _chance_of(test, low, bound.high, seen)

    def _limit(self, quantity_id: str) -> Limit | None:
        """Return the line of the deck's sheet that speaks of this reading."""
        for verdict in self.verdicts:
            limit = verdict.limit
            told = verdict.id == quantity_id and verdict.chance is not None
            if told and limit.sure != "ambiguous" and (limit.low, limit.high) != (None, None):
                return limit
        return None


OPPOSITE: Mapping[Test, Test] = {
    "above": "below", "below": "above", "beyond": "within", "within": "beyond",
}  # fmt: skip


def _chance_by(limit: Limit, test: Test, seen: Seen) -> float:
    """Chance of a test by the deck's own sheet; a side that it leaves open is never crossed."""
    low, high = limit.low, limit.high
    if KINDS[seen.results[0].id].wanted in ("low", "high"):  # one bound parts good from bad
        low, high = (high if low is None else low), (low if high is None else high)
    if test == "above":
        return 0.0 if high is None else _chance_of(test, None, high, seen)
    if test == "below":
        return 0.0 if low is None else _chance_of(test, None, low, seen)
    return _chance_of(test, limit.low, limit.high, seen)


def _chance_of(test: Test, low: float | None, high: float | None, seen: Seen) -> float:
    """Chance that the true value passes a test, given the reading.

    A reading that cannot be negative is looked at with and without that knowledge, and the more
    careful chance counts: a vague count must not seem high only because it cannot be low.
    """
    at_least, at_most = (key in seen.results[0].conditions for key in ("at least", "at most"))
    if (at_least and test in ("below", "within", "between")) or (at_most and test == "above"):
        return 0.5  # the reading only says how far it goes at least, or at most
    quantity = seen.quantity
    assert quantity is not None
    zero = never_negative(seen.results[0].id) and quantity is seen.results[0].quantity

    def inside(low: float | None, high: float | None) -> float:
        return min(conformity_chance(quantity, low, high, from_zero=cut) for cut in {False, zero})

    if test == "above":
        return inside(high, None)
    if test == "below":
        return inside(None, high)
    if test == "beyond":  # on one side: a vague reading is not beyond both ends at once
        over = 0.0 if high is None else inside(high, None)
        under = 0.0 if low is None or zero else inside(None, low)
        return max(over, under)
    return inside(low, high)


def _sentence(because: str, shown: Sequence[Seen], parts: Sequence[PartShare]) -> str:
    """Fill a sentence with the readings that it speaks of."""
    words = dict(_words(shown))
    if "side" not in words:
        because = because.replace("the {side} channel", "one channel")
    if parts:
        words["part"] = _listed([f"{one.name} ±{_figure(one.peak)}" for one in parts])
    return PLACEHOLDER.sub(lambda found: words.get(found[1], "one"), because)


def _words(shown: Sequence[Seen]) -> Iterator[tuple[str, str]]:
    sides = list(dict.fromkeys(one.side for one in shown if one.side))
    if len(sides) == 1:
        yield "side", sides[0]
    for seen in reversed(shown):  # the first reading of an id is the one that is told
        if seen.quantity is None:
            continue
        first = seen.results[0]
        kind = KINDS[first.id]
        plain = seen.quantity is first.quantity
        if plain and kind.plus_minus:
            text = f"±{_figure(seen.quantity)}"
        else:
            signed = plain and kind.wanted == "near zero"
            text = _figure(seen.quantity, signed=signed)
        yield first.id, text


def _figure(quantity: Quantity, *, signed: bool = False) -> str:
    """Print a figure by its uncertainty, but with no more than three digits that count."""
    size = max(abs(quantity.value), 1e-9)
    decimals = min(quantity.decimals(), max(0, 2 - math.floor(math.log10(size))))
    text = quantity.value_text(signed=signed, decimals=decimals)
    return text + ("" if quantity.unit == "′" else " ") + quantity.unit


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
