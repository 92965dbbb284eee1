"""The knowledge held against its own rules: on load, and for its makers.

`validate` refuses what would mislead: an id that leads nowhere, a risky step without a caution,
an outcome that speaks for and against the same cause. `gaps` tells what is merely incomplete: a
cause that no check reaches, a figure without a basis. The knowledge that comes along has none;
a test holds it to that.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import msgspec

from runstrue.faults.counts import groups
from runstrue.faults.lines import Piece, near
from runstrue.faults.models import Cause, Check, Knowledge, Outcome, Symptom

COLD = "off, unplugged"
MAINS = "on, open, mains side reachable"
_FIGURE = re.compile(r"\d|\b(?:two|three|four|five|six|ten|twenty|half a) "
                     r"(?:mm|per cent|degrees|volts)")  # fmt: skip

Places = dict[tuple[str, str], Piece]


@dataclass(frozen=True, slots=True)
class Reference:
    """An id that was named, and where."""

    kind: str
    key: str
    place: Piece


def additions(
    knowledge: Knowledge,
    symptoms: Sequence[tuple[Piece, Symptom]],
    outcomes: Sequence[tuple[Piece, str, Outcome]],
    places: Places,
) -> Knowledge:
    """Return the knowledge with what the user's own files add to symptoms and outcomes."""
    of_symptoms = dict(knowledge.symptoms)
    for place, more in symptoms:
        _exists("symptom", more.id, of_symptoms, place)
        of_symptoms[more.id] = _with_more(of_symptoms[more.id], more, place)
    of_checks = dict(knowledge.checks)
    for place, check_id, more_seen in outcomes:
        _exists("check", check_id, of_checks, place)
        of_checks[check_id] = _with_pointers(of_checks[check_id], more_seen, place)
    return msgspec.structs.replace(knowledge, symptoms=of_symptoms, checks=of_checks)


def validate(knowledge: Knowledge, references: Sequence[Reference], places: Places) -> None:
    """Refuse what would mislead.

    Raises
    ------
    DescriptionError
        The first slip, in one sentence with file and line.
    """
    known: dict[str, Mapping[str, object]] = {
        "symptom": knowledge.symptoms,
        "cause": knowledge.causes,
        "check": knowledge.checks,
        "caution": knowledge.cautions,
        "tool": knowledge.tools,
        "source": knowledge.sources,
    }
    for one in references:
        _exists(one.kind, one.key, known[one.kind], one.place)
    for symptom in knowledge.symptoms.values():
        _symptom(symptom, knowledge, places["symptom", symptom.id])
    for cause in knowledge.causes.values():
        _cause(cause, places["cause", cause.id])
    for check in knowledge.checks.values():
        _check(check, knowledge, places["check", check.id])


def gaps(knowledge: Knowledge) -> tuple[str, ...]:
    """Tell what is incomplete, one sentence each.

    Returns
    -------
    tuple of str
        A cause that no check points to, a cause of a symptom that none of the symptom's own
        checks points to, a check that no symptom names, a figure without a basis.
    """
    return tuple(_gaps(knowledge))


def _gaps(knowledge: Knowledge) -> Iterator[str]:
    reach = {
        check.id: {cause for outcome in check.outcomes for cause in outcome.points_to}
        for check in knowledge.checks.values()
    }
    reached = set().union(*reach.values())
    linked = {link.cause for one in knowledge.symptoms.values() for link in one.causes}
    for cause in knowledge.causes.values():
        if cause.id not in reached:
            yield f"No check points to the cause '{cause.id}'."
        if cause.id not in linked:
            yield f"No symptom leads to the cause '{cause.id}'."
        if _FIGURE.search(cause.remedy) and not cause.basis:
            yield f"The cause '{cause.id}' names a figure without a basis."
    named = {check for one in knowledge.symptoms.values() for check in one.checks}
    for check in knowledge.checks.values():
        if check.id not in named:
            yield f"No symptom names the check '{check.id}'."
        words = " ".join((check.how, *(outcome.see for outcome in check.outcomes)))
        if _FIGURE.search(words) and not check.basis:
            yield f"The check '{check.id}' names a figure without a basis."
    for symptom in knowledge.symptoms.values():
        own: set[str] = set().union(*(reach[check] for check in symptom.checks))
        for link in symptom.causes:
            if link.cause not in own:
                yield f"No check of the symptom '{symptom.id}' points to '{link.cause}'."
        if _FIGURE.search(symptom.name) and not symptom.basis:
            yield f"The symptom '{symptom.id}' names a figure without a basis."
    for caution in knowledge.cautions.values():
        if _FIGURE.search(caution.text) and not caution.basis:
            yield f"The caution '{caution.id}' names a figure without a basis."


