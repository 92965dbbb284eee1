"""Left against right, and losses of level, from the tone that speed and flutter are read from.

Both come from what is kept of the tone per 20 ms on the way (its lowest level there), so that no
recording is heard twice. The level is not read in volts here, and losses shallower than 12 dB
are not seen: a programme's level and dropout sections say more.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.demodulate import CELL_SAMPLES
from runstrue.measure.card import ANY_CARD
from runstrue.measure.conditions import SoundCard
from runstrue.measure.gate import LOST_BELOW_DB, WEAK_CHANNEL_DB, Gate
from runstrue.measure.listen import ToneTrack
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Spread
from runstrue.stimulus.testtape import TestTape

Array = NDArray[np.float64]

BLOCK_S = 0.5
"""Levels are told by their medians over half a second: a slow change is seen, a dropout is not."""
SPREAD_PERCENT = (5.0, 95.0)
TAPE_SHARE = 0.5
"""How far a test tape's channels may differ, of what its levels may be off (own choice)."""


def read_balance(
    track: ToneTrack, found: Gate, tape: TestTape, card: SoundCard, *, self_recorded: bool = False
) -> Result | None:
    """Level of the left channel over that of the right one.

    Parameters
    ----------
    track : ToneTrack
        With its cells.
    found : Gate
    tape : TestTape
        Its own channels may differ, which is part of the uncertainty.
    card : SoundCard
    self_recorded : bool
        Whether the tone was recorded on the same deck: the balance is then that of recording
        and playing together.

    Returns
    -------
    Result or None
        `level.balance` in dB with its range over the recording; the conditions 'lower channel'
        and 'moving channel' name the lower one, and the one whose level moves more. Without a
        figure where one channel carries no tone of its own
        (condition 'no tone'). None for a recording of one channel.
    """
    if len(track.channels) != 2:
        return None
    told: dict[str, Condition] = {"path": "record and play"} if self_recorded else {}
    dead = [row for row in (0, 1) if _is_dead(found, row)]
    if dead:
        name = track.channels[dead[0]]
        return Result(
            "level.balance", "tone-cells/1", "both", None,
            conditions={**told, "lower channel": name, "no tone": name},
            doubts=(f"The {name} channel carries no tone of its own to compare.",),
        )  # fmt: skip
    moving_db = _block_levels(track, found)
    if moving_db is None:
        return None
    apart_db = moving_db[0] - moving_db[1]
    value_db = float(np.median(apart_db))
    # the median of n values that scatter by s is known to 1.25 s/√n
    scatter_db = 1.2533 * float(apart_db.std(ddof=1)) / math.sqrt(apart_db.size)
    budget = Budget(
        (
            Contribution("change of level over the recording", scatter_db, "random",
                         degrees_of_freedom=apart_db.size - 1),
            Contribution("channels of the test tape",
                         TAPE_SHARE * tape.level_tolerance_db / math.sqrt(3), "shared",
                         tape.source),
            Contribution("channels of the sound card", ANY_CARD.match_db / math.sqrt(3), "shared",
                         card.name),
        )
    )  # fmt: skip
    low, high = np.percentile(apart_db, SPREAD_PERCENT).tolist()
    return Result(
        "level.balance", "tone-cells/1", "both", budget.quantity(value_db, "dB"), budget,
        spread=Spread(low, value_db, high),
        conditions={
            **told,
            "lower channel": track.channels[0 if value_db < 0 else 1],
            "moving channel": track.channels[int(np.argmax(moving_db.std(axis=1)))],
        },
    )  # fmt: skip


def count_losses(track: ToneTrack, found: Gate) -> tuple[Result, ...]:
    """Losses of the tone a minute, on each channel that carries it.

    Returns
    -------
    tuple of Result
        `dropout.count`: losses of 12 dB and more for 20 ms and more between the first and the
        last use of the tone.
    """
    results = []
    for row in found.tracks:
        name = track.channels[row]
        spans = found.usable[row].spans
        minutes = (spans[-1][1] - spans[0][0]) / track.rate_hz / 60
        count = sum(loss.channel == name for loss in found.losses)
        # Poisson: the variance of a count is the count; of none, that of one half (Jeffreys)
        u = math.sqrt(count + 0.5) / minutes
        budget = Budget((Contribution("chance of a count", u, "random"),))
        results.append(
            Result(
                "dropout.count", "dropouts-12db-20ms/1", name,
                budget.quantity(count / minutes, "per minute"), budget,
                conditions={
                    "counted": f"{LOST_BELOW_DB:g} dB for 20 ms and more",
                    "length": f"{60 * minutes:.0f} s",
                },
            )
        )  # fmt: skip
    return tuple(results)


def _is_dead(found: Gate, row: int) -> bool:
    """Whether a channel holds no more of the tone than leaks over from the other one."""
    levels_db = found.level_db
    strongest_db = max(level for level in levels_db if math.isfinite(level))
    return not levels_db[row] >= strongest_db - WEAK_CHANNEL_DB


def _block_levels(track: ToneTrack, found: Gate) -> Array | None:
    """Level of each channel in dB, by half seconds in which both are usable throughout."""
    cells = track.level_db.shape[1]
    usable = np.ones(cells, dtype=np.bool_)
    for pieces in found.usable:
        inside = pieces.mask(0, cells * CELL_SAMPLES)
        usable &= inside.reshape(cells, CELL_SAMPLES).all(axis=1)
    size = round(BLOCK_S * track.rate_hz / CELL_SAMPLES)
    blocks = cells // size
    whole = usable[: blocks * size].reshape(blocks, size).all(axis=1)
    if np.count_nonzero(whole) < 4:
        return None
    levels = track.level_db[:, : blocks * size].reshape(2, blocks, size)[:, whole]
    return np.asarray(np.median(levels, axis=2), dtype=np.float64)
