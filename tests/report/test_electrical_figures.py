"""Curves of electrical readings: which figures they give, and that each can be drawn."""

from __future__ import annotations

import numpy as np
import pytest

from runstrue.quantity import Quantity
from runstrue.report.electrical_figures import Told, plates_of
from runstrue.report.figures import png_of, svg_of
from runstrue.report.style import Caption
from runstrue.result import Result, Table, Trace
from runstrue.verdict.sheet import read_sheet

X = np.linspace(0, 10, 9000)


def results(fall_db: float) -> list[Result]:
    made = []
    for channel in ("left", "right"):
        gain = Table((40.0, 315.0, 1000.0, 10_000.0), (-1.0, 0.0, 0.1, -fall_db), (0.1,) * 4,
                     "Hz", "dB")  # fmt: skip
        for level in (-20.0, 0.0):
            made.append(Result("response.gain", "response-tones/1", channel, None, table=gain,
                               conditions={"level, dB": level}))  # fmt: skip
        third = Table((-10.0, 0.0, 6.0), (0.1, 1.0, 4.0), (0.001,) * 3, "dB", "%")
        made.append(Result("level.mol", "mol-ramp/1", channel, Quantity(4.0, "dB", 0.1),
                           table=third, conditions={"against": "250 nWb/m"}))  # fmt: skip
        for quantity_id, name in (
            ("hum.total", "hum spectrum"), ("dropout.count", "level"),
            ("control.crackle", "level through the control"),
        ):  # fmt: skip
            trace = Trace(name, X, -60 + np.sin(X), "x", "s", "y", "dB", channel)
            made.append(Result(quantity_id, "x/1", channel, None, traces=(trace,)))
    trace = Trace("azimuth", X[:100], np.cos(X[:100]), "time", "s", "angle", "′")
    made.append(Result("azimuth.angle", "x/1", "both", None, traces=(trace,)))
    return made


def test_found_and_left_lie_over_each_other_with_the_allowed_region() -> None:
    limits = read_sheet("Frequency response 40 Hz - 10 kHz ±3 dB").limits
    plates = plates_of(
        [Told(results(6.0), "found", "as found"), Told(results(0.5), "left", "as left")], limits
    )
    assert [plate.key for plate in plates] == [
        "response", "distortion", "hum", "azimuth", "dropouts", "control",
    ]  # fmt: skip
    response = plates[0]
    assert len(response.curves) == 4
    assert "as found, left (−20 dB)" in [curve.label for curve in response.curves]
    assert response.allowed is not None
    assert (response.allowed.x_high, response.allowed.y_low) == (10_000, -3)


@pytest.mark.parametrize("shape", ["page", "wide"])
def test_every_figure_is_drawn_the_same_each_time(shape: str) -> None:
    for plate in plates_of([Told(results(2.0), "left", "as left")]):
        caption = Caption("Wrenholm C-14", "as left")
        first, second = (svg_of(plate.draw(caption, shape)) for _ in range(2))  # type: ignore[arg-type]
        assert first == second
        assert len(png_of(plate.draw(caption, shape))) > 5000  # type: ignore[arg-type]


def test_readings_without_curves_give_no_figure() -> None:
    assert plates_of([Told([Result("level.balance", "x/1", "both", None)], "left", "")]) == []
