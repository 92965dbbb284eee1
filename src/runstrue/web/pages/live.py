"""Live: choose what to listen to, see it twenty times a second, keep a stretch."""

from __future__ import annotations

import asyncio
import contextlib
import hmac
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from runstrue.errors import InputError, RunstrueError
from runstrue.web.late import Late
from runstrue.web.pages.measure import RECORDING_BYTES, place_of
from runstrue.web.paging import (
    Form,
    Told,
    acting,
    bench_of,
    page,
    posted,
    see_other,
    shown,
    wants_json,
)

if TYPE_CHECKING:
    from starlette.datastructures import UploadFile

    from runstrue.capture.blocks import Source
    from runstrue.web.live_bench import LiveBench

PLAYED = "live/played"
"""Folder of the bench for files that are played from a page; emptied when another one comes."""


def live_of(request: Request) -> LiveBench:
    """Return the live side of the server."""
    late: Late = request.app.state.live
    return late.get()


def standing(request: Request) -> dict[str, Any] | Response:
    """The readings while something is heard, else what can be listened to."""
    live = live_of(request)
    wanted = request.query_params.get("deck")
    if wanted is not None and wanted != live.deck.name:
        live.choose(wanted)
    if live.is_listening or "ear" in request.query_params:
        return page(request, "live.html", _reading(request))
    return {
        **_sources(), "decks": deck_names(request), "deck": live.deck.name,
        "left": live.engine.recoverable(), "kept": list(live.told),
    }  # fmt: skip


def _sources() -> dict[str, Any]:
    from runstrue.capture.device import devices

    return {"devices": devices()}


def _reading(request: Request) -> dict[str, Any]:
    from runstrue.virtualdeck.live import SLIDERS

    live = live_of(request)
    facts = live.facts()
    values = facts["sliders"]
    sliders = [
        {"name": one.name, "words": one.words, "unit": one.unit, "low": one.low,
         "high": one.high, "step": one.step, "value": values[one.name]}
        for one in SLIDERS
    ] if values else ()  # fmt: skip
    source = live.source.name if live.source is not None else "–"
    return {
        "facts": facts, "source": source, "sliders": sliders, "ear": "ear" in request.query_params,
        "decks": deck_names(request), "speeds": live.deck.speeds_cm_s, "kept": list(live.told),
        "stage": request.query_params.get("stage", "found"),
    }  # fmt: skip


def deck_names(request: Request) -> list[str]:
    """Names of the decks of the logbook."""
    book = bench_of(request).open_if_there()
    if book is None:
        return []
    with book:
        return [one.name for one in book.decks()]


def start(request: Request, form: Form) -> Told:
    """Begin to listen."""
    from runstrue.measure.tape_tone import TonePlan

    live = live_of(request)
    name = form.text("deck", 80)
    tone = form.number("tone")
    plan = TonePlan(tone_hz=tone)
    kind = form.text("kind", 20)
    if kind == "ear":
        live.choose(name, plan)
        return Told("/live?ear=1")
    source = _source(request, form, kind)
    live.choose(name, plan if kind != "virtual" or tone else TonePlan(tone_hz=3150.0))
    live.start(source)
    return Told("/live")


def _source(request: Request, form: Form, kind: str) -> Source:
    if kind == "device":
        from runstrue.capture.device import DeviceSource

        return DeviceSource(form.text("device", 300))
    if kind == "virtual":
        from runstrue.capture.virtual import VirtualSource

        return VirtualSource()
    if kind == "file":
        from runstrue.capture.paced import PacedFile

        files = form.files("file")
        if not files:
            raise InputError("No file was chosen", "a recording is needed")
        return PacedFile(_played(request, files[0]))
    raise InputError("Nothing to listen to was picked", "one of the list is needed")


