"""Levels against their definitions, fluxes against a handbook's table, and tones of known size."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.measure.programme_on_deck import REFERENCE_DBFS, bench_deck, programme, stretches

from runstrue.errors import InputError, SignalError
from runstrue.measure.levels import (
    DBU_OVER_DBV,
    Calibration,
    flux_step_db,
    measure_levels,
    reference_of,
)
from runstrue.result import Result
from runstrue.stimulus.programme import Section

SECTIONS = tuple(
    Section(f"level-{hz:g}", "tone", 0, 5, frequencies_hz=(hz,)) for hz in (315.0, 400.0, 1000.0)
)
LEVELS = programme(*SECTIONS)

# dB between reference levels (worked out apart): rows against 160, 185, 200, 250, 320 nWb/m
FLUXES = (160, 185, 200, 218, 250, 320, 355, 514)
TABLE = {
    160: (0, 1.26, 1.94, 2.69, 3.88, 6.02, 6.92, 10.14),
    185: (-1.26, 0, 0.68, 1.43, 2.62, 4.76, 5.66, 8.88),
    200: (-1.94, -0.68, 0, 0.75, 1.94, 4.08, 4.98, 8.20),
    250: (-3.88, -2.62, -1.94, -1.19, 0, 2.14, 3.05, 6.26),
    320: (-6.02, -4.76, -4.08, -3.33, -2.14, 0, 0.90, 4.12),
}


@pytest.mark.parametrize("base", TABLE)
def test_steps_between_fluxes(base: int) -> None:
    for flux, wanted_db in zip(FLUXES, TABLE[base], strict=True):
        step_db, u_db = flux_step_db(base, flux)
        assert step_db == pytest.approx(wanted_db, abs=0.0055)
        assert u_db == 0


def test_scales_of_flux_are_not_mixed_silently() -> None:
    """Deck scale 250 (old DIN) against the B-type level of 200 (ANSI): 1.1 to 1.2 dB, not 1.94."""
    step_db, u_db = flux_step_db(200, 250, "ANSI/AES", "old DIN")
    assert 1.0 < step_db < 1.2
    assert u_db > 0.04
    back_db, _ = flux_step_db(250, 200, "old DIN", "ANSI/AES")
    assert back_db == pytest.approx(-step_db)
    with pytest.raises(InputError, match="scale is not known"):
        flux_step_db(200, 250, "ANSI/AES", "")


def test_dbu_and_dbv_by_their_definitions() -> None:
    """0 dBu: 1 mW in 600 Ω, √0.6 V; 0 VU of a line at +4 dBu is 1.228 V (IEC 60268-17)."""
    assert pytest.approx(20 * math.log10(1 / math.sqrt(0.6))) == DBU_OVER_DBV
    assert pytest.approx(1.228, abs=0.0005) == 10 ** ((4 - DBU_OVER_DBV) / 20)


def by_id(results: tuple[Result, ...], quantity_id: str) -> list[Result]:
    return [one for one in results if one.id == quantity_id]


def figure(result: Result) -> float:
    assert result.quantity is not None
    return result.quantity.value


def test_levels_within_a_twentieth_of_a_decibel() -> None:
    found = stretches(bench_deck(imbalance_db=-1.5), LEVELS)
    results = measure_levels(found, LEVELS, ("left", "right"))
    for one in by_id(results, "level.output"):
        wanted = REFERENCE_DBFS + (-1.5 if one.channel == "right" else 0)
        assert figure(one) == pytest.approx(wanted, abs=0.05)
        assert one.quantity is not None
        assert one.quantity.unit == "dB FS"
        assert "not calibrated" in one.doubts[0]
    (balance,) = by_id(results, "level.balance")
    assert figure(balance) == pytest.approx(1.5, abs=0.05)


def test_known_voltage_turns_full_scale_into_volts() -> None:
    """0.5 V read as −10 dB FS: full scale is 0.5 · 10^0.5 = 1.581 V; ±1 % is 0.087 dB."""
    calibration = Calibration.from_known_voltage(0.5, 0.005, -10.0, "workshop interface")
    assert 10 ** (calibration.full_scale_dbv / 20) == pytest.approx(1.5811, abs=1e-4)
    assert calibration.u_db == pytest.approx(0.0869, abs=1e-4)
    results = measure_levels(
        stretches(bench_deck(), LEVELS), LEVELS, ("left", "right"), calibration
    )
    level, volts = by_id(results, "level.output")[0], by_id(results, "output.voltage")[0]
    assert figure(level) == pytest.approx(REFERENCE_DBFS + calibration.full_scale_dbv, abs=0.05)
    assert figure(volts) == pytest.approx(1581.1 * 10 ** (REFERENCE_DBFS / 20), rel=0.005)
    assert level.budget.shared_u == pytest.approx(0.0869, abs=1e-4)
    assert level.conditions["dBu"] == pytest.approx(figure(level) + 2.218, abs=0.01)
    assert volts.quantity is not None
    assert volts.quantity.u / figure(volts) == pytest.approx(0.01, abs=0.001)


@pytest.mark.parametrize(
    ("volts", "level_dbfs", "words"),
    [(0, -10, "more than 0 V"), (1, 0, "−0.1 dB FS"), (1, -80, "set the level")],
)
def test_useless_calibrations_are_refused(volts: float, level_dbfs: float, words: str) -> None:
    with pytest.raises(InputError, match=words):
        Calibration.from_known_voltage(volts, 0.01, level_dbfs)


def test_reference_of_a_bought_tape_holds_flux_scale_and_tolerance() -> None:
    tape = programme(
        replace(SECTIONS[0], level_db=-10), kind="tape", flux_nwb_per_m=250.0,
        flux_scale="old DIN", tolerance_db=0.3, corrections_db={"level-315": 0.5},
    )  # fmt: skip
    found = stretches(bench_deck(), tape)[0]
    reference = reference_of(found, tape)
    assert reference.words == "315 Hz at 250 nWb/m, old DIN scale"
    # the section stands 10 dB below, and the tape carries 0.5 dB more than it says
    assert reference.level_dbfs[0] == pytest.approx(REFERENCE_DBFS - 0.5, abs=0.05)
    assert reference.u_db == pytest.approx(0.3 / math.sqrt(3), abs=0.01)
    assert reference.source == "test tape 'test'"


def test_dead_channel_has_no_level() -> None:
    found = stretches(bench_deck(), LEVELS)
    silent = [replace(one, samples=one.samples * np.array([[1.0], [0.0]])) for one in found]
    results = measure_levels(silent, LEVELS, ("left", "right"))
    assert {one.channel for one in results} == {"left"}
    with pytest.raises(SignalError, match="No level tone"):
        measure_levels([], LEVELS, ("left", "right"))
