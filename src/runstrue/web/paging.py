"""How a page is made, and the one road by which a form comes in."""

from __future__ import annotations

import hashlib
import hmac
import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import jinja2
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import ClientDisconnect, HTTPConnection, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import Message

from runstrue.errors import InputError, RunstrueError

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench

HERE = Path(__file__).parent
TOLD, SEEN = "runstrue_told", "runstrue_seen"
LOOKS = ("auto", "light", "dark")
FORM_BYTES = 1_000_000
FIELD_BYTES = 200_000

Context = Mapping[str, Any]
Page = Callable[[Request], "Context | Response"]
Act = Callable[[Request, "Form"], Any]


@dataclass(frozen=True, slots=True)
class Told:
    """Where to go after a form, with a sentence that is shown there once."""

    path: str
    words: str = ""


class Form:
    """What a form brought.

    Parameters
    ----------
    data : FormData
    """

    def __init__(self, data: FormData) -> None:
        self._data = data

    @property
    def typed(self) -> dict[str, str]:
        """All fields that hold text."""
        return {key: one for key, one in self._data.items() if isinstance(one, str)}

    async def close(self) -> None:
        """Let go of uploaded files."""
        await self._data.close()

    def text(self, name: str, most: int = 20_000) -> str:
        """Return a field without the spaces around it; empty where there is none.

        Raises
        ------
        InputError
            When it is longer than `most`.
        """
        value = self._data.get(name, "")
        found = value.replace("\r\n", "\n").strip() if isinstance(value, str) else ""
        if len(found) > most:
            raise InputError(
                f"The field '{name}' holds {len(found)} characters", f"at most {most} are taken"
            )
        return found

    def texts(self, name: str) -> tuple[str, ...]:
        """Return all values of a field."""
        return tuple(one.strip() for one in self._data.getlist(name) if isinstance(one, str))

    def has(self, name: str) -> bool:
        """Whether a field is there and holds something."""
        return bool(self.text(name))

    def number(self, name: str) -> float | None:
        """Return a number, written with a point or a comma; None where the field is empty.

        Raises
        ------
        InputError
            When it is none.
        """
        text = self.text(name, 40)
        if not text:
            return None
        from runstrue.cli.plan import number_of

        try:
            return float(number_of(text))
        except ValueError:
            raise InputError(f"'{text}' was typed", "a number is needed") from None

    def whole(self, name: str) -> int | None:
        """Return a whole number; None where the field is empty."""
        value = self.number(name)
        if value is not None and value != int(value):
            raise InputError(f"'{self.text(name)}' was typed", "a whole number is needed")
        return None if value is None else int(value)

    def files(self, name: str) -> tuple[UploadFile, ...]:
        """Return uploaded files, without the empty one of a field that nobody filled."""
        found = (one for one in self._data.getlist(name) if isinstance(one, UploadFile))
        return tuple(one for one in found if one.filename)


def shown(path: str, template: str, handler: Page, name: str | None = None) -> Route:
    """Make the route of a page: `handler` returns what its template is filled with."""

    async def endpoint(request: Request) -> Response:
        found = await _called(handler, request)
        return found if isinstance(found, Response) else page(request, template, found)

    return Route(path, endpoint, methods=["GET"], name=name or template)


def acting(
    path: str, template: str, handler: Page, act: Act, *, most_bytes: int = FORM_BYTES
) -> list[Route]:
    """Make the routes of a page with a form.

    A refusal is shown on the very page, which is made anew with what was typed still in it
    (`typed`), under status 400.
    """

    async def endpoint(request: Request) -> Response:
        typed: dict[str, str] = {}
        try:
            return await _acted(request, act, most_bytes, typed)
        except RunstrueError as error:
            if wants_json(request):
                return JSONResponse({"words": str(error), "outcome": "bad"}, 400)
            found = await _called(handler, request)
            if isinstance(found, Response):
                return found
            return page(request, template, {**found, "refused": str(error), "typed": typed}, 400)

    return [
        shown(path, template, handler),
        Route(path, endpoint, methods=["POST"]),
    ]


def posted(
    path: str, act: Act, back: Callable[[Request], str], *, most_bytes: int = FORM_BYTES
) -> Route:
    """Make the route of a form that has no page of its own; a refusal is told on `back`."""

    async def endpoint(request: Request) -> Response:
        try:
            return await _acted(request, act, most_bytes, {})
        except RunstrueError as error:
            if wants_json(request):
                return JSONResponse({"words": str(error), "outcome": "bad"}, 400)
            return see_other(back(request), str(error), refused=True)

    return Route(path, endpoint, methods=["POST"])


