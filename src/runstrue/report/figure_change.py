"""Figure: found against left at a glance, one row a quantity, against the sheet's limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runstrue.quantity import Quantity
from runstrue.report.glyphs import printable
from runstrue.report.style import (
    INK,
    LIMIT,
    PENS,
    SIZES,
    SOFT,
    Caption,
    Role,
    Shape,
    drawing,
    haloed,
    legend_columns,
    number_axis,
    plain,
)

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure
    from matplotlib.gridspec import SubplotSpec

MOST_ROWS: dict[Shape, int] = {"page": 8, "wide": 5}


@dataclass(frozen=True, slots=True)
class Point:
    """One reading of a row.

    Parameters
    ----------
    quantity : Quantity
    role : {'found', 'between', 'left'}
    """

    quantity: Quantity
    role: Role


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity with its readings and limits.

    Parameters
    ----------
    name : str
        In plain words.
    unit : str
    points : tuple of Point
    limit_low, limit_high : float, optional
        What the sheet allows, same unit.
    plus_minus : bool
        Whether the trade prints ± before the figure.
    signed : bool
        Whether + is written before a positive figure (a deviation).
    zero : bool
        Whether the axis begins at zero (a figure that should be low).
    """

    name: str
    unit: str
    points: tuple[Point, ...]
    limit_low: float | None = None
    limit_high: float | None = None
    plus_minus: bool = False
    signed: bool = False
    zero: bool = False


def draw_change(rows: Sequence[Row], caption: Caption, *, shape: Shape = "page") -> Figure:
    """Draw readings with their 95 % intervals against what the sheet allows.

    Parameters
    ----------
    rows : sequence of Row
        The first eight are drawn (of a wide picture five); a note counts the rest.
    caption : Caption
    shape : {'page', 'wide'}
        The page picture grows with its rows.
    """
    rows = [row for row in rows if row.points]
    shown, more = rows[: MOST_ROWS[shape]], max(0, len(rows) - MOST_ROWS[shape])
    height = 1.0 + 0.62 * max(1, len(shown))
    with drawing("Readings against the sheet", shape, caption, height=height) as figure:
        if not shown:
            axes = figure.add_subplot()
            axes.set_axis_off()
            plain(axes.text(0.5, 0.5, "nothing was measured yet", ha="center", color=SOFT))
            return figure
        grid = figure.add_gridspec(
            len(shown) + 1, 2, width_ratios=(1.0, 2.6), height_ratios=(0.35, *[1.0] * len(shown))
        )
        handles = _handles(shown, more)
        head = figure.add_subplot(grid[0, :])
        head.set_axis_off()
        head.legend(
            handles=handles, loc="center left", ncols=legend_columns(handles), borderaxespad=0,
            borderpad=0, handlelength=2.4, columnspacing=1.6,
        )  # fmt: skip
        for index, row in enumerate(shown, start=1):
            _draw_row(figure, grid[index, 0], grid[index, 1], row, shape)
        return figure


def _draw_row(
    figure: Figure | SubFigure, left: SubplotSpec, right: SubplotSpec, row: Row, shape: Shape
) -> None:
    font = SIZES[shape].font
    label = figure.add_subplot(left)
    label.set_axis_off()
    name = _wrapped(row.name, 30)
    plain(label.text(0.0, 0.5, f"{name}", ha="left", va="center", linespacing=1.15))
    axes = figure.add_subplot(right)
    low, high = _range(row)
    axes.set_xlim(low, high)
    axes.set_ylim(-0.75, len(row.points) - 0.25)
    _allowed(axes, row, font)
    for place, point in enumerate(reversed(row.points)):
        pen = PENS[point.role]
        half = point.quantity.expanded()
        value = point.quantity.value
        axes.errorbar(
            [value], [place], xerr=[half] if half > 0 else None, color=pen.line,
            ecolor=pen.line, elinewidth=0.2 * font, capsize=0.35 * font, capthick=0.16 * font,
            marker=pen.marker, markersize=0.7 * font, zorder=4, linestyle="none",
            markerfacecolor=pen.line if pen.filled else "white", markeredgewidth=0.14 * font,
        )  # fmt: skip
        _write_value(axes, row, point, place, shape)
    axes.set_yticks([])
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(SOFT)
    axes.locator_params(axis="x", nbins=6)
    number_axis(axes, "x")
    axes.tick_params(axis="x", labelsize=0.85 * font, length=0.25 * font, pad=0.15 * font)


