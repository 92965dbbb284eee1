"""The look that every figure shares: paper and ink, line styles, sizes, captions.

Calm and printable: what matters is carried by line style, weight and lightness, so that a
grey print and a colour-blind reader lose nothing; colour only helps. Drawings are the same
bytes for the same input: own ids in the SVG, no dates, fonts shipped with matplotlib.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from runstrue.quantity import MINUS, number_text
from runstrue.report.glyphs import printable

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

Shape = Literal["page", "wide"]
Role = Literal["found", "between", "left"]

INK = "#1b1f24"
SOFT = "#5b6570"  # captions and ticks: 5.9:1 against white, still black enough for a copier
FAINT = "#c9ced4"
LIMIT = "#8c1c2b"


@dataclass(frozen=True, slots=True)
class Pen:
    """How one stage is drawn.

    Parameters
    ----------
    line, fill : str
        Colours; the lightness of the three lines differs, so that they part in grey too.
    dash : str
        matplotlib line style; '-' for the state that the deck is handed over in.
    marker : str
    filled : bool
        Whether the marker is filled.
    """

    line: str
    fill: str
    dash: str
    marker: str
    filled: bool


# Blue and orange are told apart in all common kinds of colour blindness (common practice,
# no source); lightness L* about 27, 55 and 42 (checked in tests/report/test_style.py).
PENS: dict[Role, Pen] = {
    "left": Pen("#123f6d", "#b9cbe0", "-", "o", True),
    "between": Pen("#50655a", "#d5ded8", "-.", "D", True),
    "found": Pen("#c46a10", "#f6e3cd", "--", "s", False),
}


@dataclass(frozen=True, slots=True)
class Caption:
    """What a picture says about itself.

    Parameters
    ----------
    deck : str
        Maker, model, serial number.
    stage : str
        'as found', 'as left', 'as found and as left'.
    when : str
        Dates in words of the record.
    remark : str
        Tape, side, direction, or nothing.
    """

    deck: str = ""
    stage: str = ""
    when: str = ""
    remark: str = ""

    def text(self, width: int) -> str:
        """Return at most two lines of this many characters."""
        whole = " · ".join(
            part for part in (self.deck, self.stage, self.when, self.remark) if part.strip()
        )
        lines = textwrap.wrap(printable(whole), width, break_long_words=True)
        return "\n".join(lines[:2]) + (" …" if len(lines) > 2 else "")


@dataclass(frozen=True, slots=True)
class Size:
    """Size of one shape of picture, in inches and points."""

    width: float
    height: float
    dpi: int
    font: float
    caption_characters: int


SIZES: dict[Shape, Size] = {
    "page": Size(6.69, 3.15, 200, 8.0, 110),  # 170 mm wide: the printed sheet's measure
    "wide": Size(12.8, 7.2, 150, 15.0, 105),  # 1920 × 1080 points
}


@contextmanager
def drawing(
    title: str, shape: Shape, caption: Caption, *, height: float | None = None
) -> Iterator[Figure]:
    """Open a figure in the shared look; title and caption are laid out with the axes.

    Parameters
    ----------
    title : str
    shape : {'page', 'wide'}
        For the printed sheet, or 16:9 for those who publish.
    caption : Caption
    height : float, optional
        In inches, for a page figure that grows with its rows; 16:9 stays 16:9.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    size = SIZES[shape]
    tall = size.height if height is None or shape == "wide" else height
    with mpl.rc_context(_settings(size)):
        figure = Figure(figsize=(size.width, tall), dpi=size.dpi, layout="constrained")
        engine = figure.get_layout_engine()
        if engine is not None:
            gap = 0.009 * size.font
            engine.set(w_pad=gap, h_pad=gap)  # type: ignore[call-arg]
        plain(figure.suptitle(title, x=0.012, ha="left", fontsize=size.font * 1.25, weight="bold"))
        said = caption.text(size.caption_characters)
        if said:
            plain(figure.supxlabel(said, x=0.012, ha="left", fontsize=size.font * 0.85, color=SOFT))
        yield figure


def plain(text: Text) -> Text:
    """Take the text as it stands: a dollar sign in a deck's name is no formula."""
    text.set_parse_math(False)
    return text


def legend_columns(handles: Sequence[Artist]) -> int:
    """Return how many entries of a legend go side by side: all, or half of them."""
    # A line holds about 98 characters at either size of picture; handle and gaps take 8.
    width = sum(len(str(handle.get_label())) + 8 for handle in handles)
    return len(handles) if width <= 98 else -(-len(handles) // 2)


def haloed(text: Text) -> Text:
    """Lift a note from the lines that it crosses by a white rim."""
    from matplotlib.patheffects import withStroke

    rim = withStroke(linewidth=0.35 * float(text.get_fontsize()), foreground="white")
    text.set_path_effects([rim])
    return plain(text)


def tidy(axes: Axes) -> None:
    """Take away what says nothing, and keep a faint grid to read values by."""
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(SOFT)
    axes.grid(True, which="major", color=FAINT, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)


def legend_above(axes: Axes, handles: Sequence[Artist]) -> None:
    """Put the legend over the axes, where it can hide no curve."""
    if not handles:
        return
    legend = axes.legend(
        handles=list(handles),
        loc="lower left",
        bbox_to_anchor=(0, 1.0),
        ncols=legend_columns(handles),
        borderaxespad=0.2,
        handlelength=2.6,
        columnspacing=1.6,
        handletextpad=0.6,
    )
    for text in legend.get_texts():
        plain(text)


def plain_number(value: float, digits: int = 3) -> str:
    """Print a number for an axis or a note: so many figures, true minus, no exponent.

    Examples
    --------
    >>> plain_number(-0.05), plain_number(200.0), plain_number(0.1)
    ('−0.05', '200', '0.1')
    """
    text = f"{abs(value):.{digits}g}"
    if "e" in text:
        text = number_text(abs(float(text)), 6)
        text = text.rstrip("0").rstrip(".") if "." in text else text
    return MINUS + text if value < 0 and float(text) != 0 else text


def number_axis(axes: Axes, which: Literal["x", "y"]) -> None:
    """Label this axis with plain numbers."""
    from matplotlib.ticker import FuncFormatter

    axis = axes.xaxis if which == "x" else axes.yaxis
    axis.set_major_formatter(FuncFormatter(lambda value, _: plain_number(value)))


def _settings(size: Size) -> dict[Any, Any]:
    return {
        "font.family": ["DejaVu Sans"],
        "font.size": size.font,
        "axes.labelsize": size.font,
        "axes.labelcolor": INK,
        "axes.linewidth": 0.07 * size.font,
        "xtick.labelsize": size.font * 0.9,
        "ytick.labelsize": size.font * 0.9,
        "xtick.color": SOFT,
        "ytick.color": SOFT,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "legend.fontsize": size.font * 0.9,
        "legend.frameon": False,
        "lines.linewidth": 0.16 * size.font,
        "lines.dashed_pattern": (3.6, 1.6),
        "hatch.linewidth": 0.5,
        "text.color": INK,
        "axes.unicode_minus": True,
        "svg.hashsalt": "runstrue",
        "svg.fonttype": "path",  # looks the same wherever it is opened
        "path.simplify": True,
    }
