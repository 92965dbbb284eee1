"""The drawing of a transport: to scale, belts tangent, every rate written, nothing clipped."""

from __future__ import annotations

import itertools
import math
import struct
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from matplotlib.text import Annotation, Text

from runstrue.quantity import Quantity
from runstrue.report.figure_transport import draw_transport, rate_words
from runstrue.report.figures import png_of, svg_of
from runstrue.report.style import Shape
from runstrue.transport import parse_transport, turnings
from runstrue.transport.examples import example, example_names
from runstrue.transport.rates import Study, study
from runstrue.transport.simple import simple_transport
from runstrue.transport.spread import extent_mm, lay_out, takes_part

SHAPES: tuple[Shape, ...] = ("page", "wide")
LONG = parse_transport(
    'name = "' + "a very long name of a transport " * 8 + '"\nspeed = "4.76 cm/s"\n'
    + "".join(
        f'[shaft.s{n}]\nname = "shaft ${n}$ with a name that is far too long to write beside it"\n'
        f'wheels.w = "{10 + n} mm"\n' for n in range(9)
    )
    + '[belt.b]\nover = ["s1", "s2"]\n[shaft.c]\ncapstan = "2 mm"',
    "long.toml",
)  # fmt: skip


def _studies() -> dict[str, Study]:
    found = {"flags": study(simple_transport(capstan="2.4 mm", flywheel="60 mm",
                                             motor_pulley="9 mm", belt_length="300 mm",
                                             roller="11 mm")),
             "nothing known": study(simple_transport()), "long names": study(LONG),
             "nothing at all": study(parse_transport('name = "a"', "a.toml"))}  # fmt: skip
    for name in example_names():
        transport = example(name)
        for speed in transport.speeds:
            found[f"{name} {speed.name}".strip()] = study(transport, speed.name)
    return found


STUDIES = _studies()
whole = pytest.mark.parametrize("name", STUDIES)


def _drawn(name: str, shape: Shape = "page") -> Figure:
    figure = draw_transport(STUDIES[name], shape=shape)
    FigureCanvasAgg(figure).draw()
    return figure


def _notes(figure: Figure) -> list[Annotation]:
    return [one for one in figure.findobj(Annotation) if isinstance(one, Annotation)]


@whole
@pytest.mark.parametrize("shape", SHAPES)
def test_no_text_is_clipped_and_no_note_lies_on_another(name: str, shape: Shape) -> None:
    figure = _drawn(name, shape)
    renderer = FigureCanvasAgg(figure).get_renderer()
    for text in figure.findobj(Text):
        assert isinstance(text, Text)
        if text.get_text().strip() and text.get_visible() and text.axes is not None:
            box = Text.get_window_extent(text, renderer)
            assert box.x0 >= -0.5, text.get_text()
            assert box.x1 <= figure.bbox.x1 + 0.5, text.get_text()
            assert box.y0 >= -0.5, text.get_text()
            assert box.y1 <= figure.bbox.y1 + 0.5, text.get_text()
    boxes = [Text.get_window_extent(note, renderer) for note in _notes(figure)]
    for one, other in itertools.combinations(boxes, 2):
        assert not one.overlaps(other)


@pytest.mark.parametrize("name", ["one-belt", "three-belts", "two-motors", "dual-capstan",
                                  "idler-drive slow", "open-reel 19 cm/s", "flags"])  # fmt: skip
def test_every_rate_is_written_beside_the_drawing_or_below(name: str) -> None:
    figure = _drawn(name)
    told = " ".join(text.get_text() for text in figure.findobj(Text) if isinstance(text, Text))
    told = told.replace("\n", " ").replace("\u00a0", " ")
    for one in turnings(STUDIES[name].transport, STUDIES[name].speed.name):
        assert f"{one.name} {rate_words(one.rate)}" in told


@pytest.mark.parametrize("name", ["one-belt", "three-belts", "two-motors", "dual-capstan",
                                  "open-reel 19 cm/s", "flags"])  # fmt: skip
def test_belts_touch_their_wheels_and_run_through_none(name: str) -> None:
    """Plane geometry: a tangent is nowhere nearer to the axis than the radius, and just so near."""
    studied = STUDIES[name]
    (axes,) = _drawn(name).axes
    spots = lay_out(studied).spots
    lines = [line for line in axes.lines if len(line.get_xdata()) > 20]
    belts = studied.transport.belts_at(studied.speed)
    assert len(lines) == len(belts)
    for line, belt in zip(lines, belts, strict=True):
        points = np.column_stack([line.get_xdata(), line.get_ydata()]).astype(float)
        assert (points[0] == points[-1]).all()
        starts, ends = points[:-1], points[1:]
        for wheel in belt.over:
            shaft, _ = studied.transport.wheel(wheel)
            running = studied.values[f"running.{belt.id}.{wheel}"].value / 2
            near = _distances(starts, ends, np.array(spots[shaft.id])).min()
            # an arc is drawn in chords of 2 degrees, whose middles lie r (1 − cos 1°) inside
            assert near == pytest.approx(running, abs=running * (1 - math.cos(math.radians(1))))
            assert near <= running * (1 + 1e-9)


