"""Write the logbook that version 1 of the tables leaves behind, for `test_migrations.py`.

Run once, with the program that first had version 1 (0.1.0), and never again: a later program
would write its own tables. Nothing in it is random, and the clock stands still.

    python tests/logbook/released/make_v1.py
"""

from __future__ import annotations

import shutil
import struct
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from runstrue.logbook import Logbook, schema
from runstrue.logbook.models import CaptureFacts, Deck, SoundCard, Stage
from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Deviation, Line, Measured, Result, Spread, Trace
from runstrue.stimulus.testtape import TestTape
from runstrue.verdict.models import Limit, Sheet, Unread, Verdict

FOLDER = Path(__file__).parent / "v1"

LIMIT = Limit(ids=("speed.deviation",), unit="%", words="Speed ±1.5 %", low=-1.5, high=1.5)
TAPE = TestTape(
    name="Sallowby tape",
    tone_hz=3150.0,
    speed_tolerance_percent=0.5,
    own_flutter_percent=0.05,
    batch="7",
)
STAGES: tuple[tuple[Stage, float, float], ...] = (
    ("as found", -2.125, 0.375),
    ("as left", 0.25, 0.125),
)


def measured(speed_percent: float, flutter_percent: float) -> Measured:
    """Return a pass of two seconds with a deviation that rises in steps of 1/64 %."""
    speed = Budget(
        (
            Contribution("speed of the test tape", 0.25, "shared", TAPE.source),
            Contribution("finite length", 0.015625, "random", "", 12.0),
        )
    )
    flutter = Budget((Contribution("hiss", 0.0078125, "random", "", 9.0),))
    percent = np.vstack([np.zeros(1000), np.arange(1000) / 64]).astype(np.float32)
    percent[0, 500:600] = np.nan
    curve = Trace(
        "flutter spectrum", np.arange(1.0, 33.0), np.full(32, 0.0625, np.float32),
        "rate", "Hz", "deviation", "%", "left",
    )  # fmt: skip
    return Measured(
        summary="Tone of 3150 Hz on both channels; 2.0 s used of 2.0 s",
        results=(
            Result("speed.deviation", "bell-mean/1", "both", speed.quantity(speed_percent, "%"),
                   speed, conditions={"tone_hz": 3150.0}),
            Result("flutter.weighted_peak", "two-sigma/1", "both",
                   flutter.quantity(flutter_percent, "%"), flutter,
                   spread=Spread(flutter_percent / 2, flutter_percent, 2 * flutter_percent),
                   lines=(Line(6.5, 0.0625, 0.125, 0.015625, 0.125),),
                   traces=(curve,), doubts=("The record is short.",)),
        ),
        deviation=Deviation(percent, 500.0, 3150.0, ("left", "right")),
        conditions={"tone_hz": 3150.0, "self_recorded": False},
    )  # fmt: skip


def verdict(speed_percent: float) -> Verdict:
    """Return what the sheet's speed says about it."""
    meets = abs(speed_percent) < 1.5
    return Verdict(
        id="speed.deviation", method="bell-mean/1", channel="both", limit=LIMIT,
        outcome="meets" if meets else "does not meet", chance=0.99 if meets else 0.01,
        rule="meets from 95 %, does not meet up to 5 %; JCGM 106:2012",
        words="leave it alone" if meets else "worth adjusting",
        value=speed_percent, unit="%", u=0.25,
    )  # fmt: skip


def silence(path: Path) -> Path:
    """Write a WAV file of 0.01 s, field by field (RIFF/WAVE, PCM 16 bit, mono, 8 kHz)."""
    data = bytes(160)
    header = b"RIFF" + struct.pack("<I", 36 + len(data)) + b"WAVE"
    header += b"fmt " + struct.pack("<IHHIIHH", 16, 1, 1, 8000, 16_000, 2, 16)
    path.write_bytes(header + b"data" + struct.pack("<I", len(data)) + data)
    return path


def main() -> None:
    """Write the folder anew."""
    assert len(schema.MIGRATIONS) == 1, "this program no longer writes version 1"
    shutil.rmtree(FOLDER, ignore_errors=True)
    still = datetime(2024, 5, 1, 9, 30, tzinfo=UTC)
    with TemporaryDirectory() as folder, Logbook.open(FOLDER, clock=lambda: still) as book:
        deck = book.add_deck(
            Deck(name="Demo C-14", maker="Wrenholm", model="C-14", serial="00417", year=1979,
                 speeds_cm_s=(4.76,), heads=2, wells=1, mains="230 V, 50 Hz",
                 notes="of the repair club in Sallowby")
        )  # fmt: skip
        text = "Speed ±1.5 %; built to last"
        unread = Unread(words="built to last", why="no figure")
        sheet = book.add_sheet(deck, Sheet(text=text, limits=(LIMIT,), unread=(unread,)), "leaflet")
        visit = book.open_visit(deck, "plays slow")
        book.set_sound_card(SoundCard(name="Blue box", clock_ppm=-31.0, u_ppm=5.0))
        file = silence(Path(folder) / "side-a.wav")
        for stage, speed, flutter in STAGES:
            book.store(deck, visit, CaptureFacts(stage=stage, side="A"), measured(speed, flutter),
                       [verdict(speed)], file, tape=TAPE, sheet=sheet)  # fmt: skip
        torque = Result("torque.take_up", "typed/1", "", Quantity(4.5, "mN·m", 0.25))
        book.store_typed(deck, CaptureFacts(stage="as left"), torque, visit=visit)
        book.close_visit(visit, "new belt")


if __name__ == "__main__":
    main()
