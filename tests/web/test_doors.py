"""Who may come in, and what a page may do: each refusal is tried.

The attacks are those of the OWASP Top Ten and its cheat sheets on cross-site request forgery,
DNS rebinding and file upload (titles from memory).
"""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect
from tests.web.conftest import BASE, PORT, Pages

from runstrue.cli.bench import Bench
from runstrue.logbook import Logbook
from runstrue.web.app import create_app
from runstrue.web.doors import GUEST, HEADERS, Tokens
from runstrue.web.pictures import MOST_POINTS

EAR = f"ws://127.0.0.1:{PORT}/live/ear"


@pytest.mark.parametrize("host", ["evil.example", "evil.example:7315", "127.0.0.1:80", "", "x"])
def test_another_name_is_refused(pages: Pages, host: str) -> None:
    answer = pages.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "C-14" not in answer.text


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1", "[::1]"])
def test_its_own_names_are_answered(pages: Pages, host: str) -> None:
    assert pages.get("/", headers={"host": f"{host}:{PORT}"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_form_of_another_site_is_refused(pages: Pages, headers: dict[str, str]) -> None:
    fields = {"name": "spy", "_token": pages.mark("/decks/new")}
    answer = pages.client.post("/decks/new", data=fields, headers=headers)
    assert answer.status_code == 403
    assert "spy" not in pages.get("/").text


@pytest.mark.parametrize("mark", [None, "", "0" * 64])
def test_a_form_without_the_pages_mark_is_refused(pages: Pages, mark: str | None) -> None:
    fields = {"name": "spy"} | ({} if mark is None else {"_token": mark})
    assert pages.client.post("/decks/new", data=fields).status_code == 403
    assert "spy" not in pages.get("/").text


def test_a_mark_of_another_browser_is_refused(bench: Bench, pages: Pages) -> None:
    del bench
    mark = pages.mark("/decks/new")
    pages.client.cookies.clear()
    pages.get("/")  # another session
    answer = pages.client.post("/decks/new", data={"name": "spy", "_token": mark})
    assert answer.status_code == 403


def test_every_post_asks_for_the_mark(pages: Pages) -> None:
    app = pages.client.app
    routes = [one for one in app.routes if "POST" in (getattr(one, "methods", None) or ())]
    assert len(routes) > 15
    for route in routes:
        path = route.path.replace("{deck}", "C-14").replace("{number:int}", "1")
        answer = pages.client.post(path.replace("{work}", "x"), data={"what": "x"})
        assert answer.status_code == 403, route.path


@pytest.mark.parametrize(
    "path",
    [
        "/static/../../pyproject.toml",
        "/static/%2e%2e/%2e%2e/app.py",
        "/static/..%2f..%2fapp.py",
        "/static//etc/passwd",
        "/static/live/%2e%2e/%2e%2e/templates/base.html",
        "/decks/C-14/files/../../../logbook.sqlite",
        "/decks/..%2f..%2fetc/files/1",
        "/decks/C-14/drawings/..%2f..%2flogbook.svg",
        "/decks/C-14/files/99",
    ],
)
def test_no_path_leads_out_of_the_folder(pages: Pages, path: str) -> None:
    answer = pages.client.get(path)
    assert answer.status_code in (400, 404)
    assert "SQLite format" not in answer.text
    assert "root:" not in answer.text
    assert "import" not in answer.text


@pytest.mark.parametrize("path", ["/", "/decks/new", "/live", "/nope", "/static/look.css"])
def test_every_answer_carries_the_headers(pages: Pages, path: str) -> None:
    answer = pages.get(path)
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    policy = answer.headers["content-security-policy"]
    assert "unsafe" not in policy
    assert "http" not in policy


def test_pages_hold_no_inline_script_or_style(pages: Pages) -> None:
    import re

    for path in ("/", "/decks/new", "/decks/C-14", "/decks/C-14/intake", "/decks/C-14/sheet",
                 "/decks/C-14/faults", "/decks/C-14/parts", "/decks/C-14/measure",
                 "/decks/C-14/compare", "/decks/C-14/report", "/decks/C-14/files", "/live",
                 "/live/number", "/belts", "/settings"):  # fmt: skip
        text = pages.get(path).text
        assert not re.search(r"<script(?![^>]*\bsrc=\"/static/)", text), path
        assert not re.search(r"\sstyle=|<style|\son[a-z]+=|javascript:", text), path
        assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", text), path


def test_what_was_typed_is_escaped(pages: Pages) -> None:
    nasty = '<script>alert("1")</script>'
    pages.send("/decks/new", {"name": "X-1", "maker": nasty, "notes": nasty})
    for path in ("/", "/decks/X-1", "/decks/X-1/facts"):
        text = pages.get(path).text
        assert "<script>alert" not in text
        assert "&lt;script&gt;" in text


def test_too_much_is_refused(pages: Pages) -> None:
    answer = pages.send("/decks/new", {"name": "X-1", "notes": "x" * 1_200_000})
    assert answer.status_code == 400
    assert "at most 1 MB" in answer.text
    assert pages.get("/decks/X-1").status_code == 404


def test_a_page_that_is_not_there_says_so(pages: Pages) -> None:
    answer = pages.get("/decks/D-99")
    assert answer.status_code == 404
    assert "There is no deck &#39;D-99&#39;" in answer.text


class Network:
    """The same server, asked from another machine of a local network."""

    def __init__(self, bench: Bench) -> None:
        self.told: list[str] = []
        self.tokens = Tokens(self.told.append)
        app = create_app(bench, PORT, addresses=["192.0.2.7"], tokens=self.tokens)
        self.client = TestClient(
            app, base_url=f"http://192.0.2.7:{PORT}", client=("192.0.2.50", 40_000)
        )


def test_a_local_network_needs_a_token_each(bench: Bench) -> None:
    network = Network(bench)
    with network.client as client:
        assert client.get("/").status_code == 403
        assert client.get("/?token=guess").status_code == 403
        first = network.tokens.open
        answer = client.get(f"/decks/C-14?token={first}")
        assert answer.status_code == 200
        assert "C-14" in answer.text
        assert "token" not in str(answer.url)
        assert client.get("/").status_code == 200, "the device has a cookie of its own now"
        # each token lets one device in
        client.cookies.clear()
        assert client.get(f"/?token={first}").status_code == 403
        assert network.told[-1] != first
        assert client.get(f"/?token={network.told[-1]}").status_code == 200
        client.cookies.set(GUEST, "made-up")
        assert client.get("/live").status_code in (200, 403)


def test_a_made_up_guest_is_refused(bench: Bench) -> None:
    network = Network(bench)
    with network.client as client:
        client.cookies.set(GUEST, "made-up")
        assert client.get("/").status_code == 403


def test_a_websocket_of_another_site_is_refused(pages: Pages) -> None:
    for headers in ({"origin": "http://evil.example"}, {}):
        with (
            pytest.raises(WebSocketDisconnect),
            pages.client.websocket_connect(EAR, headers=headers),
        ):
            pass


def test_a_websocket_without_the_pages_mark_is_refused(pages: Pages) -> None:
    with pages.client.websocket_connect(EAR, headers={"origin": BASE}) as socket:
        socket.send_json({"rate": 48_000, "channels": 1, "settings": {}, "token": "0"})
        assert "older than the server" in socket.receive_json()["refused"]


def picture(form: str = "JPEG", size: tuple[int, int] = (3000, 1200)) -> bytes:
    stream = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "Maker of a camera"
    Image.new("RGB", size, "teal").save(stream, form, exif=exif)
    return stream.getvalue()


def test_a_photo_is_scaled_and_made_anew(pages: Pages, bench: Bench) -> None:
    answer = pages.send(
        "/decks/C-14/files", {"kind": "photo", "caption": "belt path"},
        files=[("files", ("IMG 1.jpg", picture() + b"<script>", "image/jpeg"))],
    )  # fmt: skip
    assert answer.status_code == 200
    with Logbook.open(bench.folder) as book:
        (record,) = book.files_of(book.find_deck("C-14"))
        content = book.file_path(record).read_bytes()
    assert (record.width, record.height) == (1600, 640)
    assert b"Maker of a camera" not in content
    assert b"<script>" not in content
    sent = pages.get(f"/decks/C-14/files/{record.id}")
    assert (sent.headers["content-type"], sent.content) == ("image/jpeg", content)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("page.html", b"<html><script>alert(1)</script></html>"),
        ("photo.jpg", b"\xff\xd8\xff\xe0 and then nothing of a picture"),
        ("drawing.svg", b'<svg xmlns="http://www.w3.org/2000/svg"><script/></svg>'),
        ("half.jpg", picture()[:400]),
        ("program.exe", b"MZ" + b"\0" * 200),
    ],
)
def test_what_is_no_picture_is_refused(
    pages: Pages, bench: Bench, name: str, content: bytes
) -> None:
    answer = pages.send(
        "/decks/C-14/files", {"kind": "photo"}, files=[("files", (name, content, "image/jpeg"))]
    )
    assert answer.status_code == 400
    assert "could not be read as a picture" in answer.text
    assert not list((bench.folder / "attachments").glob("*"))


