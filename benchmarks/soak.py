"""Half an hour of live readings: no block missed, memory flat.

`make soak`, or `python -m benchmarks.soak [--minutes N]`: a real server hears the virtual deck in
real time while one page's stream of messages is read. Missed is an update whose number does not
follow the one before, or whose time does not. Memory is what the process holds, after the first
fifth of the time against the last fifth; the sound itself goes to disk.
"""

from __future__ import annotations

import argparse
import http.cookiejar
import json
import re
import subprocess
import sys
import tempfile
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import mean

from benchmarks.row import Row, as_text

MINUTES = 30.0
BLOCK_S = 0.05
CODE = "from runstrue.cli.main import run; run()"


def soak_rows(minutes: float = MINUTES) -> Iterator[Row]:
    """Rows of the table."""
    with tempfile.TemporaryDirectory() as folder:
        server = subprocess.Popen(
            [sys.executable, "-c", CODE, "open", "--no-browser", "--port", "0", "--bench", folder],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        try:
            assert server.stdout is not None
            found = re.search(r"http://127\.0\.0\.1:\d+", server.stdout.readline())
            assert found is not None
            yield from _listen(found[0], server.pid, minutes)
        finally:
            server.terminate()
            server.wait(20)


def _listen(address: str, process: int, minutes: float) -> Iterator[Row]:
    browser = urllib.request.build_opener(
        urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
    )
    token = re.search(r'_token" value="(\w+)"', browser.open(f"{address}/live").read().decode())
    assert token is not None
    form = urllib.parse.urlencode({"_token": token[1], "kind": "virtual"}).encode()
    browser.open(f"{address}/live", form)
    seen, missed, held = 0, 0, []
    last: tuple[int, float] | None = None
    begin = time.monotonic()
    looked = begin
    with browser.open(f"{address}/live/events") as stream:
        kind = ""
        for raw in stream:
            now = time.monotonic()
            if now - begin > 60 * minutes:
                break
            if now - looked > 5:
                looked = now
                held.append(_held_mb(process))
            line = raw.decode().rstrip()
            if line.startswith("event: "):
                kind = line[7:]
            if kind == "live" and line.startswith("data: "):
                told = json.loads(line[6:])
                heard = int(told["number"]), float(told["strip"]["from"])
                if last is not None and heard[0] != last[0]:
                    missed += heard[0] - last[0] - 1
                seen, last = seen + 1, heard
    fifth = max(len(held) // 5, 1)
    first, end = mean(held[fifth : 2 * fifth]), mean(held[-fifth:])
    grown = 100 * (end / first - 1)
    yield Row("blocks missed", str(missed), "0", float(missed),
              remark=f"{seen} updates in {minutes:g} min, "
              f"{60 * minutes / BLOCK_S:.0f} blocks of sound")  # fmt: skip
    yield Row("memory grown", f"{grown:+.1f} %", "within 5 %", abs(grown) / 5,
              remark=f"from {first:.0f} to {end:.0f} MB")  # fmt: skip


def _held_mb(process: int) -> float:
    """Memory that a process holds (proc(5))."""
    status = Path(f"/proc/{process}/status").read_text()
    found = re.search(r"VmRSS:\s+(\d+) kB", status)
    assert found is not None
    return int(found[1]) * 1024 / 1e6


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the rows."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.soak")
    parser.add_argument("--minutes", type=float, default=MINUTES)
    rows = list(soak_rows(parser.parse_args(arguments).minutes))
    print(as_text(rows))
    for row in rows:
        print(f"- {row.what}: {row.remark}.")
    return 0 if all(row.is_reached for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
