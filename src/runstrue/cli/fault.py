"""`runstrue fault`: from what is noticed to what it is, check by check."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.fault_done import back, done, none
from runstrue.cli.fault_look import explain, look
from runstrue.cli.fault_settings import settings
from runstrue.cli.teach import ExampleCommand, ExampleGroup, show_group_help

if TYPE_CHECKING:
    from runstrue.cli.fault_bench import FaultBench

LOOKED_OVER = "Before anything is opened or powered: runstrue intake {deck}"


ORDER = (
    "talk", "say", "list", "next", "answer", "back", "done", "none", "look", "explain", "settings",
)  # fmt: skip


class DeckOrCommand(ExampleGroup):
    """A group in which a deck's name in a command's place opens the conversation about it."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the job."""
        return [name for name in ORDER if name in self.commands]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, or the conversation about the deck of this name.

        What is nearly a command's name is taken for a slip.
        """
        found = super().get_command(ctx, cmd_name)
        slip = difflib.get_close_matches(cmd_name, self.commands, n=1, cutoff=0.7)
        return found if found is not None or slip else talk_about(cmd_name)


@click.group(
    cls=DeckOrCommand,
    invoke_without_command=True,
    short_help="Find what is wrong with a deck, check by check.",
)
@bench_option
@click.pass_context
def fault(ctx: click.Context) -> None:
    """Find what is wrong with a deck, check by check.

    A conversation by numbers, kept in the logbook: stop, and go on tomorrow:
      runstrue intake C-14
      runstrue fault C-14

    The same in single steps:
      runstrue fault say C-14 "the motor runs, nothing turns"
      runstrue fault list C-14
      runstrue fault next C-14
      runstrue fault answer C-14 ck_look_belts slack
      runstrue fault back C-14 2
      runstrue fault done C-14 main_belt_slack --minutes 40

    With nothing kept, and what a cause or a check is about:
      runstrue fault look "one channel crackles"
      runstrue fault explain rec_switch

    What is measured with --deck joins the list by itself.
    """
    show_group_help(ctx)


@fault.command("talk", short_help="Go on with a deck, by numbers: fault DECK.")
@click.argument("deck")
@click.option("--ask", is_flag=True, help="Ask, though the answers come from a file or a pipe.")
@bench_option
@click.pass_context
def talk(ctx: click.Context, deck: str, ask: bool) -> None:
    """Go on with a deck, by numbers; the same as `runstrue fault DECK`.

    runstrue fault talk C-14
    """
    _talk(ctx, deck, ask)


def talk_about(deck: str) -> click.Command:
    """Return the conversation about one deck as a command of its own."""

    @click.command(deck, cls=ExampleCommand)
    @click.option("--ask", is_flag=True, help="Ask, though answers come from a file or a pipe.")
    @bench_option
    @click.pass_context
    def about(ctx: click.Context, ask: bool) -> None:
        """Go on with this deck, by numbers."""
        _talk(ctx, deck, ask)

    return about


def _talk(ctx: click.Context, deck: str, ask: bool) -> None:
    from runstrue.cli.fault_ask import Asking, asking
    from runstrue.cli.fault_talk import converse
    from runstrue.cli.layout import out

    held = _held(ctx, deck)
    _demand_intake(held)
    if ask or asking():
        converse(held, Asking())
    else:
        out(_standing(held, why=True))


@fault.command("say", short_help="Say what is noticed, in your own words.")
@click.argument("deck")
@click.argument("words")
@click.option("--not", "absent", is_flag=True, help="It is looked for, and is not so.")
@bench_option
@click.pass_context
def say(ctx: click.Context, deck: str, words: str, absent: bool) -> int:
    """Say what is noticed, in your own words or by a symptom's id.

    runstrue fault say C-14 "the motor runs, nothing turns"
    """
    from runstrue.cli.fault_find import symptom_evidence
    from runstrue.cli.fault_show import caution_lines, found_lines
    from runstrue.cli.keep import quoted
    from runstrue.cli.layout import out, wrapped
    from runstrue.faults.search import find_symptoms

    held = _held(ctx, deck)
    knowledge = held.knowledge
    found = find_symptoms(words, knowledge)
    if words in knowledge.symptoms:
        key = words
    elif found and is_plain([one.score for one in found]):
        key = found[0].symptom.id
    elif found:
        out("It may be one of these; say it again with the id behind the one that is meant:")
        out(found_lines(found))
        click.echo(f"Nothing was stored; '{words}' may mean several symptoms.", err=True)
        return 1
    else:
        from runstrue.errors import InputError

        raise InputError(
            f"Nothing like '{words}' is known", "other words, or an id, are needed",
            "say what is heard or seen, such as 'one channel is dull'",
        )  # fmt: skip
    symptom = knowledge.symptoms[key]
    held.see(symptom_evidence(key, "absent" if absent else "present"))
    out(caution_lines(symptom.cautions, knowledge))
    said = "Not so" if absent else "Noted"
    out(wrapped(f"{said}: {symptom.name} ({key}); runstrue fault back takes it back."))
    if not held.passed_intake:
        out(wrapped(LOOKED_OVER.format(deck=quoted(held.name))))
    return 0


@fault.command("answer", short_help="Say what a check showed.")
@click.argument("deck")
@click.argument("check")
@click.argument("outcome", default="")
@bench_option
@click.pass_context
def answer(ctx: click.Context, deck: str, check: str, outcome: str) -> None:
    """Say what a check showed; OUTCOME is its id, its number, or 'unknown'.

    runstrue fault answer C-14 ck_look_belts slack
    """
    from runstrue.cli.fault_find import answer_of, check_evidence, check_named
    from runstrue.cli.layout import out

    held = _held(ctx, deck)
    _demand_intake(held)
    found = check_named(check, held.knowledge)
    held.see(check_evidence(found, answer_of(found, outcome)))
    out(_standing(held, why=False))


@fault.command("list", short_help="Show what is known, and the likely causes.")
@click.argument("deck")
@click.option("--why", is_flag=True, help="What spoke for and against each.")
@click.option("--ids", is_flag=True, help="The ids by which causes are named.")
@click.option("--count", type=click.IntRange(1), default=5, show_default=True, metavar="N")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@bench_option
@click.pass_context
def list_faults(
    ctx: click.Context, deck: str, why: bool, ids: bool, count: int, as_json: bool
) -> None:
    """Show what is known about a deck, and the likely causes in order.

    runstrue fault list C-14 --why
    """
    from runstrue.cli.fault_find import finder_of
    from runstrue.cli.fault_json import document, ranking_plain
    from runstrue.cli.fault_list import evidence_lines, ranking_lines
    from runstrue.cli.fault_settings import own_counts_lines
    from runstrue.cli.layout import out

    held = _held(ctx, deck)
    ranking = finder_of(held).posterior(held.evidence)
    if as_json:
        out(document(held, **ranking_plain(ranking)))
        return
    out(_top(held))
    out(evidence_lines(held.evidence, held.knowledge))
    if held.evidence:
        out("")
        out(ranking_lines(ranking, held.knowledge, why=why, ids=ids, count=count))
    out(own_counts_lines(held))


@fault.command("next", short_help="Show the checks that tell most now.")
@click.argument("deck")
@click.option("--tools", metavar="IDS", help="At hand today, comma between them; or 'all'.")
@click.option("--count", type=click.IntRange(1), default=3, show_default=True, metavar="N")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@bench_option
@click.pass_context
def next_check(ctx: click.Context, deck: str, tools: str | None, count: int, as_json: bool) -> None:
    """Show the checks that tell most per minute and per risk.

    runstrue fault next C-14 --tools multimeter,lamp_and_magnifier
    """
    from runstrue.cli.fault_find import finder_of, offered
    from runstrue.cli.fault_json import checks_plain, document
    from runstrue.cli.fault_list import next_lines
    from runstrue.cli.fault_settings import tools_of
    from runstrue.cli.fault_show import check_lines
    from runstrue.cli.layout import out

    held = _held(ctx, deck)
    _demand_intake(held)
    at_hand = None if tools is None else tools_of(tools, held.knowledge)
    found = offered(held, finder_of(held), at_hand, count)
    if as_json:
        out(document(held, **checks_plain(found)))
        return
    out(_top(held))
    out(next_lines(found, held.knowledge))
    if found.suggestions:
        first = found.suggestions[0]
        out("")
        out(check_lines(first.check, held.knowledge, why=first.why, numbered=False))
        out("")
        out(f"Then: runstrue fault answer {_quoted(held)} {first.check.id} OUTCOME")


for _command in (back, none, done, look, explain, settings):
    fault.add_command(_command)


PLAIN_SCORE, PLAIN_LEAD = 0.7, 0.15
"""What was said is taken for a symptom without asking when it is so like it, and so much liker
than the next (own choice; tried on the phrases of the tests)."""


def is_plain(scores: list[float]) -> bool:
    """Whether the likest of several symptoms is plainly meant."""
    return scores[0] >= PLAIN_SCORE and (len(scores) < 2 or scores[0] - scores[1] >= PLAIN_LEAD)


def _held(ctx: click.Context, deck: str) -> FaultBench:
    from runstrue.cli.fault_bench import FaultBench

    return FaultBench.open(ctx.ensure_object(Bench), deck)


def _quoted(held: FaultBench) -> str:
    from runstrue.cli.keep import quoted

    return quoted(held.name)


def _demand_intake(held: FaultBench) -> None:
    """Refuse to begin before the looks that come before power were gone through."""
    from runstrue.errors import InputError

    if not held.passed_intake:
        raise InputError(
            f"'{held.name}' was not looked over before power on this visit",
            "that comes before any fault-finding",
            f"runstrue intake {_quoted(held)}; with --running where it was already running here",
        )


def _top(held: FaultBench) -> Iterator[str]:
    """Which deck, and what has to come first."""
    from runstrue.cli.layout import bold, tinted, wrapped
    from runstrue.faults.intake import intake_closing

    yield bold(held.name)
    if not held.passed_intake:
        text = LOOKED_OVER.format(deck=_quoted(held))
    elif not held.may_be_powered:
        text = intake_closing(held.intake) + f" See runstrue intake {_quoted(held)}."
    else:
        text = ""
    for line in wrapped(text, "    ", first="  ! ") if text else ():
        yield tinted(line, "yellow")


def _standing(held: FaultBench, *, why: bool) -> Iterator[str]:
    from runstrue.cli.fault_find import finder_of, offered
    from runstrue.cli.fault_list import evidence_lines, next_lines, ranking_lines

    finder = finder_of(held)
    yield from _top(held)
    yield from evidence_lines(held.evidence, held.knowledge)
    if not held.evidence:
        yield f'Next: runstrue fault say {_quoted(held)} "what is heard or seen"'
        return
    yield ""
    yield from ranking_lines(finder.posterior(held.evidence), held.knowledge, why=why)
    yield ""
    yield from next_lines(offered(held, finder), held.knowledge)
