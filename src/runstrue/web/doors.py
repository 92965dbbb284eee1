"""Who may come in, and what a page may do: hosts, tokens, origins, headers, sizes.

Everything is refused that does not name this server by an address it was started with (a foreign
name that resolves here would be somebody's trick), that comes from another site, or, on a local
network, that brings no token. Pages run no script but the server's own.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import threading
from collections.abc import Callable, Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, urlencode, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "worker-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob: data:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(self), camera=(), geolocation=()",
}
SESSION, GUEST = "runstrue_session", "runstrue_guest"
SAFE = ("GET", "HEAD", "OPTIONS")


class Tokens:
    """Tokens of a local network: each lets one device in, which then has a cookie of its own.

    Parameters
    ----------
    told : callable, optional
        Called with each new token, so that the terminal can show it.
    """

    def __init__(self, told: Callable[[str], None] | None = None) -> None:
        self._told = told
        self._guests: set[str] = set()
        self._lock = threading.Lock()
        self._open = ""
        self.renew()

    @property
    def open(self) -> str:
        """The token that nobody has used yet."""
        return self._open

    def renew(self) -> None:
        """Make another token; the one before is worth nothing any more."""
        self._open = secrets.token_urlsafe(18)
        if self._told is not None:
            self._told(self._open)

    def admit(self, token: str) -> str | None:
        """Take a token in exchange for a guest's cookie; None where it is not the open one."""
        with self._lock:
            if not hmac.compare_digest(token.encode(), self._open.encode()):
                return None
            guest = secrets.token_urlsafe(24)
            self._guests.add(guest)
            self.renew()
        return guest

    def knows(self, guest: str) -> bool:
        """Whether this device was let in."""
        return guest in self._guests


class Doors:
    """The outermost layer of the server.

    Parameters
    ----------
    app : ASGI application
    hosts : iterable of str
        Names and addresses, with their port, under which the server may be called.
    tokens : Tokens, optional
        Where a local network may come in.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str], tokens: Tokens | None = None) -> None:
        self.app, self._hosts, self._tokens = app, frozenset(hosts), tokens

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers, cookies = Headers(scope=scope), cookies_of(scope)
        refused = self._refusal(scope, headers, cookies)
        if refused is not None:
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
                return
            await self._dressed(refused, scope, receive, send)
            return
        session = cookies.get(SESSION, "")
        fresh = not session and scope["type"] == "http"
        scope["session"] = session or secrets.token_urlsafe(24)

        async def dressing(message: Message) -> None:
            if message["type"] == "http.response.start":
                told = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    told.setdefault(name, value)
                told.setdefault("cache-control", "no-store")
                if fresh:
                    told.append("set-cookie", cookie(SESSION, scope["session"]))
            await send(message)

        await self.app(scope, receive, dressing)

    def _refusal(self, scope: Scope, headers: Headers, cookies: dict[str, str]) -> Response | None:
        if headers.get("host", "").lower() not in self._hosts:
            return _said(421, "This server is not called by that name; open the address that "
                         "runstrue open printed.")  # fmt: skip
        if not self._same_site(scope, headers):
            return _said(403, "That came from another page than the bench's own; open the bench, "
                         "and do it there.")  # fmt: skip
        if self._tokens is None or _is_here(scope):
            return None
        query = dict(parse_qsl(scope.get("query_string", b"").decode("latin-1")))
        if scope["type"] == "http" and "token" in query:
            guest = self._tokens.admit(query.pop("token"))
            if guest is not None:
                path = scope["path"] + (f"?{urlencode(query)}" if query else "")
                answer = RedirectResponse(path, 303)
                answer.headers.append("set-cookie", cookie(GUEST, guest))
                return answer
        if self._tokens.knows(cookies.get(GUEST, "")):
            return None
        return _said(403, "This device was not let in yet; open the link, or scan the code, that "
                     "the terminal of the bench shows now. Each lets one device in.")  # fmt: skip

    def _same_site(self, scope: Scope, headers: Headers) -> bool:
        if scope["type"] == "http" and scope["method"] in SAFE:
            return True
        origin = headers.get("origin")
        if origin is not None:
            return urlsplit(origin).netloc.lower() in self._hosts
        site = headers.get("sec-fetch-site")
        return site in (None, "same-origin", "none") and scope["type"] == "http"

    async def _dressed(self, answer: Response, scope: Scope, receive: Receive, send: Send) -> None:
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        await answer(scope, receive, send)


def cookies_of(scope: Scope) -> dict[str, str]:
    """Return the cookies of a request; none where they make no sense."""
    found: SimpleCookie = SimpleCookie()
    try:
        found.load(Headers(scope=scope).get("cookie", ""))
    except CookieError:
        return {}
    return {name: one.value for name, one in found.items()}


def cookie(name: str, value: str) -> str:
    """Set a cookie that scripts cannot read and other sites do not send."""
    return f"{name}={value}; Path=/; HttpOnly; SameSite=Strict"


def _is_here(scope: Scope) -> bool:
    """Whether a request comes from this very machine."""
    client = scope.get("client")
    try:
        return client is not None and ipaddress.ip_address(client[0]).is_loopback
    except ValueError:
        return False


def _said(status: int, words: str) -> Response:
    return PlainTextResponse(words, status)
