"""The counter's figures: everything inside of the paper, the same bytes every time."""

from __future__ import annotations

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from runstrue.report.figure_counter import draw_counter, draw_label
from runstrue.report.figures import png_of, svg_of
from runstrue.report.style import Caption, Shape
from runstrue.transport.counter import Fit, Pair, fit_counter
from runstrue.transport.counter_table import counter_table

# By t = (2π r₀ n + π h n²) / v with r₀ 11 mm, h 12 µm, v 47.625 mm/s; the last is 30 s too much.
PAIRS = [Pair(200, 321.9), Pair(500, 923.5), Pair(900, 1947.3)]
FITS: dict[str, Fit] = {
    "good": fit_counter([*PAIRS, Pair(1145, 2699.4)], end_count=1145),
    "slipped": fit_counter([*PAIRS, Pair(1000, 2272.8), Pair(1145, 2729.4)]),
    "not zeroed": fit_counter([Pair(one.count + 40, one.time_s) for one in PAIRS], zeroed=False),
}


def texts(figure: Figure) -> list[Text]:
    """Return what is written; labels of ticks beyond the end of an axis are not."""
    unseen = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not low <= tick.get_loc() <= high:
                    unseen |= {tick.label1, tick.label2}
    found = [one for one in figure.findobj(Text) if one.get_visible() and one.get_text().strip()]
    return [one for one in found if one not in unseen]


def drawn(figure: Figure) -> Figure:
    FigureCanvasAgg(figure).draw()
    return figure


def outside(figure: Figure) -> list[str]:
    """Return the texts that reach over the edge of the paper, by more than a point."""
    paper = figure.bbox
    found = []
    for one in texts(figure):
        box = one.get_window_extent()
        if box.x0 < -1 or box.y0 < -1 or box.x1 > paper.x1 + 1 or box.y1 > paper.y1 + 1:
            found.append(one.get_text())
    return found


@pytest.mark.parametrize("shape", ["page", "wide"])
@pytest.mark.parametrize("name", FITS)
def test_the_law_is_drawn_within_the_paper(name: str, shape: Shape) -> None:
    figure = drawn(draw_counter(FITS[name], Caption(deck="C-14 $a$ $b$"), shape=shape))
    assert outside(figure) == []
    above, below = figure.axes
    assert below.get_xlabel() == "counter"
    shown = [line for line in above.lines if line.get_marker() not in ("", "None", None)]
    assert len(shown[0].get_xdata()) == len(FITS[name].pairs)
    low, high = below.get_ylim()
    assert all(low < off < high for off in FITS[name].off_s)


@pytest.mark.parametrize("rows", [100, 25, 5])
@pytest.mark.parametrize("deck", ["", "C-14", "a deck with a name that is rather long"])
def test_the_label_holds_all_its_rows_without_one_lying_on_another(rows: int, deck: str) -> None:
    law = FITS["good"].law
    table = counter_table([("C90", law), ("another", law)], rows)
    figure = drawn(draw_label(table, deck))
    assert outside(figure) == []
    words = texts(figure)
    assert {str(count) for count in table.counts} <= {one.get_text() for one in words}
    boxes = [(one.get_window_extent(), one.get_text()) for one in words]
    for index, (box, text) in enumerate(boxes):
        for other, other_text in boxes[index + 1 :]:
            assert not box.padded(-2).overlaps(other.padded(-2)), (text, other_text)


def test_the_label_is_drawn_in_its_true_size() -> None:
    figure = draw_label(counter_table([("C90", FITS["good"].law)], 100), "C-14")
    assert 2.5 <= figure.get_figwidth() <= 3.5  # inches: fits beside a cassette's window
    assert png_of(figure)[:4] == b"\x89PNG"


def test_the_same_law_gives_the_same_bytes() -> None:
    once, again = (svg_of(draw_counter(FITS["good"], Caption(deck="C-14"))) for _ in range(2))
    assert once == again
