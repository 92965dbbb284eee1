"""Shares of the parts and the once-round picture: all inside the paper, bars as long as told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from numpy.typing import NDArray

from runstrue.quantity import Quantity
from runstrue.report.figure_once_round import Round, draw_once_round
from runstrue.report.figure_parts import Bar, Share, draw_parts
from runstrue.report.figures import png_of, svg_of
from runstrue.report.style import PENS, Caption, Role, Shape

CAPTION = Caption("Wrenholm C-14 $a$ $b$", "as found", "14 March 2026", "side A")


def percent(value: float, u: float = 0.004) -> Quantity:
    return Quantity(value, "%", u)


def bar(name: str, *values: float, guilty: bool = False) -> Bar:
    roles: tuple[Role, ...] = ("found", "left")
    shares = tuple(
        Share(role, percent(value), guilty) for role, value in zip(roles, values, strict=False)
    )
    return Bar(name, shares)


BARS: dict[str, list[Bar]] = {
    "one stage": [replace(bar("all together", 0.31), whole=True),
                  bar("capstan shaft", 0.28, guilty=True), bar("pinch roller", 0.043),
                  replace(bar("explained by no part", 0.06), nobodys=True)],
    "two stages": [replace(bar("all together", 0.31, 0.09), whole=True),
                   bar("capstan shaft", 0.28, 0.05, guilty=True), bar("pinch roller", 0.04, 0.04),
                   replace(bar("explained by no part", 0.06, 0.05), nobodys=True)],
    "many, with long names": [
        bar(f"the wheel number {index} of the take-up mechanism or its belt", 0.01 * index)
        for index in range(1, 15)
    ],
    "nothing": [bar("capstan shaft", 0.0)],
}  # fmt: skip
TURN = np.arange(0, 1, 1 / 90)


def once(role: Role, label: str, size: float, places: int = 3) -> Round:
    mean = size * np.sin(2 * np.pi * TURN) + 0.3 * size * np.sin(4 * np.pi * TURN + 0.4)
    runouts = (("capstan", Quantity(12 * size, "µm", 0.05)),
               ("flywheel", Quantity(300 * size, "µm", 1.1)),
               ("thickness of the main belt", Quantity(95 * size, "µm", 9.0)))  # fmt: skip
    return Round(
        role, label, TURN, mean, np.full(TURN.size, 0.02), Quantity(6.331, "Hz", 0.0006), 378.4,
        tuple((m, percent(size * share)) for m, share in ((1, 1.0), (2, 0.3), (3, 0.02))),
        runouts[:places],
    )  # fmt: skip


ROUNDS: dict[str, list[Round]] = {
    "one": [once("left", "this recording", 0.33)],
    "before and after": [once("found", "before", 0.33), once("left", "after", 0.05)],
    "no law": [once("left", "this recording", 0.33, 0)],
    "nothing": [],
}


def drawn(figure: Figure) -> Figure:
    FigureCanvasAgg(figure).draw()  # type: ignore[no-untyped-call]
    return figure


def texts(figure: Figure) -> list[Text]:
    """Return what is written; labels of ticks beyond the end of an axis are not."""
    unseen = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not low <= tick.get_loc() <= high or not axes.axison:
                    unseen |= {tick.label1, tick.label2}
    found = [one for one in figure.findobj(Text) if one.get_visible() and one.get_text().strip()]
    return [one for one in found if one not in unseen]


def curves(axes: Axes, points: int) -> list[Line2D]:
    """Return the curves of this many points."""
    return [one for one in axes.lines if np.asarray(one.get_xdata()).size == points]


def heights(line: Line2D) -> NDArray[np.float64]:
    return np.asarray(line.get_ydata(), dtype=np.float64)


def assert_all_inside_and_apart(figure: Figure) -> None:
    paper = figure.bbox
    boxes = [(one.get_window_extent(), one.get_text()) for one in texts(figure)]
    for box, text in boxes:
        assert box.x0 > -1, text
        assert box.y0 > -1, text
        assert box.x1 < paper.x1 + 1, text
        assert box.y1 < paper.y1 + 1, text
    for index, (box, text) in enumerate(boxes):
        for other, other_text in boxes[index + 1 :]:
            assert not box.padded(-2).overlaps(other.padded(-2)), (text, other_text)


@pytest.mark.parametrize("shape", ["page", "wide"])
@pytest.mark.parametrize("name", BARS)
def test_the_shares_are_drawn_within_the_paper(name: str, shape: Shape) -> None:
    assert_all_inside_and_apart(drawn(draw_parts(BARS[name], CAPTION, limit_percent=0.14,
                                                 shape=shape)))  # fmt: skip


def test_bars_are_as_long_as_the_shares_and_in_the_order_given() -> None:
    figure = draw_parts(BARS["two stages"], CAPTION)
    (axes,) = figure.axes
    lengths = [patch.get_width() for patch in axes.patches if isinstance(patch, Rectangle)]
    assert lengths == [one.quantity.value for row in BARS["two stages"] for one in row.shares]
    assert [label.get_text() for label in axes.get_yticklabels()] == [
        row.name for row in BARS["two stages"]
    ]
    bold = [
        label.get_text() for label in axes.get_yticklabels() if label.get_fontweight() == "bold"
    ]
    assert bold == ["capstan shaft"]


def test_a_stage_keeps_its_place_where_the_other_one_is_missing() -> None:
    rows = [bar("capstan shaft", 0.3, 0.1), Bar("motor", (Share("left", percent(0.1)),))]
    (axes,) = draw_parts(rows, CAPTION).axes
    found, left, alone = (patch.get_y() for patch in axes.patches)  # type: ignore[attr-defined]
    assert found < left  # the axis runs downwards
    assert alone - 1 == pytest.approx(left)


def test_small_parts_are_left_out_and_counted() -> None:
    rows = [*BARS["many, with long names"], replace(bar("explained by no part", 0.001),
                                                    nobodys=True)]  # fmt: skip
    figure = draw_parts(rows, CAPTION)
    (axes,) = figure.axes
    names = [label.get_text().replace("\n", " ") for label in axes.get_yticklabels()]
    assert len(names) == 10
    assert "number 14" in names[-2]
    assert names[-1] == "explained by no part"
    assert any("5 smaller parts" in one.get_text() for one in texts(figure))


def test_the_limit_goes_through_the_whole_alone() -> None:
    (axes,) = draw_parts(BARS["one stage"], CAPTION, limit_percent=0.14).axes
    (line,) = [one for one in curves(axes, 2) if np.all(np.asarray(one.get_xdata()) == 0.14)]
    assert heights(line).max() < 0.5
    (axes,) = draw_parts(BARS["one stage"], CAPTION, limit_percent=0.9).axes
    assert axes.get_xlim()[1] > 0.9


@pytest.mark.parametrize("shape", ["page", "wide"])
@pytest.mark.parametrize("name", ROUNDS)
def test_the_turn_is_drawn_within_the_paper(name: str, shape: Shape) -> None:
    figure = drawn(draw_once_round("capstan shaft", ROUNDS[name], CAPTION, shape=shape))
    assert_all_inside_and_apart(figure)


def test_the_turn_is_closed_and_lies_in_its_band() -> None:
    (one,) = ROUNDS["one"]
    figure = draw_once_round("capstan shaft", [one], CAPTION)
    axes = figure.axes[0]
    (line,) = curves(axes, TURN.size + 1)
    assert heights(line)[0] == heights(line)[-1]
    (band,) = [one for one in axes.collections if isinstance(one, PolyCollection)]
    outline = band.get_paths()[0].vertices
    low = float(np.asarray(outline)[:, 1].min())
    assert low == pytest.approx(float(one.percent.min()) - 0.02)
    assert axes.get_ylim()[0] < low


def test_the_runout_of_the_last_stage_is_told() -> None:
    figure = draw_once_round("capstan shaft", ROUNDS["before and after"], CAPTION)
    told = " ".join(one.get_text() for one in texts(figure))
    assert "runout of the capstan 0.600 ±0.098 µm" in told  # 12 µm for 1 %, 0.05 %
    assert "half swing of the thickness" in told
    assert "multiples of 6.331 Hz" in told


def test_before_lies_behind_after_in_its_own_pen() -> None:
    axes = draw_once_round("capstan shaft", ROUNDS["before and after"], CAPTION).axes[0]
    lines = curves(axes, TURN.size + 1)
    assert [line.get_color() for line in lines] == [PENS["found"].line, PENS["left"].line]


def test_the_same_turn_gives_the_same_bytes() -> None:
    figures = [draw_once_round("capstan shaft", ROUNDS["one"], CAPTION) for _ in range(2)]
    assert svg_of(figures[0]) == svg_of(figures[1])
    bars = [draw_parts(BARS["one stage"], CAPTION) for _ in range(2)]
    assert svg_of(bars[0]) == svg_of(bars[1])
    assert png_of(bars[0])[:4] == b"\x89PNG"
