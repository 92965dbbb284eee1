"""`runstrue sheet`: what a spec sheet is understood to say."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand
from runstrue.errors import LogbookError

if TYPE_CHECKING:
    from runstrue.verdict.models import Limit, Sheet


@click.command(cls=ExampleCommand, short_help="Show how the lines of a spec sheet are understood.")
@click.argument("texts", nargs=-1, metavar="[TEXT|FILE]...")
@click.option("--deck", metavar="NAME", help="Enter it for this deck; an earlier sheet is kept.")
@click.option("--source", default="", metavar="TEXT", help="Where the words come from.")
@bench_option
@click.pass_context
def sheet(ctx: click.Context, texts: tuple[str, ...], deck: str | None, source: str) -> None:
    """Show how the lines of a spec sheet are understood.

      runstrue sheet "Wow and flutter: 0.05 % (WRMS), ±0.14 % (DIN)"
      runstrue sheet c-14.txt --deck C-14 --source "owner's manual, page 27"
      runstrue sheet --deck C-14

    TEXT is typed or pasted as it stands, in English, German, French, Portuguese or Spanish; a
    dash reads it from standard input. With --deck alone, the sheet in force is shown.
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.cli.plan import read_sheets

    bench = ctx.ensure_object(Bench)
    if not texts:
        if deck is None:
            raise click.UsageError("The lines of a sheet, or --deck, are needed", ctx)
        out(_in_force(bench, deck))
        return
    if deck is not None:  # before anything is read: a misspelt name is told first
        with bench.open() as book:
            book.find_deck(deck)
    read = read_sheets([sys.stdin.read() if text == "-" else text for text in texts])
    out(sheet_lines(read))
    if deck is not None:
        with bench.open() as book:
            found = book.find_deck(deck)
            book.add_sheet(found, read, source)
        out("")
        out(wrapped(f"Entered as the sheet of '{found.name}'; it is in force from now on."))


def sheet_lines(sheet: Sheet) -> Iterator[str]:
    """Each figure as understood, what was assumed or must be asked, and what was not understood."""
    from runstrue.cli.layout import bold, wrapped

    for limit in sheet.limits:
        yield bold(" ".join(limit.words.split()))
        yield from _limit_lines(limit)
    if sheet.unread:
        yield bold("Not understood")
        for piece in sheet.unread:
            yield from wrapped(f"{' '.join(piece.words.split())}: {piece.why}", "    ", first="  ")


def _limit_lines(limit: Limit) -> Iterator[str]:
    from runstrue.cli.layout import wrapped

    for label, words in limit_facts(limit):
        yield from wrapped(words, " " * 15, first=f"  {label:<13}")


def limit_facts(limit: Limit) -> Iterator[tuple[str, str]]:
    """Say how one figure of a sheet is understood: labels and words, for terminal and page."""
    from runstrue.report.words import name_of, plain_value
    from runstrue.verdict.models import figure_text

    plus_minus = limit.unit == "%" and limit.ids[0].endswith("_peak")
    bound = limit.bound_text(plus_minus=plus_minus) or "no figure"
    if limit.unit in ("mN·m", "N") and limit.has_bound:  # converted: shown as short as a dial is
        ends = [plain_value(value) for value in (limit.low, limit.high) if value is not None]
        sign = "" if len(ends) == 2 else "≥ " if limit.high is None else "≤ "
        bound = f"{sign}{' to '.join(ends)} {limit.unit}"
    yield "means", " or ".join(name_of(quantity_id) for quantity_id in limit.ids)
    if limit.nominal is not None and limit.has_bound:
        bound += f", about {figure_text(limit.nominal)} {limit.unit}"
    if not limit.has_bound:
        bound += " (no bound is given, so it cannot decide)"
    yield "allows", bound
    if limit.notes:
        yield "names", ", ".join(limit.notes)
    if limit.conditions:
        yield "holds for", ", ".join(f"{name} {value}" for name, value in limit.conditions.items())
    if limit.question:
        yield "question" if limit.sure == "ambiguous" else "assumed", limit.question
    if limit.left_over:
        yield "left over", ", ".join(limit.left_over)


def _in_force(bench: Bench, deck: str) -> Iterator[str]:
    from runstrue.cli.layout import wrapped

    with bench.open() as book:
        found = book.find_deck(deck)
        sheets = book.sheets(found)
    if not sheets:
        raise LogbookError(
            f"The deck '{found.name}' has no sheet", "lines of a spec sheet are needed",
            'enter them: runstrue sheet "…" --deck NAME',
        )  # fmt: skip
    last = sheets[-1]
    if last.source:
        yield from wrapped(f"From {last.source}:")
    yield from sheet_lines(last.sheet)
