"""Several processes, and processes that die: real ones."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from runstrue.logbook import Logbook
from runstrue.logbook.models import CaptureFacts, Deck
from runstrue.result import Measured

# What every child does: store passes into the bench folder, one after another.
CHILD = """
import sys, time
import numpy as np
from pathlib import Path
from runstrue.logbook import Logbook, storing
from runstrue.logbook.models import CaptureFacts, Deck
from runstrue.quantity import Quantity
from runstrue.result import Deviation, Measured, Result

bench, name, count, mode = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), sys.argv[4]
percent = np.full((2, 20_000), 0.25, np.float32)
results = tuple(
    Result(id, "typed/1", "", Quantity(1.0, "%", 0.1)) for id in ("speed.deviation", "speed.drift")
)
measured = Measured("", results, Deviation(percent, 500.0, 3150.0, ("left", "right")))
if mode == "halt":
    def halt(*_, **__):
        print("in the middle", flush=True)
        time.sleep(60)
    storing.insert_judgement = halt
with Logbook.open(bench) as book:
    deck = book.add_deck(Deck(name=name))
    for number in range(count):
        file = bench / f"{name}-{number}.raw"
        file.write_bytes(f"{name} {number}".encode() * 1000)
        book.store(deck, None, CaptureFacts(stage="as found"), measured, (), file)
        print(number, flush=True)
"""


def child(bench: Path, name: str, count: int, mode: str = "all") -> subprocess.Popen[str]:
    bench.mkdir(exist_ok=True)
    return subprocess.Popen(
        [sys.executable, "-W", "error", "-c", CHILD, str(bench), name, str(count), mode],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )


def assert_whole(bench: Path) -> None:
    """Check the file by SQLite's own means, then everything by the program's."""
    with sqlite3.connect(bench / "logbook.sqlite") as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    connection.close()
    with Logbook.open(bench) as book:
        assert book.check() == ()
        for deck in book.decks():
            for capture in book.captures(deck, curves=True):
                assert len(capture.readings) == 2
                assert capture.deviation is not None
                assert (capture.deviation.percent == 0.25).all()
                assert book.recording(capture).stat().st_size > 0


def test_three_processes_that_begin_and_write_one_logbook_at_once_all_succeed(
    tmp_path: Path,
) -> None:
    bench = tmp_path / "bench"
    children = [child(bench, name, 12) for name in ("Red", "Grey", "Blue")]
    for process in children:
        _, errors = process.communicate(timeout=60)
        assert process.returncode == 0, errors
    assert_whole(bench)
    with Logbook.open(bench) as book:
        assert {deck.name: len(book.captures(deck)) for deck in book.decks()} == {
            "Red": 12,
            "Grey": 12,
            "Blue": 12,
        }


def test_a_writer_killed_in_the_middle_of_storing_leaves_nothing_of_it(
    tmp_path: Path, whole_pass: Callable[..., Measured], facts: Callable[..., CaptureFacts]
) -> None:
    bench = tmp_path / "bench"
    with Logbook.open(bench) as book:
        deck = book.add_deck(Deck(name="Red"))
        book.store(deck, None, facts(), whole_pass())
    process = child(bench, "Grey", 1, "halt")
    assert process.stdout is not None
    assert process.stdout.readline() == "in the middle\n"
    process.send_signal(signal.SIGKILL)
    process.communicate()
    with Logbook.open(bench) as book:
        assert book.check() == ()
        assert len(book.captures(deck)) == 1
        grey = book.find_deck("Grey")  # added before, in a transaction of its own
        assert book.captures(grey) == ()
        # The recording had its name already; storing the same bytes again takes it up.
        again = book.store(grey, None, facts(), whole_pass(), (), bench / "Grey-0.raw")
        assert book.recording(again).read_bytes() == (bench / "Grey-0.raw").read_bytes()
        assert book.check() == ()


def test_a_writer_killed_at_any_moment_leaves_all_or_nothing_of_each_pass(tmp_path: Path) -> None:
    moments = random.Random(20240501)
    for attempt in range(4):
        bench = tmp_path / f"bench {attempt}"
        process = child(bench, "Red", 500)
        assert process.stdout is not None
        process.stdout.readline()  # it is under way
        time.sleep(moments.uniform(0.0, 0.3))
        process.send_signal(signal.SIGKILL)
        said, _ = process.communicate()
        assert_whole(bench)
        with Logbook.open(bench) as book:
            stored = len(book.captures(book.find_deck("Red")))
        # All that it said it had stored, and at most one that it had no time to speak of.
        lines = [line for line in said.splitlines(keepends=True) if line.endswith("\n")]
        assert stored - (1 + len(lines)) in (0, 1)
