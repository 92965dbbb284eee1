"""What holds between the sizes and rates of a transport, each as a small equation.

    Product     Π x^p = factor    belt: π f D = v; gears: f z = f′ z′; tape: v = π d f
    Sum         total = a + b     a belt runs at the diameter of the groove plus its thickness
    Way         length of a belt from places and radii

A belt bends about its middle, so that is where its speed counts (plane geometry). `follow` solves
them for whatever is not known.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

from runstrue.errors import InputError
from runstrue.transport.belt_path import Pulley, belt_path
from runstrue.transport.known import ONE, Known

Values = Mapping[str, Known]


class Relation(Protocol):
    """Something that holds between figures."""

    @property
    def words(self) -> str:
        """Where it comes from: 'main belt'."""
        ...

    @property
    def table(self) -> str:
        """Where that stands in the file: 'belt.main'."""
        ...

    def names(self) -> Iterator[str]:
        """Yield the figures that it is about."""
        ...

    def solved(self, name: str, values: Values) -> Known | None:
        """Return one figure from all the others; None where it gives none above zero."""
        ...


@dataclass(frozen=True, slots=True)
class Product:
    """The product of powers of figures is a constant.

    Parameters
    ----------
    words, table : str
    terms : tuple of (str, int)
        Figures with their powers, 1 or −1.
    factor : float
        Above zero.
    """

    words: str
    table: str
    terms: tuple[tuple[str, int], ...]
    factor: float = 1.0

    def names(self) -> Iterator[str]:
        """Yield the figures that it is about."""
        return (name for name, _ in self.terms)

    def solved(self, name: str, values: Values) -> Known | None:
        """Return one figure from all the others."""
        rest = ONE
        for other, power in self.terms:
            if other != name:
                rest = rest.times(values[other], power)
        own = dict(self.terms)[name]
        found = rest.to_the(-own)
        return Known(found.value * self.factor**own, found.shares)


@dataclass(frozen=True, slots=True)
class Sum:
    """One figure is another plus a multiple of a third."""

    words: str
    table: str
    total: str
    first: str
    second: str
    times: float = 1.0

    def names(self) -> Iterator[str]:
        """Yield the figures that it is about."""
        return iter((self.total, self.first, self.second))

    def solved(self, name: str, values: Values) -> Known | None:
        """Return one figure from the other two; None where the difference is not above zero."""
        scaled = Known(self.times)
        if name == self.total:
            return values[self.first].plus(values[self.second].times(scaled))
        if name == self.first:
            return _difference(values[self.total], values[self.second].times(scaled))
        found = _difference(values[self.total], values[self.first])
        return found.times(scaled, -1) if found else None


@dataclass(frozen=True, slots=True)
class Way:
    """The length of a belt along its middle, from the places and radii of its wheels.

    Parameters
    ----------
    words, table : str
    length : str
        The figure that it gives.
    running : tuple of str
        Figures: the diameters at which it runs, in order.
    places : tuple of (x, y), in mm
    sides : tuple of int
        As of a `Pulley`.
    place_u_mm : tuple of float
        Standard uncertainty of each axis' place, along x and along y.
    wheels : tuple of str
        In words.
    """

    words: str
    table: str
    length: str
    running: tuple[str, ...]
    places: tuple[tuple[float, float], ...]
    sides: tuple[int, ...]
    place_u_mm: tuple[float, ...]
    wheels: tuple[str, ...]

    def names(self) -> Iterator[str]:
        """Yield the figures that it is about."""
        yield self.length
        yield from self.running

    def solved(self, name: str, values: Values) -> Known | None:
        """Return the length; no diameter is sought by it.

        Notes
        -----
        The length grows by the wrap for each mm of radius, and by the belt's pull on the axis for
        each mm of its place.
        """
        if name != self.length:
            return None
        radii = [values[one].value / 2 for one in self.running]
        try:
            way = belt_path(
                [
                    Pulley(x, y, radius, side, wheel)
                    for (x, y), radius, side, wheel in zip(
                        self.places, radii, self.sides, self.wheels, strict=True
                    )
                ]
            )
        except InputError:
            return None
        shares: dict[str, float] = {}
        for one, wrap, radius in zip(self.running, way.wraps_rad, radii, strict=True):
            for size, share in values[one].shares.items():
                shares[size] = shares.get(size, 0.0) + share * radius * wrap / way.length_mm
        for wheel, (pull_x, pull_y), u in zip(
            self.wheels, way.pulls(), self.place_u_mm, strict=True
        ):
            for axis, pull in (("x", pull_x), ("y", pull_y)):
                shares[f"place of the {wheel}, {axis}"] = -pull * u / way.length_mm
        return Known(way.length_mm, shares)


def _difference(total: Known, part: Known) -> Known | None:
    return total.plus(part, -1) if total.value > part.value else None
