"""The deck's transport: description, drawing and rates, and which part makes the flutter."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from runstrue.errors import InputError, RunstrueError
from runstrue.web.drawings import drawn
from runstrue.web.job_card import about, record_of
from runstrue.web.paging import Form, Told, acting, bench_of, deck_path, shown

DESCRIPTION_BYTES = 100_000


def standing(request: Request) -> dict[str, Any]:
    """What is described, how fast it turns, and what was found of it."""
    from runstrue.report.context import paper_of
    from runstrue.transport.examples import EXAMPLES

    told = about(request, "parts")
    record = told["record"]
    entry = record.transport_at()
    rows: tuple[dict[str, str], ...] = ()
    wrong = ""
    if entry is not None:
        try:
            rows = _rates(entry)
        except RunstrueError as error:
            wrong = str(error)
    paper = paper_of(record) if record.captures else None
    return {
        **told, "entry": entry, "rows": rows, "wrong": wrong, "examples": tuple(EXAMPLES),
        "example": _example(request), "culprits": paper.culprits if paper else (),
        "repairs": paper.repairs if paper else (), "earlier": record.transports[:-1],
    }  # fmt: skip


def _rates(entry: Any) -> tuple[dict[str, str], ...]:
    from runstrue.report.figure_transport import rate_words
    from runstrue.transport.rates import turnings
    from runstrue.transport.read import parse_transport

    described = parse_transport(entry.text, entry.name)
    return tuple(
        {"name": one.name + (f", {speed.name}" if speed.name else ""),
         "rate": rate_words(one.rate),
         "packs": "half the tape played" if one.pack is not None else ""}
        for speed in described.speeds for one in turnings(described, speed.name)
    )  # fmt: skip


def _example(request: Request) -> str:
    from runstrue.transport.examples import EXAMPLES, example_text

    name = request.query_params.get("example", "")
    return example_text(name) if name in EXAMPLES else ""


def keep(request: Request, form: Form) -> Told:
    """Keep a description with the deck; an earlier one stays on record."""
    from runstrue.logbook.register import name_key
    from runstrue.transport.read import parse_transport

    name = request.path_params["deck"]
    files = form.files("file")
    text, called = form.text("text"), "transport.toml"
    if files:
        raw = files[0].file.read(DESCRIPTION_BYTES)
        try:
            text, called = raw.decode("utf-8-sig"), files[0].filename or called
        except UnicodeDecodeError:
            raise InputError(
                f"'{files[0].filename}' is no text file", "a TOML file in UTF-8 is needed"
            ) from None
    if not text:
        raise InputError("Nothing was described", "a file or its text is needed")
    described = parse_transport(text, called)
    with bench_of(request).open() as book:
        held = book.find_deck(name)
        if described.deck and name_key(described.deck) != name_key(held.name):
            raise InputError(
                f"The description says that it belongs to the deck '{described.deck}', not to "
                f"'{held.name}'",
                "the transport of this deck is needed", "correct the line deck = … in it",
            )  # fmt: skip
        book.add_transport(held, text, called)
    return Told(deck_path(name, "parts"), f"Kept with '{held.name}'.")


def drawing(request: Request) -> Response:
    """The transport drawn to scale, as SVG."""
    from runstrue.report.figure_transport import draw_transport
    from runstrue.transport.rates import study
    from runstrue.transport.read import parse_transport

    entry = record_of(request).transport_at()
    if entry is None:
        raise InputError("No transport is described", "a description is needed")
    described = parse_transport(entry.text, entry.name)
    return drawn(
        ("transport", entry.text),
        lambda: draw_transport(study(described, described.speeds[0].name)),
    )


ROUTES = [
    *acting("/decks/{deck}/parts", "parts.html", standing, keep),
    shown("/decks/{deck}/parts/drawing.svg", "", drawing),
]
