"""The fault list: what is noticed, what it can be and why, what to look at next, what it was."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.requests import Request

from runstrue.errors import InputError
from runstrue.web.fault_words import cautions_of
from runstrue.web.job_card import about
from runstrue.web.paging import Form, Told, acting, bench_of, deck_path

if TYPE_CHECKING:
    from runstrue.cli.fault_bench import FaultBench

SHOWN = 5


def standing(request: Request) -> dict[str, Any]:
    """Where fault-finding on this deck stands."""
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.cli.fault_find import finder_of, offered
    from runstrue.cli.fault_list import BASIS, evidence_words, shown_rows
    from runstrue.cli.fault_show import chance_words, minutes_words, tool_words

    told = about(request, "faults")
    held = FaultBench.open(bench_of(request), request.path_params["deck"])
    finder, knowledge = finder_of(held), held.knowledge
    ranking = finder.posterior(held.evidence)
    skipped = request.query_params.getlist("other")
    found = offered(held, finder, without=skipped) if held.evidence else None
    seen: set[str] = set()
    checks = [
        {"one": one, "beside": f"{minutes_words(one.minutes)}; {one.check.power}",
         "cautions": cautions_of(one.check.cautions, knowledge, seen),
         "tools": tool_words(one.check.tools, knowledge) if one.check.tools else ""}
        for one in (found.suggestions if found else ())
    ]  # fmt: skip
    return {
        **told, "held": held, "words": evidence_words, "knowledge": knowledge,
        "evidence": [
            {"number": number, "words": evidence_words(one.evidence, knowledge)}
            for number, one in enumerate(held.records, 1) if _known(one.evidence, held)
        ],
        "rows": [_row(row, held, seen) for row in shown_rows(ranking, SHOWN)],
        "nobodys": chance_words(ranking.none_of_these) if ranking.suspects else "",
        "conflicts": [one.words for one in ranking.conflicts], "basis": BASIS,
        "checks": checks, "held_back": _held_back(found), "sought": _sought(request, held),
        "skipped": skipped, "repairs": [
            {"repair": one, "name": knowledge.causes[one.cause].name
             if one.cause in knowledge.causes else one.cause}
            for one in held.repairs
        ],
    }  # fmt: skip


def _known(evidence: Any, held: FaultBench) -> bool:
    from runstrue.cli.fault_bench import is_known

    return is_known(evidence, held.knowledge)


def _row(row: Any, held: FaultBench, seen: set[str]) -> dict[str, Any]:
    from runstrue.cli.fault_list import chance_of, rests_on, short_words
    from runstrue.cli.fault_show import risk_words, tool_words

    knowledge, cause = held.knowledge, row.cause
    low, high = cause.effort_min
    return {
        "row": row, "cause": cause, "chance": chance_of(row), "percent": round(100 * row.chance),
        "rests": rests_on(row), "effort": f"{low:g} to {high:g} min, parts to hand",
        "spoke": [
            (word, [f"{short_words(one.evidence, knowledge)} ({one.strength})" for one in spokes])
            for word, spokes in (("for", row.for_), ("against", row.against)) if spokes
        ],
        "cautions": cautions_of(cause.cautions, knowledge, seen),
        "tools": tool_words(cause.tools, knowledge) if cause.tools else "",
        "risk": risk_words(cause.risk),
    }  # fmt: skip


def _held_back(found: Any) -> list[str]:
    """Say what was held back, and why: one sentence a reason."""
    from runstrue.cli.fault_list import HELD_BACK

    by_reason: dict[str, list[str]] = {}
    for one in found.held_back if found else ():
        by_reason.setdefault(HELD_BACK.get(one.kind, one.reason), []).append(one.check.name)
    return [
        f"Not offered, {reason}: {'; '.join(names[:3])}"
        + (f"; and {len(names) - 3} more." if len(names) > 3 else ".")
        for reason, names in by_reason.items()
    ]


def _sought(request: Request, held: FaultBench) -> list[Any]:
    """Symptoms that what was typed may mean."""
    words = request.query_params.get("said", "")[:300]
    if not words.strip():
        return []
    from runstrue.faults.search import find_symptoms

    return [one.symptom for one in find_symptoms(words, held.knowledge)][:6]


def act(request: Request, form: Form) -> Told:
    """Say something, answer a check, take something back, or say what it was."""
    from runstrue.cli.fault_bench import NONE_OF_THESE, FaultBench
    from runstrue.cli.fault_done import done_lines, none_lines
    from runstrue.cli.fault_find import (
        answer_of,
        cause_named,
        check_evidence,
        check_named,
        symptom_evidence,
    )

    name = request.path_params["deck"]
    here = deck_path(name, "faults")
    held = FaultBench.open(bench_of(request), name)
    what = form.text("what", 20)
    if what == "say":
        return _say(held, form, here)
    if what in ("symptom", "absent"):
        key = form.text("symptom", 80)
        if key not in held.knowledge.symptoms:
            raise InputError("No symptom was picked", "one of the list is needed")
        held.see(symptom_evidence(key, "present" if what == "symptom" else "absent"))
        return Told(here, f"Noted: {held.knowledge.symptoms[key].name}.")
    if what == "back":
        held.take_back(form.whole("number") or 0)
        return Told(here, "Taken back.")
    if what == "answer":
        if not held.passed_intake:
            raise InputError(
                "The looks before power are not through", "they come before any check",
                "answer them on the page Intake",
            )  # fmt: skip
        check = check_named(form.text("check", 80), held.knowledge)
        held.see(check_evidence(check, answer_of(check, form.text("outcome", 80))))
        return Told(here)
    if what == "none":
        held.repaired(NONE_OF_THESE, form.text("words", 500), None)
        return Told(here, " ".join(" ".join(none_lines(held, form.text("words", 500))).split()))
    if what == "done":
        cause = cause_named(form.text("cause", 80), held.knowledge)
        before = dict(held.own_counts)
        parts = [one.strip() for one in form.text("parts", 300).split(",") if one.strip()]
        held.repaired(cause.id, form.text("words", 500), form.number("minutes"), parts)
        lines = " ".join(" ".join(done_lines(held, cause, before)).split())
        return Told(here, lines.partition(" Next: measure")[0])
    if what == "undone":
        held.take_back_repair("", form.whole("repair") or 0)
        return Told(here, "Taken back; it counts no more.")
    raise InputError("Nothing was picked", "a button of the page is needed")


def _say(held: FaultBench, form: Form, here: str) -> Told:
    """Take what was noticed in the user's own words; ask back where it may mean several things."""
    from urllib.parse import quote

    from runstrue.cli.fault import is_plain
    from runstrue.cli.fault_find import symptom_evidence
    from runstrue.faults.search import find_symptoms

    words = form.text("words", 300)
    found = find_symptoms(words, held.knowledge) if words else ()
    if not found:
        raise InputError(
            f"Nothing like '{words}' is known", "other words are needed",
            "say what is heard or seen, such as 'one channel is dull'",
        )  # fmt: skip
    if is_plain([one.score for one in found]):
        symptom = found[0].symptom
        held.see(symptom_evidence(symptom.id))
        return Told(here, f"Noted: {symptom.name}.")
    return Told(f"{here}?said={quote(words)}#meant")


ROUTES = acting("/decks/{deck}/faults", "faults.html", standing, act)
