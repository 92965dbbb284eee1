"""A frequency response against the band and the decibels that a sheet promises.

The gain is known at points; between them it is taken as straight in dB over log frequency, as it
is drawn. The worst place inside the promised band decides, with the uncertainty it has there
(JCGM 106:2012 clause 7). A response that was not measured up to the band's ends decides nothing
beyond them, unless it has failed already.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from runstrue.quantity import Quantity, number_text
from runstrue.result import Result, Table
from runstrue.verdict import bench
from runstrue.verdict.chance import conformity_chance
from runstrue.verdict.models import DecisionRule, Limit, Reason, Verdict, figure_text
from runstrue.verdict.numerals import read_decibels

USUAL_LEVEL_DB = -20.0
"""Responses of cassettes are measured at −20 dB, since treble saturates above (common practice)."""
BEST_FIRST = (
    "response-tones/1",
    "response-multitone/1",
    "response-sweep/1",
    "response-noise/1",
)
REACH = 1.03
"""A band's end counts as measured when a point lies within 3 % of it: tones stand where sheets
name them, give or take a rounding."""


@dataclass(frozen=True, slots=True)
class _Place:
    """Gain at one frequency."""

    frequency_hz: float
    gain_db: float
    u_db: float


def judge_response(limit: Limit, results: Sequence[Result], rule: DecisionRule) -> Verdict:
    """Hold the measured gains against a promised band; the channel that is worst counts.

    Parameters
    ----------
    limit : Limit
        Of a frequency response.
    results : sequence of Result
        Those with the id 'response.gain' are looked at.
    rule : DecisionRule
    """
    gains = _gains_for(limit, results)
    if not gains:
        return _no(limit, rule, "not measured", "not measured here", None)
    if not limit.has_bound:
        words = "the sheet gives no tolerance"
        band = band_within(_table(gains[0]), -3.0, 3.0)
        if band:
            words += f"; it stays within ±3 dB {band_words(band)}"
        return _no(limit, rule, "no bound", words, gains[0])
    judged = [_judge_one(limit, gain, rule) for gain in gains]
    return min(judged, key=lambda one: 2.0 if one.chance is None else one.chance)


def band_within(table: Table, low_db: float, high_db: float) -> tuple[float, float] | None:
    """Widest band around the reference in which the gain stays inside a tolerance.

    Parameters
    ----------
    table : Table
        Of `response.gain`.
    low_db, high_db : float
        Tolerance about the gain at the reference, low below 0.

    Returns
    -------
    (float, float) or None
        Lowest and highest frequency in Hz; where the gain leaves the tolerance between two
        points, the place is interpolated over log frequency. None when the reference itself, 0
        dB, is outside.
    """
    if not low_db <= 0 <= high_db:
        return None
    x, y = [math.log(one) for one in table.x], table.y
    middle = min(range(len(y)), key=lambda index: abs(y[index]))
    edges = []
    for step in (-1, 1):
        place = middle
        while 0 <= place + step < len(y) and low_db <= y[place + step] <= high_db:
            place += step
        edge = x[place]
        if 0 <= place + step < len(y):
            bound = high_db if y[place + step] > high_db else low_db
            share = (bound - y[place]) / (y[place + step] - y[place])
            edge += share * (x[place + step] - x[place])
        edges.append(math.exp(edge))
    return edges[0], edges[1]


def band_words(band: tuple[float, float]) -> str:
    """Print a band to two figures: 'from 38 Hz to 14 kHz'."""
    return f"from {frequency_words(band[0])} to {frequency_words(band[1])}"


def frequency_words(frequency_hz: float) -> str:
    """Print a frequency to two or three figures: '31.5 Hz', '12.5 kHz'."""
    if frequency_hz < 1000:
        return f"{float(f'{frequency_hz:.3g}'):g} Hz"
    return f"{float(f'{frequency_hz / 1000:.3g}'):g} kHz"


def _gains_for(limit: Limit, results: Sequence[Result]) -> list[Result]:
    """The gains that a limit means, one a channel: its level, and the method that reads points."""
    alike = [one for one in results if one.id == "response.gain" and one.table is not None]
    level_db = read_decibels(limit.conditions.get("level", ""))
    wanted_db = USUAL_LEVEL_DB if level_db is None else level_db
    chosen: dict[str, Result] = {}
    for one in sorted(alike, key=lambda gain: (_off(gain, wanted_db), _order(gain))):
        if level_db is None or _off(one, level_db) < 1.0:
            chosen.setdefault(one.channel, one)
    wanted = limit.conditions.get("channel", "")
    if wanted in chosen:
        return [chosen[wanted]]
    return list(chosen.values())


def _off(gain: Result, level_db: float) -> float:
    level = gain.conditions.get("level, dB", 0.0)
    return abs(float(level) - level_db) if isinstance(level, float | int) else math.inf


def _order(gain: Result) -> int:
    return BEST_FIRST.index(gain.method) if gain.method in BEST_FIRST else len(BEST_FIRST)


def _judge_one(limit: Limit, gain: Result, rule: DecisionRule) -> Verdict:
    table = _table(gain)
    low_hz = limit.band_low_hz or table.x[0]
    high_hz = limit.band_high_hz or table.x[-1]
    places = _inside(table, low_hz, high_hz)
    worst, chance = _worst(limit, places)
    outcome = rule.outcome(chance)
    short = table.x[0] > low_hz * REACH or table.x[-1] < high_hz / REACH
    if short and outcome != "does not meet":
        words = f"measured only {band_words((table.x[0], table.x[-1]))}, and inside there it holds"
        return _no(limit, rule, "not known", words, gain)
    told = (
        f"{number_text(worst.gain_db, 1, signed=True)} dB at {frequency_words(worst.frequency_hz)}"
    )
    notes: tuple[str, ...] = ()
    tolerance = _tolerance(limit)
    if tolerance is not None:
        band = band_within(table, *tolerance)
        if band is not None:
            below, above = (figure_text(one) for one in tolerance)
            notes = (f"It stays within {below} to +{above} dB {band_words(band)}.",)
    advice = told if outcome != "meets" else ""
    return Verdict(
        id="response.band",
        method=gain.method,
        channel=gain.channel,
        limit=limit,
        outcome=outcome,
        chance=chance,
        rule=rule.words,
        words=bench.join(bench.outcome_words(outcome, chance), told),
        advice=advice,
        notes=notes,
        value=worst.gain_db,
        unit="dB",
        u=worst.u_db,
    )


def _tolerance(limit: Limit) -> tuple[float, float] | None:
    """Lower and upper tolerance in dB; None for a window."""
    if limit.tolerance_window_db is not None:
        return None
    low = -math.inf if limit.tolerance_low_db is None else limit.tolerance_low_db
    high = math.inf if limit.tolerance_high_db is None else limit.tolerance_high_db
    return (low, high) if math.isfinite(low) and math.isfinite(high) else None


def _worst(limit: Limit, places: Sequence[_Place]) -> tuple[_Place, float]:
    """Return the place that meets the limit least, and the chance there."""
    if limit.tolerance_window_db is not None:
        top = max(places, key=lambda one: one.gain_db)
        bottom = min(places, key=lambda one: one.gain_db)
        window = Quantity(top.gain_db - bottom.gain_db, "dB", math.hypot(top.u_db, bottom.u_db))
        chance = conformity_chance(window, None, limit.tolerance_window_db)
        return (bottom if abs(bottom.gain_db) >= abs(top.gain_db) else top), chance
    chances = [
        conformity_chance(
            Quantity(one.gain_db, "dB", one.u_db), limit.tolerance_low_db, limit.tolerance_high_db
        )
        for one in places
    ]
    # many places are as good as certain: among them the one with least room is told
    least = min(
        range(len(places)),
        key=lambda index: (round(chances[index], 6), -_used(limit, places[index])),
    )
    return places[least], chances[least]


def _used(limit: Limit, place: _Place) -> float:
    """Share of the tolerance that a gain uses up."""
    bound = limit.tolerance_high_db if place.gain_db > 0 else limit.tolerance_low_db
    return abs(place.gain_db / bound) if bound else 0.0


def _inside(table: Table, low_hz: float, high_hz: float) -> list[_Place]:
    """The points inside a band, and its two ends where they lie between points."""
    points = [_Place(*row) for row in zip(table.x, table.y, table.u, strict=True)]
    inside = [one for one in points if low_hz / REACH <= one.frequency_hz <= high_hz * REACH]
    for edge_hz in (low_hz, high_hz):
        for below, above in pairwise(points):
            if below.frequency_hz * REACH < edge_hz < above.frequency_hz / REACH:
                share = math.log(edge_hz / below.frequency_hz) / math.log(
                    above.frequency_hz / below.frequency_hz
                )
                inside.append(
                    _Place(
                        edge_hz,
                        below.gain_db + share * (above.gain_db - below.gain_db),
                        max(below.u_db, above.u_db),
                    )
                )
    return inside or points


def _table(gain: Result) -> Table:
    assert gain.table is not None
    return gain.table


def _no(
    limit: Limit, rule: DecisionRule, reason: Reason, words: str, gain: Result | None
) -> Verdict:
    said = words if words.startswith("not measured") else f"cannot be compared: {words}"
    return Verdict(
        id="response.band", method=gain.method if gain else "",
        channel=gain.channel if gain else "", limit=limit, outcome="cannot be compared",
        reason=reason, rule=rule.words, words=said, unit="dB",
    )  # fmt: skip
