"""Figure: flutter spectrum, how much the speed varies at each rate, with its lines named."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from runstrue.quantity import Quantity
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
from runstrue.result import Line, Trace

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 0.1, 200.0  # the band of the weighting curve, IEC 60386
DECADES = 3.0  # drawn below the highest point: weaker parts add nothing to a reading
NAMED_LINES = 7
COLUMNS = 500


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """One flutter spectrum and how it is told apart.

    Parameters
    ----------
    trace : Trace
        x: rate in Hz; y: in % with the meaning told by its label; gaps are not numbers.
    role : {'found', 'between', 'left'}
    label : str
    lines : tuple of Line
        To be named; those of the last spectrum are.
    """

    trace: Trace
    role: Role
    label: str
    lines: tuple[Line, ...] = ()


def draw_spectrum(
    spectra: Sequence[Spectrum],
    caption: Caption,
    *,
    parts: Mapping[float, str] | None = None,
    weighting: Trace | None = None,
    shape: Shape = "page",
) -> Figure:
    """Draw the flutter spectrum over the rate, both logarithmic.

    Parameters
    ----------
    spectra : sequence of Spectrum
        One, or found and left laid over each other; the first lies at the back.
    caption : Caption
    parts : mapping of float to str, optional
        Names of parts by the rate of their line in Hz.
    weighting : Trace, optional
        The weighting curve in dB over Hz, drawn behind, 0 dB level with the highest point.
    shape : {'page', 'wide'}
    """
    with drawing("Flutter spectrum", shape, caption) as figure:
        axes = figure.add_subplot()
        spectra = [one for one in spectra if _positive(one.trace).any()]
        top, bottom = _range(spectra)
        axes.set_xscale("log")
        axes.set_yscale("log")
        axes.set_xlim(LOWEST_RATE_HZ, HIGHEST_RATE_HZ)
        axes.set_ylim(bottom, top)
        for one in spectra:
            _draw(axes, one, shape, alone=len(spectra) == 1)
        handles: list[Artist] = _handles(spectra)
        if weighting is not None:
            handles.append(_draw_weighting(axes, weighting, top / 2, shape))
        axes.set_xlabel("rate of the speed variation, Hz")
        axes.set_ylabel(_y_label(spectra))
        number_axis(axes, "x")
        number_axis(axes, "y")
        axes.minorticks_off()
        axes.set_xticks([0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200])
        tidy(axes)
        if spectra:
            _name_lines(axes, spectra[-1], parts or {}, shape)
            if len(handles) > 1:
                legend_above(axes, handles)
        else:
            plain(axes.text(0.5, 0.5, "no spectrum was kept", transform=axes.transAxes,
                            ha="center", va="center", color=SOFT))  # fmt: skip
        return figure


def _draw(axes: Axes, one: Spectrum, shape: Shape, *, alone: bool) -> None:
    pen, font = PENS[one.role], SIZES[shape].font
    x, y = columns_of(one.trace)
    front = alone or one.role == "left"
    if front:
        axes.fill_between(x, y, axes.get_ylim()[0], facecolor=pen.fill, zorder=2,
                          alpha=0.75, linewidth=0)  # fmt: skip
    axes.plot(x, y, color=pen.line, linewidth=(0.13 if front else 0.1) * font,
              linestyle="-" if front else (0, (3, 1)), zorder=3)  # fmt: skip


def _draw_weighting(axes: Axes, weighting: Trace, level: float, shape: Shape) -> Artist:
    """Draw the curve behind; twenty decibels are one decade, so it shares the axis."""
    (drawn,) = axes.plot(
        weighting.x, level * 10 ** (weighting.y / 20), color=SOFT, linestyle=(0, (1, 1.6)),
        linewidth=0.13 * SIZES[shape].font, zorder=1.8,
        label="the ear's weighting (IEC 60386), one decade = 20 dB",
    )  # fmt: skip
    return drawn


def _name_lines(axes: Axes, one: Spectrum, parts: Mapping[float, str], shape: Shape) -> None:
    """Write the strongest lines' rates and sizes above the curve, none over another."""
    font = SIZES[shape].font
    inside = [
        line
        for line in one.lines
        if LOWEST_RATE_HZ <= line.rate_hz <= HIGHEST_RATE_HZ and line.peak_percent > 0
    ]
    named = sorted(inside, key=lambda line: line.peak_percent, reverse=True)[:NAMED_LINES]
    named.sort(key=lambda line: line.rate_hz)
    if not named:
        return
    low, high = axes.get_ylim()
    axes.set_ylim(low, high * (high / low) ** 0.30)  # room for the names
    span = np.log10(HIGHEST_RATE_HZ / LOWEST_RATE_HZ)
    at = [float(np.log10(line.rate_hz / LOWEST_RATE_HZ) / span) for line in named]
    # A label of eleven characters at 0.85 of the font, as a share of the axes (0.88 of the
    # picture's width), DejaVu Sans being about 0.6 of its size wide.
    width = 11 * 0.6 * 0.85 * font / 72 / (0.88 * SIZES[shape].width)
    for line, place in zip(named, spread_out(at, width), strict=True):
        words = line_words(line)
        part = printable(parts.get(line.rate_hz, ""))
        if part:
            words = f"{part[:14]}\n{words}"
        note = axes.annotate(
            words, (line.rate_hz, line.peak_percent), (place, 0.985),
            xycoords="data", textcoords="axes fraction", ha="center", va="top",
            fontsize=0.85 * font, linespacing=1.15, color=INK, zorder=6,
            arrowprops={"arrowstyle": "-", "color": SOFT, "linewidth": 0.06 * font,
                        "shrinkA": 0.5, "shrinkB": 1.0},
        )  # fmt: skip
        plain(note)
    axes.plot(
        [line.rate_hz for line in named], [line.peak_percent for line in named],
        linestyle="none", marker="v", markersize=0.5 * font, color=PENS[one.role].line, zorder=5,
    )  # fmt: skip


