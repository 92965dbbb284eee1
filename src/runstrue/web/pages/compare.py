"""As found against as left: verdicts, changes and pictures, as the printed sheet says them."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from runstrue.errors import InputError
from runstrue.web.drawings import drawn
from runstrue.web.job_card import about, record_of
from runstrue.web.paging import shown


def standing(request: Request) -> dict[str, Any]:
    """All that was read of the deck, found beside left."""
    from runstrue.report.context import paper_of
    from runstrue.report.figures import drawings_of

    told = about(request, "compare", curves=True)
    record = told["record"]
    if not record.captures:
        return {**told, "paper": None, "drawings": ()}
    drawings = [(one.key, one.told) for one in drawings_of(record)]
    return {**told, "paper": paper_of(record), "drawings": drawings}


def drawing(request: Request) -> Response:
    """One of the pictures, as SVG."""
    from runstrue.report.figures import drawings_of

    record = record_of(request, curves=True)
    key = request.path_params["key"]
    found = next((one for one in drawings_of(record) if one.key == key), None)
    if found is None:
        raise InputError(f"There is no picture '{key}'", "one of the page is needed")
    return drawn(lambda: found.draw("page"))


ROUTES = [
    shown("/decks/{deck}/compare", "compare.html", standing),
    shown("/decks/{deck}/drawings/{key}.svg", "", drawing),
]
