"""`runstrue words`: what the words mean."""

from __future__ import annotations

from collections.abc import Iterator

import click

from runstrue.cli.teach import ExampleCommand
from runstrue.errors import InputError


@click.command(cls=ExampleCommand, short_help="Explain quantities, methods and units.")
@click.argument("word", required=False)
def words(word: str | None) -> None:
    """Explain quantities, methods and units.

    runstrue words
    runstrue words flutter.weighted_peak
    runstrue words two-sigma
    runstrue words torque
    """
    from runstrue.cli.layout import out

    out(_all() if word is None else _some(word))


def _all() -> Iterator[str]:
    from runstrue.catalogue import KINDS, METHODS
    from runstrue.cli.layout import bold, table

    yield bold("Quantities")
    yield from table(
        ([kind.id, kind.unit, kind.name] for kind in KINDS.values()), "<<<", indent="  "
    )
    yield ""
    yield bold("Methods")
    yield from table(([one.key, one.words] for one in METHODS.values()), "<<", indent="  ")
    yield ""
    yield "runstrue words WORD says what one of them means, and where it comes from."


def _some(word: str) -> Iterator[str]:
    from runstrue.catalogue import KINDS, METHODS
    from runstrue.cli.layout import bold, wrapped
    from runstrue.cli.units import units_for

    asked = word.casefold()
    kinds = [kind for kind in KINDS.values() if asked in f"{kind.id} {kind.name}".casefold()]
    methods = [one for one in METHODS.values() if asked in f"{one.key} {one.words}".casefold()]
    if word in KINDS:
        kinds, methods = [KINDS[word]], []
    if not kinds and not methods:
        raise InputError(
            f"Nothing is called '{word}'", "a word of the list is needed", "see `runstrue words`"
        )
    for kind in kinds:
        yield bold(kind.id) + f"  {kind.name}"
        yield from wrapped(kind.means, "  ")
        units = ", ".join(units_for(kind))
        sign = "; printed with ± (the half of peak to peak)" if kind.plus_minus else ""
        yield from wrapped(
            f"unit {kind.unit}{sign}" + (f"; typed in {units}" if units != kind.unit else ""), "  "
        )
    for one in methods:
        yield bold(one.key) + f"  {one.words}"
        yield from wrapped(f"source: {one.source}", "  ")
