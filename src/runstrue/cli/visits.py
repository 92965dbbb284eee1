"""`runstrue visit`: one stay of a deck on the bench."""

from __future__ import annotations

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleGroup, show_group_help
from runstrue.errors import LogbookError


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Begin and end a deck's stay on the bench.",
)
@bench_option
@click.pass_context
def visit(ctx: click.Context) -> None:
    """Begin and end a deck's stay on the bench.

      runstrue visit begin C-14 --reason "plays flat and sways"
      runstrue visit note C-14 "New main belt; speed trimmed"
      runstrue visit end C-14

    Measuring with --deck begins a visit by itself where none is open.
    """
    show_group_help(ctx)


@visit.command("begin")
@click.argument("deck")
@click.option("--reason", default="", metavar="TEXT", help="Why it came, in the owner's words.")
@bench_option
@click.pass_context
def begin(ctx: click.Context, deck: str, reason: str) -> None:
    """Take a deck onto the bench.

    runstrue visit begin C-14 --reason "plays flat and sways"
    """
    from runstrue.cli.layout import out

    with ctx.ensure_object(Bench).open() as book:
        found = book.find_deck(deck)
        book.open_visit(found, reason)
    out(f"'{found.name}' is on the bench. Measure it as found before anything is touched.")


@visit.command("note")
@click.argument("deck")
@click.argument("text")
@click.option("--reason", metavar="TEXT", help="Why it came, written down anew.")
@bench_option
@click.pass_context
def note(ctx: click.Context, deck: str, text: str, reason: str | None) -> None:
    """Add what was done to the notes of the visit.

    runstrue visit note C-14 "New main belt; capstan and roller cleaned"
    """
    from runstrue.cli.layout import out, wrapped

    with ctx.ensure_object(Bench).open() as book:
        found = book.find_deck(deck)
        current = book.current_visit(found)
        if current is None:
            raise _not_here(found.name)
        notes = "\n".join(part for part in (current.notes, text.strip()) if part)
        kept = book.note_visit(
            current, reason=current.reason if reason is None else reason, notes=notes
        )
    for line in kept.notes.splitlines():
        out(wrapped(line, "  "))


@visit.command("end")
@click.argument("deck")
@bench_option
@click.pass_context
def end(ctx: click.Context, deck: str) -> None:
    """Hand a deck back.

    runstrue visit end C-14
    """
    from runstrue.cli.keep import quoted
    from runstrue.cli.layout import out

    with ctx.ensure_object(Bench).open() as book:
        found = book.find_deck(deck)
        current = book.current_visit(found)
        if current is None:
            raise _not_here(found.name)
        book.close_visit(current)
    out(f"'{found.name}' is off the bench. Next: runstrue report {quoted(found.name)}")


def _not_here(name: str) -> LogbookError:
    return LogbookError(
        f"The deck '{name}' is not on the bench", "a visit that is open is needed",
        "begin one: runstrue visit begin",
    )  # fmt: skip
