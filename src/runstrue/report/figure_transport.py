"""Figure: a transport, its wheels to scale, belts by their true tangents, rates written on."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.report.figure_spectrum import spread_out
from runstrue.report.glyphs import printable
from runstrue.report.style import FAINT, INK, PENS, SIZES, SOFT, Caption, Shape, drawing, plain
from runstrue.transport.belt_path import belt_path
from runstrue.transport.description import Shaft
from runstrue.transport.explain import figure_text, speed_words, within_text
from runstrue.transport.geometry import Spot, pulleys_of, radius_of
from runstrue.transport.pack import half_mm, pack_radius_mm
from runstrue.transport.rates import Rate, Study, rates_at, turnings_of
from runstrue.transport.spread import UNKNOWN_RADIUS_MM, Layout, lay_out, takes_part

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAGE_HEIGHT = 4.6  # inches; a transport is nearly as high as it is wide
ROOM = (0.012, 0.09, 0.976, 0.82)  # left, bottom, width and height, as shares of the figure
LONGEST_NOTE = 26  # characters, which is what stands clear beside the drawing
MIDDLE = 0.54  # share of the width that the drawing itself takes
BELT_DASHES: tuple[str | tuple[int, tuple[float, ...]], ...] = (
    "-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Note:
    """What is written beside the drawing, and the point that it belongs to, in mm."""

    words: str
    rate: str
    spot: Spot


def draw_transport(
    study: Study,
    caption: Caption | None = None,
    *,
    speed_percent: float = 0.0,
    shape: Shape = "page",
) -> Figure:
    """Draw a transport as seen from where its wheels are seen, x to the right and y up.

    Parameters
    ----------
    study : Study
    caption : Caption, optional
        Otherwise made of the transport's own name.
    speed_percent : float
        How far the tape runs off its nominal speed; the rates are those at that speed.
    shape : {'page', 'wide'}
    """
    layout = lay_out(study)
    rates = {one.turning.id: one for one in rates_at(turnings_of(study), speed_percent)}
    told = caption or Caption(study.transport.name, remark=_remark(study, layout, speed_percent))
    title = "Transport and its rates"
    with drawing(title, shape, told, height=PAGE_HEIGHT) as figure:
        figure.set_layout_engine("none")
        axes = figure.add_axes(ROOM)
        axes.set_axis_off()
        notes = [
            *_draw_shafts(axes, study, layout, rates),
            *_draw_rollers(axes, study, layout, rates),
            *_draw_belts(axes, study, layout, rates, shape),
        ]
        if not notes:
            plain(axes.text(0.5, 0.5, "nothing is known to draw", transform=axes.transAxes,
                            ha="center", va="center", color=SOFT))  # fmt: skip
            return figure
        _frame(axes, shape)
        _write_notes(axes, notes, shape)
        _write_rest(axes, rates, {note.words for note in notes}, shape)
        return figure


def rate_words(rate: Quantity) -> str:
    """Print a rate with what it lies within, 95 % sure: '6.316 ±0.030 Hz'."""
    if rate.u <= 0:
        return f"{rate.value:.4g} Hz"
    return f"{figure_text(rate)} {within_text(rate)}"


def _draw_shafts(axes: Axes, study: Study, layout: Layout, rates: dict[str, Rate]) -> list[Note]:
    notes = []
    for shaft in study.transport.shafts:
        if not takes_part(study, shaft):
            continue
        spot = layout.spots[shaft.id]
        rate = rates.get(shaft.id)
        _draw_pack(axes, rate, shaft, spot)
        for wheel in sorted(
            shaft.wheels, key=lambda one: -(radius_of(one.id, study.values) or UNKNOWN_RADIUS_MM)
        ):
            radius = radius_of(wheel.id, study.values)
            _circle(axes, spot, radius or UNKNOWN_RADIUS_MM, dashed=radius is None)
        capstan = study.values.get(f"capstan.{shaft.id}")
        if shaft.drives_tape:
            _disc(axes, spot, capstan.value / 2 if capstan else 1.0)
        else:
            _disc(axes, spot, 0.8, SOFT)
        notes.append(Note(shaft.name, rate_words(rate.rate) if rate else "rate not known", spot))
    return notes


def _draw_pack(axes: Axes, rate: Rate | None, shaft: Shaft, spot: Spot) -> None:
    """Draw the tape pack of a hub with half the tape played."""
    if rate is None or rate.turning.pack is None or not shaft.turns_with:
        return
    pack = rate.turning.pack
    _circle(axes, spot, pack_radius_mm(pack, half_mm(pack)), dashed=True, behind=True)


def _draw_rollers(axes: Axes, study: Study, layout: Layout, rates: dict[str, Rate]) -> list[Note]:
    notes = []
    for roller in study.transport.rollers:
        size, spot = study.values.get(f"roller.{roller.id}"), layout.spots.get(roller.id)
        if spot is None:
            continue
        radius = size.value / 2 if size else UNKNOWN_RADIUS_MM
        _circle(axes, spot, radius, dashed=size is None)
        rate = rates.get(roller.id)
        edge = (spot[0], spot[1] + 0.6 * radius)
        notes.append(Note(roller.name, rate_words(rate.rate) if rate else "rate not known", edge))
    return notes


def _draw_belts(
    axes: Axes, study: Study, layout: Layout, rates: dict[str, Rate], shape: Shape
) -> list[Note]:
    notes = []
    font = SIZES[shape].font
    for index, belt in enumerate(study.transport.belts_at(study.speed)):
        laid = pulleys_of(study.transport, belt, study.values, layout.spots)
        rate = rates.get(belt.id)
        if laid is None:
            spots = [layout.spots[study.transport.wheel(one)[0].id] for one in belt.over]
            middle = _between(spots[0], spots[1])
            axes.plot(
                [x for x, _ in (*spots, spots[0])],
                [y for _, y in (*spots, spots[0])],
                color=FAINT,
                linewidth=0.12 * font,
                zorder=3,
            )
        else:
            try:
                way = belt_path(*laid)
            except InputError:  # laid out freely, in a way that no belt can lie
                continue
            outline = way.outline()
            start, end = max(way.tangents, key=lambda run: math.dist(*run))
            middle = _between(start, end)
            axes.plot(
                [x for x, _ in outline], [y for _, y in outline], color=PENS["left"].line,
                linewidth=0.16 * font, linestyle=BELT_DASHES[index % len(BELT_DASHES)], zorder=4,
            )  # fmt: skip
        notes.append(Note(belt.name, rate_words(rate.rate) if rate else "rate not known", middle))
    return notes


def _frame(axes: Axes, shape: Shape) -> None:
    """Set the limits so that the drawing has the middle, and put a scale below it."""
    from matplotlib.patches import Circle

    circles = [one for one in axes.patches if isinstance(one, Circle)]
    centres = np.array([one.get_center() for one in circles])
    x, y = centres[:, 0], centres[:, 1]
    radius = np.array([one.get_radius() for one in circles])
    low_x, high_x = float((x - radius).min()), float((x + radius).max())
    low_y, high_y = float((y - radius).min()), float((y + radius).max())
    width, height = high_x - low_x, high_y - low_y
    size = SIZES[shape]
    tall = size.height if shape == "wide" else PAGE_HEIGHT
    across, up = ROOM[2] * size.width, ROOM[3] * tall  # inches
    per_mm = min(MIDDLE * across / width, 0.75 * up / height)
    centre = (low_x + high_x) / 2
    axes.set_xlim(centre - across / per_mm / 2, centre + across / per_mm / 2)
    bottom = (low_y + high_y) / 2 - 0.55 * up / per_mm
    axes.set_ylim(bottom, bottom + up / per_mm)
    bar = next(one for one in (500, 200, 100, 50, 20, 10, 5, 2, 1) if one <= 0.6 * width)
    below = low_y - 0.05 * up / per_mm
    axes.plot([centre - bar / 2, centre + bar / 2], [below, below], color=INK, linewidth=1.0,
              marker="|", markersize=5)  # fmt: skip
    plain(axes.text(centre, below - 0.015 * up / per_mm, f"{bar} mm", ha="center", va="top",
                    color=SOFT))  # fmt: skip


def _write_notes(axes: Axes, notes: Sequence[Note], shape: Shape) -> None:
    """Write the notes in two columns, each with a line to its part."""
    size = SIZES[shape]
    tall = size.height if shape == "wide" else PAGE_HEIGHT
    row = 2.9 * size.font / 72 / (ROOM[3] * tall)
    low_y, high_y = axes.get_ylim()
    for side, column in zip(("left", "right"), _columns(notes), strict=True):
        column.sort(key=lambda note: note.spot[1])
        wished = [(note.spot[1] - low_y) / (high_y - low_y) for note in column]
        for note, place in zip(column, spread_out(wished, row), strict=True):
            written = axes.annotate(
                f"{_short(printable(note.words))}\n{note.rate}", note.spot,
                (0.0 if side == "left" else 1.0, place), xycoords="data",
                textcoords="axes fraction", ha=side, va="center", fontsize=0.95 * size.font,
                linespacing=1.2, color=INK, zorder=6,
                arrowprops={"arrowstyle": "-", "color": SOFT, "linewidth": 0.07 * size.font,
                            "shrinkA": 2, "shrinkB": 0},
            )  # fmt: skip
            plain(written)


def _short(words: str) -> str:
    return words if len(words) <= LONGEST_NOTE else words[: LONGEST_NOTE - 1].rstrip() + "…"


def _columns(notes: Sequence[Note]) -> tuple[list[Note], list[Note]]:
    """Part the notes by side, as evenly as can be."""
    across = sorted(notes, key=lambda note: note.spot[0])
    half = len(across) // 2
    return across[:half], across[half:]


def _write_rest(axes: Axes, rates: dict[str, Rate], drawn: set[str], shape: Shape) -> None:
    """Name below what turns but is not drawn."""
    rest = [
        f"{one.turning.name} {rate_words(one.rate)}"
        for one in rates.values()
        if one.turning.name not in drawn
    ]
    if rest:
        size = SIZES[shape]
        joined = printable("Besides: " + ", ".join(rest)).replace(" Hz", "\u00a0Hz")
        words = textwrap.fill(joined.replace(" ±", "\u00a0±"), size.caption_characters)
        plain(axes.text(0, 0, words, transform=axes.transAxes, ha="left", va="bottom",
                        fontsize=0.85 * size.font, color=SOFT))  # fmt: skip


def _circle(
    axes: Axes, spot: Spot, radius: float, *, dashed: bool = False, behind: bool = False
) -> None:
    from matplotlib.patches import Circle

    axes.add_patch(
        Circle(spot, radius, facecolor="none" if behind else "#f4f6f8", edgecolor=SOFT,
               linewidth=0.8, linestyle=(0, (2, 2)) if dashed else "-",
               zorder=1 if behind else 2)
    )  # fmt: skip


def _disc(axes: Axes, spot: Spot, radius: float, colour: str = INK) -> None:
    from matplotlib.patches import Circle

    axes.add_patch(Circle(spot, radius, facecolor=colour, edgecolor="none", zorder=5))


def _between(one: Spot, other: Spot) -> Spot:
    return (one[0] + other[0]) / 2, (one[1] + other[1]) / 2


def _remark(study: Study, layout: Layout, speed_percent: float) -> str:
    speed = study.values.get("tape")
    words = [study.speed.name if not study.speed.name[:1].isdigit() else ""]
    if speed is not None:
        at = f"at {speed_words(speed.value * (1 + speed_percent / 100))}"
        words.append(at if speed_percent else f"{at}, nominal")
    if any(rate for rate in study.equations.given if rate.startswith("half.")):
        words.append("half the tape played")
    shafts = {one.id for one in study.transport.shafts if takes_part(study, one)}
    if layout.free & shafts:
        every = layout.free >= shafts
        words.append(("places" if every else "some places") + " laid out freely")
    return ", ".join(word for word in words if word)
