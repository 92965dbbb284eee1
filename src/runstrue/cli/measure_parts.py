"""Naming the parts in what `runstrue measure` reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.errors import RunstrueError

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.cli.keep import Keeper
    from runstrue.cli.measured import Done
    from runstrue.cli.parts_input import Drive
    from runstrue.runner import Judging


def drive_for(
    bench: Bench, named: Path | None, speed_cm_s: float | None, keeper: Keeper | None
) -> Drive | None:
    """Return what turns: as named, else as the deck is described; None where nobody said it.

    Raises
    ------
    DescriptionError
        When a file that was named cannot be used.
    """
    from runstrue.cli.parts_input import drive_of_deck, drive_of_file

    speed = "" if speed_cm_s is None else f"{speed_cm_s:g}"
    if named is not None:
        return drive_of_file(named, speed)
    if keeper is None:
        return None
    speeds = keeper.deck.speeds_cm_s
    cm_s = speed_cm_s or (speeds[0] if len(speeds) == 1 else None)
    try:
        with bench.open() as book:
            return drive_of_deck(book, keeper.deck, "", cm_s)
    except RunstrueError as error:  # nobody asked for it here: the readings matter more
        click.echo(f"{error} The parts are not named.", err=True)
        return None


def tell_parts(
    done: Sequence[Done], drive: Drive, played_s: float | None, judging: Judging
) -> None:
    """Add to each reading which part makes the flutter; where that fails, say why."""
    from runstrue.cli.parts_input import Heard
    from runstrue.cli.parts_work import look
    from runstrue.measure.parts.kept import results_to_keep

    for one in done:
        measured = one.measured
        if measured is None or measured.deviation is None:
            continue
        heard = Heard(one.path.name, measured.deviation, measured)
        try:
            looked = look(
                heard, drive, played_s=played_s, limits=judging.limits,
                conditions=judging.conditions,
            )  # fmt: skip
        except RunstrueError as error:
            said = f"Which part makes the flutter is not told: {str(error)[:1].lower()}"
            doubt = f"{said}{str(error)[1:]}"
            one.measured = replace(measured, doubts=(*measured.doubts, doubt))
            continue
        one.parts = looked
        results = results_to_keep(
            looked.attribution, looked.rounds, [remedy.what_if for remedy in looked.remedies]
        )
        one.measured = replace(
            measured,
            results=(*measured.results, *results),
            doubts=(*measured.doubts, *looked.attribution.doubts),
        )
