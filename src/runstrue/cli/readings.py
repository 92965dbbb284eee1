"""`runstrue reading`: put right what went into the logbook by a slip; nothing is deleted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.options import stage_option
from runstrue.cli.teach import ExampleGroup, show_group_help

if TYPE_CHECKING:
    from runstrue.logbook.models import CaptureRecord


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Put right what was stored by a slip; nothing is deleted.",
)
@bench_option
@click.pass_context
def reading(ctx: click.Context) -> None:
    """Put right what was stored by a slip; nothing is deleted.

      runstrue deck show C-14
      runstrue reading move 7 --stage left
      runstrue reading withdraw 8
      runstrue reading restore 8

    The numbers are those that deck show prints. A figure that was typed wrongly is entered anew:
      runstrue enter C-14 take-up 42±2 g·cm --stage found --replaces 8
    """
    show_group_help(ctx)


@reading.command("withdraw")
@click.argument("number", type=int)
@bench_option
@click.pass_context
def withdraw(ctx: click.Context, number: int) -> None:
    """Leave a reading out of lists, comparison and report; it stays in the logbook.

    runstrue reading withdraw 8
    """
    from runstrue.cli.fault_keep import keep_anew
    from runstrue.cli.layout import out, wrapped

    with ctx.ensure_object(Bench).open() as book:
        record = book.hide_capture(book.capture(number, curves=False))
        keep_anew(book, record)
    out(wrapped(f"{_named(record)} is left out of lists, comparison and report from now on."))
    out(f"It is kept: runstrue reading restore {number}")


@reading.command("restore")
@click.argument("number", type=int)
@bench_option
@click.pass_context
def restore(ctx: click.Context, number: int) -> None:
    """Bring a withdrawn reading back.

    runstrue reading restore 8
    """
    from runstrue.cli.fault_keep import keep_anew
    from runstrue.cli.layout import out, wrapped

    with ctx.ensure_object(Bench).open() as book:
        record = book.show_capture(book.capture(number, curves=False))
        keep_anew(book, record)
    out(wrapped(f"{_named(record)} counts again."))


@reading.command("move")
@click.argument("number", type=int)
@stage_option(required=False)
@click.option("--side", metavar="NAME", help="Of the cassette: A, B.")
@click.option("--well", metavar="NAME", help="Of a double deck: A, B.")
@click.option("--direction", metavar="NAME", help="Of an auto-reverse: forward.")
@bench_option
@click.pass_context
def move(ctx: click.Context, /, number: int, stage: str | None, **place: str | None) -> None:
    """Correct the stage, side, well or direction of a reading.

    runstrue reading move 7 --stage left
    runstrue reading move 7 --side B
    """
    from msgspec import structs

    from runstrue.cli.keep import STAGES
    from runstrue.cli.layout import out, wrapped

    changes: dict[str, str] = {name: value for name, value in place.items() if value is not None}
    if stage is not None:
        changes["stage"] = STAGES[stage]
    if not changes:
        raise click.UsageError("Name what to correct: --stage, --side, --well or --direction", ctx)
    with ctx.ensure_object(Bench).open() as book:
        before = book.capture(number, curves=False)
        record = book.correct_facts(before, structs.replace(before.facts, **changes))
    out(wrapped(f"{_named(record)}; before: {before.facts.stage}. The old words are kept."))


def _named(record: CaptureRecord) -> str:
    """Say which reading it is: 'Reading 7 (before.flac), as found, side A'."""
    what = record.file_name or ("typed in" if record.source == "typed" else record.source)
    facts = record.facts
    where = [facts.stage, *(f"{name} {value}" for name, value in _places(record) if value)]
    return f"Reading {record.id} ({what}), {', '.join(where)}"


def _places(record: CaptureRecord) -> tuple[tuple[str, str], ...]:
    facts = record.facts
    return (("well", facts.well), ("side", facts.side), ("direction", facts.direction))
