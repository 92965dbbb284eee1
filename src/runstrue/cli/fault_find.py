"""The engine, with what this deck's state and this bench's settings allow to be offered."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.faults.infer import FaultFinder
    from runstrue.faults.models import Cause, Check, Evidence, Knowledge
    from runstrue.faults.next_check import NextChecks

NOT_THROUGH = "it needs power, and the looks before power are not through"
PLENTY = 50
"""So many checks are ordered, so that enough are left when those that need power are left out."""


def finder_of(held: FaultBench) -> FaultFinder:
    """Return the engine for this bench: with its own repairs, unless they are turned off."""
    from runstrue.faults.infer import FaultFinder

    return FaultFinder(held.knowledge, held.own_counts if held.settings.own_counts else None)


def offered(
    held: FaultBench,
    finder: FaultFinder,
    tools: frozenset[str] | None = None,
    count: int = 3,
    without: Collection[str] = (),
) -> NextChecks:
    """Return the next best checks that this deck's state allows.

    As long as the looks before first power speak against it, only what is done unplugged is
    offered.
    """
    from runstrue.faults.next_check import HeldBack, NextChecks
    from runstrue.faults.read_intake import COLD

    found = finder.next_checks(
        held.evidence, tools if tools is not None else held.settings.tools, held.trained,
        count=PLENTY,
    )  # fmt: skip
    left = [one for one in found.suggestions if one.check.id not in without]
    if held.may_be_powered:
        return NextChecks(tuple(left[:count]), found.held_back)
    cold = tuple(one for one in left if one.check.power == COLD)
    warm = tuple(
        HeldBack(one.check, NOT_THROUGH, "looks before power", one.information_bits, one.worth_bits)
        for one in left[:count]
        if one.check.power != COLD
    )
    return NextChecks(cold[:count], (*warm, *found.held_back))


def check_named(text: str, knowledge: Knowledge) -> Check:
    """Return the check with this id.

    Raises
    ------
    InputError
        When there is none.
    """
    from runstrue.faults.lines import near

    if text in knowledge.checks:
        return knowledge.checks[text]
    raise InputError(
        f"There is no check '{text}'", near(text, knowledge.checks), "see runstrue fault next"
    )


def cause_named(text: str, knowledge: Knowledge) -> Cause:
    """Return the cause with this id.

    Raises
    ------
    InputError
        When there is none.
    """
    from runstrue.faults.lines import near

    if text in knowledge.causes:
        return knowledge.causes[text]
    raise InputError(
        f"There is no cause '{text}'", near(text, knowledge.causes), "see runstrue fault list --ids"
    )


def answer_of(check: Check, word: str) -> str:
    """Return the outcome's id that a word or a number stands for.

    Raises
    ------
    InputError
        When there is none.
    """
    from runstrue.faults.lines import near

    ids = [one.id for one in check.outcomes]
    if word in (*ids, "unknown"):
        return word
    if word.isdecimal() and 1 <= int(word) <= len(ids) + 1:
        return (*ids, "unknown")[int(word) - 1]
    seen, then = (
        (f"'{word}' is no outcome of '{check.id}'", near(word, ids))
        if word
        else (
            f"No outcome of '{check.id}' was named",
            f"runstrue fault explain {check.id} says what each means",
        )
    )
    raise InputError(seen, f"one of {', '.join((*ids, 'unknown'))} is needed", then)


def symptom_evidence(key: str, answer: str = "present") -> Evidence:
    """Return what a person noticed as evidence."""
    from runstrue.faults.models import Evidence

    return Evidence(kind="symptom", key=key, answer=answer)


def check_evidence(check: Check, answer: str) -> Evidence:
    """Return what a check showed as evidence."""
    from runstrue.faults.models import Evidence

    return Evidence(kind="check", key=check.id, answer=answer)


def seen_pairs(given: Sequence[str], knowledge: Knowledge) -> list[Evidence]:
    """Read 'check=outcome' pairs as evidence.

    Raises
    ------
    InputError
        When one of them is none.
    """
    found = []
    for one in given:
        key, equals, word = one.partition("=")
        if not (equals and word):
            raise InputError(f"'{one}' was given", "CHECK=OUTCOME is needed, such as ck_rails=low")
        check = check_named(key.strip(), knowledge)
        found.append(check_evidence(check, answer_of(check, word.strip())))
    return found
