"""`runstrue deck`: who is on the bench."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleGroup, show_group_help

if TYPE_CHECKING:
    from runstrue.logbook.models import Deck, DeckRecord

FACTS = ("maker", "model", "serial", "year", "kind", "heads", "wells", "mains", "notes")


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Add, list, show, change and hide decks.",
)
@bench_option
@click.pass_context
def deck(ctx: click.Context) -> None:
    """Add, list, show, change and hide decks.

      runstrue deck add C-14 --maker Wrenholm --model C-14 --serial 0417
      runstrue deck add R-8 --maker "Tarn & Aldous" --kind reel --speeds 9.5,19
      runstrue deck show C-14
      runstrue deck change C-14 --mains "230 V, 50 Hz"

    A deck is called by the short name that it was added with.
    """
    show_group_help(ctx)


def fact_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add what can be known about a deck."""
    for option in reversed(
        (
            click.option("--maker", metavar="NAME"),
            click.option("--model", metavar="NAME"),
            click.option("--serial", metavar="NUMBER"),
            click.option("--year", type=int, help="Of making."),
            click.option("--kind", type=click.Choice(("cassette", "reel")), help="Of tape."),
            click.option("--speeds", metavar="CM/S", help="Tape speeds, such as 4.76 or 9.5,19."),
            click.option("--heads", type=int),
            click.option("--wells", type=int, help="2 for a double deck."),
            click.option("--mains", metavar="TEXT", help='Setting: "230 V, 50 Hz".'),
            click.option("--notes", metavar="TEXT"),
        )
    ):
        function = option(function)
    return function


@deck.command("add")
@click.argument("name")
@fact_options
@bench_option
@click.pass_context
def add(ctx: click.Context, /, name: str, **given: Any) -> None:
    """Add a deck to the logbook; the first one begins the logbook.

    runstrue deck add C-14 --maker Wrenholm --model C-14 --year 1979 --heads 2
    """
    from runstrue.cli.keep import quoted
    from runstrue.cli.layout import out, wrapped
    from runstrue.logbook.models import Deck

    bench = ctx.ensure_object(Bench)
    new = Deck(name=name.strip(), **facts_named(given))
    with bench.open(create=True) as book:
        added = book.add_deck(new)
    called = quoted(added.name)
    out(wrapped(f"Added '{added.name}' to the logbook in '{bench.folder}'."))
    out(f'Next: runstrue sheet "Wow and flutter 0.14 % DIN; speed ±1.5 %" --deck {called}')
    out(f"      runstrue measure before.flac --deck {called} --stage found")


@deck.command("change")
@click.argument("name")
@click.option("--name", "new_name", metavar="NAME", help="Another short name.")
@fact_options
@bench_option
@click.pass_context
def change(ctx: click.Context, /, name: str, new_name: str | None, **given: Any) -> None:
    """Correct what is known about a deck; what stood there before is kept.

    runstrue deck change C-14 --serial 0471
    """
    import msgspec

    from runstrue.cli.layout import out

    facts = facts_named(given)
    if new_name is not None:
        facts["name"] = new_name.strip()
    if not facts:
        raise click.UsageError("Nothing to change was named", ctx)
    with ctx.ensure_object(Bench).open() as book:
        before = book.find_deck(name)
        after = book.update_deck(msgspec.structs.replace(before, **facts))
    out(_deck_lines(after))


@deck.command("list")
@click.option("--hidden", is_flag=True, help="Hidden ones too.")
@bench_option
@click.pass_context
def list_decks(ctx: click.Context, hidden: bool) -> None:
    """List the decks of the logbook.

    runstrue deck list
    """
    from runstrue.cli.layout import out, table

    with ctx.ensure_object(Bench).open() as book:
        decks = book.decks(hidden=hidden)
        here = {one.id: book.current_visit(one) is not None for one in decks}
    if not decks:
        out("The logbook holds no decks; runstrue deck add begins with one.")
        return
    rows = [
        [
            one.name + (" (hidden)" if one.hidden else ""),
            one.title if one.title != one.name else "",
            one.serial,
            str(one.year or ""),
            "on the bench" if here[one.id] else "",
        ]
        for one in decks
    ]
    out(table(rows, "<<<<<", ["name", "maker and model", "serial", "year", ""]))


@deck.command("show")
@click.argument("name")
@bench_option
@click.pass_context
def show(ctx: click.Context, name: str) -> None:
    """Show all that the logbook holds about a deck.

    runstrue deck show C-14
    """
    from runstrue.cli.layout import out

    with ctx.ensure_object(Bench).open() as book:
        record = book.deck_record(book.find_deck(name), curves=False)
    out(_record_lines(record))