def _played(request: Request, upload: UploadFile) -> Path:
    from runstrue.web.pages.measure import taken_file

    folder = Path(bench_of(request).folder) / PLAYED
    live_of(request).stop()
    if folder.exists():
        for old in folder.iterdir():
            with contextlib.suppress(OSError):
                old.unlink()
    folder.mkdir(parents=True, exist_ok=True)
    return taken_file(upload, folder)


def stop(request: Request, form: Form) -> Told:
    """Stop listening."""
    del form
    live_of(request).stop()
    return Told("/live", "Stopped. What was heard can still be kept until something else plays.")


def keep(request: Request, form: Form) -> Response:
    """Keep a stretch with a deck: the last seconds, or the next, or what is being recorded."""
    live = live_of(request)
    what, _, seconds = form.text("what", 20).partition(":")
    name = form.text("deck", 80) or live.deck.name
    if what == "end":
        told = live.end_recording()
    elif what in ("last", "next") and seconds.isdecimal():
        place = place_of(form)
        act = live.keep_last if what == "last" else live.keep_next
        told = act(float(seconds), name, place)
    else:
        raise InputError("Nothing to keep was picked", "a button of the page is needed")
    if wants_json(request):
        return JSONResponse(told)
    return see_other("/live", told["words"] or "Recording.")


def left(request: Request, form: Form) -> Told:
    """Keep or delete a stretch that an earlier run left behind."""
    live = live_of(request)
    number = form.whole("number")
    if number is None:
        raise InputError("No stretch was picked", "one of the list is needed")
    if form.has("forget"):
        live.forget(number)
        return Told("/live", "Deleted.")
    told = live.recover(number, form.text("deck", 80), place_of(form))
    return Told("/live", told["words"])


def sliders(request: Request, form: Form) -> Response:
    """Turn the virtual deck's sliders."""
    live = live_of(request)
    deck = getattr(live.source, "deck", None)
    if deck is None:
        raise InputError("No virtual deck plays", "one that plays is needed")
    for name in deck.settings():
        value = form.number(name)
        if value is not None:
            deck.turn(name, value)
    live.hub.tell("sliders", deck.settings())
    if wants_json(request):
        return JSONResponse({"words": "", "outcome": ""})
    return see_other("/live")


def alone(request: Request) -> dict[str, Any]:
    """The number alone, for a phone beside the deck."""
    del request
    return {}


async def events(request: Request) -> Response:
    """Everything live, as server-sent events."""
    return StreamingResponse(
        live_of(request).hub.messages(), media_type="text/event-stream",
        headers={"x-accel-buffering": "no", "content-encoding": "identity"},
    )  # fmt: skip


async def ear(socket: WebSocket) -> None:
    """A browser's microphone."""
    live = await asyncio.to_thread(socket.app.state.live.get)
    await socket.accept()
    from runstrue.web.live_ear import EarSource, read_facts
    from runstrue.web.paging import mark_of

    source: EarSource | None = None
    try:
        facts = read_facts(await socket.receive_text())
        if not hmac.compare_digest(facts.token, mark_of(socket)):
            raise InputError("The page is older than the server", "load it anew")
        source = EarSource(facts)
        await asyncio.to_thread(live.start, source)
        await socket.send_json({"ready": True})
        while True:
            source.push(await socket.receive_bytes())
    except RunstrueError as error:
        with contextlib.suppress(RuntimeError):
            await socket.send_json({"refused": str(error)})
            await socket.close()
    except (WebSocketDisconnect, KeyError):
        pass
    finally:
        if source is not None:
            source.end()


def _back(request: Request) -> str:
    del request
    return "/live"


ROUTES = [
    *acting("/live", "live_sources.html", standing, start, most_bytes=RECORDING_BYTES),
    posted("/live/stop", stop, _back),
    posted("/live/keep", keep, _back),
    posted("/live/left", left, _back),
    posted("/live/sliders", sliders, _back),
    shown("/live/number", "live_number.html", alone),
    Route("/live/events", events),
    WebSocketRoute("/live/ear", ear),
]
