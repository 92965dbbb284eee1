"""Figure: speed deviation over time, found against left, inside or outside the sheet's band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from runstrue.quantity import number_text
from runstrue.report.envelope import Envelope, envelope_of
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
    legend_above,
    number_axis,
    plain,
    plain_number,
    tidy,
)
from runstrue.result import Deviation
from runstrue.samples import CHANNEL_NAMES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# The band is drawn when the curve fills at least this share of it; else a note names it,
# since a curve squeezed to a flat line would show nothing.
SMALLEST_SHARE_OF_BAND = 0.12

CHANNEL_DASHES = ("-", ":", "-.", (0, (5, 1, 1, 1, 1, 1)))


@dataclass(frozen=True, slots=True, eq=False)
class Strand:
    """One deviation and how it is told apart.

    Parameters
    ----------
    deviation : Deviation
    role : {'found', 'between', 'left'}
    label : str
        'as found', 'as left'.
    """

    deviation: Deviation
    role: Role
    label: str


def draw_deviation(
    strands: Sequence[Strand],
    caption: Caption,
    *,
    limit_low: float | None = None,
    limit_high: float | None = None,
    shape: Shape = "page",
) -> Figure:
    """Draw the speed deviation over time.

    Parameters
    ----------
    strands : sequence of Strand
        One, or found and left laid over each other. The first is drawn at the back.
    caption : Caption
    limit_low, limit_high : float, optional
        The sheet's limits of the speed in %.
    shape : {'page', 'wide'}

    Returns
    -------
    matplotlib.figure.Figure
        Extremes as a band, the running mean in front; channels differ by line style; gaps
        stay open.
    """
    with drawing("Speed over the record", shape, caption) as figure:
        axes = figure.add_subplot()
        strands = [strand for strand in strands if strand.deviation.percent.size]
        drawn = [_draw(axes, strand, shape, alone=len(strands) == 1) for strand in strands]
        low, high = _range(drawn)
        low, high, note = _with_limits(low, high, limit_low, limit_high)
        margin = 0.06 * (high - low)
        axes.set_ylim(low - margin, high + margin)
        seconds = max((float(e.time_s[-1] + e.time_s[0]) for e in drawn), default=1.0)
        axes.set_xlim(0, seconds)
        if seconds > 240:
            _minutes(axes, seconds)
        else:
            axes.set_xlabel("time, s")
        axes.set_ylabel("speed deviation, %")
        number_axis(axes, "y")
        tidy(axes)
        axes.axhline(0, color=INK, linewidth=0.09 * SIZES[shape].font, zorder=1.5)
        if not note:
            _limits(axes, limit_low, limit_high, shape)
        if drawn:
            _legend(axes, strands, drawn, limit_low, limit_high, note)
        else:
            plain(axes.text(0.5, 0.5, "nothing was recorded", transform=axes.transAxes,
                            ha="center", va="center", color=SOFT))  # fmt: skip
        return figure


def _draw(axes: Axes, strand: Strand, shape: Shape, *, alone: bool) -> Envelope:
    """Draw one strand: extremes of all channels as a band, means in front.

    Alone, each channel has a line of its own. Beside another strand the line style tells the
    stages apart, so the channels, which share one transport, are drawn as their mean.
    """
    deviation, pen = strand.deviation, PENS[strand.role]
    envelope = envelope_of(deviation.percent, deviation.rate_hz)
    depth = 2.0 if strand.role == "found" else 2.2
    width = SIZES[shape].font
    axes.fill_between(
        envelope.time_s, np.fmin.reduce(envelope.low), np.fmax.reduce(envelope.high),
        facecolor=pen.fill, edgecolor=pen.line, linewidth=0.035 * width, zorder=depth, alpha=0.85,
    )  # fmt: skip
    if alone:
        for channel, mean in enumerate(envelope.mean):
            axes.plot(
                envelope.time_s, mean, color=pen.line if channel == 0 else INK,
                linestyle=CHANNEL_DASHES[channel % len(CHANNEL_DASHES)],
                linewidth=(0.2 if channel == 0 else 0.15) * width, zorder=depth + 1,
            )  # fmt: skip
    else:
        axes.plot(
            envelope.time_s, _mean_of_channels(envelope), color=pen.line, linestyle=pen.dash,
            linewidth=0.2 * width, zorder=depth + 1,
        )  # fmt: skip
    return envelope


def _mean_of_channels(envelope: Envelope) -> NDArray[np.float64]:
    there = np.isfinite(envelope.mean)
    with np.errstate(invalid="ignore"):
        total: NDArray[np.float64] = np.where(there, envelope.mean, 0.0).sum(axis=0)
        return total / np.where(there.any(axis=0), there.sum(axis=0), np.nan)


def _range(drawn: Sequence[Envelope]) -> tuple[float, float]:
    lows = [envelope.low[np.isfinite(envelope.low)] for envelope in drawn]
    highs = [envelope.high[np.isfinite(envelope.high)] for envelope in drawn]
    low = min((float(part.min()) for part in lows if part.size), default=-0.1)
    high = max((float(part.max()) for part in highs if part.size), default=0.1)
    low, high = min(low, 0.0), max(high, 0.0)  # nominal is always in the picture
    return (low, high) if high - low > 1e-6 else (low - 0.001, high + 0.001)


def _with_limits(
    low: float, high: float, limit_low: float | None, limit_high: float | None
) -> tuple[float, float, str]:
    """Widen the range to the sheet's band, or say in words where the band lies."""
    bounds = [bound for bound in (limit_low, limit_high) if bound is not None]
    if not bounds:
        return low, high, ""
    wide_low, wide_high = min([low, *bounds]), max([high, *bounds])
    if high - low >= SMALLEST_SHARE_OF_BAND * (wide_high - wide_low):
        return wide_low, wide_high, ""
    return low, high, f"the sheet's {limit_words(limit_low, limit_high)} lies outside this picture"


