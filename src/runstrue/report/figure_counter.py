"""Figures: a counter's law with its pairs, and the label for the deck."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from runstrue.quantity import coverage_factor
from runstrue.report.glyphs import printable
from runstrue.report.style import (
    FAINT,
    INK,
    LIMIT,
    PENS,
    SIZES,
    SOFT,
    Caption,
    Shape,
    drawing,
    number_axis,
    plain,
    tidy,
)
from runstrue.transport.counter import Fit
from runstrue.transport.counter_pairs import span_text
from runstrue.transport.counter_table import Column, CounterTable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAGE_HEIGHT = 4.0  # inches
ROW = 0.155  # of the label, inches
COLUMN = 0.62
MOST_ROWS = 48  # of one block of the label; more go side by side


def draw_counter(fit: Fit, caption: Caption, *, shape: Shape = "page") -> Figure:
    """Draw time over counter, the pairs on it, and below how far off each of them is.

    Parameters
    ----------
    fit : Fit
    caption : Caption
    shape : {'page', 'wide'}
    """
    law, pen = fit.law, PENS["left"]
    end = law.middle_end() or 1.05 * law.last_count
    counts = np.linspace(law.start_count, end, 201)
    key = "bars: how well a pair can be read, band: the law, both 95 %"
    caption = replace(caption, remark=f"{caption.remark}; {key}" if caption.remark else key)
    with drawing("Tape counter", shape, caption, height=PAGE_HEIGHT) as figure:
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        font = SIZES[shape].font
        terms = law.terms[:3]
        minutes = (terms[0] + terms[1] * counts + terms[2] * counts**2) / 60
        above.plot(counts, minutes, color=pen.line, zorder=3)
        shown = np.array([one.count for one in fit.pairs])
        above.plot(
            shown, [one.time_s / 60 for one in fit.pairs], pen.marker, color=pen.line,
            markersize=0.6 * font, zorder=4,
        )  # fmt: skip
        above.set_ylabel("time played, min")
        above.set_ylim(bottom=0)
        half = np.array([law.played(one, read=False).expanded() for one in counts])
        below.fill_between(
            counts, -half, half, color=pen.fill, linewidth=0, zorder=1,
        )  # fmt: skip
        below.axhline(0, color=pen.line, linewidth=0.1 * font, zorder=2)
        factor = coverage_factor(0.95)
        for index, (pair, off, u) in enumerate(zip(fit.pairs, fit.off_s, fit.u_s, strict=True)):
            colour = LIMIT if index == fit.suspect else INK
            below.errorbar(
                pair.count, off, factor * u, fmt=pen.marker, color=colour, capsize=0.25 * font,
                markersize=0.6 * font, elinewidth=0.1 * font, zorder=4,
            )  # fmt: skip
        below.set_xlabel("counter")
        below.set_ylabel("off the law, s")
        reach = 1.35 * max(np.max(np.abs(fit.off_s) + factor * np.array(fit.u_s)), np.max(half))
        below.set_ylim(-reach, reach)
        for axes in (above, below):
            tidy(axes)
            number_axis(axes, "y")
        number_axis(below, "x")
        above.set_xlim(float(counts[0]), float(counts[-1]) * 1.03)
    return figure


def draw_label(table: CounterTable, deck: str = "") -> Figure:
    """Draw the table in its true size, with a line to cut along.

    Parameters
    ----------
    table : CounterTable
    deck : str
        Its name, for the heading.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    blocks = -(-len(table.counts) // MOST_ROWS)
    rows = -(-len(table.counts) // blocks)
    cells = 1 + sum(1 + any(column.left) for column in table.columns)
    width = blocks * cells * COLUMN + 0.3
    notes = len(table.columns) + 1
    height = (rows + 4.6 + 0.9 * notes) * ROW + 0.2
    with mpl.rc_context({"font.family": ["DejaVu Sans"], "svg.hashsalt": "runstrue"}):
        figure = Figure(figsize=(max(width, 2.6), height), dpi=300)
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_axis_off()
        wide = max(width, 2.6)
        axes.set_xlim(0, wide)
        axes.set_ylim(height, 0)
        axes.add_patch(
            mpl.patches.Rectangle(
                (0.05, 0.05), wide - 0.1, height - 0.1, fill=False, edgecolor=SOFT,
                linewidth=0.6, linestyle=(0, (4, 3)),
            )
        )  # fmt: skip
        title = _shortened(f"Tape counter{' of ' + deck if deck else ''}", wide)
        _write(axes, 0.15, 0.1 + ROW * 0.7, title, 8.0, bold=True, side="left")
        top = 0.1 + 2.2 * ROW
        for block in range(blocks):
            left = 0.15 + block * cells * COLUMN
            _draw_block(axes, table, slice(block * rows, (block + 1) * rows), left, top, cells)
        foot = top + (rows + 2.4) * ROW
        for index, words in enumerate(
            [*map(_known_to, table.columns), "Set to 0 at the beginning. ± holds 95 %."]
        ):
            _write(axes, 0.15, foot + 0.9 * index * ROW, words, 5.5, colour=SOFT, side="left")
    return figure


def _shortened(title: str, wide: float) -> str:
    """Return the title as far as there is room: a bold letter of 8 points takes 0.09 inches."""
    room = int((wide - 0.3) / 0.09)
    return title if len(title) <= room else f"{title[: room - 1]}…"


def _draw_block(
    axes: Axes, table: CounterTable, rows: slice, left: float, top: float, cells: int
) -> None:
    columns: list[tuple[str, str, tuple[str, ...]]] = [
        ("", "counter", tuple(str(count) for count in table.counts))
    ]
    for column in table.columns:
        columns.append((column.name, "played", column.played))
        if any(column.left):
            columns.append(("", "left", column.left))
    for index, (name, heading, values) in enumerate(columns):
        x = left + (index + 0.85) * COLUMN
        if name:
            _write(axes, x, top, name, 6.5, bold=True)
        _write(axes, x, top + 0.9 * ROW, heading, 5.5, colour=SOFT)
        for row, value in enumerate(values[rows]):
            _write(axes, x, top + (row + 2) * ROW, value, 6.5, bold=index == 0)
    shown = len(table.counts[rows])
    for row in range(shown + 1):
        if row % 5 == 0 or row == shown:
            y = top + (row + 1.5) * ROW
            axes.plot(
                [left, left + cells * COLUMN - 0.05], [y, y], color=FAINT, linewidth=0.5, zorder=0
            )  # fmt: skip


def _known_to(column: Column) -> str:
    words = f"{column.name + ': ' if column.name else ''}played ±{span_text(column.played_half_s)}"
    return words + (f", left ±{span_text(column.left_half_s)}" if any(column.left) else "")


def _write(
    axes: Axes, x: float, y: float, words: str, size: float, *, bold: bool = False,
    colour: str = INK, side: str = "right",
) -> None:  # fmt: skip
    plain(
        axes.text(
            x, y, printable(words), ha=side, va="center", fontsize=size, color=colour,
            weight="bold" if bold else "normal",
        )
    )  # fmt: skip
