"""Draw the pictures in README and docs: an invented deck, found and left, by the usual path.

    python docs/make_figures.py

A virtual deck with a perished belt comes to the bench and leaves it healthy. It is listened
to, judged and kept in a logbook like any other; the figures are drawn from that record. Same
program, same pictures: seeds and dates are fixed.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from runstrue.logbook.book import Logbook
from runstrue.logbook.models import CaptureFacts, Deck, Stage
from runstrue.measure.tape_tone import TonePlan, measure_tone
from runstrue.report.figures import drawings_of, svg_of
from runstrue.report.files import make_folder, write_whole
from runstrue.samples import Signal
from runstrue.stimulus.testtape import TestTape
from runstrue.stimulus.tone import Tone
from runstrue.verdict.judge import judge
from runstrue.verdict.sheet import read_sheet
from runstrue.virtualdeck.play import play
from runstrue.virtualdeck.presets import preset

FOLDER = Path(__file__).parent / "figures"
SHEET = "Wow and flutter 0.2 % (DIN, weighted peak); tape speed ±1.5 %"
TAPE = TestTape(
    name="Sallowby flutter tape", tone_hz=3150.0, speed_tolerance_percent=0.3,
    own_flutter_percent=0.03, batch="7",
)  # fmt: skip
PASSES: tuple[tuple[Stage, str, datetime], ...] = (
    ("as found", "perished-belt", datetime(2026, 3, 12, 10, tzinfo=UTC)),
    ("as left", "healthy", datetime(2026, 3, 14, 16, tzinfo=UTC)),
)


def main() -> None:
    """Write one SVG a figure."""
    now = PASSES[0][2]
    with (
        tempfile.TemporaryDirectory() as folder,
        Logbook.open(Path(folder) / "bench", clock=lambda: now) as book,
    ):
        deck = book.add_deck(Deck(name="demo", maker="Wrenholm", model="C-14", serial="0042"))
        sheet = book.add_sheet(deck, read_sheet(SHEET), source="owner's manual")
        visit = book.open_visit(deck, reason="sounds sour on piano")
        for seed, (stage, key, when) in enumerate(PASSES, start=1):
            now = when
            signal = play(preset(key).deck, Tone(3150), duration_s=60, seed=seed).signal
            measured = measure_tone(
                _blocks(signal), signal.rate_hz, signal.channels, TonePlan(tape=TAPE)
            )
            verdicts = judge(sheet.limits, measured.results)
            facts = CaptureFacts(stage=stage, side="A", tape=TAPE.name)
            book.store(deck, visit, facts, measured, verdicts, tape=TAPE, sheet=sheet)
        record = book.deck_record(deck)
    make_folder(FOLDER)
    for drawing in drawings_of(record):
        print(write_whole(FOLDER / f"{drawing.key}.svg", svg_of(drawing.draw("page"))))


def _blocks(signal: Signal) -> Iterator[NDArray[np.floating]]:
    """Hand over a second at a time, as a file is read."""
    step = int(signal.rate_hz)
    for start in range(0, signal.frames, step):
        yield signal.samples[:, start : start + step]


if __name__ == "__main__":
    main()
