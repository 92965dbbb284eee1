"""Results as plain values and back; the catalogue's words."""

from __future__ import annotations

import json
import math

import numpy as np

from runstrue.catalogue import KINDS, METHODS
from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Line, Measured, Result, Spread, Table, Trace, from_plain, to_plain


def _full() -> Result:
    return Result(
        id="flutter.weighted_peak",
        method="two-sigma/1",
        channel="both",
        quantity=Quantity(0.147, "%", 0.012, 7.5),
        budget=Budget(
            (
                Contribution("hiss", 0.003, "random", degrees_of_freedom=6.0),
                Contribution("tape", 0.011, "shared", "tape 1 batch 2"),
            )
        ),
        spread=Spread(0.12, 0.147, 0.18),
        table=Table((100.0, 1000.0), (-0.5, 0.0), (0.1, 0.1), "Hz", "dB"),
        lines=(Line(6.41, 0.01, 0.11, 0.01, 0.09),),
        conditions={"tone_hz": 3150.0, "tape": "club tape", "self_recorded": False},
        doubts=("One dropout was left out.",),
    )


def test_result_survives_json_whole_but_for_its_traces() -> None:
    result = _full()
    again = from_plain(json.loads(json.dumps(to_plain(result))))
    for name in ("id", "method", "channel", "quantity", "budget", "spread", "lines", "doubts"):
        assert getattr(again, name) == getattr(result, name), name
    assert dict(again.conditions) == dict(result.conditions)
    assert again.table is not None
    assert result.table is not None
    assert (again.table.x, again.table.y, again.table.u, again.table.x_unit) == (
        result.table.x, result.table.y, result.table.u, "Hz",
    )  # fmt: skip
    assert again.traces == ()


def test_unknown_reading_and_infinite_freedom_survive_json() -> None:
    unknown = Result(id="speed.deviation", method="bell-mean/1", channel="", quantity=None)
    again = from_plain(json.loads(json.dumps(to_plain(unknown))))
    assert again.quantity is None
    assert (again.spread, again.table, again.lines) == (None, None, ())
    known = Result(
        id="speed.deviation", method="bell-mean/1", channel="", quantity=Quantity(0.1, "%", 0.1)
    )
    back = from_plain(json.loads(json.dumps(to_plain(known), allow_nan=False)))
    assert back.quantity is not None
    assert math.isinf(back.quantity.degrees_of_freedom)


def test_fields_that_scripts_rely_on_are_there() -> None:
    """Format runstrue/1."""
    assert {"id", "method", "channel", "value", "unit", "u", "range", "table", "lines",
            "conditions", "doubts"} <= set(to_plain(_full()))  # fmt: skip


def test_find_prefers_the_channel_asked_for() -> None:
    def on(channel: str) -> Result:
        return Result(id="flutter.wow_rms", method="wow-rms/1", channel=channel, quantity=None)

    left, both = on("left"), on("both")
    measured = Measured("", (left, both))
    assert measured.find("flutter.wow_rms") is both
    assert measured.find("flutter.wow_rms", "left") is left
    assert measured.find("flutter.wow_rms", "right") is left
    assert measured.find("hum.line") is None


def test_trace_holds_gaps_as_not_a_number() -> None:
    trace = Trace("deviation", np.arange(3.0), np.array([0.1, np.nan, 0.2]), "time", "s", "", "%")
    assert np.isnan(trace.y[1])


def test_catalogue_names_unit_and_meaning_of_every_kind() -> None:
    for quantity_id, kind in KINDS.items():
        assert quantity_id == kind.id
        assert kind.unit
        assert kind.means.endswith(".")
    for key, method in METHODS.items():
        assert key == method.key
        assert method.source
        assert key.rsplit("/", 1)[1].isdigit()
