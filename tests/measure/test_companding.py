"""Tracking and lift of a noise reduction whose law is put in by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.measure.programme_on_deck import REFERENCE_DBFS, bench_deck, programme, stretches

from runstrue.errors import SignalError
from runstrue.measure.companding import measure_companding
from runstrue.measure.sections import Stretch
from runstrue.result import Result
from runstrue.stimulus.programme import Section

MADE = programme(
    *(
        Section(f"{level:g}-{hz:g}", "tone", 0, 3, level_db=level, frequencies_hz=(hz,))
        for level in (0.0, -10.0, -20.0, -30.0, -40.0)
        for hz in (400.0, 5000.0)
    )
)
LIFT_DB = {0.0: 0.3, -10.0: 1.6, -20.0: 4.4, -30.0: 8.0, -40.0: 9.9}


@pytest.fixture(scope="module")
def plain() -> list[Stretch]:
    return stretches(bench_deck(hiss_db=70), MADE)


def lifted(plain: list[Stretch], by_db: dict[float, float]) -> list[Stretch]:
    found = []
    for one in plain:
        db = by_db[one.section.level_db] if one.section.frequencies_hz[0] > 1000 else 0.0
        found.append(replace(one, samples=one.samples * 10 ** (db / 20)))
    return found


def first(results: tuple[Result, ...], quantity_id: str) -> Result:
    return next(one for one in results if one.id == quantity_id)


def test_lift_is_seen_when_played_off(plain: list[Stretch]) -> None:
    result = first(measure_companding(lifted(plain, LIFT_DB), ("left", "right")), "companding.lift")
    assert result.table is not None
    assert dict(zip(result.table.x, result.table.y, strict=True)) == pytest.approx(LIFT_DB, abs=0.1)
    assert result.doubts == ()


def test_weak_lift_is_told(plain: list[Stretch]) -> None:
    weak = {level: 0.6 * db for level, db in LIFT_DB.items()}
    result = first(measure_companding(lifted(plain, weak), ("left",), played="off"),
                   "companding.lift")  # fmt: skip
    assert "about 10 dB is usual" in result.doubts[0]


def test_mistracking_is_what_is_left_when_played_on(plain: list[Stretch]) -> None:
    """A level 2 dB low makes the play half lower too much: −2.6 dB at worst, here at −20 dB."""
    left = {0.0: -0.2, -10.0: -1.0, -20.0: -2.6, -30.0: -1.8, -40.0: -0.4}
    result = first(measure_companding(lifted(plain, left), ("left", "right")),
                   "companding.tracking")  # fmt: skip
    assert result.quantity is not None
    assert result.quantity.value == pytest.approx(-2.6, abs=0.1)
    assert result.conditions["worst at"] == "-20 dB"
    assert "dull" in result.doubts[0]


def test_good_tracking_has_no_doubt(plain: list[Stretch]) -> None:
    result = first(measure_companding(plain, ("left", "right")), "companding.tracking")
    assert result.quantity is not None
    assert abs(result.quantity.value) < 0.1
    assert result.doubts == ()


def test_level_set_against_a_known_tape(plain: list[Stretch]) -> None:
    wanted_dbfs = REFERENCE_DBFS + 1.5
    results = measure_companding(plain, ("left", "right"), level_set_dbfs=(wanted_dbfs,) * 2)
    level = first(results, "companding.level").quantity
    assert level is not None
    assert level.value == pytest.approx(-1.5, abs=0.05)


def test_tones_at_one_level_alone_are_refused(plain: list[Stretch]) -> None:
    with pytest.raises(SignalError, match="noise-reduction"):
        measure_companding(plain[:2], ("left", "right"))
    assert np.isfinite(plain[0].samples).all()
