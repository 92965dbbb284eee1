"""`runstrue parts`: which part of a transport makes which flutter."""

from __future__ import annotations

import click

from runstrue.cli.bench import bench_option
from runstrue.cli.teach import ExampleCommand


@click.command(cls=ExampleCommand, short_help="Tell which part makes the flutter.")
@click.option("--line", "line", metavar="RATE", help="Of a deck that nobody described: '6.4 Hz'.")
@click.option("--speed", default="", metavar="SPEED", help="Of the tape: 4.76, '19.05 cm/s'.")
@click.option("--machine", type=click.Choice(("cassette", "open-reel")), help="With --line.")
@click.option("--capstan", metavar="SIZE", help="With --line: its diameter, where it is known.")
@click.option("--flywheel", metavar="SIZE", help="With --line: diameter where the belt runs.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@bench_option
def parts(
    line: str | None,
    speed: str,
    machine: str | None,
    capstan: str | None,
    flywheel: str | None,
    as_json: bool,
) -> None:
    """Tell which part makes the flutter.

    Of a deck that nobody described, which part of which size would make a line:
      runstrue parts --line "6.4 Hz"
      runstrue parts --line "3.79 Hz" --speed 9.53 --machine open-reel
    """
    from runstrue.cli.layout import out
    from runstrue.cli.parts_input import read_line
    from runstrue.cli.show_sizes import sizes_document, sizes_lines
    from runstrue.measure.parts.sizes import possible_parts

    if line is None:
        raise click.UsageError("Name a recording, a deck, or a line with --line '6.4 Hz'")
    asked = read_line(line, speed, machine, capstan, flywheel)
    found = possible_parts(asked.line, asked.speed, asked.machine, belt_ratio=asked.ratio)
    if as_json:
        click.echo(sizes_document(asked.line, asked.speed, asked.machine, found))
        return
    out(sizes_lines(asked.words, asked.speed, asked.machine, found))
