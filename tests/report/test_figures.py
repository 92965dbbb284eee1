"""Every figure: nothing clipped, units on the axes, the same bytes twice, whatever goes in."""

from __future__ import annotations

import re
import struct
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text

from runstrue.logbook.models import DeckRecord
from runstrue.quantity import Quantity
from runstrue.report.figure_change import Point, Row, draw_change
from runstrue.report.figure_deviation import Strand, draw_deviation, limit_words
from runstrue.report.figure_histogram import Distribution, draw_histogram, heights
from runstrue.report.figure_spectrum import (
    Spectrum,
    columns_of,
    draw_spectrum,
    line_words,
    spread_out,
)
from runstrue.report.figures import drawings_of, png_of, svg_of, write_figures
from runstrue.report.style import SIZES, Caption, Shape
from runstrue.result import Deviation, Line, Spread, Trace

CAPTION = Caption("Wrenholm C-14, serial 0042", "as found", "12 March 2026", "side A, forward")
SHAPES: tuple[Shape, ...] = ("page", "wide")


def _deviation(percent: np.ndarray) -> Deviation:
    names = ("left", "right", "channel 3")[: percent.shape[0]]
    return Deviation(percent.astype(np.float32), 500.0, 3150.0, names)


def _noise(level: float, seed: int = 1, seconds: float = 20) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, level, (2, int(500 * seconds)))


def _spectrum(level: float) -> Trace:
    rate = np.arange(1, 8000) / 40
    size = np.abs(np.random.default_rng(2).normal(0, level, rate.size))
    return Trace("flutter spectrum", rate, size, "rate", "Hz",
                 "speed variation, peak in the line's bandwidth", "%")  # fmt: skip


def _histogram(sigma: float, width: float) -> Trace:
    x = np.arange(-2000, 2001) * width
    y = np.exp(-0.5 * (x / (sigma / 1.96)) ** 2)
    return Trace("histogram", x, 100 * y / y.sum(), "deviation", "%", "share", "%",
                 marks={"two-sigma": sigma})  # fmt: skip


LINES = tuple(
    Line(rate, 0.004, 0.1 / (1 + index), 0.002, 0.05)
    for index, rate in enumerate((6.41, 6.46, 6.52, 0.41, 27.1, 12.8, 199.0, 0.12, 99.0))
)
READING = Quantity(0.147, "%", 0.012)

FIGURES = {
    "speed, clean": lambda shape: draw_deviation(
        [Strand(_deviation(_noise(1e-6)), "left", "as left")], CAPTION, shape=shape),
    "speed, noisy": lambda shape: draw_deviation(
        [Strand(_deviation(_noise(4.0)), "found", "as found")], CAPTION,
        limit_low=-1.5, limit_high=1.5, shape=shape),
    "speed, both": lambda shape: draw_deviation(
        [Strand(_deviation(_noise(0.1) + 1), "found", "as found"),
         Strand(_deviation(_noise(0.03)), "left", "as left")],
        CAPTION, limit_low=-1.5, limit_high=1.5, shape=shape),
    "speed, limit far away": lambda shape: draw_deviation(
        [Strand(_deviation(_noise(0.01)), "left", "as left")], CAPTION,
        limit_low=-1.5, limit_high=1.5, shape=shape),
    "speed, one constant channel": lambda shape: draw_deviation(
        [Strand(_deviation(np.zeros((1, 4000))), "left", "as left")], CAPTION, shape=shape),
    "speed, tone lost": lambda shape: draw_deviation(
        [Strand(_deviation(np.full((2, 4000), np.nan)), "left", "as left")], CAPTION, shape=shape),
    "speed, nothing": lambda shape: draw_deviation(
        [Strand(_deviation(np.zeros((2, 0))), "left", "as left")], CAPTION, shape=shape),
    "spectrum, noisy": lambda shape: draw_spectrum(
        [Spectrum(_spectrum(0.3), "found", "as found", LINES)], CAPTION,
        parts={6.41: "capstan", 27.1: "a part with a very long name"}, shape=shape),
    "spectrum, clean": lambda shape: draw_spectrum(
        [Spectrum(_spectrum(1e-6), "found", "as found"),
         Spectrum(_spectrum(1e-7), "left", "as left", LINES[:1])], CAPTION,
        weighting=Trace("weighting", np.array([0.1, 4.0, 200.0]), np.array([-48.0, 0.0, -23.0]),
                        "rate", "Hz", "weight", "dB"), shape=shape),
    "spectrum, nothing": lambda shape: draw_spectrum([], CAPTION, shape=shape),
    "histogram, both": lambda shape: draw_histogram(
        [Distribution(_histogram(0.31, 0.001), "found", "as found", "±0.31 %",
                      Spread(0.2, 0.3, 0.42)),
         Distribution(_histogram(0.09, 0.0004), "left", "as left", "±0.09 %",
                      Spread(0.07, 0.09, 0.13))],
        CAPTION, limit_percent=0.14, limit_words="DIN", shape=shape),
    "histogram, clean": lambda shape: draw_histogram(
        [Distribution(_histogram(0.0004, 1e-5), "left", "as left", "±0.0004 %")], CAPTION,
        limit_percent=0.2, shape=shape),
    "histogram, coarse": lambda shape: draw_histogram(
        [Distribution(_histogram(0.004, 0.05), "left", "as left")], CAPTION, shape=shape),
    "histogram, nothing": lambda shape: draw_histogram([], CAPTION, shape=shape),
    "summary": lambda shape: draw_change(
        [Row("speed", "%", (Point(Quantity(-0.94, "%", 0.11), "found"),
                            Point(Quantity(0.05, "%", 0.11), "left")), -1.5, 1.5, signed=True)]
        + [Row(f"wow and flutter, row {n}, with a name that goes on for three lines or so", "%",
               (Point(READING, "between"),), None, 0.14, True, False, True) for n in range(9)],
        CAPTION, shape=shape),
    "summary, exact": lambda shape: draw_change(
        [Row("speed", "%", (Point(Quantity(0.0, "%", 0.0), "found"),))], CAPTION, shape=shape),
    "summary, nothing": lambda shape: draw_change([], Caption(), shape=shape),
}  # fmt: skip


