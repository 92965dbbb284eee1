"""Running the server: on this machine alone, or for a local network with tokens."""

from __future__ import annotations

import contextlib
import socket
import threading
import webbrowser
from collections.abc import Callable
from typing import TYPE_CHECKING

import uvicorn

from runstrue.errors import FileError

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench

HERE = "127.0.0.1"


def free_socket(host: str, port: int) -> socket.socket:
    """Take a port.

    Raises
    ------
    FileError
        When another program holds it.
    """
    taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port))
    except OSError as error:
        taken.close()
        raise FileError(
            f"Port {port} cannot be taken ({(error.strerror or str(error)).lower()})",
            "a free port is needed", "name another one with --port, or 0 for any",
        ) from None  # fmt: skip
    taken.set_inheritable(True)
    return taken


def addresses() -> tuple[str, ...]:
    """Addresses of this machine on its networks, IPv4."""
    found = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # sends nothing: asks which way such an address lies
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [
            one[4][0] for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        ]
    return tuple(dict.fromkeys(str(one) for one in found if not str(one).startswith("127.")))


def serve(
    bench: Bench,
    port: int,
    *,
    lan: bool = False,
    told: Callable[[str], None],
    token_told: Callable[[str], None],
    browser: bool = True,
) -> None:
    """Run the server until it is stopped.

    Parameters
    ----------
    bench : Bench
    port : int
        0 for any that is free.
    lan : bool
        Whether devices of the local network may come in, each with a token.
    told : callable
        Called with the address of this machine, once the server answers.
    token_told : callable
        Called with each link that lets one device in.
    browser : bool
        Open the page in the system's browser.

    Raises
    ------
    FileError
        When the port is taken.
    """
    from runstrue.web.app import create_app
    from runstrue.web.doors import Tokens

    taken = free_socket("0.0.0.0" if lan else HERE, port)  # the network only where it was asked for
    number = taken.getsockname()[1]
    outside = addresses() if lan else ()

    def link(token: str) -> None:
        for one in outside[:1]:
            token_told(f"http://{one}:{number}/?token={token}")

    tokens = Tokens(link) if lan else None
    app = create_app(bench, number, addresses=outside, tokens=tokens)
    server = _Server(
        uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, ws="websockets-sansio",
            timeout_graceful_shutdown=2, lifespan="on",
        ),
        lambda: _ready(number, told, browser),
    )  # fmt: skip
    try:
        server.run(sockets=[taken])
    finally:
        taken.close()


class _Server(uvicorn.Server):
    """Says when it answers."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to answer."""
        await super().startup(sockets)
        if self.started:
            self._ready()


def _ready(port: int, told: Callable[[str], None], browser: bool) -> None:
    address = f"http://{HERE}:{port}/"
    told(address)
    if browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