def _write_value(axes: Axes, row: Row, point: Point, place: int, shape: Shape) -> None:
    """Write the figure beside its bar, on the side where it crosses no limit and has room."""
    font = SIZES[shape].font
    half = point.quantity.expanded()
    sign = "±" if row.plus_minus else ""
    words = f"{sign}{point.quantity.value_text(signed=row.signed)} {row.unit}"
    low, high = axes.get_xlim()
    # Letters are about 0.6 of their size wide; the axes take about 0.68 of the picture.
    wide = (len(words) + 1) * 0.6 * 0.9 * font / 72 / (0.68 * SIZES[shape].width) * (high - low)
    left, right = point.quantity.value - half, point.quantity.value + half
    sides = ((right, right, right + wide, "left"), (left, left - wide, left, "right"))
    bounds = [bound for bound in (row.limit_low, row.limit_high) if bound is not None]

    def badness(side: tuple[float, float, float, str]) -> tuple[bool, bool]:
        _, first, last, _ = side
        return (first < low or last > high, any(first <= bound <= last for bound in bounds))

    at, _, _, align = min(sides, key=badness)
    haloed(
        axes.annotate(
            words,
            (at, place),
            (0.6 * font if align == "left" else -0.6 * font, 0),
            textcoords="offset points",
            ha=align,
            va="center",
            fontsize=0.9 * font,
            color=INK,
            zorder=6,
        )
    )


def _allowed(axes: Axes, row: Row, font: float) -> None:
    low, high = axes.get_xlim()
    if row.limit_low is None and row.limit_high is None:
        return
    axes.axvspan(
        low if row.limit_low is None else row.limit_low,
        high if row.limit_high is None else row.limit_high,
        facecolor="#e4ece4", zorder=0.5, linewidth=0,
    )  # fmt: skip
    for bound in (row.limit_low, row.limit_high):
        if bound is not None:
            axes.axvline(bound, color=LIMIT, linestyle=(0, (1, 1.5)), linewidth=0.16 * font,
                         zorder=3)  # fmt: skip


def _range(row: Row) -> tuple[float, float]:
    """Axis that holds every interval and limit, with room for the written figure."""
    ends = [bound for bound in (row.limit_low, row.limit_high) if bound is not None]
    for point in row.points:
        half = point.quantity.expanded()
        ends += [point.quantity.value - half, point.quantity.value + half]
    if row.zero:
        ends.append(0.0)
    low, high = min(ends), max(ends)
    span = (high - low) or abs(high) or 1.0
    start = 0.0 if row.zero and low >= 0 else low - 0.25 * span
    return start, high + 0.25 * span


def _handles(rows: Sequence[Row], more: int) -> list[Artist]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    words: dict[Role, str] = {"found": "as found", "between": "in between", "left": "as left"}
    used = {point.role for row in rows for point in row.points}
    handles: list[Artist] = []
    for role, name in words.items():
        if role in used:
            pen = PENS[role]
            handles.append(
                Line2D([], [], color=pen.line, marker=pen.marker, label=f"{name}, 95 % interval",
                       markerfacecolor=pen.line if pen.filled else "white")
            )  # fmt: skip
    if any(row.limit_low is not None or row.limit_high is not None for row in rows):
        handles.append(Patch(facecolor="#e4ece4", edgecolor=LIMIT, linestyle=":",
                             label="the sheet allows"))  # fmt: skip
    if more:
        handles.append(Line2D([], [], linestyle="none", label=f"{more} more in the table"))
    return handles


def _wrapped(text: str, width: int) -> str:
    import textwrap

    lines = textwrap.wrap(printable(text), width)
    return "\n".join(lines[:3]) + (" …" if len(lines) > 3 else "")
