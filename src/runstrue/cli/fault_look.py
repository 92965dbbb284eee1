"""Looking up symptoms, causes and checks; nothing is kept."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand
from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.faults.models import Knowledge, Symptom


@click.command("look", cls=ExampleCommand, short_help="Look up symptoms; nothing is kept.")
@click.argument("words", nargs=-1, required=True)
@click.option("--seen", multiple=True, metavar="CHECK=OUTCOME", help="What a check showed.")
@click.option("--tools", metavar="IDS", help="At hand, comma between them; or 'all'.")
@click.option("--why", is_flag=True, help="What spoke for and against each.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@bench_option
@click.pass_context
def look(
    ctx: click.Context,
    words: tuple[str, ...],
    seen: tuple[str, ...],
    tools: str | None,
    why: bool,
    as_json: bool,
) -> None:
    """Look up symptoms and what they point to; nothing is kept.

    Each of WORDS is one symptom, in your own words or by its id:
      runstrue fault look "plays too slow" "sways without rhythm"
      runstrue fault look plays_slow --seen ms_waver=slow_random --why
    """
    from runstrue.cli.fault_find import seen_pairs, symptom_evidence
    from runstrue.cli.fault_json import checks_plain, plain_document, ranking_plain
    from runstrue.cli.fault_list import next_lines, ranking_lines
    from runstrue.cli.fault_settings import tools_of
    from runstrue.cli.layout import bold, faint, out, wrapped
    from runstrue.faults.infer import FaultFinder
    from runstrue.faults.read import knowledge_of_bench

    knowledge = knowledge_of_bench(ctx.ensure_object(Bench).folder)
    taken = [taken_for(text, knowledge) for text in words]
    evidence = [
        *(symptom_evidence(symptoms[0].id) for symptoms in taken), *seen_pairs(seen, knowledge),
    ]  # fmt: skip
    finder = FaultFinder(knowledge)
    ranking = finder.posterior(evidence)
    at_hand = None if tools is None else tools_of(tools, knowledge)
    found = finder.next_checks(evidence, at_hand, trained_for_mains=False)
    if as_json:
        out(
            plain_document(
                understood=[[one.id for one in symptoms] for symptoms in taken],
                **ranking_plain(ranking), **checks_plain(found),
            )
        )  # fmt: skip
        return
    out(bold("Understood as"))
    for text, symptoms in zip(words, taken, strict=True):
        out(wrapped(f"{symptoms[0].name} ({symptoms[0].id})", "      ", first="  "))
        others = ", ".join(f"{one.name} ({one.id})" for one in symptoms[1:4])
        if others and text not in knowledge.symptoms:
            for line in wrapped(others, " " * 14, first="    or else: "):
                out(faint(line))
    out("")
    out(ranking_lines(ranking, knowledge, why=why, ids=True))
    out("")
    out(next_lines(found, knowledge))
    out("")
    out(wrapped("Nothing was kept. Cautions and the whole of it: runstrue fault explain ID; "
                "before a deck gets power: runstrue intake."))  # fmt: skip


@click.command("explain", cls=ExampleCommand, short_help="Explain a cause, a check, a symptom.")
@click.argument("what")
@bench_option
@click.pass_context
def explain(ctx: click.Context, what: str) -> None:
    """Explain a cause, a check, a symptom, a caution or a tool, by its id.

    runstrue fault explain main_belt_slack
    """
    from runstrue.cli.layout import out
    from runstrue.faults.read import knowledge_of_bench

    out(explain_lines(what, knowledge_of_bench(ctx.ensure_object(Bench).folder)))


def taken_for(text: str, knowledge: Knowledge) -> tuple[Symptom, ...]:
    """Return the symptoms that words may mean, the likest first.

    Raises
    ------
    InputError
        When nothing is like it.
    """
    from runstrue.faults.search import find_symptoms

    if text in knowledge.symptoms:
        return (knowledge.symptoms[text],)
    found = find_symptoms(text, knowledge)
    if not found:
        raise InputError(
            f"Nothing like '{text}' is known", "other words, or an id, are needed",
            "say what is heard or seen, such as 'one channel is dull'",
        )  # fmt: skip
    return tuple(one.symptom for one in found)


def explain_lines(what: str, knowledge: Knowledge) -> Iterator[str]:
    """Explain whatever has this id.

    Raises
    ------
    InputError
        When nothing has.
    """
    from runstrue.cli.fault_show import cause_lines, caution_lines, check_lines, symptom_lines
    from runstrue.faults.lines import near

    if what in knowledge.causes:
        yield from cause_lines(knowledge.causes[what], knowledge)
        yield from _found_by(what, knowledge)
    elif what in knowledge.checks:
        yield from check_lines(knowledge.checks[what], knowledge, numbered=False)
    elif what in knowledge.symptoms:
        yield from symptom_lines(knowledge.symptoms[what], knowledge)
    elif what in knowledge.cautions:
        yield from caution_lines([what], knowledge)
    elif what in knowledge.tools:
        yield knowledge.tools[what].name
    else:
        known: Sequence[str] = [*knowledge.causes, *knowledge.checks, *knowledge.symptoms]
        raise InputError(
            f"There is no cause, check or symptom '{what}'", near(what, known),
            "find one with runstrue fault look, or in the fault guide",
        )  # fmt: skip


def _found_by(cause: str, knowledge: Knowledge) -> Iterator[str]:
    """Which checks point to a cause."""
    from runstrue.cli.layout import wrapped

    names = [
        f"{one.name} ({one.id})"
        for one in knowledge.checks.values()
        if any(cause in outcome.points_to for outcome in one.outcomes)
    ]
    if names:
        yield from wrapped("; ".join(names), " " * 12, first="  Found by: ")