async def _acted(request: Request, act: Act, most_bytes: int, typed: dict[str, str]) -> Response:
    """Read a form, do what it asks for, and say where to go; what was typed is put into `typed`."""
    form = await read_form(request, most_bytes)
    typed.update(form.typed)
    try:
        done = await _called(act, request, form)
    finally:
        await form.close()
    if isinstance(done, Response):
        return done
    told = done if isinstance(done, Told) else Told(done)
    return see_other(told.path, told.words)


async def _called(handler: Callable[..., Any], *given: Any) -> Any:
    """Call a handler, in a thread of its own where it is not written for the event loop."""
    if inspect.iscoroutinefunction(handler):
        return await handler(*given)
    return await run_in_threadpool(handler, *given)


async def read_form(request: Request, most_bytes: int) -> Form:
    """Read a form that this server's own page sent, and no more bytes of it than are allowed.

    Raises
    ------
    InputError
        When it is larger.
    HTTPException
        403 when it does not carry the page's own mark; 400 when it is no form at all.
    """
    told = request.headers.get("content-length", "0")
    if not told.isdecimal() or int(told) > most_bytes:
        raise _too_large(most_bytes)
    request._receive = _counted(request, most_bytes)
    try:
        data = await request.form(max_files=200, max_fields=500, max_part_size=FIELD_BYTES)
    except (MultiPartException, ClientDisconnect, UnicodeDecodeError) as error:
        raise HTTPException(400, "That was no form.") from error
    mark = data.get("_token")
    if not isinstance(mark, str) or not hmac.compare_digest(mark, mark_of(request)):
        raise HTTPException(
            403, "That form was not sent from a page of this bench, or the page is older than the "
            "server; go back, load the page anew and send it again.",
        )  # fmt: skip
    return Form(data)


def _counted(request: Request, most_bytes: int) -> Callable[[], Any]:
    receive, seen = request._receive, 0

    async def counting() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > most_bytes:
            raise _too_large(most_bytes)
        return message

    return counting


def _too_large(most_bytes: int) -> InputError:
    return InputError(
        "More was sent than is taken here", f"at most {most_bytes / 1e6:.0f} MB are taken at once",
        "send less at a time",
    )  # fmt: skip


def mark_of(request: HTTPConnection) -> str:
    """Return what proves that a form came from a page that this browser got from this server."""
    key: bytes = request.app.state.key
    return hmac.new(key, str(request.scope["session"]).encode(), hashlib.sha256).hexdigest()


def bench_of(request: Request) -> Bench:
    """Return where the logbook lies."""
    bench: Bench = request.app.state.bench
    return bench


def wants_json(request: Request) -> bool:
    """Whether a script of the page asked, rather than a person."""
    return "application/json" in request.headers.get("accept", "")


def deck_path(name: str, page: str = "") -> str:
    """Return the address of a deck, or of one of its pages."""
    return f"/decks/{quote(name, safe='')}" + (f"/{page}" if page else "")


def see_other(path: str, words: str = "", *, refused: bool = False) -> Response:
    """Go on to a page, with a sentence that is shown there once."""
    answer = RedirectResponse(path, 303)
    if words:
        kind = "!" if refused else "."
        answer.set_cookie(TOLD, quote(kind + words[:1500]), httponly=True, samesite="strict")
    return answer


def page(request: Request, template: str, context: Context, status: int = 200) -> Response:
    """Fill a template."""
    from urllib.parse import unquote

    told = unquote(request.cookies.get(TOLD, ""))
    look = request.cookies.get(SEEN, "auto")
    mark = mark_of(request)
    filled = (
        templates()
        .get_template(template)
        .render(
            {
                "request": request,
                "look": look if look in LOOKS else "auto",
                "told": told[1:] if told[:1] == "." else "",
                "refused": told[1:] if told[:1] == "!" else "",
                "typed": {},
                "here": request.url.path,
                "csrf": lambda: _hidden(mark),
                **context,
            }
        )
    )
    answer = HTMLResponse(filled, status)
    if told:
        answer.delete_cookie(TOLD)
    return answer


def _hidden(mark: str) -> Any:
    from markupsafe import Markup

    return Markup('<input type="hidden" name="_token" value="{}">').format(mark)


@cache
def templates() -> jinja2.Environment:
    """All templates; everything that is put in is escaped."""
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["deck_path"] = deck_path
    made.filters["paragraphs"] = lambda text: [one for one in str(text).split("\n") if one.strip()]
    return made