@pytest.fixture(scope="module", params=[(name, shape) for name in FIGURES for shape in SHAPES],
                ids=lambda pair: " ".join(pair))  # fmt: skip
def figure(request: pytest.FixtureRequest) -> Figure:
    name, shape = request.param
    drawn: Figure = FIGURES[name](shape)
    FigureCanvasAgg(drawn).draw()
    return drawn


def _texts(figure: Figure) -> Iterator[Text]:
    for text in figure.findobj(Text):
        if isinstance(text, Text) and text.get_visible() and text.get_text().strip():
            # Ticks outside the view are kept by matplotlib but not drawn.
            if not isinstance(text, Annotation) and _is_unseen_tick(figure, text):
                continue
            yield text


def _is_unseen_tick(figure: Figure, text: Text) -> bool:
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in (*axis.majorTicks, *axis.minorTicks):
                if text in (tick.label1, tick.label2):
                    slack = 1e-9 * (high - low)
                    inside = low - slack <= tick.get_loc() <= high + slack
                    return not inside or not axes.axison
    return False


def test_no_text_of_a_figure_is_clipped(figure: Figure) -> None:
    renderer = FigureCanvasAgg(figure).get_renderer()
    page = figure.bbox
    texts = list(_texts(figure))
    assert texts
    for text in texts:
        box = text.get_window_extent(renderer)
        words = text.get_text()
        assert box.x0 >= page.x0 - 0.5, words
        assert box.x1 <= page.x1 + 0.5, words
        assert box.y0 >= page.y0 - 0.5, words
        assert box.y1 <= page.y1 + 0.5, words


def test_axes_carry_units_and_numbers_a_true_minus(figure: Figure) -> None:
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            label = axis.get_label().get_text()
            if label:
                assert re.search(r"(%|\bs|\bmin|\bHz)\b|%", label), label
    for text in _texts(figure):
        assert not re.search(r"(?<!\w)-\d", text.get_text()), text.get_text()
        assert "e-" not in text.get_text()
        assert "nan" not in text.get_text().lower()


def test_title_caption_and_legend_do_not_lie_on_each_other(figure: Figure) -> None:
    renderer = FigureCanvasAgg(figure).get_renderer()
    parts = [text for text in (figure._suptitle, figure._supxlabel) if text is not None]
    boxes = [part.get_window_extent(renderer) for part in parts]
    for axes in figure.axes:
        legend = axes.get_legend()
        if legend is not None:
            boxes.append(legend.get_window_extent(renderer))
        if axes.xaxis.get_label().get_text():
            boxes.append(axes.xaxis.get_label().get_window_extent(renderer))
    for index, one in enumerate(boxes):
        for other in boxes[index + 1 :]:
            assert not one.overlaps(other)


@pytest.mark.parametrize("name", ["spectrum, noisy", "spectrum, clean"])
@pytest.mark.parametrize("shape", SHAPES)
def test_names_of_spectral_lines_do_not_touch(name: str, shape: Shape) -> None:
    figure = FIGURES[name](shape)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    notes = [text for text in _texts(figure) if isinstance(text, Annotation)]
    assert notes
    boxes = [Text.get_window_extent(note, canvas.get_renderer()) for note in notes]
    for index, one in enumerate(boxes):
        for other in boxes[index + 1 :]:
            assert not one.overlaps(other)


@given(
    places=st.lists(st.floats(0, 1), min_size=1, max_size=9).map(sorted),
    width=st.floats(0.01, 0.1),
)
def test_labels_are_spread_in_order_inside_and_apart(places: list[float], width: float) -> None:
    spread = spread_out(places, width)
    gaps = np.diff(spread)
    assert (gaps >= width - 1e-9).all()
    assert min(spread) >= width / 2 - 1e-9
    assert max(spread) <= 1 - width / 2 + 1e-9


def test_labels_that_have_room_stay_where_they_are() -> None:
    assert spread_out([0.2, 0.5, 0.9], 0.1) == pytest.approx([0.2, 0.5, 0.9])


