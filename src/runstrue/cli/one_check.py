"""Showing and keeping what a single check said, where no tone or programme was measured."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.result import Measured
    from runstrue.samples import Origin


def show_and_keep(
    bench: Bench,
    measured: Measured,
    *,
    path: Path,
    origin: Origin | None,
    deck: str | None,
    stage: str | None,
    remark: str,
    as_json: bool,
) -> None:
    """Print readings, or hand them to a script, and store them where a deck is named.

    Raises
    ------
    UsageError
        When only one of deck and stage is given.
    """
    from runstrue.cli.json_out import document
    from runstrue.cli.keep import Keeper, Place
    from runstrue.cli.layout import out, wrapped
    from runstrue.cli.measured import Done
    from runstrue.cli.show_kept import kept_lines
    from runstrue.cli.show_programme_readings import programme_reading_lines
    from runstrue.stimulus.testtape import CAUTIOUS

    if (deck is None) != (stage is None):
        raise click.UsageError("--deck and --stage go together")
    done = Done(str(path), path, origin, measured)
    keeper = records = None
    if deck is not None and stage is not None:
        keeper = Keeper(bench, deck, Place(stage, remark=remark))
        records = keeper.keep([done], CAUTIOUS, named_tape=False, own_sheet=False)
    if as_json:
        click.echo(document([done], None))
        return
    out(wrapped(measured.summary))
    out(programme_reading_lines(measured))
    for doubt in dict.fromkeys(doubt for one in measured.results for doubt in one.doubts):
        out(wrapped(doubt, "  "))
    if keeper is not None and records is not None:
        out(kept_lines(keeper, records))
