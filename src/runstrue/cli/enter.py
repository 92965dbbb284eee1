"""`runstrue enter`: a reading from an instrument, judged and kept like any other."""

from __future__ import annotations

import difflib
import re
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.options import place_options, stage_option
from runstrue.cli.teach import ExampleCommand
from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.catalogue import Kind
    from runstrue.result import Result, Spread


@click.command(
    cls=ExampleCommand,
    short_help="Enter a reading from an instrument: torque, force, voltage.",
    context_settings={"ignore_unknown_options": True},  # so that a value may be negative
)
@click.argument("deck")
@click.argument("quantity")
@click.argument("value")
@click.argument("unit")
@click.option(
    "--u", "u_text", metavar="U", help="Standard uncertainty, in the same unit; or VALUE as 42±3."
)
@stage_option(required=True)
@click.option("--point", default="", metavar="NAME", help="Where a voltage was taken: TP3.")
@click.option("--low", metavar="VALUE", help="Lowest place of a needle that moved.")
@click.option("--high", metavar="VALUE", help="Highest place of it.")
@click.option(
    "--replaces", type=int, metavar="N", help="Number of the reading that was typed wrongly."
)
@place_options
@bench_option
@click.pass_context
def enter(ctx: click.Context, /, deck: str, quantity: str, **given: object) -> None:
    """Enter a reading from an instrument: torque, force, voltage.

      runstrue enter C-14 take-up 42 g·cm --u 2 --stage found
      runstrue enter C-14 pinch 330±15 gf --stage left
      runstrue enter C-14 voltage.point 11.8 V --u 0.1 --point TP3 --stage left
      runstrue enter C-14 needle 0.19±0.01 % --low 0.16 --high 0.23 --stage found

    QUANTITY is an id (runstrue words lists them) or part of a name. U is a standard
    uncertainty; half of what the scale's finest division tells apart is a fair guess.
    """
    _enter(ctx, deck, quantity, **given)  # type: ignore[arg-type]  # the options, by name


def _enter(
    ctx: click.Context,
    deck: str,
    quantity: str,
    value: str,
    unit: str,
    u_text: str | None,
    stage: str,
    point: str,
    low: str | None,
    high: str | None,
    replaces: int | None,
    **place: object,
) -> None:
    from runstrue.cli.keep import Keeper, Place
    from runstrue.cli.layout import out, wrapped
    from runstrue.cli.show_kept import kept_lines
    from runstrue.cli.show_verdicts import verdict_lines
    from runstrue.report.words import figure_of, within_of
    from runstrue.verdict.judge import judge

    kind = kind_named(quantity)
    result = typed_result(kind, value, unit, u_text, point=point, low=low, high=high)
    if kind.id == "voltage.point" and not point:
        raise click.UsageError("A voltage needs --point, the place where it was taken", ctx)
    keeper = Keeper(ctx.ensure_object(Bench), deck, Place(stage, **place))  # type: ignore[arg-type]
    limits = keeper.sheet.limits if keeper.sheet else ()
    verdicts = [
        verdict
        for verdict in judge(limits, [result], conditions=keeper.conditions)
        if verdict.reason != "not measured"
    ]
    record = keeper.keep_typed(result, verdicts, replaces)
    read = result.quantity
    assert read is not None
    at = f" at {point}" if point else ""
    within = within_of(read)
    told = f"{kind.name}{at}: {figure_of(read, kind.id)}"
    told += f" (entered as {value} {unit})" if unit != kind.unit else ""
    out(wrapped(told + (f", 95 % within {within}" if within else "") + "."))
    if verdicts:
        out(verdict_lines(verdicts))
    out(kept_lines(keeper, [record]))


