"""`runstrue report`: the printed sheet, and the pictures."""

from __future__ import annotations

from pathlib import Path

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand


@click.command(
    cls=ExampleCommand, short_help="Write the printed sheet of a deck, and its pictures."
)
@click.argument("deck")
@click.option(
    "-o",
    "--out",
    "target",
    type=click.Path(path_type=Path),
    metavar="FILE.pdf",
    help="Where to; else the deck's name in this folder.",
)
@click.option(
    "--figures",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Write every figure as SVG, PNG and a 16:9 picture too.",
)
@click.option("--title", metavar="TEXT", help="Heading of the sheet.")
@bench_option
@click.pass_context
def report(
    ctx: click.Context, deck: str, target: Path | None, figures: Path | None, title: str | None
) -> None:
    """Write the printed sheet of a deck, and its pictures.

      runstrue report C-14
      runstrue report C-14 -o handed-over.pdf --figures pictures

    It is made from the logbook alone and can be made again at any time.
    """
    from runstrue.cli.keep import default_report
    from runstrue.cli.layout import out, wrapped
    from runstrue.errors import LogbookError

    if target is not None and target.suffix.lower() != ".pdf":
        raise click.UsageError(f"'{target}' does not end in .pdf", ctx)
    with ctx.ensure_object(Bench).open() as book:
        found = book.find_deck(deck)
        record = book.deck_record(found)
    if not record.captures:
        raise LogbookError(
            f"The deck '{found.name}' has no readings", "at least one is needed for a report",
            "runstrue measure FILE --deck NAME --stage found",
        )  # fmt: skip
    from runstrue.report.figures import write_figures
    from runstrue.report.printed import write_report

    written = write_report(record, target or default_report(found), title=title)
    out(wrapped(f"The sheet of '{found.name}' was written to '{written}'."))
    if figures is not None:
        pictures = write_figures(record, figures)
        out(wrapped(f"{len(pictures)} pictures were written to '{figures}'."))
