"""Which of several readings of one kind a sheet's figure means: by tone, level, hum and reference.

A programme reads distortion at three tones and separation at as many. A sheet names one ('at 1
kHz'), or means the usual one of its time: 1 kHz for separation and erasure, 315 to 400 Hz at the
reference level for distortion, noise with its hum.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from runstrue.result import Result
from runstrue.verdict.models import Limit
from runstrue.verdict.numerals import NUMBER, read_decibels, read_numeral

SAME_TONE = 0.15
"""315, 333 and 400 Hz are told apart from 1 kHz, not from each other (common practice: the
reference frequencies of three standards); 315 to 333 is 6 %, 333 to 400 is 20 %."""

USUAL_TONE_HZ = {
    "distortion.third": 333.0,
    "distortion.total": 333.0,
    "level.mol": 333.0,
    "level.sol": 10_000.0,
    "separation.channels": 1000.0,
    "separation.sides": 1000.0,
    "erasure.depth": 1000.0,
    "level.output": 333.0,
    "output.voltage": 333.0,
}


def meant_by(limit: Limit, alike: Sequence[Result]) -> list[Result]:
    """Return the readings that a limit means; those without a tone of their own stay.

    Parameters
    ----------
    limit : Limit
    alike : sequence of Result
        Of one kind, all channels.

    Returns
    -------
    list of Result
        Empty where the sheet names a tone at which nothing was read.
    """
    kept = list(alike)
    named_hz = _hertz(limit.conditions.get("tone", ""))
    if any(_tone(one) for one in kept):
        usual_hz = USUAL_TONE_HZ.get(kept[0].id)
        if named_hz:
            kept = [one for one in kept if _near(_tone(one), named_hz)]
        elif usual_hz:
            kept = _nearest(kept, lambda one: abs(_tone(one) / usual_hz - 1))
    level_db = read_decibels(limit.conditions.get("level", ""))
    if len({_level(one) for one in kept}) > 1:
        kept = _nearest(kept, lambda one: abs(_level(one) - (level_db or 0.0)))
    with_hum = [one for one in kept if one.conditions.get("hum") != "left out"]
    return with_hum or kept


def _nearest(results: list[Result], distance: Callable[[Result], float]) -> list[Result]:
    """Keep those with the smallest distance, all channels of it."""
    if not results:
        return results
    least = min(distance(one) for one in results)
    return [one for one in results if distance(one) <= least + 1e-9]


def _near(tone_hz: float, named_hz: float) -> bool:
    return tone_hz == 0 or abs(tone_hz / named_hz - 1) <= SAME_TONE


def _tone(result: Result) -> float:
    return _hertz(str(result.conditions.get("tone", "")))


def _level(result: Result) -> float:
    level = result.conditions.get("level", 0.0)
    return read_decibels(f"{level} dB") or 0.0


def _hertz(words: str) -> float:
    found = NUMBER.search(words)
    if not found:
        return 0.0
    kilo = re.search(r"k\s*Hz", words, re.IGNORECASE)
    return read_numeral(found).value * (1000 if kilo else 1)