def test_a_picture_that_would_fill_the_memory_is_refused(pages: Pages) -> None:
    stream = io.BytesIO()
    side = int(MOST_POINTS**0.5) + 100
    Image.new("1", (side, side)).save(stream, "PNG")
    answer = pages.send(
        "/decks/C-14/files", {"kind": "photo"},
        files=[("files", ("bomb.png", stream.getvalue(), "image/png"))],
    )  # fmt: skip
    assert answer.status_code == 400


def test_a_name_with_a_path_stays_in_its_folder(pages: Pages, bench: Bench, tape: Path) -> None:
    for name in ("../../outside.flac", "/tmp/outside.flac", "..\\outside.flac"):
        pages.send(
            "/decks/C-14/measure", {"stage": "found"},
            files=[("recordings", (name, tape.read_bytes()[:2000], "audio/flac"))],
        )  # fmt: skip
    assert not list(bench.folder.parent.glob("outside*"))
    assert not (Path("/tmp") / "outside.flac").exists()


def test_a_recording_by_another_name_is_refused(pages: Pages) -> None:
    answer = pages.send(
        "/decks/C-14/measure", {"stage": "found"},
        files=[("recordings", ("evil.html", b"<html>", "text/html"))],
    )  # fmt: skip
    assert answer.status_code == 400
    assert "is no recording by its name" in answer.text
