"""Figure: how the weighted deviation is spread, with the two-sigma marks and the needle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from runstrue.quantity import number_text
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
    legend_above,
    number_axis,
    plain,
    plain_number,
    tidy,
)
from runstrue.result import Spread, Trace

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

CLASSES_PER_MARK = 14  # classes between zero and the two-sigma mark: smooth, yet not smeared
UNIT_PERCENT = 0.01  # heights are shares of time per so much deviation


@dataclass(frozen=True, slots=True, eq=False)
class Distribution:
    """One histogram and how it is told apart.

    Parameters
    ----------
    trace : Trace
        x: centre of each class in % of the speed, evenly spaced; y: share of the time in the
        class, in % (y_unit '%') or as a fraction. `marks` may hold 'two-sigma' in %.
    role : {'found', 'between', 'left'}
    label : str
    reading : str
        The two-sigma reading as printed elsewhere: '±0.147 %'.
    needle : Spread, optional
        What a needle would have shown, in %.
    """

    trace: Trace
    role: Role
    label: str
    reading: str = ""
    needle: Spread | None = None


def draw_histogram(
    distributions: Sequence[Distribution],
    caption: Caption,
    *,
    limit_percent: float | None = None,
    limit_words: str = "",
    shape: Shape = "page",
) -> Figure:
    """Draw the spread of the weighted deviation.

    Parameters
    ----------
    distributions : sequence of Distribution
        One, or found and left laid over each other; the first lies at the back.
    caption : Caption
    limit_percent : float, optional
        The sheet's limit of the weighted peak.
    limit_words : str
        As the sheet prints it; told in the legend.
    shape : {'page', 'wide'}
    """
    with drawing("Weighted speed deviation: share of the time", shape, caption) as figure:
        axes = figure.add_subplot()
        distributions = [one for one in distributions if _usable(one.trace)]
        handles: list[Artist] = []
        tallest = 0.0
        font = SIZES[shape].font
        for one in distributions:
            pen = PENS[one.role]
            edges, height = heights(one.trace)
            tallest = max(tallest, float(height.max()))
            front = one.role == "left" or len(distributions) == 1
            axes.stairs(height, edges, fill=True, facecolor=pen.fill, alpha=0.75, zorder=2)
            drawn = axes.stairs(
                height, edges, edgecolor=pen.line, linewidth=(0.17 if front else 0.13) * font,
                linestyle=pen.dash if len(distributions) > 1 else "-", zorder=3, label=one.label,
            )  # fmt: skip
            handles.append(drawn)
        reach = max((_reach(one) for one in distributions), default=0.1)
        handles += _limit(axes, limit_percent, limit_words, reach, shape)
        if limit_percent is not None and limit_percent < 4 * reach:
            reach = max(reach, 1.12 * limit_percent)
        axes.set_xlim(-reach, reach)
        axes.set_ylim(0, (tallest or 1.0) * (1.16 + 0.2 * len(distributions)))
        by_width = sorted(distributions, key=lambda one: -one.trace.marks.get("two-sigma", 0.0))
        for rank, one in enumerate(by_width):
            _marks(axes, one, 0.94 - 0.155 * rank, shape, several=len(distributions) > 1)
        axes.set_xlabel("weighted speed deviation, %")
        axes.set_ylabel("share of the time, % per 0.01 %")
        number_axis(axes, "x")
        number_axis(axes, "y")
        tidy(axes)
        if distributions:
            if len(handles) > 1:
                legend_above(axes, handles)
        else:
            plain(axes.text(0.5, 0.5, "no histogram was kept", transform=axes.transAxes,
                            ha="center", va="center", color=SOFT))  # fmt: skip
        return figure


def heights(trace: Trace) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return class edges in % and heights in % of the time per 0.01 % of deviation.

    Fine classes are joined in equal groups about zero, so that the two-sigma mark is about
    fourteen classes away; the area, which is all of the time, stays the same.
    """
    x = np.asarray(trace.x, dtype=np.float64)
    share = np.asarray(trace.y, dtype=np.float64) * (1.0 if trace.y_unit == "%" else 100.0)
    width = float((x[-1] - x[0]) / (len(x) - 1))
    mark = trace.marks.get("two-sigma") or _reach_inside(x, share, 0.95)
    group = max(1, round(mark / CLASSES_PER_MARK / width))
    if group % 2 == 0:
        group += 1  # an odd count keeps the class about zero in the middle
    middle = int(np.argmin(np.abs(x)))
    before = -(middle - group // 2) % group
    after = -(len(x) + before) % group
    joined = np.pad(share, (before, after)).reshape(-1, group).sum(axis=1)
    first = x[0] - width / 2 - before * width
    edges = first + np.arange(len(joined) + 1) * group * width
    return edges, joined / (group * width) * UNIT_PERCENT


def _marks(axes: Axes, one: Distribution, height: float, shape: Shape, *, several: bool) -> None:
    """Mark plus and minus two-sigma, and the needle's range beneath."""
    font, pen = SIZES[shape].font, PENS[one.role]
    blend = axes.get_xaxis_transform()
    sigma = one.trace.marks.get("two-sigma")
    who = f"{one.label}: " if several else ""
    if sigma:
        axes.annotate(
            "", (sigma, height), (-sigma, height), xycoords=blend, textcoords=blend,
            arrowprops={"arrowstyle": "<->", "color": pen.line, "linewidth": 0.12 * font,
                        "shrinkA": 0, "shrinkB": 0}, zorder=6,
        )  # fmt: skip
        axes.vlines(
            [-sigma, sigma], 0, height, transform=blend, color=pen.line, zorder=4,
            linewidth=0.12 * font, linestyle=pen.dash,
        )  # fmt: skip
        words = one.reading or f"±{plain_number(sigma)} %"
        haloed(axes.text(
            0, height + 0.008, f"{who}95 % of the time within {words}", transform=blend,
            ha="center", va="bottom", fontsize=0.85 * font, color=INK, zorder=7,
        ))  # fmt: skip
    if one.needle is not None:
        low, middle, high = one.needle.low, one.needle.middle, one.needle.high
        place = height - 0.055
        axes.plot([low, high], [place, place], transform=blend, color=pen.line, zorder=6,
                  linewidth=0.45 * font, solid_capstyle="butt", alpha=0.55)  # fmt: skip
        axes.plot([middle], [place], transform=blend, color=pen.line, marker="|", zorder=7,
                  markersize=0.9 * font, markeredgewidth=0.2 * font)  # fmt: skip
        decimals = max(0, 1 - math.floor(math.log10(high))) if high > 0 else 0
        said = f"{number_text(low, decimals)} to {number_text(high, decimals)} %"
        haloed(axes.annotate(
            f"a needle: {said}", (low, place),
            (-0.5 * font, 0), xycoords=blend, textcoords="offset points", ha="right", va="center",
            fontsize=0.85 * font, color=INK, zorder=7,
        ))  # fmt: skip


def _limit(axes: Axes, limit: float | None, words: str, reach: float, shape: Shape) -> list[Artist]:
    """Draw the limit on both sides, or say that it lies far outside."""
    from matplotlib.lines import Line2D

    if limit is None:
        return []
    said = f"the sheet allows ±{plain_number(limit)} %" + (f" ({words})" if words else "")
    if limit >= 4 * reach:
        return [Line2D([], [], linestyle="none", label=f"{said}: outside this picture")]
    lines = [
        axes.axvline(side * limit, color=LIMIT, linestyle=(0, (1, 1.5)), zorder=5,
                     linewidth=0.15 * SIZES[shape].font, label=said)
        for side in (-1, 1)
    ]  # fmt: skip
    return [lines[0]]


def _usable(trace: Trace) -> bool:
    return len(trace.x) > 1 and bool(np.isfinite(trace.y).all()) and float(trace.y.sum()) > 0


def _reach(one: Distribution) -> float:
    sigma = one.trace.marks.get("two-sigma") or 0.0
    tail = _reach_inside(np.asarray(one.trace.x), np.asarray(one.trace.y), 0.999)
    needle = 1.15 * one.needle.high if one.needle else 0.0
    return max(1.5 * sigma, 1.1 * tail, needle, 1e-5)


def _reach_inside(x: NDArray[np.floating], share: NDArray[np.floating], inside: float) -> float:
    """Deviation within which this share of the time lies."""
    order = np.argsort(np.abs(x), kind="stable")
    running = np.cumsum(share[order])
    place = int(np.searchsorted(running, inside * running[-1]))
    return float(abs(x[order[min(place, len(x) - 1)]]))