def line_words(line: Line) -> str:
    """Return a line's rate and size on two rows, rounded by their uncertainty.

    A picture shows three figures at most; the table beside it shows all that count.
    """
    rate = Quantity(line.rate_hz, "Hz", line.u_rate_hz)
    peak = Quantity(line.peak_percent, "%", line.u_peak_percent)
    return f"{_short(rate)} Hz\n{_short(peak)} %"


def columns_of(trace: Trace) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the curve as drawn: the highest point of each narrow column of the rate axis.

    A long record has more points than the page has dots; so every line keeps its height.
    Columns that hold only points that cannot be drawn stay open.
    """
    inside = (trace.x >= LOWEST_RATE_HZ) & (trace.x <= HIGHEST_RATE_HZ)
    x = np.asarray(trace.x[inside], dtype=np.float64)
    y = np.where(_positive(trace), trace.y, np.nan)[inside].astype(np.float64)
    if not len(x):
        return x, y
    column = np.floor(np.log(x / LOWEST_RATE_HZ) / np.log(HIGHEST_RATE_HZ / LOWEST_RATE_HZ)
                      * (COLUMNS - 1))  # fmt: skip
    starts = np.concatenate(([0], np.flatnonzero(np.diff(column)) + 1))
    highest = np.fmax.reduceat(y, starts)
    counts = np.diff(np.concatenate((starts, [len(x)])))
    middle = np.exp(np.add.reduceat(np.log(x), starts) / counts)
    return middle, highest


def spread_out(places: Sequence[float], width: float) -> list[float]:
    """Move rising places apart until none is nearer than `width`, inside 0 to 1.

    Examples
    --------
    >>> [round(place, 2) for place in spread_out([0.5, 0.52], 0.1)]
    [0.46, 0.56]
    """
    if not places:
        return []
    width = min(width, 1 / len(places))
    # Runs of labels that touch are centred on the mean of where they would like to be.
    runs: list[list[float]] = []  # [sum of wished starts, count]
    for index, place in enumerate(places):
        runs.append([place - index * width, 1])
        while len(runs) > 1 and runs[-2][0] / runs[-2][1] > runs[-1][0] / runs[-1][1]:
            total, count = runs.pop()
            runs[-1][0] += total
            runs[-1][1] += count
    starts = [run[0] / run[1] for run in runs for _ in range(int(run[1]))]
    first, last = width / 2, 1 - width / 2 - (len(places) - 1) * width
    return [min(max(start, first), max(last, first)) + i * width for i, start in enumerate(starts)]


def _short(quantity: Quantity) -> str:
    three = 2 - math.floor(math.log10(abs(quantity.value))) if quantity.value else 3
    return quantity.value_text(decimals=max(0, min(quantity.decimals(), three)))


def _positive(trace: Trace) -> NDArray[np.bool_]:
    """Where the curve can be drawn on a logarithmic axis, inside the band."""
    with np.errstate(invalid="ignore"):
        inside = (trace.x >= LOWEST_RATE_HZ) & (trace.x <= HIGHEST_RATE_HZ)
        drawable: NDArray[np.bool_] = inside & np.isfinite(trace.y) & (trace.y > 0)
        return drawable


def _range(spectra: Sequence[Spectrum]) -> tuple[float, float]:
    tops = [float(one.trace.y[_positive(one.trace)].max()) for one in spectra]
    tops += [line.peak_percent for one in spectra for line in one.lines]
    top = 2 * max(tops, default=0.1)
    return top, top / 10**DECADES


def _y_label(spectra: Sequence[Spectrum]) -> str:
    if not spectra:
        return "speed variation, %"
    trace = spectra[-1].trace
    words = f"{trace.y_label or 'speed variation'}, {trace.y_unit or '%'}"
    return "\n".join(textwrap.wrap(printable(words), 30)[:2])


def _handles(spectra: Sequence[Spectrum]) -> list[Artist]:
    from matplotlib.lines import Line2D

    return [
        Line2D([], [], color=PENS[one.role].line, label=one.label,
               linestyle="-" if one.role == "left" or len(spectra) == 1 else (0, (3, 1)))
        for one in spectra
    ]  # fmt: skip
