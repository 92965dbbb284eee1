"""Taking back, and the end of the search: what it was, and what that does to the next one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand

if TYPE_CHECKING:
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.faults.models import Cause


@click.command("back", cls=ExampleCommand, short_help="Take back what was said or seen.")
@click.argument("deck")
@click.argument("number", type=int)
@bench_option
@click.pass_context
def back(ctx: click.Context, deck: str, number: int) -> None:
    """Take back what was said or seen, by its number in the list; the logbook keeps both.

    runstrue fault back C-14 2
    """
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.cli.fault_list import evidence_lines, evidence_words
    from runstrue.cli.layout import out, wrapped

    held = FaultBench.open(ctx.ensure_object(Bench), deck)
    taken = held.take_back(number)
    out(wrapped(f"Taken back: {evidence_words(taken, held.knowledge)}."))
    out(evidence_lines(held.evidence, held.knowledge))


@click.command("none", cls=ExampleCommand, short_help="Say that it is none of these.")
@click.argument("deck")
@click.option("--words", default="", metavar="TEXT", help="What it was, if that is known.")
@bench_option
@click.pass_context
def none(ctx: click.Context, deck: str, words: str) -> None:
    """Say that it is none of the causes that are known here.

    runstrue fault none C-14 --words "a label had slipped under the reel"
    """
    from runstrue.cli.fault_bench import NONE_OF_THESE, FaultBench
    from runstrue.cli.layout import out

    held = FaultBench.open(ctx.ensure_object(Bench), deck)
    held.repaired(NONE_OF_THESE, words, None)
    out(none_lines(held, words))


@click.command("done", cls=ExampleCommand, short_help="Say what it was, when it is mended.")
@click.argument("deck")
@click.argument("cause")
@click.option(
    "--minutes",
    type=click.FloatRange(0, min_open=True),
    metavar="N",
    help="How long the work took.",
)
@click.option("--part", "parts", multiple=True, metavar="NAME", help="Used; several times.")
@click.option("--words", default="", metavar="TEXT", help="What was done.")
@click.option("--take-back", is_flag=True, help="It was told by a slip: the latest of this cause.")
@bench_option
@click.pass_context
def done(
    ctx: click.Context,
    deck: str,
    cause: str,
    minutes: float | None,
    parts: tuple[str, ...],
    words: str,
    take_back: bool,
) -> None:
    """Say what it was, when it is mended; the logbook keeps it and counts it.

    runstrue fault done C-14 main_belt_slack --minutes 40 --words "belt renewed"
    runstrue fault done C-14 main_belt_slack --take-back
    """
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.cli.fault_find import cause_named
    from runstrue.cli.layout import out

    held = FaultBench.open(ctx.ensure_object(Bench), deck)
    found = cause_named(cause, held.knowledge)
    if take_back:
        held.take_back_repair(found.id)
        out(f"Taken back: '{held.name}' had '{found.name}'. It counts no more.")
        return
    before = dict(held.own_counts)
    held.repaired(found.id, words, minutes, parts)
    out(done_lines(held, found, before))


def done_lines(held: FaultBench, cause: Cause, before: Mapping[str, int]) -> Iterator[str]:
    """Say what was kept, and how it moves the chances from now on."""
    from runstrue.cli.keep import quoted
    from runstrue.cli.layout import wrapped
    from runstrue.faults.infer import FaultFinder

    count = held.own_counts.get(cause.id, 0)
    times = "once" if count == 1 else f"{count} times"
    yield from wrapped(f"Kept: '{held.name}' had '{cause.name}'. This bench has met it {times}.")
    if held.settings.own_counts:
        was, now = (
            next(row.prior for row in FaultFinder(held.knowledge, counts).posterior(()).rows
                 if row.cause.id == cause.id)
            for counts in (dict(before), held.own_counts)
        )  # fmt: skip
        total = sum(held.own_counts.values())
        yield from wrapped(
            f"Before anything is said about a deck, its chance was {fine_words(was)} and is "
            f"{fine_words(now)} now, from {total} {'repair' if total == 1 else 'repairs'} here; "
            "runstrue fault settings --own-counts off leaves them out."
        )
    deck = quoted(held.name)
    yield from wrapped(
        f"Next: measure it again, runstrue measure after.flac --deck {deck} --stage left; the "
        "fault list follows. What was noticed stays in it until it is said to be gone, "
        f"runstrue fault say {deck} … --not."
    )


def none_lines(held: FaultBench, words: str) -> Iterator[str]:
    """Say what was kept, and what may help now."""
    from runstrue.cli.keep import quoted
    from runstrue.cli.layout import wrapped

    deck = quoted(held.name)
    yield from wrapped(
        f"Kept: '{held.name}' had none of the causes that are known here"
        + (f", but: {words}." if words else ".")
    )
    yield from wrapped(
        f"If it is still to be found: say more (runstrue fault say {deck} …), take back what was "
        f"not sure (runstrue fault back {deck} N), or measure it (runstrue measure … --deck "
        f"{deck}). A cause of your own can be added: a file in the folder 'faults' of the bench."
    )


def fine_words(chance: float) -> str:
    """Print a small chance with two figures, so that a small move is seen."""
    return f"{100 * chance:.2g} %"
