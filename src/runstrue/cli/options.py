"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from runstrue.cli.keep import STAGE_WORDS

Function = Callable[..., Any]


def place_options(function: Function) -> Function:
    """Add where on the deck a pass is made."""
    for option in reversed(
        (
            click.option("--well", default="", metavar="NAME", help="Of a double deck: A, B."),
            click.option("--side", default="", metavar="NAME", help="Of the cassette: A, B."),
            click.option(
                "--direction", default="", metavar="NAME", help="Of an auto-reverse: forward."
            ),
            click.option(
                "--speed", "speed_cm_s", type=float, metavar="CM/S", help="Where there are several."
            ),
            click.option(
                "--noise-reduction", default="", metavar="TYPE", help="off, B-type, C-type."
            ),
            click.option("--position", default="", metavar="WHERE", help="start, middle, end."),
            click.option("--remark", default="", metavar="TEXT", help="Kept with it."),
        )
    ):
        function = option(function)
    return function


def stage_option(*, required: bool) -> Callable[[Function], Function]:
    """Add the stage of the work."""
    return click.option(
        "--stage",
        type=click.Choice(STAGE_WORDS),
        required=required,
        help="As found, in between, or as left.",
    )
