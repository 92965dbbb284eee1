"""The server: its pages, its doors, and the live bench behind them."""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import AsyncIterator, Iterable
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from runstrue.errors import LogbookError, RunstrueError
from runstrue.web.doors import Doors, Tokens
from runstrue.web.late import Late
from runstrue.web.paging import HERE, page, wants_json
from runstrue.web.work import Workshop

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench

LOCAL = ("127.0.0.1", "localhost", "[::1]")


def create_app(
    bench: Bench, port: int, *, addresses: Iterable[str] = (), tokens: Tokens | None = None
) -> Starlette:
    """Return the server's application.

    Parameters
    ----------
    bench : Bench
        Where the logbook lies.
    port : int
    addresses : iterable of str
        Of this machine on a local network, where that may come in.
    tokens : Tokens, optional
        That let devices of the local network in.
    """
    from runstrue.web.pages import (
        belts,
        compare,
        decks,
        faults,
        files,
        intake,
        job,
        live,
        measure,
        parts,
        report,
        settings,
        sheet,
    )

    @contextlib.asynccontextmanager
    async def alive(app: Starlette) -> AsyncIterator[None]:
        app.state.live = Late(bench)
        app.state.workshop = Workshop(bench.folder / "incoming")
        try:
            yield
        finally:
            app.state.live.close()

    modules = (
        decks, job, intake, sheet, faults, parts, belts, measure, compare, report, files, live,
        settings,
    )  # fmt: skip
    hosts = [f"{name}:{port}" for name in (*LOCAL, *addresses)]
    if port == 80:
        hosts += [*LOCAL, *addresses]
    app = Starlette(
        routes=[
            *(route for module in modules for route in module.ROUTES),
            Mount("/static", _Static(directory=HERE / "static")),
        ],
        middleware=[
            Middleware(Doors, hosts=hosts, tokens=tokens),
            Middleware(GZipMiddleware, minimum_size=800),
        ],
        exception_handlers={HTTPException: _refused, RunstrueError: _told, 500: _fell_over},
        lifespan=alive,
    )
    app.state.bench = bench
    app.state.key = secrets.token_bytes(32)
    return app


class _Static(StaticFiles):
    """Files of the program, which a browser may keep as long as they stay the same."""

    async def get_response(self, path: str, scope: object) -> Response:
        answer = await super().get_response(path, scope)  # type: ignore[arg-type]
        answer.headers["cache-control"] = "no-cache"
        return answer


def _refused(request: Request, error: Exception) -> Response:
    """Answer what is not there, or not allowed."""
    assert isinstance(error, HTTPException)
    words = {404: "There is no such page.", 405: "That cannot be done here."}.get(
        error.status_code, error.detail
    )
    return _sorry(request, words, error.status_code)


def _told(request: Request, error: Exception) -> Response:
    """Answer a page that could not be made: its one sentence, and the way home."""
    status = 404 if isinstance(error, LogbookError) else 400
    return _sorry(request, str(error), status)


def _fell_over(request: Request, error: Exception) -> Response:
    del error  # written to the terminal by the server
    return _sorry(
        request, "The bench fell over on this page; what is in the logbook is safe. The terminal "
        "says more.", 500,
    )  # fmt: skip


def _sorry(request: Request, words: str, status: int) -> Response:
    if wants_json(request):
        return JSONResponse({"words": words, "outcome": "bad"}, status)
    return page(request, "sorry.html", {"refused": "", "words": words}, status)
