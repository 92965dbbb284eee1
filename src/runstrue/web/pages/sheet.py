"""What a deck was promised to do: lines pasted, and at once how they are understood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from runstrue.errors import InputError
from runstrue.web.job_card import about
from runstrue.web.paging import Form, Told, acting, bench_of, deck_path, posted, templates


@dataclass(frozen=True, slots=True)
class Understood:
    """One line of a sheet: its words, and what they are taken to mean, label by label."""

    words: str
    told: tuple[tuple[str, str], ...]
    asks: bool


def understood(text: str) -> dict[str, Any]:
    """Read the lines of a sheet."""
    from runstrue.cli.sheets import limit_facts
    from runstrue.verdict.sheet import read_sheet

    read = read_sheet(text)
    return {
        "lines": [
            Understood(" ".join(one.words.split()), tuple(limit_facts(one)), bool(one.question))
            for one in read.limits
        ],
        "unread": [(" ".join(one.words.split()), one.why) for one in read.unread],
    }


def standing(request: Request) -> dict[str, Any]:
    """The sheet in force, and a field for another one."""
    told = about(request, "sheet")
    record = told["record"]
    entry = record.sheet
    read = understood(entry.sheet.text) if entry is not None else None
    return {**told, "entry": entry, "read": read, "earlier": list(reversed(record.sheets[:-1])),
            "tried": None}  # fmt: skip


def enter(request: Request, form: Form) -> Told | Response:
    """Enter a sheet, or show how its lines are understood without entering anything."""
    from runstrue.verdict.sheet import read_sheet

    text = form.text("text")
    if not text:
        raise InputError("No line was pasted", "lines of a spec sheet are needed")
    name = request.path_params["deck"]
    if form.text("what") == "try":
        from runstrue.web.paging import page

        found = {
            **standing(request),
            "tried": understood(text),
            "typed": {"text": text, "source": form.text("source")},
        }
        return page(request, "sheet.html", found)
    read = read_sheet(text)
    if not read.limits:
        raise InputError(
            "Nothing of that was understood", "at least one figure with its limit is needed",
            "write one line for each, such as 'Wow and flutter 0.14 % DIN'",
        )  # fmt: skip
    with bench_of(request).open() as book:
        book.add_sheet(book.find_deck(name), read, form.text("source", 200))
    return Told(deck_path(name, "sheet"), "Entered; it is in force from now on.")


def tried(request: Request, form: Form) -> Response:
    """Show, for the script of the page, how lines are understood while they are typed."""
    text = form.text("text")
    filled = (
        templates()
        .get_template("sheet_read.html")
        .render({"read": understood(text) if text else None})
    )
    return HTMLResponse(filled)


ROUTES = [
    *acting("/decks/{deck}/sheet", "sheet.html", standing, enter),
    posted(
        "/decks/{deck}/sheet/read", tried,
        lambda request: deck_path(request.path_params["deck"], "sheet"),
    ),
]  # fmt: skip
