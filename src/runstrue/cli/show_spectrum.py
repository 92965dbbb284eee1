"""The flutter spectrum drawn with characters, and its strongest lines."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from runstrue.cli.layout import bold, can_print, wrapped
from runstrue.quantity import Quantity

if TYPE_CHECKING:
    from runstrue.result import Line, Result

LOW_HZ, HIGH_HZ = 0.1, 200.0
COLUMNS, ROWS = 66, 6
INDENT = 10
DECADES = 2.0
LINES_TOLD = 6
LABELS_HZ = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
BLOCKS = " ▁▂▃▄▅▆▇█"
PLAIN_BLOCKS = " .:|"


def spectrum_lines(result: Result, parts: Mapping[float, str] | None = None) -> Iterator[str]:
    """Draw the spectrum that a reading carries, and list its lines.

    Parameters
    ----------
    result : Result
    parts : mapping of float to str, optional
        Names of parts by the rate of their line in Hz.
    """
    trace = next((trace for trace in result.traces if trace.name == "flutter spectrum"), None)
    if trace is not None and len(trace.x) > 1:
        yield ""
        yield bold("Flutter over its rate") + " (peak of a sine, % of the speed)"
        yield from drawn(trace.x.tolist(), trace.y.tolist())
    if result.lines:
        told = "   ".join(
            _line_words(line, (parts or {}).get(line.rate_hz, ""))
            for line in result.lines[:LINES_TOLD]
        )
        yield ""
        yield from wrapped(told, " " * INDENT, first="lines".ljust(INDENT))


def drawn(
    rates_hz: Sequence[float], peaks_percent: Sequence[float], blocks: str | None = None
) -> list[str]:
    """Draw peaks over rates on two logarithmic axes.

    Parameters
    ----------
    rates_hz, peaks_percent : sequence of float
        The largest peak within each column is shown.
    blocks : str, optional
        Characters from empty to full; else block characters where the terminal has them.
    """
    blocks = blocks or (BLOCKS if can_print(BLOCKS) else PLAIN_BLOCKS)
    heights = _per_column(rates_hz, peaks_percent)
    largest = max(heights)
    if not largest > 0:
        return [" " * INDENT + "nothing above zero"]
    top = math.ceil(math.log10(largest) * 4) / 4  # a quarter of a decade leaves little room empty
    levels = [
        max(0.0, 1 - (top - math.log10(height)) / DECADES) * ROWS if height > 0 else 0.0
        for height in heights
    ]
    lines = []
    for row in range(ROWS - 1, -1, -1):
        label = ""
        if row in (ROWS - 1, ROWS // 2 - 1, 0):
            label = _percent(10 ** (top - DECADES * (1 - (row + 1) / ROWS)))
        cells = "".join(_block(level - row, blocks) for level in levels)
        lines.append(f"{label:>{INDENT - 1}} {cells}".rstrip())
    lines.append(" " * INDENT + _axis())
    return lines


def _per_column(rates_hz: Sequence[float], peaks: Sequence[float]) -> list[float]:
    """Largest value in each column; an empty one takes that of its left neighbour."""
    columns: list[float | None] = [None] * COLUMNS
    for rate, peak in zip(rates_hz, peaks, strict=True):
        if not (LOW_HZ <= rate <= HIGH_HZ and math.isfinite(peak)):
            continue
        column = _column(rate)
        held = columns[column]
        columns[column] = peak if held is None else max(held, peak)
    filled, last = [], next((one for one in columns if one is not None), 0.0)
    for value in columns:
        last = last if value is None else value
        filled.append(last)
    return filled


def _column(rate_hz: float) -> int:
    place = math.log(rate_hz / LOW_HZ) / math.log(HIGH_HZ / LOW_HZ)
    return min(int(place * COLUMNS), COLUMNS - 1)


def _block(level: float, blocks: str) -> str:
    full = len(blocks) - 1
    return blocks[min(max(round(level * full), 0), full)]


def _axis() -> str:
    cells = [" "] * (COLUMNS + 3)
    for rate in LABELS_HZ:
        text = f"{rate:g}"
        start = max(_column(rate) - len(text) // 2, 0)
        cells[start : start + len(text)] = text
    return "".join(cells).rstrip() + " Hz"


def _percent(value: float) -> str:
    return f"{float(f'{value:.1g}'):g} %"


def _line_words(line: Line, part: str) -> str:
    rate = Quantity(line.rate_hz, "Hz", max(line.u_rate_hz, 0.005))
    peak = Quantity(line.peak_percent, "%", max(line.u_peak_percent, 0.0005))
    rate_text = rate.value_text(decimals=min(rate.decimals(), 2))
    peak_text = peak.value_text(decimals=min(peak.decimals(), 3))
    text = f"{rate_text} Hz ±{peak_text} %" + (f" {part}" if part else "")
    return text.replace(" ", "\u00a0")
