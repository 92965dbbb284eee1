"""The way of a belt against closed forms, published answers and three other roads."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import fsolve
from shapely.geometry import MultiPoint

from runstrue.errors import InputError
from runstrue.transport.belt_path import BeltPath, Pulley, belt_path

RELATIVE = 1e-9  # what is demanded of a length


def over(*pulleys: tuple[float, ...], **more: float | bool) -> BeltPath:
    return belt_path([Pulley(*one) for one in pulleys], **more)


def open_belt(big: float, small: float, apart: float) -> float:
    """Closed form of the handbooks of mechanics (from memory)."""
    return (
        2 * math.sqrt(apart**2 - (big - small) ** 2)
        + math.pi * (big + small)
        + 2 * (big - small) * math.asin((big - small) / apart)
    )


def crossed_belt(big: float, small: float, apart: float) -> float:
    """Likewise: 2 (R + r) (tan φ + π − φ), cos φ = (R + r) / C."""
    angle = math.acos((big + small) / apart)
    return 2 * (big + small) * (math.tan(angle) + math.pi - angle)


def test_a_printed_answer_for_an_open_belt() -> None:
    # a public problem page: radii 6 and 1, centres 13 apart, 'what is the length of the rope'
    path = over((0, 0, 6), (13, 0, 1))
    assert path.length_mm == pytest.approx(49.939059772, rel=RELATIVE)
    assert path.straights_mm == pytest.approx((12, 12))


def test_a_second_problem_with_round_angles() -> None:
    # a public homework page, radii 21 and 6, centres 30: cos of half the wrap is (21 − 6) / 30
    path = over((0, 0, 21), (30, 0, 6))
    assert path.length_mm == pytest.approx(152.492489, abs=5e-7)
    assert [math.degrees(wrap) for wrap in path.wraps_rad] == pytest.approx([240, 120])


def test_a_school_exercise_for_a_crossed_belt() -> None:
    # radii 2.42 and 1.21 m, centres 7.26 m: the belt is 27.78 m and the angle 60°
    path = over((0, 0, 2.42), (7.26, 0, 1.21, -1))
    assert round(path.length_mm, 2) == 27.78
    assert path.crossed
    # both straights leave the line of centres by 90° − 60°, so they cross at 60°
    (ax, ay), (bx, by) = path.tangents[0]
    slope = abs(math.atan2(by - ay, bx - ax))
    assert math.degrees(2 * slope) == pytest.approx(60)


def test_three_alike_in_a_triangle() -> None:
    # plane geometry: three sides and one full turn, 3 s + 2 π r
    path = over((0, 0, 5), (60, 0, 5), (30, 30 * math.sqrt(3), 5))
    assert path.length_mm == pytest.approx(180 + 10 * math.pi, rel=RELATIVE)
    assert path.length_mm == pytest.approx(211.415927, abs=5e-7)


def test_three_different_with_their_wraps() -> None:
    path = over((0, 0, 25), (90, 0, 4), (45, 60, 10))
    assert path.length_mm == pytest.approx(326.967021, abs=5e-7)
    degrees = [math.degrees(wrap) for wrap in path.wraps_rad]
    assert degrees == pytest.approx([151.900, 108.788, 99.312], abs=5e-4)
    assert path.straights_mm == pytest.approx((87.5157, 74.7596, 73.4847), abs=5e-5)
    assert sum(degrees) == pytest.approx(360)


MIXED = ((0, 0, 5), (80, -30, 20), (50, 12, 6, -1), (80, 45, 20))


def test_a_back_wrap() -> None:
    path = over(*MIXED)
    assert path.length_mm == pytest.approx(417.423864, abs=5e-7)
    assert path.straights_mm == pytest.approx((84.1130, 44.5870, 36.2353, 90.5539), abs=5e-5)
    degrees = [math.degrees(wrap) for wrap in path.wraps_rad]
    assert degrees == pytest.approx([110.569, 186.453, 143.720, 206.698], abs=5e-4)
    assert degrees[0] + degrees[1] - degrees[2] + degrees[3] == pytest.approx(360)


def by_right_angles(path: BeltPath) -> float:
    """Length by another road: contact points sought until every run stands square on its radii."""
    pulleys = path.pulleys
    count = len(pulleys)

    def points(angles: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
        made = []
        for index, angle in enumerate(angles):
            one = pulleys[(index // 2 + index % 2) % count]
            out = np.array([math.cos(angle), math.sin(angle)])
            made.append((np.array([one.x_mm, one.y_mm]) + one.radius_mm * out, out))
        return made

    def square(angles: np.ndarray) -> list[float]:
        at = points(angles)
        return [
            float(np.dot(at[2 * run + 1][0] - at[2 * run][0], at[2 * run + end][1]))
            for run in range(count)
            for end in (0, 1)
        ]

    rough = [
        math.atan2(y - pulleys[(run + end) % count].y_mm, x - pulleys[(run + end) % count].x_mm)
        + 0.02 * (-1) ** end
        for run, ends in enumerate(path.tangents)
        for end, (x, y) in enumerate(ends)
    ]
    angles = fsolve(square, rough, xtol=1e-12)
    at = points(angles)
    length = sum(float(np.linalg.norm(at[2 * i + 1][0] - at[2 * i][0])) for i in range(count))
    for index, one in enumerate(pulleys):
        come, leave = angles[2 * ((index - 1) % count) + 1], angles[2 * index]
        turn = (leave - come) * one.side * path.sense
        length += one.radius_mm * (turn % (2 * math.pi))
    return length


def test_a_back_wrap_by_another_road() -> None:
    path = over(*MIXED)
    assert by_right_angles(path) == pytest.approx(path.length_mm, rel=RELATIVE)
    crossed = over((0, 0, 24), (61, 13, 9, -1))
    assert by_right_angles(crossed) == pytest.approx(crossed.length_mm, rel=RELATIVE)


sizes = st.floats(1, 60)


@given(big=sizes, small=sizes, gap=st.floats(0.01, 300), turn=st.floats(0, 6.28))
def test_two_pulleys_are_the_closed_forms(
    big: float, small: float, gap: float, turn: float
) -> None:
    big, small = max(big, small), min(big, small)
    apart = big + small + gap
    x, y = apart * math.cos(turn), apart * math.sin(turn)
    assert over((0, 0, big), (x, y, small)).length_mm == pytest.approx(
        open_belt(big, small, apart), rel=RELATIVE
    )
    assert over((0, 0, big), (x, y, small, -1)).length_mm == pytest.approx(
        crossed_belt(big, small, apart), rel=RELATIVE
    )


@st.composite
def rings(draw: st.DrawFn) -> list[Pulley]:
    """Pulleys round a circle, all inside the belt, touched by it as long as they stick out."""
    count = draw(st.integers(3, 6))
    ring = draw(st.floats(60, 150))
    start = draw(st.floats(0, 1))
    return [
        Pulley(
            ring * math.cos(2 * math.pi * (k + start + draw(st.floats(-0.15, 0.15))) / count),
            ring * math.sin(2 * math.pi * (k + start + draw(st.floats(-0.15, 0.15))) / count),
            draw(st.floats(2, 18)),
        )
        for k in range(count)
    ]  # fmt: skip


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(rings())
def test_pulleys_inside_are_the_hull_of_their_circles(pulleys: list[Pulley]) -> None:
    try:
        path = belt_path(pulleys)
    except InputError:
        assume(False)
    # Shapely's hull of points on the circles lies inside; an arc of angle a and radius r is
    # longer than its chord by r (a − 2 sin(a / 2)) ≤ r a³ / 24 for each step. All steps of all
    # wraps come to one full turn; one step more at both ends of each wrap may be cut.
    steps = 720
    turns = np.arange(steps) * 2 * math.pi / steps
    points = [
        (one.x_mm + one.radius_mm * math.cos(turn), one.y_mm + one.radius_mm * math.sin(turn))
        for one in pulleys
        for turn in turns
    ]
    hull = MultiPoint(points).convex_hull.exterior.length
    most = max(one.radius_mm for one in pulleys)
    step = 2 * math.pi / steps
    within = most * step**3 / 24 * steps + len(pulleys) * 2 * most * step**2
    assert 0 <= path.length_mm - hull <= within

    # Cauchy: the perimeter of a convex figure is the integral of its support function
    def support(turn: float) -> float:
        return max(
            one.x_mm * math.cos(turn) + one.y_mm * math.sin(turn) + one.radius_mm
            for one in pulleys
        )  # fmt: skip

    corners = sorted(math.atan2(*reversed(_outward(run))) % (2 * math.pi) for run in path.tangents)
    ends = [corners[-1] - 2 * math.pi, *corners]
    perimeter = sum(quad(support, a, b, epsabs=1e-11, epsrel=1e-12)[0] for a, b in pairwise(ends))
    assert path.length_mm == pytest.approx(perimeter, rel=RELATIVE)


def _outward(run: tuple[tuple[float, float], tuple[float, float]]) -> tuple[float, float]:
    (ax, ay), (bx, by) = run
    return by - ay, ax - bx


@settings(deadline=None)
@given(st.floats(0, 6.28), st.booleans(), st.floats(-50, 50), st.floats(0.2, 5))
def test_turned_moved_mirrored_and_scaled_alike(
    turn: float, mirrored: bool, shift: float, scale: float
) -> None:
    c, s = math.cos(turn), math.sin(turn)
    moved = []
    for x, y, radius, *side in MIXED:
        y = -y if mirrored else y
        moved.append(
            (scale * (c * x - s * y + shift), scale * (s * x + c * y), scale * radius, *side)
        )
    path = over(*moved)
    assert path.length_mm == pytest.approx(scale * over(*MIXED).length_mm, rel=RELATIVE)
    assert path.sense == (-1 if mirrored else 1)


def test_the_outline_is_as_long_as_the_way() -> None:
    path = over(*MIXED, thickness_mm=1.2)
    step = math.radians(0.2)
    drawn = sum(math.dist(a, b) for a, b in pairwise(path.outline(step)))
    # chords of angle a are shorter than their arcs by a share of a² / 24
    arcs = path.length_mm - sum(path.straights_mm)
    assert 0 <= path.length_mm - drawn <= arcs * step**2 / 24 * 1.001


def test_thickness_adds_pi_times_itself_to_a_simple_loop() -> None:
    # offset curves: a loop that turns once round grows by 2 π for each mm outwards
    for t in (0.5, 1.2):
        thread = over((0, 0, 25), (90, 0, 4), (45, 60, 10))
        belt = over((0, 0, 25), (90, 0, 4), (45, 60, 10), thickness_mm=t)
        assert belt.length_mm - thread.length_mm == pytest.approx(math.pi * t)


def test_pulls_and_wraps_are_the_slopes_of_the_length() -> None:
    path = over(*MIXED)
    small = 1e-5
    for index in range(len(MIXED)):
        for place, slope in (
            (0, -path.pulls()[index][0]),
            (1, -path.pulls()[index][1]),
            (2, path.wraps_rad[index]),
        ):
            ends = []
            for step in (small, -small):
                moved = [list(one) for one in MIXED]
                moved[index][place] += step
                ends.append(over(*moved).length_mm)
            # central differences: error of the third derivative, far below 1e-6 here
            assert (ends[0] - ends[1]) / (2 * small) == pytest.approx(slope, abs=1e-6)
        pull = math.hypot(*path.pulls()[index])
        assert pull == pytest.approx(2 * math.sin(path.wraps_rad[index] / 2))


def test_order_may_be_listed_either_way_round() -> None:
    assert over(*MIXED[::-1]).length_mm == pytest.approx(over(*MIXED).length_mm, rel=RELATIVE)


@pytest.mark.parametrize(
    ("pulleys", "words"),
    [
        ([(0, 0, 5)], "at least two are needed"),
        ([(0, 0, 5), (60, 0, 0)], "diameter of pulley 2 is 0 mm"),
        ([(0, 0, 5), (60, 0, -3)], "size above zero"),
        ([(0, 0, math.nan), (60, 0, 3)], "size above zero"),
        ([(0, math.inf, 5), (60, 0, 3)], "place of pulley 1 is not known"),
        ([(0, 0, 5), (60, 0, 3, 2)], "side of pulley 2"),
        ([(0, 0, 5), (8, 0, 5)], "Pulley 1 and pulley 2 overlap"),
        ([(0, 0, 50), (8, 0, 5)], "overlap"),
        ([(0, 0, 5), (80, -30, 20), (50, 12, 6), (80, 45, 20)], "not touch pulley 3 from that"),
        ([(0, 0, 5), (80, -30, 20), (120, 12, 6, -1), (80, 45, 20)], "not touch pulley 3 from"),
        ([(0, 0, 5), (60, 60, 5), (60, 0, 5), (0, 60, 5)],
         "it can lie so: pulley 1, pulley 3, pulley 2, pulley 4"),
        ([(0, 0, 5), (100, 0, 5), (50, -30, 5, -1)], "not touch pulley 3 from that side"),
        # the third stands outside of the other two, so it cannot be on the belt's back
        ([(25, 20, 12), (79, 83, 5), (97, 87, 5, -1)], "not touch pulley 3 .* its inner side"),
        ([(42, 40, 10), (59, 76, 9), (56, 6, 15, -1)], "not touch pulley 3 .* its inner side"),
        # the second stands 1 mm clear of the line below the third and the fourth
        ([(50, 82, 11), (35, 66, 7), (17, 61, 3), (75, 66, 8)], "not touch pulley 2 from that"),
        ([(0, 0, 5), (60, 0, 5, -1), (30, 60, 5, -1)], "on all pulleys but one"),
        # no loop has everything outside of it
        ([(0, 0, 5, -1), (60, 0, 5, -1)], "inside and back are exchanged"),
        ([(0, 0, 5, -1), (60, 0, 5, -1), (30, 60, 5, -1)], "inside and back are exchanged"),
        # the idler pushes the upper run down to −10.5, and the lower run lies at −10
        ([(0, 0, 10), (100, 0, 10), (50, 8, 18.5, -1)], "would run through pulley 3; a free way"),
        # two at once are wrong: the second lies inside the hull of the others, the third outside
        ([(9, 85, 9), (56, 67, 7), (67, 89, 8, -1), (98, 47, 15)], "No belt can lie"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told(pulleys: list[tuple[float, ...]], words: str) -> None:
    with pytest.raises(InputError, match=words):
        over(*pulleys)


def test_a_name_stands_in_the_sentence() -> None:
    with pytest.raises(InputError, match="The flywheel and the motor pulley overlap"):
        belt_path([Pulley(0, 0, 30, 1, "flywheel"), Pulley(20, 0, 4, 1, "motor pulley")])


def test_a_pulley_that_is_just_touched_has_no_wrap() -> None:
    path = over((0, 0, 5), (100, 0, 5), (50, 0, 5))
    assert path.wraps_rad == (pytest.approx(math.pi), pytest.approx(math.pi), 0.0)


def test_a_crossed_belt_over_three_must_be_meant() -> None:
    three = ((0, 0, 5), (60, 0, 5), (30, 60, 5, -1))
    with pytest.raises(InputError, match="from that side"):
        over(*three)
    path = over(*three, crossed=True)
    assert path.crossed
    signed = sum(w * p.side for w, p in zip(path.wraps_rad, path.pulleys, strict=True))
    assert signed == pytest.approx(0, abs=1e-12)


def test_a_belt_that_is_said_to_be_crossed_must_cross_itself() -> None:
    with pytest.raises(InputError, match="in this order, crossed"):
        over((0, 0, 5), (60, 0, 5), (30, 60, 5), crossed=True)


@given(st.floats(0, 6.28), st.floats(0.2, 0.8), st.floats(1, 19))
def test_rounding_makes_no_full_turn_of_no_wrap(turn: float, share: float, radius: float) -> None:
    c, s = math.cos(turn), math.sin(turn)
    # the second lies in a row with the first and the third, all alike, so it is just touched
    row = [(200 * along * c, 200 * along * s, radius) for along in (0, share, 1)]
    apex = (100 * c - 150 * s, 100 * s + 150 * c, radius)
    path = over(*row, apex)
    assert path.wraps_rad[1] < 1e-9
    sides = 200 + 2 * math.hypot(100, 150)
    assert path.length_mm == pytest.approx(sides + 2 * math.pi * radius, rel=RELATIVE)


def test_a_thick_belt_may_not_fit_between_crossed_pulleys() -> None:
    with pytest.raises(InputError, match="No belt of 2 mm can run straight"):
        over((0, 0, 5), (11, 0, 5, -1), thickness_mm=2)
