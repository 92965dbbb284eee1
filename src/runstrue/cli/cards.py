"""`runstrue card`: how far the clock of a sound card is off."""

from __future__ import annotations

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleGroup, show_group_help


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Say how far a sound card's clock is off.",
)
@bench_option
@click.pass_context
def card(ctx: click.Context) -> None:
    """Say how far a sound card's clock is off.

      runstrue card set "workshop interface" --clock-ppm 12 --u 3
      runstrue card show

    Parts per million, + when its clock runs fast. Without it ±100 ppm (0.01 %) is allowed for.
    """
    show_group_help(ctx)


@card.command("set")
@click.argument("name")
@click.option(
    "--clock-ppm", "clock", required=True, metavar="P", help="How much faster (+) it runs."
)
@click.option("--u", "u_text", metavar="U", help="Standard uncertainty of that; or P as 12±3.")
@click.option("--remark", default="", metavar="TEXT", help="How it was found out.")
@bench_option
@click.pass_context
def set_card(ctx: click.Context, name: str, clock: str, u_text: str | None, remark: str) -> None:
    """Enter the clock of a sound card; it is used from now on.

    runstrue card set "workshop interface" --clock-ppm 12 --u 3
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.cli.plan import read_clock
    from runstrue.errors import InputError
    from runstrue.logbook.models import SoundCard
    from runstrue.measure.conditions import SoundCard as Measuring

    text = clock if u_text is None else f"{clock}±{u_text}"
    value, u = read_clock(text)
    if u is None:
        raise InputError(
            f"The clock of '{name}' was given without an uncertainty",
            "its standard uncertainty in ppm is needed",
            "add --u 3",
        )
    Measuring(name, value, u)  # refuses what is not believable
    bench = ctx.ensure_object(Bench)
    with bench.open(create=True) as book:
        book.set_sound_card(SoundCard(name=name.strip(), clock_ppm=value, u_ppm=u, remark=remark))
    out(wrapped(f"Entered; readings from now on rest on '{name.strip()}'."))


@card.command("show")
@bench_option
@click.pass_context
def show_card(ctx: click.Context) -> None:
    """Show the sound card that readings rest on.

    runstrue card show
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.quantity import Quantity
    from runstrue.report.words import date_words

    with ctx.ensure_object(Bench).open() as book:
        known = book.sound_card()
    if known is None:
        out(wrapped("No sound card was entered; ±100 ppm (0.01 %) is allowed for its clock."))
        return
    clock = Quantity(known.clock_ppm, "ppm", known.u_ppm)
    out(
        wrapped(
            f"{known.name}: clock {clock.value_text(signed=True)} ppm, standard uncertainty "
            f"{known.u_ppm:g} ppm, entered {date_words(known.determined_at)}."
            + (f" {known.remark}" if known.remark else "")
        )
    )
