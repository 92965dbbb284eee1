"""Figure: how much of the flutter each part makes, as bars with their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runstrue.quantity import Quantity, number_text
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
    legend_above,
    number_axis,
    plain,
    tidy,
)

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_PARTS: dict[Shape, int] = {"page": 9, "wide": 8}
LONGEST_NAME = 34
ROW = {1: 0.27, 2: 0.4}
"""Height of a row on the page in inches, by the number of stages in it."""


@dataclass(frozen=True, slots=True)
class Share:
    """How much one part makes, at one stage.

    Parameters
    ----------
    role : {'found', 'between', 'left'}
    quantity : Quantity
        Weighted flutter in %, as the peak of a sine of the same power.
    guilty : bool
        Whether it is surely there and matters.
    """

    role: Role
    quantity: Quantity
    guilty: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """One part, or what is nobody's.

    Parameters
    ----------
    name : str
    shares : tuple of Share
        At most one for each stage.
    nobodys : bool
        What no part explains.
    whole : bool
        All of the flutter together, to hold the parts against.
    """

    name: str
    shares: tuple[Share, ...]
    nobodys: bool = False
    whole: bool = False


def draw_parts(
    bars: Sequence[Bar],
    caption: Caption,
    *,
    labels: dict[Role, str] | None = None,
    limit_percent: float | None = None,
    limit_words: str = "",
    shape: Shape = "page",
) -> Figure:
    """Draw how much of the flutter each part makes.

    Parameters
    ----------
    bars : sequence of Bar
        From the top down; the largest parts are drawn where there are too many.
    caption : Caption
    labels : dict, optional
        Words for each stage where there are two.
    limit_percent : float, optional
        What the sheet allows all of them together.
    limit_words : str
    shape : {'page', 'wide'}
    """
    shown, more = _shown(bars, MOST_PARTS[shape])
    roles = [role for role in PENS if any(one.role == role for bar in shown for one in bar.shares)]
    roles.reverse()  # found above left
    height = 1.25 + ROW[2 if len(roles) > 1 else 1] * max(len(shown), 1)
    with drawing("Which part makes the flutter", shape, caption, height=height) as figure:
        axes = figure.add_subplot()
        if not shown:
            axes.set_axis_off()
            plain(axes.text(0.5, 0.5, "no part was told", ha="center", va="center", color=SOFT,
                            transform=axes.transAxes))  # fmt: skip
            return figure
        for place, bar in enumerate(shown):
            _draw_bar(axes, place, bar, roles, shape)
        _frame(axes, shown)
        if limit_percent is not None:
            _draw_limit(axes, shown, limit_percent, shape)
        axes.set_xlabel("weighted flutter, % (a part: peak of a sine of the same power)")
        number_axis(axes, "x")
        tidy(axes)
        axes.grid(False, axis="y")
        axes.tick_params(axis="y", length=0, labelcolor=INK)
        handles = _handles(shown, labels or {}, roles)
        if limit_percent is not None:
            handles.append(_limit_handle(limit_percent, limit_words))
        if more:
            handles.append(_words_handle(f"{more} smaller parts are not drawn"))
        legend_above(axes, handles)
        return figure


def _shown(bars: Sequence[Bar], most: int) -> tuple[list[Bar], int]:
    """Return what is drawn, in the order given, and how many parts are not."""
    parts = [bar for bar in bars if bar.shares and not (bar.whole or bar.nobodys)]
    kept = sorted(parts, key=_size, reverse=True)[:most]
    chosen = [bar for bar in bars if bar.shares and (bar.whole or bar.nobodys or bar in kept)]
    return chosen, len(parts) - len(kept)


def _size(bar: Bar) -> float:
    return max(share.quantity.value for share in bar.shares)


def _draw_bar(axes: Axes, place: int, bar: Bar, roles: Sequence[Role], shape: Shape) -> None:
    font = SIZES[shape].font
    thick = 0.62 / len(roles)
    for share in bar.shares:
        pen, value = PENS[share.role], share.quantity.value
        at = place + (roles.index(share.role) - (len(roles) - 1) / 2) * thick
        strong = share.guilty or bar.whole
        axes.barh(
            at, value, 0.86 * thick, color=pen.line if share.guilty else pen.fill,
            edgecolor=pen.line, linewidth=0.08 * font, zorder=2,
            hatch="////" if bar.nobodys else None,
        )  # fmt: skip
        half = share.quantity.expanded()
        low = max(value - half, 0.0)
        for colour, wide in (("white", 0.3), (INK, 0.12)):  # a rim, so that it shows on the dark
            axes.errorbar(
                value, at, xerr=[[value - low], [half]], ecolor=colour, elinewidth=wide * font,
                capsize=0.22 * font, capthick=wide * font, zorder=3,
            )  # fmt: skip
        decimals = min(share.quantity.decimals(), 3)
        words = f"{number_text(value, decimals)} %"
        haloed(axes.annotate(
            words, (value + half, at), (0.5 * font, 0), textcoords="offset points", ha="left",
            va="center", fontsize=0.88 * font, color=INK if strong else SOFT, zorder=6,
        ))  # fmt: skip


def _frame(axes: Axes, shown: Sequence[Bar]) -> None:
    longest = max(
        share.quantity.value + share.quantity.expanded() for bar in shown for share in bar.shares
    )
    axes.set_xlim(0, 1.16 * (longest or 0.1))
    axes.set_ylim(len(shown) - 0.5, -0.5)
    names = [_short(printable(bar.name)) for bar in shown]
    axes.set_yticks(range(len(shown)), names)
    for label, bar in zip(axes.get_yticklabels(), shown, strict=True):
        plain(label)
        if any(share.guilty for share in bar.shares):
            label.set_fontweight("bold")


def _draw_limit(axes: Axes, shown: Sequence[Bar], limit: float, shape: Shape) -> None:
    """Draw the sheet's line through the row of the whole, which alone it speaks of."""
    font = SIZES[shape].font
    low, high = axes.get_xlim()
    axes.set_xlim(low, max(high, 1.16 * limit))
    rows = [place for place, bar in enumerate(shown) if bar.whole]
    for place in rows:
        axes.plot([limit, limit], [place - 0.48, place + 0.48], color=LIMIT, linewidth=0.2 * font,
                  zorder=5, solid_capstyle="butt")  # fmt: skip


