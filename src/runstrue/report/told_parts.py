"""An attribution as the logbook holds it: parts with their shares, turns and what-ifs."""

from __future__ import annotations

import math
from collections.abc import Sequence

from runstrue.result import Line

APART_HZ = 0.035
"""Lines nearer than this are one line of the spectrum (a minute of tone)."""


def names_of_lines(
    lines: Sequence[Line], parts: Sequence[tuple[str, float, float]]
) -> dict[float, str]:
    """Name the lines of a spectrum by the parts that make them.

    Parameters
    ----------
    lines : sequence of Line
    parts : sequence of (str, float, float)
        Name of a part, rate of one of its lines in Hz and its standard uncertainty.

    Returns
    -------
    dict of float to str
        By the line's rate; lines of no part are not in it.
    """
    named = {}
    for line in lines:
        near = [
            (abs(line.rate_hz - rate), name)
            for name, rate, u in parts
            if abs(line.rate_hz - rate) < max(APART_HZ, 3 * math.hypot(line.u_rate_hz, u))
        ]
        if near:
            named[line.rate_hz] = min(near)[1]
    return named
