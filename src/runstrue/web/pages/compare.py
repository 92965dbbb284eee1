"""As found against as left: verdicts, changes and pictures, as the printed sheet says them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response

from runstrue.errors import InputError
from runstrue.web.drawings import drawn, state_of
from runstrue.web.job_card import about, record_of
from runstrue.web.paging import shown

if TYPE_CHECKING:
    from matplotlib.figure import Figure


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
    key = request.path_params["key"]
    return drawn((key, state_of(record_of(request))), lambda: _draw(request, key))


def _draw(request: Request, key: str) -> Figure:
    from runstrue.report.figures import drawings_of

    for one in drawings_of(record_of(request, curves=True)):
        if one.key == key:
            return one.draw("page")
    raise InputError(f"There is no picture '{key}'", "one of the page is needed")


ROUTES = [
    shown("/decks/{deck}/compare", "compare.html", standing),
    shown("/decks/{deck}/drawings/{key}.svg", "", drawing),
]