def test_a_spectrum_in_columns_keeps_the_height_of_every_line() -> None:
    trace = _spectrum(0.01)
    trace.y[[100, 3000, 7600]] = (1.0, 2.0, 3.0)
    _, drawn = columns_of(trace)
    inside = trace.x <= 200
    assert drawn.size < inside.sum()
    assert np.isin([1.0, 2.0, 3.0], drawn).all()
    assert np.isin(drawn, trace.y).all()


@pytest.mark.parametrize("width", [0.0002, 0.001, 0.004])
@pytest.mark.parametrize("fraction", [False, True])
def test_a_histogram_keeps_all_of_the_time_and_the_share_inside_its_mark(
    width: float, fraction: bool
) -> None:
    # A normal distribution has 95.0 % inside 1.960 standard deviations (any table).
    trace = _histogram(0.1, width)
    if fraction:
        trace = Trace("h", trace.x, trace.y / 100, "", "%", "", "", marks=trace.marks)
    edges, height = heights(trace)
    share = height * np.diff(edges) / 0.01
    assert share.sum() == pytest.approx(100, abs=1e-9)
    middle = (edges[1:] + edges[:-1]) / 2
    # Classes that the mark cuts are counted whole or not at all: off by one class' share.
    inside = share[np.abs(middle) <= 0.1].sum()
    assert inside == pytest.approx(95.0, abs=share[np.argmin(np.abs(middle - 0.1))] * 1.05)
    # It is symmetric as the distribution is.
    np.testing.assert_allclose(height, height[::-1], atol=1e-9)


def test_a_line_is_named_with_three_figures_or_as_many_as_are_sure() -> None:
    assert line_words(Line(6.4134, 0.0002, 0.11234, 0.0001, 0.1)) == "6.41 Hz\n0.112 %"
    assert line_words(Line(6.4134, 0.5, 0.11234, 0.034, 0.1)) == "6.41 Hz\n0.112 %"
    assert line_words(Line(41.34, 6.0, 0.1134, 0.12, 0.1)) == "41.3 Hz\n0.11 %"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(-1.5, 1.5, "±1.5 %"), (-1.0, 2.0, "−1 to +2 %"), (None, 0.5, "at most +0.5 %"),
     (-0.5, None, "at least −0.5 %")],
)  # fmt: skip
def test_limits_of_the_speed_are_told_in_words(
    low: float | None, high: float | None, words: str
) -> None:
    assert limit_words(low, high) == words


def test_a_formula_in_a_name_is_printed_as_it_stands() -> None:
    caption = Caption(deck=r"$x^2$ \frac{1}{2} $\bad", stage="as found")
    figure = draw_change([], caption)
    FigureCanvasAgg(figure).draw()  # a formula that cannot be set would raise here
    supxlabel = figure._supxlabel
    assert supxlabel is not None
    assert r"$x^2$ \frac{1}{2} $\bad" in supxlabel.get_text()


@pytest.mark.parametrize("name", ["speed, both", "spectrum, noisy", "histogram, both", "summary"])
def test_svg_is_well_formed_and_the_same_twice(name: str) -> None:
    first, second = (svg_of(FIGURES[name]("page")) for _ in range(2))
    assert first == second
    root = ET.fromstring(first)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    width, height = (float(root.attrib[side].removesuffix("pt")) for side in ("width", "height"))
    assert width == pytest.approx(72 * SIZES["page"].width)
    assert height > 0
    assert b"<dc:date>" not in first


def test_the_picture_for_publishing_is_1920_by_1080() -> None:
    content = png_of(FIGURES["summary"]("wide"))
    assert content.startswith(b"\x89PNG\r\n\x1a\n")
    # Width and height stand in the IHDR chunk (PNG, ISO/IEC 15948, 11.2.2).
    assert struct.unpack(">II", content[16:24]) == (1920, 1080)


def test_a_long_record_gives_no_larger_drawing_than_a_short_one() -> None:
    def size(seconds: float) -> int:
        strand = Strand(_deviation(_noise(0.1, seconds=seconds)), "left", "as left")
        return len(svg_of(draw_deviation([strand], CAPTION)))

    # Both fill all columns; only the digits of coordinates differ.
    assert size(2700) < 1.1 * size(60)


def test_figures_of_a_record_are_written_in_three_forms(
    whole_record: DeckRecord, tmp_path: Path, output_folder: Path
) -> None:
    written = write_figures(whole_record, tmp_path / "new" / "folder")
    names = {path.name for path in written}
    keys = {drawing.key for drawing in drawings_of(whole_record)}
    assert keys == {"summary", "speed", "spectrum", "histogram"}
    assert names == {f"{key}{end}" for key in keys for end in (".svg", ".png", "-wide.png")}
    assert all(path.stat().st_size > 1000 for path in written)
    for path in written:  # for a person to look at
        (output_folder / f"report-{path.name}").write_bytes(path.read_bytes())


def test_every_figure_of_any_record_is_told_in_words(any_record: DeckRecord) -> None:
    # That all of them can be drawn is seen where the printed sheets are made of these records.
    for drawing in drawings_of(any_record):
        assert drawing.told.endswith(".")
        assert len(drawing.told) < 200