def _exists(kind: str, key: str, known: Mapping[str, object], place: Piece) -> None:
    if key not in known:
        raise place.refused(
            f"There is no {kind} '{key}'",
            f"the id of a {kind} that is described is needed",
            near(key, list(known)) or "describe it, or correct the id",
        )


def _symptom(symptom: Symptom, knowledge: Knowledge, place: Piece) -> None:
    if not symptom.causes:
        raise place.refused(f"The symptom '{symptom.id}' has no cause", "at least one is needed")
    for key in symptom.cold_checks_before_power:
        if key not in symptom.checks:
            raise place.refused(
                f"The symptom '{symptom.id}' wants '{key}' before power, but not among its checks",
                "it has to stand in both lists",
            )
        if knowledge.checks[key].power != COLD:
            raise place.refused(
                f"The symptom '{symptom.id}' wants '{key}' before power, which needs power",
                f"a check that is done '{COLD}' is needed",
            )


def _cause(cause: Cause, place: Piece) -> None:
    if cause.prior_group and cause.prior_group not in groups():
        raise place.refused(
            f"The cause '{cause.id}' takes its prior from '{cause.prior_group}'",
            f"one of {', '.join(groups())} is needed",
            near(cause.prior_group, groups()),
        )
    if {"medium", "high"} & {cause.risk.electrical, cause.risk.mechanical} and not cause.cautions:
        raise place.refused(
            f"The work on '{cause.id}' is risky, but has no caution",
            "at least one caution is needed where a risk is medium or high",
        )


def _check(check: Check, knowledge: Knowledge, place: Piece) -> None:
    seen: set[str] = set()
    if len(check.outcomes) < 2:
        raise place.refused(
            f"The check '{check.id}' can only come out one way", "two outcomes are needed"
        )
    for outcome in check.outcomes:
        if outcome.id in seen or outcome.id == "unknown":
            raise place.refused(
                f"The check '{check.id}' has the outcome '{outcome.id}' twice"
                if outcome.id in seen
                else f"The check '{check.id}' has an outcome 'unknown'",
                "another id is needed",
            )
        seen.add(outcome.id)
        if both := set(outcome.points_to) & set(outcome.makes_unlikely):
            raise place.refused(
                f"The outcome '{outcome.id}' of '{check.id}' speaks for and against "
                f"'{min(both)}'", "one of the two is needed",
            )  # fmt: skip
    if check.measures and not check.measures.startswith("runstrue "):
        raise place.refused(
            f"The check '{check.id}' measures by '{check.measures}'",
            "a command that starts with 'runstrue' is needed",
        )
    risky = {"medium", "high"} & {check.risk.electrical, check.risk.mechanical}
    if (risky or check.power.startswith("on, open")) and not check.cautions:
        raise place.refused(
            f"The check '{check.id}' is risky, but has no caution",
            "at least one caution is needed where a risk is medium or high, or the deck is open "
            "with power on",
        )
    kinds = {knowledge.cautions[key].kind for key in check.cautions}
    live = check.power.startswith("on, open")
    if (live or check.risk.electrical in {"medium", "high"}) and "electrical" not in kinds:
        raise place.refused(
            f"The check '{check.id}' has an electrical risk, but no electrical caution",
            "one is needed where a risk is medium or high, or the deck is open with power on",
        )
    if check.power == MAINS and check.risk.electrical != "high":
        raise place.refused(
            f"The check '{check.id}' is done with the mains side reachable, but its electrical "
            f"risk is '{check.risk.electrical}'", "'high' is needed",
        )  # fmt: skip


def _with_more(symptom: Symptom, more: Symptom, place: Piece) -> Symptom:
    had = {link.cause for link in symptom.causes}
    if twice := had & {link.cause for link in more.causes}:
        raise place.refused(
            f"The symptom '{symptom.id}' leads to '{min(twice)}' already", "remove it here"
        )
    return msgspec.structs.replace(
        symptom,
        said=(*symptom.said, *more.said),
        causes=(*symptom.causes, *more.causes),
        checks=(*symptom.checks, *(key for key in more.checks if key not in symptom.checks)),
    )


def _with_pointers(check: Check, more: Outcome, place: Piece) -> Check:
    ids = [outcome.id for outcome in check.outcomes]
    if more.id not in ids:
        raise place.refused(
            f"The check '{check.id}' has no outcome '{more.id}'",
            f"one of {', '.join(ids)} is needed",
            near(more.id, ids),
        )
    outcomes = tuple(
        msgspec.structs.replace(
            outcome,
            points_to=_joined(outcome.points_to, more.points_to),
            makes_unlikely=_joined(outcome.makes_unlikely, more.makes_unlikely),
        )
        if outcome.id == more.id
        else outcome
        for outcome in check.outcomes
    )
    return msgspec.structs.replace(check, outcomes=outcomes)


def _joined(first: tuple[str, ...], second: tuple[str, ...]) -> tuple[str, ...]:
    return (*first, *(key for key in second if key not in first))
