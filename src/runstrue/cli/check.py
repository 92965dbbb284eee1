"""`runstrue check`: whether the logbook is whole."""

from __future__ import annotations

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand


@click.command(cls=ExampleCommand, short_help="Look through the logbook for damage.")
@bench_option
@click.pass_context
def check(ctx: click.Context) -> int:
    """Look through the logbook for damage: every table, every recording.

    runstrue check
    """
    from runstrue.cli.layout import out, wrapped

    bench = ctx.ensure_object(Bench)
    with bench.open() as book:
        decks = book.decks(hidden=True)
        captures = [capture for deck in decks for capture in book.captures(deck, hidden=True)]
        findings = book.check()
    kept = sum(1 for capture in captures if capture.sha256)
    for finding in findings:
        click.echo(finding, err=True)
    what = ", ".join(
        f"{number} {word}{'' if number == 1 else 's'}"
        for number, word in ((len(decks), "deck"), (len(captures), "capture"), (kept, "recording"))
    )
    if findings:
        out(wrapped(f"{what}: {len(findings)} findings. Nothing was changed."))
        return 1
    out(wrapped(f"{what}: all whole. The logbook is in '{bench.folder}'."))
    return 0