def limit_words(low: float | None, high: float | None) -> str:
    """Say a limit of the speed in words: '±1.5 %', '−1 to +2 %', 'at most +1 %'."""
    if low is not None and high is not None:
        if abs(low + high) < 1e-9:
            return f"±{plain_number(high)} %"
        return f"{_signed(low)} to {_signed(high)} %"
    return f"at most {_signed(high)} %" if high is not None else f"at least {_signed(low or 0.0)} %"


def _signed(value: float) -> str:
    return ("+" if value > 0 else "") + plain_number(value)


def _limits(axes: Axes, low: float | None, high: float | None, shape: Shape) -> None:
    if low is not None and high is not None:
        axes.axhspan(low, high, facecolor="#eef3ee", zorder=0.5)
    for bound in (low, high):
        if bound is not None:
            axes.axhline(
                bound, color=LIMIT, linewidth=0.13 * SIZES[shape].font, linestyle=(0, (1, 1.5)),
                zorder=4,
            )  # fmt: skip


def _minutes(axes: Axes, seconds: float) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

    minutes = seconds / 60
    step = next((s for s in (1, 2, 5, 10, 20, 30, 60) if minutes / s <= 11), 0)
    axes.xaxis.set_major_locator(MultipleLocator(60 * step) if step else MaxNLocator(8))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: plain_number(x / 60)))
    axes.set_xlabel("time, min")


def _legend(
    axes: Axes,
    strands: Sequence[Strand],
    drawn: Sequence[Envelope],
    limit_low: float | None,
    limit_high: float | None,
    note: str,
) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Line2D | Patch] = []
    alone = len(strands) == 1
    for strand, envelope in zip(strands, drawn, strict=True):
        pen = PENS[strand.role]
        handles.append(
            Patch(facecolor=pen.fill, edgecolor=pen.line, linewidth=0.5,
                  label=f"{strand.label}, extremes")
        )  # fmt: skip
        width = f"mean over {number_text(envelope.mean_width_s, 1)} s"
        names = strand.deviation.channels if alone else (strand.label,)
        for index, name in enumerate(names):
            if name in CHANNEL_NAMES:
                name = f"{name} channel"
            style: Any = CHANNEL_DASHES[index % len(CHANNEL_DASHES)] if alone else pen.dash
            color = pen.line if index == 0 else INK
            handles.append(Line2D([], [], color=color, linestyle=style, label=f"{name}, {width}"))
    if note:
        handles.append(Line2D([], [], linestyle="none", label=note))
    elif limit_low is not None or limit_high is not None:
        words = f"the sheet allows {limit_words(limit_low, limit_high)}"
        handles.append(Line2D([], [], color=LIMIT, linestyle=(0, (1, 1.5)), label=words))
    legend_above(axes, handles)
