"""Which lines a faulty part is likely to show: how often, and at which multiples of its rate.

A fault has a pattern. What is bent or off centre shows mostly once a turn. What is oval, or runs
in two bearings that are not in line, twice. A flat, a lump, a joint or dirt on a rim is a pulse
with many multiples, each smaller than the one before. Which of them it is nobody knows
beforehand, so the chance of a set of lines is that of each pattern to show just these, added up.

All chances here are judgement, no source; docs/parts.md says so.
"""

from __future__ import annotations

import math
from functools import cache

from runstrue.transport.turning import TurningKind

FAULTY = 0.2
"""Chance that a part shows in the flutter at all, before anything is known."""
HIGHEST = 12

Patterns = tuple[tuple[float, tuple[float, ...]], ...]
"""Of each pattern: how often it is met, and the chance of a line at 1, 2, 3 … times the rate; the
last one stands for all above."""

PLAIN = (0.95, 0.4, 0.1, 0.05, 0.02)
TWICE = (0.4, 0.95, 0.05, 0.3, 0.02)
PULSES = (0.95, 0.9, 0.85, 0.7, 0.5, 0.35, 0.2, 0.1, 0.05)
ROUND: Patterns = ((0.55, PLAIN), (0.2, TWICE), (0.25, PULSES))
RUBBER: Patterns = ((0.45, PLAIN), (0.15, TWICE), (0.4, PULSES))
STEADY: Patterns = ((1.0, (0.95, 0.3, 0.02)),)
"""Teeth and pulses: their rate is the fault's own."""
PATTERNS: dict[TurningKind, Patterns] = {
    "roller": RUBBER, "belt": RUBBER, "idler": RUBBER, "mesh": STEADY, "pulses": STEADY,
}  # fmt: skip


@cache
def log_chance(kind: TurningKind, multiples: frozenset[int]) -> float:
    """Logarithm of the chance that a part shows lines at just these multiples.

    Parameters
    ----------
    kind : str
        Of the turning.
    multiples : frozenset of int
        None: it shows nothing.
    """
    faulty = sum(
        often * math.prod(
            _at(chances, one) if one in multiples else 1 - _at(chances, one)
            for one in range(1, HIGHEST + 1)
        )
        for often, chances in PATTERNS.get(kind, ROUND)
    )  # fmt: skip
    return math.log(FAULTY * faulty + (0.0 if multiples else 1 - FAULTY))


def _at(chances: tuple[float, ...], multiple: int) -> float:
    return chances[min(multiple, len(chances)) - 1]
