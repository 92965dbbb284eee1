"""Figure: curves over frequency, level or time, found and left, left and right channel.

Response, distortion over level, hum, azimuth, level of a steady tone: what is drawn differs in
its axes only. The stage is told by colour and dash as everywhere; of the two channels the right
one is drawn thinner.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from runstrue.report.style import (
    FAINT,
    LIMIT,
    PENS,
    SIZES,
    SOFT,
    Caption,
    Role,
    Shape,
    drawing,
    legend_above,
    number_axis,
    plain,
    tidy,
)

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FREQUENCIES_HZ = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
MOST_POINTS = 4000


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One curve.

    Parameters
    ----------
    x, y : ndarray of float, shape (point,)
    u : ndarray of float or None
        Standard uncertainty of y; drawn as a band of ±2 u where it can be seen.
    role : {'found', 'between', 'left'}
    label : str
    thin : bool
        The right channel.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    role: Role
    label: str
    u: NDArray[np.float64] | None = None
    thin: bool = False


@dataclass(frozen=True, slots=True)
class Axis:
    """What an axis shows.

    Parameters
    ----------
    label : str
        With its unit.
    log : bool
    low, high : float or None
        Range; None follows the curves.
    """

    label: str
    log: bool = False
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Allowed:
    """A region that a sheet allows: from `x_low` to `x_high`, between `y_low` and `y_high`."""

    x_low: float
    x_high: float
    y_low: float
    y_high: float
    label: str = "allowed by the sheet"


@dataclass(frozen=True, slots=True)
class Mark:
    """A value to read by: a line across, with its words."""

    y: float
    words: str


def draw_curves(
    title: str,
    curves: Sequence[Curve],
    caption: Caption,
    x: Axis,
    y: Axis,
    *,
    allowed: Allowed | None = None,
    marks: Sequence[Mark] = (),
    shape: Shape = "page",
) -> Figure:
    """Draw curves in the shared look.

    Parameters
    ----------
    title : str
    curves : sequence of Curve
        The first lies at the back.
    caption : Caption
    x, y : Axis
    allowed : Allowed, optional
    marks : sequence of Mark
    shape : {'page', 'wide'}
    """
    with drawing(title, shape, caption) as figure:
        axes = figure.add_subplot()
        handles: list[Artist] = []
        if allowed is not None:
            handles.append(_draw_allowed(axes, allowed))
        for curve in curves:
            handles.append(_draw(axes, curve, shape))
        for mark in marks:
            axes.axhline(mark.y, color=LIMIT, linewidth=0.9, dashes=(2, 2), zorder=2)
            note = axes.annotate(mark.words, (1.0, mark.y), xycoords=("axes fraction", "data"),
                                 ha="right", va="bottom", color=LIMIT,
                                 fontsize=SIZES[shape].font * 0.85)  # fmt: skip
            plain(note)
        _set(axes, x, "x")
        _set(axes, y, "y")
        tidy(axes)
        if len(handles) > 1:
            legend_above(axes, handles)
        return figure


def _draw(axes: Axes, curve: Curve, shape: Shape) -> Artist:
    pen = PENS[curve.role]
    width = 0.2 * SIZES[shape].font * (0.55 if curve.thin else 1.0)
    x, y = _thinned(curve.x, curve.y)
    if curve.u is not None and np.nanmax(curve.u, initial=0.0) > 0:
        axes.fill_between(curve.x, curve.y - 2 * curve.u, curve.y + 2 * curve.u,
                          facecolor=pen.fill, alpha=0.5, linewidth=0, zorder=1)  # fmt: skip
    marker = pen.marker if curve.x.size <= 40 else ""
    (line,) = axes.plot(x, y, pen.dash, color=pen.line, linewidth=width, label=curve.label,
                        marker=marker, markersize=0.35 * SIZES[shape].font,
                        markerfacecolor=pen.line if pen.filled else "white",
                        zorder=3)  # fmt: skip
    return line


def _draw_allowed(axes: Axes, allowed: Allowed) -> Artist:
    from matplotlib.patches import Rectangle

    region = Rectangle(
        (allowed.x_low, allowed.y_low), allowed.x_high - allowed.x_low,
        allowed.y_high - allowed.y_low, facecolor=FAINT, alpha=0.35, edgecolor=SOFT,
        linewidth=0.6, zorder=0.5, label=allowed.label,
    )  # fmt: skip
    axes.add_patch(region)
    return region


def _set(axes: Axes, axis: Axis, which: str) -> None:
    if which == "x":
        axes.set_xlabel(axis.label)
        if axis.log:
            axes.set_xscale("log")
            axes.set_xticks(FREQUENCIES_HZ)
            axes.minorticks_off()
        axes.set_xlim(axis.low, axis.high)
        number_axis(axes, "x")
    else:
        axes.set_ylabel(axis.label)
        if axis.log:
            axes.set_yscale("log")
            axes.minorticks_off()
        axes.set_ylim(axis.low, axis.high)
        number_axis(axes, "y")


def _thinned(
    x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Keep lowest and highest of what lies too close to be seen."""
    if x.size <= MOST_POINTS:
        return x, y
    step = -(-2 * x.size // MOST_POINTS)
    whole = x.size // step * step
    blocks = y[:whole].reshape(-1, step)
    starts = x[:whole].reshape(-1, step)[:, 0]
    pairs = np.stack((blocks.min(axis=1), blocks.max(axis=1)), axis=1)
    return np.repeat(starts, 2), pairs.ravel()
