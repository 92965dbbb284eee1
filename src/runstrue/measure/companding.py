"""Companding noise reduction, B-type: whether playing undoes what recording did, at every level.

The system lifts soft treble while recording and lowers it by as much while playing. Two playings
of one recording made with it on tell both halves apart:

- played with it on, a tone of 5 kHz has to stand to one of 400 Hz as it did when recorded, at
  every level; what is left is mistracking, heard as pumping or dullness. It grows when the level
  of the tape is wrong, since both halves then act at different levels;
- played with it off, the lift itself is seen: about 10 dB at 5 kHz for soft tones, next to none
  at reference level (the usual static curve, from memory; the exact one is not published here).

The level at which both halves must agree is set with a tone of 400 Hz at 200 nWb/m (ANSI/AES
scale, second-hand). How far the deck's own recording of a tape type comes back from that is the
check of its record level.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from runstrue.errors import SignalError
from runstrue.measure.levels import tone_level
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Table

LOW_HZ, HIGH_HZ = 400.0, 5000.0
SOFT_LIFT_DB = (8.0, 11.5)
"""Lift at 5 kHz and −40 dB of a sound encoder: about 10 dB (from memory, unsure by 1 dB)."""
GOOD_TRACKING_DB = 2.0
"""Usual service limit of tracking at 5 kHz and −20 to −40 dB (common practice, no source)."""
PLAYED_OFF_LIFT_DB = 5.0
"""A lift larger than this at the softest level means that it was played with the system off."""


@dataclass(frozen=True, slots=True)
class _Step:
    """5 kHz over 400 Hz at one recorded level, in one channel."""

    level_db: float
    lift_db: float
    u_db: float


def measure_companding(
    stretches: Sequence[Stretch],
    channels: Sequence[str],
    *,
    played: str = "",
    level_set_dbfs: Sequence[float] = (),
) -> tuple[Result, ...]:
    """Tracking or lift over level, and the level-set check.

    Parameters
    ----------
    stretches : sequence of Stretch
        Tones of 400 Hz and 5 kHz at several levels, recorded with the system on.
    channels : sequence of str
    played : {'on', 'off', ''}
        Whether it was on while playing; empty lets the lift of the softest level decide.
    level_set_dbfs : sequence of float
        Level that a tape with 400 Hz at 200 nWb/m gives on this deck, by channel, in dB FS;
        empty where no such tape was played.

    Returns
    -------
    tuple of Result
        `companding.tracking` (played on: the largest deviation, with its table over level) or
        `companding.lift` (played off: the lift at the softest level), and `companding.level`.
    """
    results: list[Result] = []
    for index, name in enumerate(channels):
        steps = _steps(stretches, index)
        if len(steps) < 2:
            continue
        softest = min(steps, key=lambda step: step.level_db)
        off = played == "off" or (not played and softest.lift_db > PLAYED_OFF_LIFT_DB)
        results.append(_lift(name, steps) if off else _tracking(name, steps))
        if level_set_dbfs:
            found = _level_set(stretches, index, name, level_set_dbfs[index])
            if found is not None:
                results.append(found)
    if not results:
        raise SignalError(
            "No pair of 400 Hz and 5 kHz at two levels was found",
            "both are needed to see noise reduction track",
            "play the programme 'noise-reduction'",
        )
    return tuple(results)


def _steps(stretches: Sequence[Stretch], index: int) -> list[_Step]:
    by_level: dict[float, dict[float, tuple[float, float]]] = {}
    for stretch in stretches:
        found = tone_level(stretch)
        tone_hz = stretch.section.frequencies_hz[0]
        if math.isfinite(found.level_dbfs[index]):
            tones = by_level.setdefault(stretch.section.level_db, {})
            tones[tone_hz] = (found.level_dbfs[index], found.u_db[index])
    steps = []
    for level_db, tones in sorted(by_level.items()):
        if LOW_HZ in tones and HIGH_HZ in tones:
            (low_db, u_low), (high_db, u_high) = tones[LOW_HZ], tones[HIGH_HZ]
            steps.append(_Step(level_db, high_db - low_db, math.hypot(u_low, u_high)))
    return steps


def _table(steps: Sequence[_Step]) -> Table:
    return Table(
        tuple(step.level_db for step in steps), tuple(step.lift_db for step in steps),
        tuple(step.u_db for step in steps), "dB", "dB",
    )  # fmt: skip


def _tracking(channel: str, steps: Sequence[_Step]) -> Result:
    worst = max(steps, key=lambda step: abs(step.lift_db))
    budget = Budget((Contribution("noise", worst.u_db, "random"),))
    conditions: dict[str, Condition] = {"played": "on", "worst at": f"{worst.level_db:g} dB"}
    doubts: tuple[str, ...] = ()
    if abs(worst.lift_db) > GOOD_TRACKING_DB:
        way = "dull" if worst.lift_db < 0 else "bright"
        doubts = (
            f"Soft treble comes back {way}: check the play level, then the record level of this "
            "tape type, before the noise reduction itself.",
        )
    return Result(
        "companding.tracking", "companding-5k/1", channel, budget.quantity(worst.lift_db, "dB"),
        budget, table=_table(steps), conditions=conditions, doubts=doubts,
    )  # fmt: skip


def _lift(channel: str, steps: Sequence[_Step]) -> Result:
    softest = min(steps, key=lambda step: step.level_db)
    budget = Budget((Contribution("noise", softest.u_db, "random"),))
    low, high = SOFT_LIFT_DB
    doubts: tuple[str, ...] = ()
    if not low <= softest.lift_db <= high and softest.level_db <= -35:
        doubts = (
            f"The record half lifts 5 kHz by {softest.lift_db:.1f} dB at {softest.level_db:g} dB; "
            "about 10 dB is usual.",
        )
    return Result(
        "companding.lift", "companding-5k/1", channel, budget.quantity(softest.lift_db, "dB"),
        budget, table=_table(steps),
        conditions={"played": "off", "level": f"{softest.level_db:g} dB"}, doubts=doubts,
    )  # fmt: skip


def _level_set(
    stretches: Sequence[Stretch], index: int, channel: str, wanted_dbfs: float
) -> Result | None:
    loud = next(
        (
            one for one in stretches
            if one.section.frequencies_hz[0] == LOW_HZ and one.section.level_db == 0
        ),
        None,
    )  # fmt: skip
    if loud is None:
        return None
    found = tone_level(loud)
    budget = Budget((Contribution("noise", found.u_db[index], "random"),))
    return Result(
        "companding.level", "companding-level/1", channel,
        budget.quantity(found.level_dbfs[index] - wanted_dbfs, "dB"), budget,
        conditions={"against": "400 Hz at 200 nWb/m, ANSI/AES scale"},
    )  # fmt: skip