def kind_named(text: str) -> Kind:
    """Return the kind with this id, or whose name or id alone contains these words.

    Raises
    ------
    InputError
        When none or several fit.
    """
    from runstrue.catalogue import KINDS

    if text in KINDS:
        return KINDS[text]
    plain = _plain(text)
    exact = [kind for kind in KINDS.values() if plain == _plain(kind.name)]
    part = [
        kind
        for kind in KINDS.values()
        if plain and plain in f"{_plain(kind.id)} {_plain(kind.name)}"
    ]
    for found in (exact, part):
        if len(found) == 1:
            return found[0]
    if part:
        listed = ", ".join(kind.id for kind in part[:6])
        raise InputError(f"'{text}' may be several quantities", f"one of {listed} is needed")
    names = {_plain(kind.id): kind.id for kind in KINDS.values()} | {
        _plain(kind.name): kind.id for kind in KINDS.values()
    }
    near = dict.fromkeys(names[one] for one in difflib.get_close_matches(plain, names, 3, 0.5))
    raise InputError(
        f"'{text}' is not a quantity that Runstrue knows",
        f"perhaps {' or '.join(near)} is meant" if near else "an id of the list is needed",
        "see `runstrue words`",
    )


NEVER_NEGATIVE = ("torque.", "force.", "play.", "time.", "flutter.", "input.", "output.")

_PLUS_MINUS = re.compile(r"(?P<value>.+?)\s*(?:±|\+/-|\+-)\s*(?P<u>.+)")


def typed_result(
    kind: Kind,
    value: str,
    unit: str,
    u_text: str | None,
    *,
    point: str = "",
    low: str | None = None,
    high: str | None = None,
) -> Result:
    """Return a typed reading as a result, in the catalogue's unit.

    Parameters
    ----------
    value : str
        '42', '42±3', '0,19'.
    u_text : str or None
        Standard uncertainty in the same unit.

    Raises
    ------
    InputError
        When a figure cannot be read, or no uncertainty is stated.
    """
    from runstrue.cli.units import factor_to
    from runstrue.quantity import Budget, Contribution
    from runstrue.result import Condition, Result, Spread

    factor = factor_to(kind, unit)
    both = _PLUS_MINUS.fullmatch(value.strip())
    if both:
        if u_text is not None:
            raise InputError(f"'{value}' and --u {u_text} were given", "one uncertainty is needed")
        value, u_text = both["value"], both["u"]
    _figure(value)  # what is no number is told before what is missing
    if u_text is None:
        raise InputError(
            f"The reading {value} {unit} has no uncertainty",
            "without one nobody can tell how far to trust it",
            "add --u, half of what the scale's finest division tells apart",
        )
    typed, typed_u = _figure(value), _figure(u_text)
    if typed < 0 and kind.id.startswith(NEVER_NEGATIVE):
        raise InputError(
            f"A {kind.name} of {value} {unit} was given", "it cannot be below zero", "look again"
        )
    if typed_u < 0:
        raise InputError(
            f"An uncertainty of {u_text} {unit} was given", "zero or more is needed", "look again"
        )
    read, u = typed * factor, typed_u * factor
    spread: Spread | None = None
    if (low is None) != (high is None):
        raise InputError(
            "Only one end of the needle's way was given", "--low and --high are needed"
        )
    if low is not None and high is not None:
        spread = Spread(_figure(low) * factor, read, _figure(high) * factor)
        if not spread.low <= read <= spread.high:
            raise InputError(
                f"A needle at {value} between {low} and {high} was given",
                "the reading must lie between its lowest and its highest place",
            )
    budget = Budget((Contribution("reading of the instrument", u, "random"),))
    told: dict[str, Condition] = {"entered": f"{value.strip()} {unit}"}
    if point:
        told["point"] = point
    return Result(
        id=kind.id,
        method="typed/1",
        channel="",
        quantity=budget.quantity(read, kind.unit),
        budget=budget,
        spread=spread,
        conditions=told,
    )


def _figure(text: str) -> float:
    from runstrue.cli.plan import number_of

    try:
        return number_of(text)
    except ValueError:
        raise InputError(
            f"'{text}' was given as a figure", "a number such as 42 is needed"
        ) from None


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[^a-z0-9]+", " ", text.lower()).split())
