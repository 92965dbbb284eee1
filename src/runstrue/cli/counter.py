"""`runstrue counter`: what the tape counter says in minutes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.counter_input import counter_options, source_options
from runstrue.cli.teach import ExampleGroup, show_group_help
from runstrue.errors import InputError

OTHERS = ("C60", "C90", "C120")


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Tell time played and left from the tape counter.",
)
@bench_option
@click.pass_context
def counter(ctx: click.Context) -> None:
    """Tell time played and left from the tape counter.

    Wind to the tape's beginning, set the counter to 0, play, and note three or more readings
    with the time since then:
      runstrue counter fit 200@5:22 500@15:24 900@32:27 --tape C90 --deck C-14
      runstrue counter time 456 --deck C-14
      runstrue counter table --deck C-14
      runstrue counter returns 0 1 -1 0 2
    """
    show_group_help(ctx)


@counter.command("fit")
@click.argument("pairs", nargs=-1)
@counter_options
@click.option("--deck", metavar="NAME", help="Keep the pairs with it, or show those kept.")
@click.option("-o", "--out", "target", type=click.Path(path_type=Path), metavar="FILE",
              help="Draw it; ends in .svg or .png.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
@bench_option
@click.pass_context
def fit(
    ctx: click.Context,
    /,
    pairs: tuple[str, ...],
    deck: str | None,
    target: Path | None,
    as_json: bool,
    **given: Any,
) -> None:
    """Find the counter's law from three or more readings, each with its time.

      runstrue counter fit 200@5:22 500@15:24 900@32:27 --tape C90
      runstrue counter fit pairs.csv --hub "22.0 mm" --deck C-14
      runstrue counter fit --deck C-14

    A list is CSV with the columns counter and time. Where the counter ran past 999, count on:
    1000, 1001. Take the last pair near the end of the tape.
    """
    from runstrue.cli.counter_input import (
        keep_with,
        kept_with,
        known_of,
        refuse_beside_kept,
        told_of,
    )
    from runstrue.cli.counter_plain import document, fit_plain
    from runstrue.cli.layout import out, wrapped
    from runstrue.cli.show_counter import fit_lines

    _refuse_ending(target)
    if not pairs and deck is None:
        raise click.UsageError("Pairs such as 100@4:58 are needed, or a --deck that has some")
    if not pairs:
        refuse_beside_kept(given)
    name = ""
    if deck is None:
        known = known_of(told_of(pairs, given))
    else:
        with ctx.ensure_object(Bench).open() as book:
            held = book.find_deck(deck)
            name = held.name
            known = known_of(told_of(pairs, given) if pairs else kept_with(book, held), name)
            if pairs:
                keep_with(book, held, known.told)
    if as_json:
        click.echo(document(**fit_plain(known)))
    else:
        out(fit_lines(known))
        if pairs and name:
            out("")
            out(
                wrapped(f"Kept with {name}. Next: runstrue counter time 456 --deck {_quoted(name)}")
            )
    if target is not None:
        from runstrue.report.figure_counter import draw_counter
        from runstrue.report.style import Caption

        tape = known.tape.name if known.tape else ""
        _write(draw_counter(known.fit, Caption(deck=name, remark=tape)), target, quiet=as_json)


@counter.command("time")
@click.argument("counts", nargs=-1)
@click.option("--at", "times", multiple=True, metavar="TIME", help="The reading at 20:00 played.")
@click.option("--cassette", "cassettes", multiple=True, metavar="NAME",
              help="Another one in the same deck: C60.")  # fmt: skip
@source_options
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
@bench_option
@click.pass_context
def time(
    ctx: click.Context,
    /,
    counts: tuple[str, ...],
    times: tuple[str, ...],
    cassettes: tuple[str, ...],
    deck: str | None,
    pairs: tuple[str, ...],
    as_json: bool,
    **given: Any,
) -> None:
    """Tell time played and left at a reading of the counter.

    runstrue counter time 456 --deck C-14
    runstrue counter time 456 --deck C-14 --cassette C60
    runstrue counter time --at 20:00 --deck C-14
    """
    from runstrue.cli.counter_input import cassettes_of, known_from
    from runstrue.cli.counter_plain import document, times_plain
    from runstrue.cli.layout import out
    from runstrue.cli.show_counter import times_lines
    from runstrue.transport.counter_pairs import read_count, read_time_s

    if not counts and not times:
        raise click.UsageError("What the counter shows is needed, or --at with a time")
    known = known_from(ctx.ensure_object(Bench), deck, pairs, given)
    shown, asked = [read_count(one) for one in counts], [read_time_s(one) for one in times]
    tapes = cassettes_of(cassettes)
    if as_json:
        readings = times_plain(known, shown, tapes, asked)
        click.echo(document(deck=known.name or None, readings=readings))
    else:
        out(list(times_lines(known, shown, tapes, asked)))  # all of it or a refusal


@counter.command("table")
@click.option("--step", type=int, metavar="N", help="A row for every N counts.")
@click.option("--cassette", "cassettes", multiple=True, metavar="NAME",
              help="Else C60, C90 and C120, where they can be known.")  # fmt: skip
@source_options
@click.option("-o", "--out", "target", type=click.Path(path_type=Path), metavar="FILE",
              help="To print and stick on the deck; ends in .svg or .png.")  # fmt: skip
@bench_option
@click.pass_context
def table(
    ctx: click.Context,
    /,
    step: int | None,
    cassettes: tuple[str, ...],
    deck: str | None,
    pairs: tuple[str, ...],
    target: Path | None,
    **given: Any,
) -> None:
    """Print a table of time played and left, to stick on the deck.

    runstrue counter table --deck C-14
    runstrue counter table --deck C-14 --cassette C90 --step 25 -o c14.svg
    """
    from runstrue.cli.counter_input import cassettes_of, known_from
    from runstrue.cli.layout import out
    from runstrue.cli.show_counter import table_lines
    from runstrue.transport.counter_table import counter_table

    _refuse_ending(target)
    known = known_from(ctx.ensure_object(Bench), deck, pairs, given)
    usual = OTHERS if known.takes_cassettes else ()
    tapes = cassettes_of(cassettes or usual)
    own = known.tape
    if own is not None and not cassettes and own.name not in {one.name for one in tapes}:
        tapes = [own, *tapes]
    laws = [(one.name, known.law_for(one)) for one in tapes]
    listed = counter_table(laws or [("", known.law)], step)
    if target is None:
        out(table_lines(known, listed))
        return
    from runstrue.report.figure_counter import draw_label

    _write(draw_label(listed, known.name), target)


@counter.command("returns", context_settings={"ignore_unknown_options": True})
@click.argument("counts", nargs=-1, type=click.UNPROCESSED)
@click.option("--read-to", default="1", metavar="N", help="To which the counter is read: 0.2.")
@source_options
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
@bench_option
@click.pass_context
def returns(
    ctx: click.Context,
    /,
    counts: tuple[str, ...],
    read_to: str,
    deck: str | None,
    pairs: tuple[str, ...],
    as_json: bool,
    **given: Any,
) -> None:
    """Say how repeatably the memory stop comes back to zero.

      runstrue counter returns 0 1 -1 0 2
      runstrue counter returns 0 1 -1 0 2 --deck C-14

    Give what the counter shows after each return; one short of 0 (999) is -1.
    """
    from runstrue.cli.counter_input import known_from
    from runstrue.cli.counter_plain import document, quantity_plain
    from runstrue.cli.layout import out
    from runstrue.cli.show_counter import returns_lines
    from runstrue.transport.counter_pairs import read_count
    from runstrue.transport.memory_stop import returns_of

    if not counts:
        raise click.UsageError("What the counter showed after each return is needed: 0 1 -1")
    if any(one.startswith("--") for one in counts):
        raise click.UsageError(f"No such option: {next(o for o in counts if o.startswith('--'))}")
    shown = [read_count(one) for one in counts]
    if any(one > 500 for one in shown):
        raise InputError(
            f"A return of {max(shown):g} was given", "how far from 0 it stopped is needed",
            "one short of 0 (999) is -1",
        )  # fmt: skip
    found = returns_of(shown, read_count(read_to))
    law, name = None, ""
    if deck is not None or pairs:
        known = known_from(ctx.ensure_object(Bench), deck, pairs, given)
        law, name = known.law, known.name
    if not as_json:
        out(returns_lines(found, law, name))
        return
    click.echo(
        document(
            deck=name or None,
            returns=list(found.counts),
            mean=quantity_plain(found.mean),
            scatter={"value": found.scatter, "low": found.scatter_low, "high": found.scatter_high},
            next={"low": found.next_low, "high": found.next_high},
            seconds_per_count=None if law is None else law.seconds_a_count(0.0),
        )
    )


def _refuse_ending(target: Path | None) -> None:
    if target is not None and target.suffix.lower() not in (".svg", ".png"):
        raise InputError(
            f"'{target}' was named for the drawing", "a name in .svg or .png is needed"
        )


def _write(figure: Any, target: Path, *, quiet: bool = False) -> None:
    from runstrue.cli.layout import out, wrapped
    from runstrue.report.figures import png_of, svg_of
    from runstrue.report.files import write_whole

    write_whole(target, svg_of(figure) if target.suffix.lower() == ".svg" else png_of(figure))
    if not quiet:
        out(wrapped(f"Written to '{target}'."))


def _quoted(name: str) -> str:
    from runstrue.cli.keep import quoted

    return quoted(name)
