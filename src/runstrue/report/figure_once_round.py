"""Figure: what the tape speed does in one turn of a part, and what error of size would do it."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from runstrue.quantity import Quantity, number_text
from runstrue.report.glyphs import printable
from runstrue.report.style import (
    INK,
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

MOST_MULTIPLES = 8
MOST_PLACES = 4
NOTE_WIDTH = 38
PAGE_HEIGHT = 3.3


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """One part's turn at one stage.

    Parameters
    ----------
    role : {'found', 'between', 'left'}
    label : str
        'before', 'as found'.
    turn : ndarray of float, shape (point,)
        0 to 1.
    percent : ndarray of float, shape (point,)
        Mean deviation of the tape speed there, in %.
    within_percent : ndarray of float, shape (point,)
        Half-width of the 95 % band round it.
    rate : Quantity
        Turns a second, in Hz.
    turns : float
        How many were laid over each other.
    multiples : tuple of (int, Quantity)
        Peak in % at each multiple of the rate.
    runouts : tuple of (str, Quantity)
        By place: runout, or half swing of a thickness, in µm, that would do it.
    """

    role: Role
    label: str
    turn: NDArray[np.floating]
    percent: NDArray[np.floating]
    within_percent: NDArray[np.floating]
    rate: Quantity
    turns: float
    multiples: tuple[tuple[int, Quantity], ...] = ()
    runouts: tuple[tuple[str, Quantity], ...] = ()


def draw_once_round(
    part: str, rounds: Sequence[Round], caption: Caption, *, shape: Shape = "page"
) -> Figure:
    """Draw the mean turn with its band, and beside it the multiples and the runout.

    Parameters
    ----------
    part : str
        'capstan shaft'.
    rounds : sequence of Round
        One, or before and after laid over each other; the first lies at the back.
    caption : Caption
    shape : {'page', 'wide'}
    """
    title = f"Once round: {printable(part)}"
    with drawing(_cut(title, 70), shape, caption, height=PAGE_HEIGHT) as figure:
        rounds = [one for one in rounds if len(one.turn)]
        if not rounds:
            axes = figure.add_subplot()
            axes.set_axis_off()
            plain(axes.text(0.5, 0.5, "no turn was kept", ha="center", va="center", color=SOFT,
                            transform=axes.transAxes))  # fmt: skip
            return figure
        grid = figure.add_gridspec(2, 2, width_ratios=(2.1, 1.0), height_ratios=(1.0, 0.9))
        turn = figure.add_subplot(grid[:, 0])
        _draw_turn(turn, rounds, shape)
        _draw_multiples(figure.add_subplot(grid[0, 1]), rounds, shape)
        notes = figure.add_subplot(grid[1, 1])
        _write_notes(notes, rounds[-1], shape)
        return figure


def _draw_turn(axes: Axes, rounds: Sequence[Round], shape: Shape) -> None:
    from matplotlib.patches import Patch

    font = SIZES[shape].font
    handles: list[Artist] = []
    for one in rounds:
        pen = PENS[one.role]
        # closed: the end of the turn is its beginning
        turn = np.append(one.turn, one.turn[0] + 1)
        percent = np.append(one.percent, one.percent[0])
        within = np.append(one.within_percent, one.within_percent[0])
        axes.fill_between(turn, percent - within, percent + within, facecolor=pen.fill,
                          alpha=0.85, linewidth=0, zorder=2)  # fmt: skip
        axes.plot(turn, percent, color=pen.line, linestyle=pen.dash, linewidth=0.2 * font,
                  zorder=4)  # fmt: skip
        label = f"{printable(one.label)}, {_turns_words(one.turns)}"
        (drawn,) = axes.plot([], [], color=pen.line, linestyle=pen.dash, label=label)
        handles.append(drawn)
    handles.append(Patch(facecolor=PENS[rounds[-1].role].fill, label="95 % band"))
    axes.axhline(0, color=SOFT, linewidth=0.08 * font, zorder=1)
    axes.set_xlim(0, 1)
    axes.set_xticks([0, 0.25, 0.5, 0.75, 1.0], ["0", "¼", "½", "¾", "1"])
    reach = max(float(np.max(np.abs(one.percent) + one.within_percent)) for one in rounds)
    axes.set_ylim(-1.15 * (reach or 0.01), 1.15 * (reach or 0.01))
    axes.set_xlabel("turn (where it begins is not known)")
    axes.set_ylabel("tape speed, %")
    number_axis(axes, "y")
    tidy(axes)
    legend_above(axes, handles)


def _draw_multiples(axes: Axes, rounds: Sequence[Round], shape: Shape) -> None:
    """Draw the peak at each multiple as bars, stages side by side."""
    font = SIZES[shape].font
    wanted = sorted({multiple for one in rounds for multiple, _ in one.multiples})[:MOST_MULTIPLES]
    width = 0.7 / len(rounds)
    for index, one in enumerate(rounds):
        pen = PENS[one.role]
        for place, multiple in enumerate(wanted):
            peak = dict(one.multiples).get(multiple)
            if peak is None:
                continue
            at = place + (index - (len(rounds) - 1) / 2) * width
            axes.bar(at, peak.value, 0.9 * width, color=pen.fill, edgecolor=pen.line,
                     linewidth=0.08 * font, zorder=2)  # fmt: skip
            half = peak.expanded()
            axes.errorbar(
                at, peak.value, yerr=[[min(half, peak.value)], [half]], ecolor=INK,
                elinewidth=0.1 * font, capsize=0.15 * font, zorder=3,
            )  # fmt: skip
    axes.set_xticks(range(len(wanted)), [f"{multiple}×" for multiple in wanted])
    axes.set_xlim(-0.7, max(len(wanted), 1) - 0.3)
    axes.set_ylim(bottom=0)
    axes.set_ylabel("peak, %")
    axes.set_xlabel(f"multiples of {_figure(rounds[-1].rate)}")
    number_axis(axes, "y")
    axes.locator_params(axis="y", nbins=4)
    tidy(axes)
    axes.grid(False, axis="x")


def _write_notes(axes: Axes, one: Round, shape: Shape) -> None:
    """Write which runout would do it, of the last stage, at each wheel of the shaft."""
    font = SIZES[shape].font
    axes.set_axis_off()
    if not one.runouts:
        said = "No plain law says which error of size would do it."
        plain(axes.text(0, 1, textwrap.fill(said, NOTE_WIDTH), va="top", ha="left",
                        fontsize=0.9 * font, color=SOFT, linespacing=1.3,
                        transform=axes.transAxes))  # fmt: skip
        return
    lines = ["Any one of these would do it:"]
    for name, size in one.runouts[:MOST_PLACES]:
        word = "half swing of the " if name.startswith("thickness") else "runout of the "
        within = f"±{number_text(size.expanded(), size.decimals())}"
        lines += textwrap.wrap(
            f"{word}{printable(name)} {size.value_text()} {within} µm", NOTE_WIDTH,
            subsequent_indent="    ",
        )  # fmt: skip
    plain(axes.text(0, 1, "\n".join(lines), va="top", ha="left", fontsize=0.9 * font, color=INK,
                    linespacing=1.3, transform=axes.transAxes))  # fmt: skip


def _turns_words(turns: float) -> str:
    return "1 turn" if round(turns) == 1 else f"{turns:.0f} turns"


def _figure(rate: Quantity) -> str:
    return f"{rate.value_text(decimals=min(rate.decimals(), 3))} {rate.unit}"


def _cut(words: str, width: int) -> str:
    return words if len(words) <= width else words[: width - 1].rstrip() + "…"