def _handles(shown: Sequence[Bar], labels: dict[Role, str], roles: Sequence[Role]) -> list[Artist]:
    from matplotlib.patches import Patch

    handles: list[Artist] = []
    if len(roles) > 1:
        handles += [
            Patch(facecolor=PENS[role].fill, edgecolor=PENS[role].line,
                  label=printable(labels.get(role, role)))
            for role in roles
        ]  # fmt: skip
    guilty = [share.role for bar in shown for share in bar.shares if share.guilty]
    if guilty:
        handles.append(Patch(facecolor=PENS[guilty[0]].line, label="matters"))
    handles.append(_words_handle("whiskers: 95 %"))
    return handles


def _limit_handle(limit: float, words: str) -> Artist:
    from matplotlib.lines import Line2D

    said = printable(words) or "the sheet allows"
    return Line2D([], [], color=LIMIT, label=f"{said}: {limit:g} %")


def _words_handle(words: str) -> Artist:
    from matplotlib.lines import Line2D

    return Line2D([], [], linestyle="none", label=words)


def _short(name: str) -> str:
    """Break a long name in two lines, and cut what is longer still."""
    if len(name) <= LONGEST_NAME // 2 + 5:
        return name
    import textwrap

    lines = textwrap.wrap(name, LONGEST_NAME // 2 + 5)
    return "\n".join(lines[:2]) + (" …" if len(lines) > 2 else "")
