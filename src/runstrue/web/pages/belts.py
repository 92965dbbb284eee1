"""Belts: how long, how tight, which one to buy; the terminal's own answers."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request

from runstrue.web.paging import bench_of, shown
from runstrue.web.terminal import answer

SIZE = (
    ("string", "String laid in the grooves, once round", "312 mm"),
    ("old-belt", "Or the old belt's inner circumference", "301 mm"),
    ("section", "Section and thickness", "square 1.2 mm"),
    ("stretch", "Stretch wanted, %", ""),
)
LINE = (
    ("line", "A line of the flutter", "6.4 Hz"),
    ("speed", "Tape speed, cm/s (open reel)", ""),
    ("capstan", "Capstan, diameter", "2.4 mm"),
    ("flywheel", "Flywheel, diameter", "60 mm"),
)


def standing(request: Request) -> dict[str, Any]:
    """The forms, and the answer to the one that was sent."""
    told = {key: value.strip()[:200] for key, value in request.query_params.items()}
    found, refused = "", ""
    kinds = {"belt": (("belt", "size"), SIZE), "line": (("parts",), LINE)}
    wanted = kinds.get(told.get("what", ""))
    if wanted is not None:
        from runstrue.errors import RunstrueError

        words, fields = wanted
        options = [(name, told.get(name, "")) for name, _, _ in fields]
        try:
            found = answer(words, options, bench_of(request).folder)
        except RunstrueError as error:
            refused = str(error)
    return {"size": SIZE, "line": LINE, "asked": told, "found": found, "refused": refused}


ROUTES = [shown("/belts", "belts.html", standing)]