@deck.command("hide")
@click.argument("name")
@bench_option
@click.pass_context
def hide(ctx: click.Context, name: str) -> None:
    """Take a deck off the lists; nothing of it is lost.

    runstrue deck hide C-14
    """
    from runstrue.cli.layout import out

    with ctx.ensure_object(Bench).open() as book:
        hidden = book.hide_deck(book.find_deck(name))
    out(f"'{hidden.name}' is hidden; runstrue deck unhide brings it back.")


@deck.command("unhide")
@click.argument("name")
@bench_option
@click.pass_context
def unhide(ctx: click.Context, name: str) -> None:
    """Put a hidden deck back on the lists.

    runstrue deck unhide C-14
    """
    from runstrue.cli.layout import out
    from runstrue.errors import LogbookError
    from runstrue.logbook.register import name_key

    with ctx.ensure_object(Bench).open() as book:
        for one in book.decks(hidden=True):
            if name_key(one.name) == name_key(name):
                shown = book.show_deck(one)
                out(f"'{shown.name}' is on the lists again.")
                return
    raise LogbookError(
        f"There is no deck '{name}' in the logbook", "", "see runstrue deck list --hidden"
    )


def facts_named(given: dict[str, Any]) -> dict[str, Any]:
    """Return what was named, in the words of the logbook; for the command line and the page."""
    from runstrue.cli.plan import number_of

    facts = {key: given[key] for key in FACTS if given[key] is not None}
    if facts.get("kind") == "reel":
        facts["kind"] = "open reel"
    if given["speeds"] is not None:
        try:
            parts = given["speeds"].replace(";", " ").replace(", ", " ").split()
            texts = [text for part in parts for text in _split(part)]
            facts["speeds_cm_s"] = tuple(number_of(text) for text in texts)
        except ValueError:
            raise click.UsageError(
                f"'{given['speeds']}' is no list of speeds; write cm/s such as 9.5,19"
            ) from None
    return facts


def _split(part: str) -> list[str]:
    """Part at commas, unless a single comma can only be a decimal one ('4,76')."""
    return (
        [part] if part.count(",") == 1 and "." not in part and _decimal(part) else part.split(",")
    )


def _decimal(part: str) -> bool:
    whole, _, rest = part.partition(",")
    return len(whole) == 1 and len(rest) == 2


def _deck_lines(deck: Deck) -> Iterator[str]:
    from runstrue.cli.layout import bold, wrapped

    yield bold(deck.name)
    speeds = " and ".join(f"{speed:g}" for speed in deck.speeds_cm_s)
    for label, value in (
        ("maker, model", " ".join(part for part in (deck.maker, deck.model) if part)),
        ("serial", deck.serial),
        ("year", str(deck.year or "")),
        ("kind", deck.kind),
        ("speeds", f"{speeds} cm/s" if speeds else ""),
        ("heads", str(deck.heads or "")),
        ("wells", str(deck.wells or "")),
        ("mains", deck.mains),
        ("notes", deck.notes),
    ):
        if value:
            yield from wrapped(value, " " * 16, first=f"  {label:<14}")


def _record_lines(record: DeckRecord) -> Iterator[str]:
    from runstrue.cli.layout import bold, wrapped
    from runstrue.report.words import figure_of, span_words

    yield from _deck_lines(record.deck)
    if record.sheet is not None:
        yield ""
        yield bold("Sheet") + (f" ({record.sheet.source})" if record.sheet.source else "")
        for line in record.sheet.sheet.text.splitlines():
            yield from wrapped(line.strip(), "    ", first="  ")
    for visit in (*record.visits, None):
        captures = record.captures_of(visit)
        if visit is None and not captures:
            continue
        yield ""
        if visit is None:
            yield bold("Without a visit")
        else:
            days = span_words([stamp for stamp in (visit.begun_at, visit.ended_at) if stamp])
            yield bold(f"Visit of {days}" + ("" if visit.ended_at else ", still here"))
            for label, text in (("came for", visit.reason), ("done", visit.notes)):
                if text:
                    yield from wrapped(text, " " * 12, first=f"  {label:<10}")
        for capture in captures:
            what = capture.file_name or (
                "typed in" if capture.source == "typed" else capture.source
            )
            yield from wrapped(f"{capture.id}  {capture.facts.stage}: {what}", "      ", first="  ")
            told = [
                f"{_short(one.result.id)} {figure_of(one.result.quantity, one.result.id)}"
                for one in capture.readings
                if one.result.quantity is not None
                and (capture.source == "typed" or _told(one.result.id, one.result.channel))
                and one.result.method not in ("bell-mean-30s/1", "dropouts-12db-20ms/1")
            ]
            if told:
                yield from wrapped("; ".join(told), "      ")


def _told(quantity_id: str, channel: str) -> bool:
    first = ("speed.deviation", "flutter.weighted_peak")
    return (quantity_id in first and channel in ("both", "mono", "")) or not quantity_id.startswith(
        ("speed.", "flutter.")
    )


def _short(quantity_id: str) -> str:
    from runstrue.report.words import name_of

    return name_of(quantity_id)
