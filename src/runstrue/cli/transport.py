"""`runstrue transport`: what turns in a deck, and how fast."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleGroup, show_group_help
from runstrue.errors import FileError, InputError

if TYPE_CHECKING:
    from runstrue.transport.description import Transport
    from runstrue.transport.rates import Study


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Describe what turns in a deck, and how fast it does.",
)
@bench_option
@click.pass_context
def transport(ctx: click.Context) -> None:
    """Describe what turns in a deck, and how fast it does.

      runstrue transport new c14.toml --capstan "2.40 mm" --flywheel "60 mm"
      runstrue transport show c14.toml
      runstrue transport rates c14.toml
      runstrue transport draw c14.toml -o c14.svg
      runstrue transport keep c14.toml --deck C-14

    Whatever is not known can stay so: what follows from the rest is worked out. Look at six
    invented transports with `runstrue transport examples`.
    """
    show_group_help(ctx)


def source_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add where the transport comes from, and which of its speeds is meant."""
    for option in (
        click.option("--deck", metavar="NAME", help="The deck's own, of the logbook."),
        click.option("--speed", default="", metavar="NAME", help="Where there are several."),
        click.argument("file", type=click.Path(path_type=Path), required=False),
    ):
        function = option(function)
    return bench_option(function)


@transport.command("new")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--name", default="a transport", metavar="TEXT", help="In words.")
@click.option("--deck", default="", metavar="NAME", help="The deck that it belongs to.")
@click.option("--speed", default="4.76 cm/s", metavar="SIZE", help="Of the tape: 4.76 cm/s.")
@click.option("--capstan", default="unknown", metavar="SIZE", help="Its diameter: 2.40±0.02 mm.")
@click.option("--flywheel", default="unknown", metavar="SIZE", help="Diameter where the belt runs.")
@click.option("--motor-pulley", default="unknown", metavar="SIZE", help="Likewise.")
@click.option("--motor-speed", default="unknown", metavar="RATE", help="2400 rpm.")
@click.option("--belt-length", default="unknown", metavar="SIZE", help="On the deck.")
@click.option("--belt-thickness", default="unknown", metavar="SIZE")
@click.option("--roller", default="unknown", metavar="SIZE", help="Diameter of the pinch roller.")
@click.option("--tape", default="C90", show_default=True, metavar="NAME")
def new(file: Path, **given: str) -> None:
    """Write a description to fill in, with a remark beside every line.

      runstrue transport new c14.toml
      runstrue transport new c14.toml --capstan "2.40 mm" --flywheel "60 mm"

    A size needs its unit; ± says what it surely lies within. What is not said stays 'unknown'.
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.report.files import write_whole
    from runstrue.transport.read import parse_transport
    from runstrue.transport.simple import simple_text

    _refuse_existing(file)
    text = simple_text(**given)
    parse_transport(text, str(file))
    write_whole(file, text.encode())
    out(wrapped(f"Written to '{file}'. Fill in what you know with any text editor, then:"))
    out(f"  runstrue transport show {file}")


@transport.command("show")
@source_options
def show(file: Path | None, deck: str | None, speed: str) -> None:
    """Show what is known, what follows, and what does not agree.

    runstrue transport show c14.toml
    runstrue transport show --deck C-14
    """
    from runstrue.cli.layout import out
    from runstrue.cli.show_transport import study_lines

    for number, study in enumerate(_studies(file, deck, speed)):
        if number:
            out("")
        out(study_lines(study))


@transport.command("rates")
@source_options
@click.option("--speed-error", type=float, default=0.0, metavar="%", help="As measured: −0.3.")
@click.option("--played", type=float, metavar="MIN", help="So much of the tape has gone by.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
def rates(
    file: Path | None,
    deck: str | None,
    speed: str,
    speed_error: float,
    played: float | None,
    as_json: bool,
) -> None:
    """Show how fast every part turns, with what it lies within.

      runstrue transport rates c14.toml
      runstrue transport rates c14.toml --speed-error -0.8 --played 12

    Hubs turn more slowly as their pack grows: at the start, the middle and the end of the tape,
    or with so much of it played.
    """
    from runstrue.cli.layout import out
    from runstrue.cli.show_transport import rates_document, rates_lines

    studies = list(_studies(file, deck, speed))
    if as_json:
        click.echo(rates_document(studies, speed_error, played))
        return
    for number, study in enumerate(studies):
        if number:
            out("")
        out(rates_lines(study, speed_error, played))


@transport.command("draw")
@source_options
@click.option("-o", "--out", "target", type=click.Path(path_type=Path), required=True,
              metavar="FILE", help="Ends in .svg or .png.")  # fmt: skip
@click.option("--speed-error", type=float, default=0.0, metavar="%", help="As measured: −0.3.")
@click.option("--wide", is_flag=True, help="16:9 instead of the page's measure.")
def draw(
    file: Path | None,
    deck: str | None,
    speed: str,
    target: Path,
    speed_error: float,
    wide: bool,
) -> None:
    """Draw the wheels to scale and the belts by their true way.

      runstrue transport draw c14.toml -o c14.svg

    The rates stand beside the parts. Where the file says no places, the wheels are laid out
    freely.
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.report.figure_transport import draw_transport
    from runstrue.report.figures import png_of, svg_of
    from runstrue.report.files import write_whole

    ending = target.suffix.lower()
    if ending not in (".svg", ".png"):
        raise InputError(
            f"'{target}' was named for the drawing", "a name in .svg or .png is needed"
        )
    studies = list(_studies(file, deck, speed))
    if len(studies) > 1:
        names = ", ".join(f"'{one.speed.name}'" for one in studies)
        raise InputError(
            f"There are {len(studies)} speeds", f"one of {names} is needed", "name it with --speed"
        )
    figure = draw_transport(studies[0], speed_percent=speed_error, shape="wide" if wide else "page")
    write_whole(target, svg_of(figure) if ending == ".svg" else png_of(figure))
    out(wrapped(f"Written to '{target}'."))


