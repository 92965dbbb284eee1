"""The decks on the bench: search, where each stands, what is next; a new one; one hidden."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request

from runstrue.errors import InputError
from runstrue.web.job_card import card_of
from runstrue.web.paging import Form, Told, acting, bench_of, deck_path, posted, shown

FIELDS = (
    ("maker", "Maker", "text"), ("model", "Model", "text"), ("serial", "Serial number", "text"),
    ("year", "Year of making", "number"), ("speeds", "Tape speeds, cm/s", "text"),
    ("heads", "Heads", "number"), ("wells", "Wells", "number"), ("mains", "Mains setting", "text"),
)  # fmt: skip


def listed(request: Request) -> dict[str, Any]:
    """All decks, or those in which the words of the search stand."""
    sought = request.query_params.get("find", "").strip()
    hidden = "hidden" in request.query_params
    book = bench_of(request).open_if_there()
    if book is None:
        return {"decks": [], "sought": sought, "hidden": hidden, "begun": False}
    with book:
        decks = book.decks(hidden=hidden)
        records = [book.deck_record(one, curves=False) for one in decks]
    rows: list[dict[str, Any]] = [
        {"deck": record.deck, "card": card_of(record),
         "here": any(not visit.ended_at for visit in record.visits)}
        for record in records
        if all(word in _words(record.deck) for word in sought.lower().split())
    ]  # fmt: skip
    rows.sort(key=lambda row: (not row["here"], row["deck"].name.lower()))
    return {"decks": rows, "sought": sought, "hidden": hidden, "begun": True}


def _words(deck: Any) -> str:
    told = (deck.name, deck.maker, deck.model, deck.serial, str(deck.year or ""), deck.notes)
    return " ".join(told).lower()


def blank(request: Request) -> dict[str, Any]:
    """A form for a new deck."""
    return {"fields": FIELDS, "deck": None}


def add(request: Request, form: Form) -> Told:
    """Add a deck; the first one begins the logbook. It is taken onto the bench at once."""
    from runstrue.logbook.models import Deck

    name = form.text("name", 60)
    if not name:
        raise InputError("No name was typed", "a short name such as C-14 is needed")
    with bench_of(request).open(create=True) as book:
        added = book.add_deck(Deck(name=name, **facts_of(form)))
        book.open_visit(added, form.text("reason", 500))
    return Told(deck_path(added.name), f"'{added.name}' is on the bench.")


def facts_of(form: Form) -> dict[str, Any]:
    """Read what is known about a deck, as the command line reads it."""
    import click

    from runstrue.cli.decks import facts_named

    given: dict[str, Any] = {
        key: form.text(key, 2000) for key in ("maker", "model", "serial", "mains", "notes")
    }
    given |= {key: form.whole(key) for key in ("year", "heads", "wells")}
    given |= {"kind": form.text("kind") or None, "speeds": form.text("speeds") or None}
    try:
        return facts_named(given)
    except click.UsageError as error:
        raise InputError(str(error.message)) from None


def hide(request: Request, form: Form) -> Told:
    """Take a deck off the lists, or put it back."""
    name = request.path_params["deck"]
    with bench_of(request).open() as book:
        if form.has("show"):
            found = next((one for one in book.decks(hidden=True) if one.name == name), None)
            if found is None:
                raise InputError(f"There is no deck '{name}'", "one of the list is needed")
            book.show_deck(found)
            return Told("/", f"'{name}' is on the lists again.")
        book.hide_deck(book.find_deck(name))
    return Told("/?hidden=1", f"'{name}' is hidden; nothing of it is lost. Show it again below.")


ROUTES = [
    shown("/", "decks.html", listed),
    *acting("/decks/new", "deck_new.html", blank, add),
    posted("/decks/{deck}/hide", hide, lambda request: "/"),
]
