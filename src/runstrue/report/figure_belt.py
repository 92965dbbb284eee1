"""Figure: the way of a belt over its pulleys, to scale, with wraps and free runs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from runstrue.report.glyphs import printable
from runstrue.report.style import FAINT, INK, PENS, SIZES, SOFT, Caption, Shape, drawing, plain
from runstrue.transport.belt_path import BeltPath

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAGE_HEIGHT = 4.2  # inches
SHORT_SHARE = 0.07  # of the way: a shorter run has no room for its length


def draw_belt(path: BeltPath, caption: Caption, *, shape: Shape = "page") -> Figure:
    """Draw a belt's way: pulleys to scale, wraps thick, the length of every free run.

    Parameters
    ----------
    path : BeltPath
    caption : Caption
    shape : {'page', 'wide'}
    """
    title = f"Way of the belt: {path.length_mm:.1f} mm"
    title += " along its middle" if path.thickness_mm else " in the grooves"
    with drawing(title, shape, caption, height=PAGE_HEIGHT) as figure:
        axes = figure.add_subplot()
        axes.set_aspect("equal", adjustable="datalim")
        axes.set_axis_off()
        font = SIZES[shape].font
        x, y = np.array(path.outline(math.radians(1))).T
        axes.plot(x, y, color=PENS["left"].line, linewidth=0.18 * font, zorder=3)
        for index, pulley in enumerate(path.pulleys):
            _draw_pulley(axes, path, index, font)
            name = pulley.name or f"pulley {index + 1}"
            said = f"{name}\n{math.degrees(path.wraps_rad[index]):.0f}°"
            _write(axes, *_beside(path, index), said, font, ground="none")
        for index, ((ax, ay), (bx, by)) in enumerate(path.tangents):
            if path.straights_mm[index] < SHORT_SHARE * path.length_mm:
                continue
            _write(
                axes, (ax + bx) / 2, (ay + by) / 2, f"{path.straights_mm[index]:.1f} mm",
                0.9 * font, SOFT,
            )  # fmt: skip
        axes.margins(0.12)
    return figure


def _draw_pulley(axes: Axes, path: BeltPath, index: int, font: float) -> None:
    """The pulley's rim, and thicker where the belt lies on it."""
    pulley = path.pulleys[index]
    turn = np.linspace(0, 2 * math.pi, 181)
    axes.fill(
        pulley.x_mm + pulley.radius_mm * np.cos(turn),
        pulley.y_mm + pulley.radius_mm * np.sin(turn),
        facecolor="#f3f5f7", edgecolor=FAINT, linewidth=0.1 * font, zorder=1,
    )  # fmt: skip
    start_x, start_y = path.tangents[index - 1][1]
    start = math.atan2(start_y - pulley.y_mm, start_x - pulley.x_mm)
    end = start + path.sense * pulley.side * path.wraps_rad[index]
    arc = np.linspace(start, end, 91)
    radius = pulley.radius_mm + path.thickness_mm / 2
    axes.plot(
        pulley.x_mm + radius * np.cos(arc), pulley.y_mm + radius * np.sin(arc),
        color=PENS["found"].line, linewidth=0.4 * font, solid_capstyle="butt", zorder=2,
    )  # fmt: skip
    axes.plot(pulley.x_mm, pulley.y_mm, "+", color=INK, markersize=0.5 * font, zorder=4)


def _beside(path: BeltPath, index: int) -> tuple[float, float]:
    """Where the name goes: in a large pulley, else outside of the loop."""
    pulley = path.pulleys[index]
    span = max(one.radius_mm for one in path.pulleys)
    extent = max(path.length_mm / 4, span)
    if pulley.radius_mm > extent / 4:
        return pulley.x_mm, pulley.y_mm - pulley.radius_mm * 0.45
    pull_x, pull_y = path.pulls()[index]
    size = math.hypot(pull_x, pull_y) or 1.0
    if pulley.side < 0 and not path.crossed:
        size = -size
    away = pulley.radius_mm + extent * 0.13
    return pulley.x_mm - pull_x / size * away, pulley.y_mm - pull_y / size * away


def _write(
    axes: Axes, x: float, y: float, words: str, size: float, colour: str = INK,
    ground: str = "white",
) -> None:  # fmt: skip
    plain(
        axes.text(
            x, y, printable(words), ha="center", va="center", fontsize=size, color=colour,
            zorder=6, bbox={"facecolor": ground, "edgecolor": "none", "pad": 1.0},
        )
    )  # fmt: skip
