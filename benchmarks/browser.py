"""The bench in the browser: how fast it comes, how light it is, what live readings cost.

`python -m benchmarks.browser [--seconds N]` opens a real server on a bench with the demo's decks,
hears a tone through a private sound server at 48 kHz stereo with all readings, and looks with a
real browser: five pages open at once. Needs Debian's chromium and pulseaudio.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import median

from tests.sound_server import SoundServer, sound_server

from benchmarks.row import Row, as_text

SECONDS = 30.0
PAGES = 5
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
CODE = "from runstrue.cli.main import run; run()"
PATHS = (
    "/", "/decks/new", "/decks/Sallowby%20C-14", "/decks/Sallowby%20C-14/intake",
    "/decks/Sallowby%20C-14/faults", "/decks/Sallowby%20C-14/parts",
    "/decks/Sallowby%20C-14/measure", "/decks/Sallowby%20C-14/compare", "/live", "/settings",
)  # fmt: skip
TICKS = os.sysconf("SC_CLK_TCK")


def browser_rows(seconds: float = SECONDS) -> Iterator[Row]:
    """Rows of the table."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sound_server() as sound:
        demo = Path(folder) / "demo"
        subprocess.run([sys.executable, "-c", CODE, "demo", str(demo)], check=True,
                       stdout=subprocess.DEVNULL)  # fmt: skip
        server, address, started_s = _open(demo / "bench", sound)
        try:
            yield Row("start to first page", f"{started_s:.2f} s", "≤ 1.0 s", started_s)
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path="/usr/bin/chromium", args=list(FLAGS)
                )
                yield from _page_rows(browser, address)
                yield from _live_rows(browser, address, sound, demo, server, seconds)
                browser.close()
        finally:
            server.terminate()
            server.wait(20)


def _open(bench: Path, sound: SoundServer) -> tuple[subprocess.Popen[str], str, float]:
    """Start the server; return it, its address, and the seconds until its first page was sent."""
    import urllib.request

    begin = time.perf_counter()
    server = subprocess.Popen(
        [sys.executable, "-c", CODE, "open", "--no-browser", "--port", "0"],
        env={**os.environ, **sound.environment, "RUNSTRUE_BENCH": str(bench)},
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert server.stdout is not None
    found = re.search(r"http://127\.0\.0\.1:\d+", server.stdout.readline())
    assert found is not None
    urllib.request.urlopen(found[0]).read()
    return server, found[0], time.perf_counter() - begin


def _page_rows(browser: object, address: str) -> Iterator[Row]:
    """First paint, and what goes over the line for a page, with an empty store of the browser."""
    paints, weights, outside = [], {}, 0
    for path in PATHS:
        context = browser.new_context()  # type: ignore[attr-defined]
        page = context.new_page()
        session = context.new_cdp_session(page)
        session.send("Network.enable")
        sent: list[float] = []
        asked: list[str] = []
        session.on(
            "Network.loadingFinished", lambda one, sent=sent: sent.append(one["encodedDataLength"])
        )
        page.on("request", lambda one, asked=asked: asked.append(one.url))
        page.goto(address + path)
        page.wait_for_timeout(1500)
        paint = page.evaluate(
            "performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
        )
        paints.append(float(paint) / 1000)
        weights[path] = sum(sent) / 1000
        outside += sum(not one.startswith(address) for one in asked)
        context.close()
    heaviest = max(weights, key=lambda one: weights[one])
    yield Row("first paint, median of the pages", f"{median(paints):.2f} s", "≤ 0.3 s",
              median(paints) / 0.3, remark=f"slowest {max(paints):.2f} s")  # fmt: skip
    yield Row(
        "heaviest page as sent",
        f"{weights[heaviest]:.0f} kB",
        "≤ 150 kB",
        weights[heaviest] / 150,
        remark=f"{heaviest}; {outside} requests to elsewhere",
    )


def _live_rows(
    browser: object, address: str, sound: SoundServer, demo: Path,
    server: subprocess.Popen[str], seconds: float,
) -> Iterator[Row]:  # fmt: skip
    pages = [browser.new_context().new_page() for _ in range(PAGES)]  # type: ignore[attr-defined]
    first = pages[0]
    first.goto(f"{address}/live")
    card = first.locator("form", has=first.get_by_role("heading", name="The sound card"))
    card.get_by_label("Tone on the tape").fill("3150")
    tape = demo / "played.wav"
    subprocess.run(["sox", str(demo / "as-found.flac"), str(tape), "repeat", "5"], check=True)
    player = sound.play(tape)
    try:
        card.get_by_role("button", name="Listen").click()
        first.wait_for_selector('[data-state="reading"]', timeout=60_000)
        for other in pages[1:]:
            other.goto(f"{address}/live")
        first.wait_for_timeout(12_000)  # the longest window is being read now
        watch = """() => { const root = document.querySelector('[data-live]');
            window.seen = []; new MutationObserver(() => window.seen.push(
            [performance.now(), Number(root.dataset.latency)])).observe(root,
            {attributeFilter: ['data-latency']}); }"""
        for one in pages:
            one.evaluate(watch)
        before, begin = _busy_s(server.pid), time.perf_counter()
        first.wait_for_timeout(1000 * seconds)
        busy, took = _busy_s(server.pid) - before, time.perf_counter() - begin
        seen = [one.evaluate("window.seen") for one in pages]
    finally:
        player.terminate()
        player.wait(10)
    rates = [len(one) / took for one in seen]
    late = [latency for one in seen for _, latency in one]
    yield Row(
        "sound to number on the screen, median",
        f"{median(late):.0f} ms",
        "≤ 100 ms",
        median(late) / 100,
        remark="from the block's arrival to the frame that draws it",
    )
    yield Row(f"updates a second with {PAGES} pages open", f"{min(rates):.1f}", "≥ 20",
              min(rates) / 19.5, more_is_better=True, remark="the slowest page; pages are drawn "
              "by one machine of few cores")  # fmt: skip
    share = 100 * busy / took
    yield Row("server while it hears 48 kHz stereo", f"{share:.0f} % of a core", "≤ 10 %",
              share / 10, remark=f"all readings, {PAGES} pages, over {took:.0f} s")  # fmt: skip


def _busy_s(pid: int) -> float:
    """Seconds that a process has computed (proc(5))."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the rows."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.browser")
    parser.add_argument("--seconds", type=float, default=SECONDS)
    rows = list(browser_rows(parser.parse_args(arguments).seconds))
    print(as_text(rows))
    for row in rows:
        if row.remark:
            print(f"- {row.what}: {row.remark}.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
