"""The way of a belt over its pulleys: straight runs, wraps, length.

Between two pulleys the belt is the common tangent of two circles, round a pulley it is an arc;
both are exact, so the length is too. Plain plane geometry, worked out here; for two pulleys it
comes to the closed forms of the handbooks, open and crossed.

Whether a belt can lie over a set of pulleys at all, and in which order, is a hard question in
general (Baird and others, 'Existence and hardness of conveyor belts', Electronic Journal of
Combinatorics 27(4), 2020, P4.25). So order and side must be given, and what cannot be is told.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from runstrue.errors import InputError
from runstrue.transport.belt_faults import Point, crossings, explained, faults_of, named

FULL_TURN = 2 * math.pi


@dataclass(frozen=True, slots=True)
class Pulley:
    """A pulley on the way of a belt.

    Parameters
    ----------
    x_mm, y_mm : float
        Of its axis; x to the right, y up.
    radius_mm : float
        Of the rim or the bottom of the groove, above zero.
    side : {+1, −1}
        +1: inside the loop, −1: the belt's back runs on it. (Of two pulleys with unlike sides the
        belt is crossed.)
    name : str
        For sentences: 'motor pulley'.
    """

    x_mm: float
    y_mm: float
    radius_mm: float
    side: int = 1
    name: str = ""


@dataclass(frozen=True, slots=True)
class BeltPath:
    """The way of a belt.

    Parameters
    ----------
    pulleys : tuple of Pulley
        As given.
    length_mm : float
    straights_mm : tuple of float
        Free runs, the first from the first pulley to the second, the last back to the first.
    wraps_rad : tuple of float
        Angle over which the belt lies on each pulley, from 0 to under 2π.
    tangents : tuple of ((x, y), (x, y))
        Ends of the free runs in mm, where the belt leaves one pulley and meets the next.
    sense : {+1, −1}
        Whether the pulleys are listed anticlockwise (+1) or clockwise along the belt's way.
    crossed : bool
        Whether the belt crosses itself, as in a figure of eight.
    thickness_mm : float
        The way is that of the middle of a belt this thick.
    """

    pulleys: tuple[Pulley, ...]
    length_mm: float
    straights_mm: tuple[float, ...]
    wraps_rad: tuple[float, ...]
    tangents: tuple[tuple[Point, Point], ...]
    sense: int = 1
    crossed: bool = False
    thickness_mm: float = 0.0

    def outline(self, step_rad: float = math.radians(2)) -> list[Point]:
        """Return the way as a closed line of points, for drawing.

        Parameters
        ----------
        step_rad : float
            Largest angle between points of an arc.
        """
        points: list[Point] = []
        for index, pulley in enumerate(self.pulleys):
            x, y = self.tangents[index - 1][1]
            start = math.atan2(y - pulley.y_mm, x - pulley.x_mm)
            radius = math.hypot(x - pulley.x_mm, y - pulley.y_mm)
            turn = self.sense * pulley.side * self.wraps_rad[index]
            steps = max(1, math.ceil(abs(turn) / step_rad))
            points += [
                (pulley.x_mm + radius * math.cos(start + turn * step / steps),
                 pulley.y_mm + radius * math.sin(start + turn * step / steps))
                for step in range(steps + 1)
            ]  # fmt: skip
        return [*points, points[0]]

    def pulls(self) -> tuple[Point, ...]:
        """Return how the belt pulls at each axis, in times its tension: length 2 sin(wrap / 2).

        With a minus sign it is also the growth of the length in mm for each mm that the axis is
        moved along x and y.
        """
        ways = [_direction(*ends) for ends in self.tangents]
        return tuple(
            (out[0] - come[0], out[1] - come[1])
            for come, out in zip([ways[-1], *ways[:-1]], ways, strict=True)
        )


def belt_path(
    pulleys: Sequence[Pulley], thickness_mm: float = 0.0, *, crossed: bool = False
) -> BeltPath:
    """Lay a belt tightly over its pulleys.

    Parameters
    ----------
    pulleys : sequence of Pulley
        Two or more in the order in which the belt meets them, either way round.
    thickness_mm : float
        0: the way of a thread laid in the grooves. Otherwise that of the belt's middle, half a
        thickness further out on every pulley.
    crossed : bool
        Allow a figure of eight over three pulleys and more.

    Returns
    -------
    BeltPath

    Raises
    ------
    InputError
        When sizes are not above zero, pulleys overlap, or no belt can lie so.

    Examples
    --------
    >>> path = belt_path([Pulley(0, 0, 6), Pulley(13, 0, 1)])
    >>> f"{path.length_mm:.6f}", path.straights_mm
    ('49.939060', (12.0, 12.0))
    """
    listed = tuple(pulleys)
    _refuse_sizes(listed, thickness_mm)
    _refuse_overlaps(listed)
    ways = [_laid(listed, thickness_mm, sense) for sense in (1, -1)]
    for way in ways:
        if not faults_of(way, crossed=crossed):
            return way
    nearest = min(
        ways, key=lambda way: (len(faults_of(way, crossed=crossed)), len(crossings(way.tangents)))
    )
    raise explained(nearest, lambda ones: _lies(ones, thickness_mm, crossed), crossed=crossed)


def _lies(pulleys: tuple[Pulley, ...], thickness_mm: float, crossed: bool) -> bool:
    """Whether a belt can lie so, and touches every pulley by a degree or more."""
    try:
        laid = [_laid(pulleys, thickness_mm, sense) for sense in (1, -1)]
    except InputError:
        return False
    return any(
        not faults_of(one, crossed=crossed) and min(one.wraps_rad) > math.radians(1) for one in laid
    )


def _laid(pulleys: tuple[Pulley, ...], thickness_mm: float, sense: int) -> BeltPath:
    """Lay the belt with the pulleys taken anticlockwise (sense +1) or clockwise."""
    count = len(pulleys)
    radii = [one.radius_mm + thickness_mm / 2 for one in pulleys]
    turns = [sense * one.side for one in pulleys]
    directions, straights, tangents = [], [], []
    for i in range(count):
        j = (i + 1) % count
        here, there = pulleys[i], pulleys[j]
        dx, dy = there.x_mm - here.x_mm, there.y_mm - here.y_mm
        distance = math.hypot(dx, dy)
        offset = turns[i] * radii[i] - turns[j] * radii[j]
        if distance <= abs(offset):
            raise InputError(
                f"No belt of {thickness_mm:g} mm can run straight between {named(pulleys, i)} "
                f"and {named(pulleys, j)}",
                f"their axes are {distance:.4g} mm apart and more than {abs(offset):.4g} mm "
                "is needed",
                "check places and diameters",
            )
        direction = math.atan2(dy, dx) + math.asin(offset / distance)
        # the belt's left-hand normal points to the axis where it turns anticlockwise
        nx, ny = math.sin(direction), -math.cos(direction)
        directions.append(direction)
        straights.append(math.sqrt((distance - offset) * (distance + offset)))
        tangents.append(
            (
                (here.x_mm + turns[i] * radii[i] * nx, here.y_mm + turns[i] * radii[i] * ny),
                (there.x_mm + turns[j] * radii[j] * nx, there.y_mm + turns[j] * radii[j] * ny),
            )
        )
    wraps = [
        _positive_angle(turn * (directions[i] - directions[i - 1])) for i, turn in enumerate(turns)
    ]
    length = math.fsum([*straights, *(r * wrap for r, wrap in zip(radii, wraps, strict=True))])
    return BeltPath(
        pulleys=pulleys,
        length_mm=length,
        straights_mm=tuple(straights),
        wraps_rad=tuple(wraps),
        tangents=tuple(tangents),
        sense=sense,
        crossed=bool(crossings(tangents)),
        thickness_mm=thickness_mm,
    )


def _refuse_sizes(pulleys: tuple[Pulley, ...], thickness_mm: float) -> None:
    if len(pulleys) < 2:
        raise InputError(
            f"A belt over {len(pulleys)} pulley{'' if len(pulleys) == 1 else 's'} was given",
            "at least two are needed",
        )
    if not (math.isfinite(thickness_mm) and thickness_mm >= 0):
        raise InputError(f"A belt {thickness_mm:g} mm thick was given", "a finite size is needed")
    for i, one in enumerate(pulleys):
        if not (math.isfinite(one.radius_mm) and one.radius_mm > 0):
            raise InputError(
                f"The diameter of {named(pulleys, i)} is {2 * one.radius_mm:g} mm",
                "a size above zero is needed",
            )
        if not (math.isfinite(one.x_mm) and math.isfinite(one.y_mm)):
            raise InputError(
                f"The place of {named(pulleys, i)} is not known", "two distances are needed"
            )
        if one.side not in (1, -1):
            raise InputError(
                f"The side of {named(pulleys, i)} is {one.side}",
                "+1 (inside the belt) or −1 (on its back) is needed",
            )


def _refuse_overlaps(pulleys: tuple[Pulley, ...]) -> None:
    for i, j in combinations(range(len(pulleys)), 2):
        one, other = pulleys[i], pulleys[j]
        apart = math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm)
        needed = one.radius_mm + other.radius_mm
        if apart < needed * (1 - 1e-12):
            raise InputError(
                f"{named(pulleys, i, capital=True)} and {named(pulleys, j)} overlap: their axes "
                f"are {apart:.4g} mm apart",
                f"at least half of both diameters together, {needed:.4g} mm, is needed",
                "check places and diameters",
            )


def _positive_angle(angle: float) -> float:
    """Bring an angle to 0 … 2π; what is 0 but for rounding stays 0."""
    within = angle % FULL_TURN
    return 0.0 if FULL_TURN - within < 1e-12 else within


def _direction(start: Point, end: Point) -> Point:
    length = math.hypot(end[0] - start[0], end[1] - start[1])
    return (end[0] - start[0]) / length, (end[1] - start[1]) / length