@transport.command("examples")
@click.argument("name", required=False)
@click.option("-o", "--out", "target", type=click.Path(path_type=Path), metavar="FILE",
              help="Else it is printed.")  # fmt: skip
def examples(name: str | None, target: Path | None) -> None:
    """List invented transports, or write one out to start from.

    runstrue transport examples
    runstrue transport examples three-belts -o c32.toml
    """
    from runstrue.cli.layout import bold, out, wrapped
    from runstrue.report.files import write_whole
    from runstrue.transport.examples import EXAMPLES, example_text

    if name is None:
        out(bold("Transports of invented decks"))
        for key, line in EXAMPLES.items():
            out(wrapped(line, " " * 18, first=f"  {key:<16}"))
        out("")
        out("runstrue transport examples one-belt -o my.toml writes one out.")
        return
    text = example_text(name)
    if target is None:
        out(text.rstrip().splitlines())
        return
    _refuse_existing(target)
    write_whole(target, text.encode())
    out(wrapped(f"Written to '{target}'."))
    out(f"  runstrue transport show {target}")


@transport.command("keep")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--deck", required=True, metavar="NAME", help="The deck that it belongs to.")
@bench_option
@click.pass_context
def keep(ctx: click.Context, file: Path, deck: str) -> None:
    """Keep a description with a deck of the logbook; an earlier one stays on record.

    runstrue transport keep c14.toml --deck C-14
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.logbook.register import name_key
    from runstrue.transport.read import read_transport

    described = read_transport(file)
    with ctx.ensure_object(Bench).open() as book:
        held = book.find_deck(deck)
        if described.deck and name_key(described.deck) != name_key(held.name):
            raise InputError(
                f"'{file}' says that it belongs to the deck '{described.deck}', not to "
                f"'{held.name}'",
                "the transport of that deck is needed",
                "correct the line deck = … in it, or name the other deck",
            )
        book.add_transport(held, file.read_text(encoding="utf-8-sig"), file.name)
    out(wrapped(f"Kept with '{held.name}'; runstrue transport show --deck {held.name} reads it."))


def _described(file: Path | None, deck: str | None) -> Transport:
    """Read a file, or the description that is kept with a deck.

    Raises
    ------
    UsageError
        When neither or both are named.
    InputError
        When nothing is kept with the deck.
    """
    from runstrue.logbook.bench_records import transport_for
    from runstrue.transport.read import parse_transport, read_transport

    if (file is None) == (deck is None):
        raise click.UsageError("Name either a file or, with --deck, a deck of the logbook")
    if file is not None:
        return read_transport(file)
    bench: Bench = click.get_current_context().ensure_object(Bench)
    with bench.open() as book:
        held = book.find_deck(deck or "")
        kept = book.transports(held)
    entry = transport_for(kept) or (kept[-1] if kept else None)
    if entry is None:
        raise InputError(
            f"No transport is kept with '{held.name}'", "a description is needed",
            f"runstrue transport keep FILE --deck {held.name}",
        )  # fmt: skip
    return parse_transport(entry.text, entry.name)


def _studies(file: Path | None, deck: str | None, speed: str) -> Iterator[Study]:
    """Yield the study of each speed that is asked for."""
    from runstrue.transport.rates import study

    transport = _described(file, deck)
    wanted = [transport.speed(speed)] if speed else transport.speeds
    yield from (study(transport, one.name) for one in wanted)


def _refuse_existing(path: Path) -> None:
    if path.exists():
        raise FileError(
            f"'{path}' is there already", "it is not written over", "choose another name"
        )