def _distances(starts: np.ndarray, ends: np.ndarray, centre: np.ndarray) -> np.ndarray:
    way = ends - starts
    square = np.maximum((way**2).sum(axis=1), 1e-30)
    along = np.clip(((centre - starts) * way).sum(axis=1) / square, 0, 1)
    return np.linalg.norm(starts + along[:, None] * way - centre, axis=1)


@pytest.mark.parametrize("shape", SHAPES)
def test_wheels_are_drawn_to_one_scale_both_ways(shape: Shape) -> None:
    figure = _drawn("one-belt", shape)
    (axes,) = figure.axes
    flywheel = max(
        (one for one in axes.patches if isinstance(one, Circle)), key=lambda one: one.get_radius()
    )
    assert flywheel.get_radius() == pytest.approx(30.0)
    box = flywheel.get_window_extent()
    assert box.width == pytest.approx(box.height, rel=1e-6)
    (bar,) = (line for line in axes.lines if line.get_marker() == "|")
    start, end = axes.transData.transform(np.column_stack([bar.get_xdata(), bar.get_ydata()]))
    (label,) = (text for text in axes.texts if text.get_text().endswith(" mm"))
    length_mm = float(label.get_text().removesuffix(" mm"))
    assert (end[0] - start[0]) / box.width == pytest.approx(length_mm / 60, rel=1e-6)


def test_the_rates_are_those_of_the_measured_speed() -> None:
    figure = draw_transport(STUDIES["one-belt"], speed_percent=-2.0)
    told = [note.get_text() for note in _notes(figure)]
    assert any("6.190 ±0.029 Hz" in words for words in told)  # 0.98 of 6.316 Hz
    supxlabel = figure._supxlabel
    assert supxlabel is not None
    assert "at 4.67 cm/s" in supxlabel.get_text()


@pytest.mark.parametrize("name", ["flags", "nothing known", "long names"])
def test_wheels_without_places_are_laid_out_clear_of_each_other(name: str) -> None:
    studied = STUDIES[name]
    layout = lay_out(studied)
    assert layout.free >= {one.id for one in studied.transport.shafts}
    for one, other in itertools.combinations(studied.transport.shafts, 2):
        apart = math.dist(layout.spots[one.id], layout.spots[other.id])
        assert apart >= extent_mm(studied, one) + extent_mm(studied, other) - 0.02


def test_a_belt_of_known_length_is_laid_out_to_that_length() -> None:
    (axes,) = _drawn("flags").axes
    (belt,) = (line for line in axes.lines if len(line.get_xdata()) > 20)
    points = np.column_stack([belt.get_xdata(), belt.get_ydata()]).astype(float)
    length = np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
    # chords of 2 degrees are shorter than their arcs by 1/24 of 0.035², 5 · 10⁻⁵
    assert length == pytest.approx(300.0, rel=1e-4)


def test_an_idler_that_is_lifted_is_not_drawn() -> None:
    studied = STUDIES["idler-drive slow"]
    parts = {one.id: takes_part(studied, one) for one in studied.transport.shafts}
    assert parts["slow-idler"]
    assert not parts["fast-idler"]
    assert not any("fast" in note.get_text() for note in _notes(_drawn("idler-drive slow")))


@pytest.mark.parametrize("name", ["three-belts", "nothing at all"])
def test_the_svg_is_well_formed_and_the_same_twice(name: str) -> None:
    first, second = (svg_of(draw_transport(STUDIES[name])) for _ in range(2))
    assert first == second
    assert ET.fromstring(first).tag == "{http://www.w3.org/2000/svg}svg"
    assert b"<dc:date>" not in first


def test_the_wide_picture_is_1920_by_1080(output_folder: Path) -> None:
    for name, shape in itertools.product(STUDIES, SHAPES):
        content = png_of(draw_transport(STUDIES[name], shape=shape))
        plain = name.replace(" ", "-").replace("/", "")
        (output_folder / f"transport-{plain}-{shape}.png").write_bytes(content)
        # Width and height stand in the IHDR chunk (PNG, ISO/IEC 15948, 11.2.2).
        if shape == "wide":
            assert struct.unpack(">II", content[16:24]) == (1920, 1080)


def test_a_rate_is_written_with_what_it_lies_within() -> None:
    # 1.96 standard deviations are 95 % of a normal distribution
    assert rate_words(Quantity(6.3164618, "Hz", 0.0152)) == "6.316 ±0.030 Hz"
    assert rate_words(Quantity(100.0, "Hz", 0.0)) == "100 Hz"
