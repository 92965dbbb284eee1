"""One deck: where its job stands, what is known about it, its visits and readings."""

from __future__ import annotations

from typing import Any

import msgspec
from starlette.requests import Request

from runstrue.errors import InputError, LogbookError
from runstrue.web.job_card import about, current_visit
from runstrue.web.pages.decks import FIELDS, facts_of
from runstrue.web.paging import Form, Told, acting, bench_of, deck_path, posted, shown


def card(request: Request) -> dict[str, Any]:
    """The job card itself."""
    from runstrue.report.context import paper_of
    from runstrue.report.words import span_words

    told = about(request, "")
    record = told["record"]
    visits = [
        {"visit": one, "days": span_words([day for day in (one.begun_at, one.ended_at) if day]),
         "captures": record.captures_of(one)}
        for one in reversed(record.visits)
    ]  # fmt: skip
    loose = record.captures_of(None)
    return {
        **told, "paper": paper_of(record) if record.captures else None, "visits": visits,
        "loose": loose, "visit": current_visit(record), "history": _history(request),
    }  # fmt: skip


def _history(request: Request) -> list[dict[str, Any]]:
    with bench_of(request).open() as book:
        found = book.deck_history(book.find_deck(request.path_params["deck"]))
    return [{"when": one.changed_at, "before": one.before} for one in reversed(found)]


def facts(request: Request) -> dict[str, Any]:
    """A form with what is known about the deck."""
    told = about(request, "")
    return {**told, "fields": FIELDS, "deck": told["record"].deck}


def change(request: Request, form: Form) -> Told:
    """Correct what is known about a deck; what stood there before is kept."""
    name = form.text("name", 60)
    if not name:
        raise InputError("No name was typed", "a short name such as C-14 is needed")
    with bench_of(request).open() as book:
        before = book.find_deck(request.path_params["deck"])
        after = book.update_deck(
            msgspec.structs.replace(before, **{**facts_of(form), "name": name})
        )
    return Told(deck_path(after.name), "Corrected; what stood there before is kept.")


def visit(request: Request, form: Form) -> Told:
    """Begin a visit, note what was done, or end it."""
    name = request.path_params["deck"]
    with bench_of(request).open() as book:
        deck = book.find_deck(name)
        current = book.current_visit(deck)
        what = form.text("what")
        if what == "begin":
            book.open_visit(deck, form.text("reason", 500))
            return Told(deck_path(name), f"'{name}' is on the bench.")
        if current is None:
            raise LogbookError(
                f"The deck '{name}' is not on the bench", "a visit that is open is needed"
            )
        if what == "end":
            book.close_visit(current)
            return Told(deck_path(name, "report"), f"'{name}' is off the bench.")
        book.note_visit(current, reason=form.text("reason", 500), notes=form.text("notes"))
    return Told(deck_path(name), "Noted.")


ROUTES = [
    shown("/decks/{deck}", "job.html", card),
    *acting("/decks/{deck}/facts", "deck_facts.html", facts, change),
    posted("/decks/{deck}/visit", visit, lambda request: deck_path(request.path_params["deck"])),
]
