"""Controls and switches: a steady tone is played while somebody works a slider, pot or switch.

Three things go wrong with old carbon tracks and contacts, and each is counted by itself:

- crackle: clicks, seen as jumps of the signal that no tone and no smooth change of level makes.
  What a short moving fit of the tone cannot explain is the residue; where it stands far above its
  own usual size there is a click, sized against the tone at full level;
- losses: moments in which the tone is gone although it was there before and after;
- tracking: how far left and right part while the control moves, over its travel.

The method is our own; no standard says when a control crackles.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import SignalError
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Table, Trace

Array = NDArray[np.float64]

FRAME_S = 0.002
STANDS_OUT = 8.0
"""A click counts from eight times the usual residue around it: of Gaussian noise no frame in a
thousand hours does."""
APART_S = 0.01  # clicks nearer than this are one
LOSS_DB = 20.0
SHORTEST_LOSS_S, LONGEST_LOSS_S = 0.003, 0.5
FULL_DB, TRAVEL_DB = 1.0, 50.0
SHORTEST_S = 3.0


@dataclass(frozen=True, slots=True)
class Click:
    """One click: when, and its size against the tone at full level, in dB."""

    at_s: float
    size_db: float


def measure_control(
    samples: NDArray[np.floating], rate_hz: float, channels: Sequence[str], tone_hz: float
) -> tuple[Result, ...]:
    """What a control does to a steady tone while it is worked.

    Parameters
    ----------
    samples : ndarray of float, shape (channel, frame)
        From before the first movement to after the last; 3 s or more.
    rate_hz : float
    channels : sequence of str
    tone_hz : float
        Of the tone, 200 Hz or more.

    Returns
    -------
    tuple of Result
        By channel `control.crackle` and `control.dropouts` a minute; for two channels
        `control.tracking` in dB, with its table over the travel.

    Raises
    ------
    SignalError
        When the recording is too short or holds no tone.
    """
    length_s = samples.shape[1] / rate_hz
    if length_s < SHORTEST_S:
        raise SignalError(
            f"Only {length_s:.1f} s were recorded", f"{SHORTEST_S:g} s are needed",
            "work the control several times through its whole travel",
        )  # fmt: skip
    minutes = length_s / 60
    results: list[Result] = []
    levels: list[Array] = []
    for index, name in enumerate(channels):
        level, residue = follow(np.asarray(samples[index], dtype=np.float64), rate_hz, tone_hz)
        full = float(np.percentile(level, 95))
        if full <= 0 or full < 5 * float(np.median(residue)):
            raise SignalError(
                f"No tone of {tone_hz:g} Hz stands out on the {name} channel",
                "a steady tone through the control is needed", "raise the level",
            )  # fmt: skip
        levels.append(level)
        clicks = find_clicks(residue, full)
        losses = find_losses(level)
        largest = max((click.size_db for click in clicks), default=None)
        conditions: dict[str, Condition] = {
            "length": f"{length_s:.0f} s",
            "clicks": float(len(clicks)),
        }
        if largest is not None:
            conditions["largest, dB"] = round(largest, 1)
        trace = Trace(
            "level through the control", np.arange(level.size) * FRAME_S,
            20 * np.log10(np.maximum(level / full, 1e-4)), "time", "s", "level", "dB", name,
            {"largest click": largest} if largest is not None else {},
        )  # fmt: skip
        for quantity_id, count in (
            ("control.crackle", len(clicks)), ("control.dropouts", len(losses)),
        ):  # fmt: skip
            budget = Budget(
                (Contribution("chance of a count", math.sqrt(count + 0.5) / minutes, "random"),)
            )
            results.append(
                Result(quantity_id, "control-tone/1", name,
                       budget.quantity(count / minutes, "per minute"), budget,
                       conditions=conditions,
                       traces=(trace,) if quantity_id == "control.crackle" else ())
            )  # fmt: skip
    if len(levels) == 2:
        found = _tracking(*levels)
        if found is not None:
            results.append(found)
    return tuple(results)


def follow(samples: Array, rate_hz: float, tone_hz: float) -> tuple[Array, Array]:
    """Amplitude of the tone, and the largest residue beside it, in frames of 2 ms.

    Notes
    -----
    In each frame a sine of the tone's frequency, its phase and a straight change of both parts
    are fitted by least squares; what is left is the residue. A tone that is off by flutter or a
    slider that moves smoothly leaves next to nothing in 2 ms.
    """
    size = round(FRAME_S * rate_hz)
    count = samples.size // size
    times = (np.arange(size) - (size - 1) / 2) / size
    turns = tone_hz / rate_hz * np.arange(size)
    cosine, sine = np.cos(2 * np.pi * turns), np.sin(2 * np.pi * turns)
    columns = np.stack((cosine, sine, times * cosine, times * sine, np.ones(size)), axis=1)
    inverse = np.linalg.pinv(columns, rcond=1e-6)
    framed = samples[: count * size].reshape(count, size)
    parts = framed @ inverse.T
    residue = framed - parts @ columns.T
    return np.hypot(parts[:, 0], parts[:, 1]), np.abs(residue).max(axis=1)


def find_clicks(residue: Array, full: float) -> list[Click]:
    """Frames whose residue stands far above its own surroundings, joined where they touch."""
    reach = round(0.25 / FRAME_S)
    padded = np.pad(residue, reach, mode="reflect" if residue.size > reach else "edge")
    usual = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1)
    places = np.flatnonzero(residue > STANDS_OUT * np.maximum(usual, 1e-7))
    clicks: list[Click] = []
    for group in np.split(places, np.flatnonzero(np.diff(places) > APART_S / FRAME_S) + 1):
        if group.size:
            top = int(group[np.argmax(residue[group])])
            clicks.append(Click(top * FRAME_S, 20 * math.log10(float(residue[top]) / full)))
    return clicks


def find_losses(level: Array) -> list[tuple[float, float]]:
    """Moments in which the tone is 20 dB or more below what it was on both sides, in s."""
    reach = round(LONGEST_LOSS_S / FRAME_S)
    padded = np.pad(level, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, reach)
    before = windows[: level.size].max(axis=1)
    after = windows[reach + 1 : reach + 1 + level.size].max(axis=1)
    low = level < np.minimum(before, after) * 10 ** (-LOSS_DB / 20)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], low.astype(np.int8), [0]))))
    return [
        (float(first) * FRAME_S, float(last - first) * FRAME_S)
        for first, last in edges.reshape(-1, 2)
        if SHORTEST_LOSS_S <= (last - first) * FRAME_S <= LONGEST_LOSS_S
    ]


def _tracking(left: Array, right: Array) -> Result | None:
    """Left over right in steps of 5 dB of the travel, against the control fully open."""
    both = np.sqrt(left * right)
    full = float(np.percentile(both, 95))
    travel_db = 20 * np.log10(np.maximum(both / full, 1e-6))
    apart_db = 20 * np.log10(np.maximum(left, 1e-9) / np.maximum(right, 1e-9))
    fully = np.abs(travel_db) < FULL_DB
    if not fully.any():
        return None
    apart_db = apart_db - float(np.median(apart_db[fully]))
    rows = []
    for below_db in np.arange(0.0, -TRAVEL_DB, -5.0):
        inside = (travel_db <= below_db + 2.5) & (travel_db > below_db - 2.5)
        if np.count_nonzero(inside) >= 5:
            values = apart_db[inside]
            u_db = float(np.std(values)) / math.sqrt(values.size / 5)
            rows.append((float(below_db), float(np.median(values)), u_db))
    if len(rows) < 2:
        return None
    x, y, u = zip(*rows, strict=True)
    worst = int(np.argmax(np.abs(y)))
    budget = Budget((Contribution("scatter over the travel", max(u[worst], 0.02), "random"),))
    return Result(
        "control.tracking", "control-tone/1", "both", budget.quantity(y[worst], "dB"), budget,
        table=Table(x, y, u, "dB", "dB"), conditions={"worst at": f"{x[worst]:g} dB"},
    )  # fmt: skip
