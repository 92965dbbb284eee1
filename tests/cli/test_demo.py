"""The demo: the whole path, twice into the same folder."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.conftest import Call

from runstrue.cli import demo
from runstrue.logbook import Logbook


def test_the_demo_goes_the_whole_way_and_can_be_run_again(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "LENGTH_S", 16.0)
    folder = tmp_path / "demo"
    for visits in (1, 2):
        ran = call("demo", folder)
        assert (ran.code, ran.err) == (0, "")
        assert (folder / "report.pdf").read_bytes().startswith(b"%PDF-")
        drawn = len(list((folder / "pictures").iterdir()))
        assert drawn >= 12
        assert f"{drawn} pictures" in ran.out
        with Logbook.open(folder / "bench") as book:
            record = book.deck_record(book.find_deck(demo.DECK), curves=False)
        assert len(record.visits) == visits
        assert all(visit.ended_at for visit in record.visits)
        # two passes and two typed readings a stage
        assert len(record.captures) == visits * 6
    speed = next(
        change for change in record.changes
        if (change.id, change.channel) == ("speed.deviation", "both")
    )  # fmt: skip
    assert speed.difference is not None
    # outside: the truths that the virtual deck wrote beside its recordings
    found, left = (
        json.loads((folder / f"as-{stage}.truth.json").read_text())["mean_deviation_percent"]
        for stage in ("found", "left")
    )
    moved = speed.difference.quantity
    assert abs(moved.value - (left - found)) <= moved.expanded(0.99)
    assert "clearly better" in ran.out
    assert max(len(line) for line in ran.out.splitlines() if str(tmp_path) not in line) <= 80
