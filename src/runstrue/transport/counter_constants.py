"""What the counter's law says of the deck: hub, tape thickness, turns a count; and other tapes.

The law has two numbers, a and b, and hub radius r₀, thickness h and turns a count κ are three: a
hub twice as large with tape four times as thick and half the turns a count gives the same law. So
one of the three must be known from elsewhere. The length of the tape does not help, only where the
supply reel is counted is it needed besides, for the pack that is full at the beginning.

Least squares in the logarithms of all sizes (JCGM 100:2008, 5.1.2 and F.1.1.6): the law and what
is known from elsewhere are observations, and where there are more than are needed, they are held
against each other.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.chi_square import chance_above
from runstrue.transport.counter import SURE_OF_SCATTER, Fit
from runstrue.transport.counter_law import Array, Law, Reel, effective_freedom
from runstrue.transport.spool import CASSETTES

NAMES = ("hub radius", "thickness", "turns a count", "tape speed", "length")
HUB, THICKNESS, TURNS, SPEED, LENGTH = range(5)
CASSETTE_SPEED_MM_S = 47.625  # 1 7/8 in/s exactly
SPEED_LIMIT_PERCENT = 1.5
"""How far a deck's speed is off at most where nobody measured it (common practice, no source)."""
LEAST_BEND = 2.0
"""So many times its 95 % interval must the bend be, to work out sizes to first order."""


@dataclass(frozen=True, slots=True)
class Reeled:
    """The tape on the reels.

    Parameters
    ----------
    name : str
        'C90', or how the user calls it.
    length : Quantity
        In mm.
    thickness : Quantity
        In mm.
    """

    name: str
    length: Quantity
    thickness: Quantity

    def plays(self, speed: Quantity) -> Quantity:
        """How long it plays, in s."""
        value = self.length.value / speed.value
        u = value * math.hypot(self.length.u / self.length.value, speed.u / speed.value)
        return Quantity(value, "s", u)


@dataclass(frozen=True, slots=True, eq=False)
class Constants:
    """Sizes of deck and tape that the counter goes by.

    Parameters
    ----------
    logs : ndarray, shape (5,)
        Natural logarithms of hub radius and thickness in mm, turns of the reel a count, tape
        speed in mm/s, length of the tape in mm.
    covariance : ndarray, shape (5, 5)
    scattered : ndarray, shape (5, 5)
        The part of it that comes from the counter's law.
    reel : {'take-up', 'supply'}
    spare : int
        What is known besides, more than was needed.
    chi_square : float
        How well it agrees.
    degrees_of_freedom : float
        Of that part.
    """

    logs: Array
    covariance: Array
    scattered: Array
    reel: Reel
    spare: int
    chi_square: float
    degrees_of_freedom: float = math.inf

    @property
    def agree(self) -> bool | None:
        """Whether all that is known goes together; None where nothing is known twice."""
        if self.spare < 1:
            return None
        return chance_above(self.chi_square, self.spare) >= SURE_OF_SCATTER

    @property
    def hub_diameter(self) -> Quantity:
        """Of the bare hub, in mm."""
        return self._size(HUB, 2.0, "mm")

    @property
    def thickness(self) -> Quantity:
        """Of the tape, in µm."""
        return self._size(THICKNESS, 1000.0, "µm")

    @property
    def turns_a_count(self) -> Quantity:
        """Turns of the reel in one count."""
        return self._size(TURNS, 1.0, "")

    @property
    def speed(self) -> Quantity:
        """Of the tape, in mm/s."""
        return self._size(SPEED, 1.0, "mm/s")

    def _size(self, index: int, factor: float, unit: str) -> Quantity:
        value = math.exp(self.logs[index]) * factor
        variance = self.covariance[index, index]
        freedom = effective_freedom(
            variance, self.scattered[index, index], self.degrees_of_freedom
        )  # fmt: skip
        return Quantity(value, unit, value * math.sqrt(variance), freedom)


def cassette(name: str) -> Reeled:
    """Return a cassette's tape, with what usual ones differ by.

    Raises
    ------
    InputError
        When it is none of the usual ones.
    """
    key = name.upper().replace(" ", "").replace("-", "")
    if key not in CASSETTES:
        raise InputError(
            f"The tape '{name}' is not known by its name",
            f"one of {', '.join(CASSETTES)} is needed",
            "or give its length and thickness",
        )
    (length_m, half_m), (thick_um, half_um) = CASSETTES[key]
    return Reeled(
        key,
        Quantity(length_m * 1e3, "mm", half_m * 1e3 / math.sqrt(3)),
        Quantity(thick_um * 1e-3, "mm", half_um * 1e-3 / math.sqrt(3)),
    )


def speed_off(speed_mm_s: float, off_percent: float | None) -> Quantity:
    """Return the tape speed, as measured or as decks usually are."""
    if off_percent is None:
        u = speed_mm_s * SPEED_LIMIT_PERCENT / 100 / math.sqrt(3)
        return Quantity(speed_mm_s, "mm/s", u)
    # A measured speed is known to the tape it was measured with: 0.3 % is taken, as for a test
    # tape of unknown make (common practice, no source).
    return Quantity(speed_mm_s * (1 + off_percent / 100), "mm/s", speed_mm_s * 0.003)


def constants_of(
    fit: Fit,
    speed: Quantity,
    *,
    hub_diameter: Quantity | None = None,
    tape: Reeled | None = None,
    turns_a_count: Quantity | None = None,
    reel: Reel | None = None,
) -> Constants:
    """Work out hub, thickness and turns a count.

    Parameters
    ----------
    fit : Fit
    speed : Quantity
        Of the tape, in mm/s.
    hub_diameter : Quantity, optional
        In mm.
    tape : Reeled, optional
        The tape of the pairs.
    turns_a_count : Quantity, optional
    reel : {'take-up', 'supply'}, optional
        Else by the sign of the bend.

    Raises
    ------
    InputError
        When none of the three is known, when the bend is too weak, or when the length of the
        tape is needed and not known.
    """
    law = fit.law
    reel = _reel(law, reel)
    if hub_diameter is None and tape is None and turns_a_count is None:
        raise InputError(
            "The counter's law alone does not tell hub, tape thickness and turns a count apart",
            "one of them is needed",
            "name the tape (its thickness is then known), or measure the hub's diameter",
        )
    if reel == "supply" and tape is None:
        raise InputError(
            "This counter goes by the supply reel, which begins full",
            "the length of the tape is needed for the hub's size",
            "name the tape",
        )
    known: list[tuple[int, Quantity]] = [(SPEED, speed)]
    if hub_diameter is not None:
        known.append((HUB, Quantity(hub_diameter.value / 2, "mm", hub_diameter.u / 2)))
    if tape is not None:
        known.append((THICKNESS, tape.thickness))
        known.append((LENGTH, tape.length))
    if turns_a_count is not None:
        known.append((TURNS, turns_a_count))
    observed, observed_covariance = _observed(law, known)
    free = [SPEED, HUB, THICKNESS, TURNS, *([LENGTH] if tape is not None else [])]
    free.sort()

    def expected(logs: Array) -> Array:
        whole = np.zeros(5)
        whole[free] = logs
        _, a, b = _terms(whole, reel)
        return np.array([math.log(a), math.log(abs(b)), *(whole[index] for index, _ in known)])

    start = np.log([11.0, 0.012, 1.0, speed.value, 129e3])[free]
    for index, size in known:
        start[free.index(index)] = math.log(size.value)
    logs, gain, chi_square = _least_squares(expected, start, observed, observed_covariance)
    every, wide, of_law = np.full(5, math.nan), np.zeros((5, 5)), np.zeros((5, 5))
    every[free] = logs
    wide[np.ix_(free, free)] = gain @ observed_covariance @ gain.T
    of_law[np.ix_(free, free)] = gain[:, :2] @ observed_covariance[:2, :2] @ gain[:, :2].T
    spare = len(observed) - len(free)
    return Constants(every, wide, of_law, reel, spare, chi_square, law.degrees_of_freedom)


def law_for(constants: Constants, tape: Reeled, count_limit: float) -> Law:
    """Return the law of the same deck with another tape on the same hubs.

    Parameters
    ----------
    constants : Constants
    tape : Reeled
    count_limit : float

    Returns
    -------
    Law
        With its counter set to 0 at the tape's beginning.
    """

    def terms(values: Array) -> Array:
        logs = np.array([values[HUB], values[4], values[TURNS], values[SPEED], values[5]])
        _, a, b = _terms(logs, constants.reel)
        return np.array([0.0, a, b, math.exp(values[5] - values[SPEED])])

    values = np.append(
        constants.logs[:4], [math.log(tape.thickness.value), math.log(tape.length.value)]
    )
    covariance = np.zeros((6, 6))
    covariance[:4, :4] = constants.covariance[:4, :4]
    covariance[4, 4] = (tape.thickness.u / tape.thickness.value) ** 2
    covariance[5, 5] = (tape.length.u / tape.length.value) ** 2
    slopes = _slopes(terms, values)
    scattered = np.zeros((6, 6))
    scattered[:4, :4] = constants.scattered[:4, :4]
    return Law(
        terms(values),
        slopes @ covariance @ slopes.T,
        0.0,
        constants.degrees_of_freedom,
        count_limit,
        slopes @ scattered @ slopes.T,
    )


def _terms(logs: Array, reel: Reel) -> tuple[float, float, float]:
    """Return 0, a and b of the law from the logarithms of all sizes."""
    hub, thickness, turns, speed = (math.exp(value) for value in logs[:4])
    radius = hub
    if reel == "supply":
        radius = math.sqrt(hub**2 + thickness * math.exp(logs[LENGTH]) / math.pi)
    bend = math.pi * thickness * turns**2 / speed
    return 0.0, 2 * math.pi * radius * turns / speed, -bend if reel == "supply" else bend


def _reel(law: Law, reel: Reel | None) -> Reel:
    bend = law.per_count_squared
    seen = law.reel
    if abs(bend.value) < LEAST_BEND * bend.expanded():
        raise InputError(
            "By these pairs the law is hardly bent, so that sizes cannot be told from it",
            "pairs that are spread over the whole tape are needed",
            "where they are, this counter does not count turns of a reel",
        )
    if reel is not None and reel != seen:
        raise InputError(
            f"The counter was said to go by the {reel} reel, but the pairs bend as those of the "
            f"{seen} reel do",
            "the other reel is needed, or other pairs",
        )
    return seen


def _observed(law: Law, known: list[tuple[int, Quantity]]) -> tuple[Array, Array]:
    """Return the logarithms of a, |b| and all that is known, with their covariance.

    Notes
    -----
    With an offset the law is taken where the tape begins: there one count is √(a² − 4 b t₀)
    seconds.
    """

    def shape(terms: Array) -> Array:
        offset, a, b = terms.tolist()
        return np.array([0.5 * math.log(a * a - 4 * b * offset), math.log(abs(b))])

    terms = law.terms[:3]
    slopes = _slopes(shape, terms)
    observed = np.array([*shape(terms), *(math.log(size.value) for _, size in known)])
    covariance = np.zeros((len(observed), len(observed)))
    covariance[:2, :2] = slopes @ law.covariance[:3, :3] @ slopes.T
    for place, (_, size) in enumerate(known, start=2):
        covariance[place, place] = (max(size.u, 1e-9 * size.value) / size.value) ** 2
    return observed, covariance


def _least_squares(
    expected: Callable[[Array], Array], start: Array, observed: Array, covariance: Array
) -> tuple[Array, Array, float]:
    """Return unknowns, what each observation moves them by, and the scatter (Gauss-Newton)."""
    weight = np.linalg.inv(covariance)
    found: Array = start
    for _ in range(50):
        slopes = _slopes(expected, found)
        normal = slopes.T @ weight @ slopes
        step = np.linalg.solve(normal, slopes.T @ weight @ (observed - expected(found)))
        found = found + np.clip(step, -1.0, 1.0)
        if float(np.max(np.abs(step))) < 1e-12:
            break
    rest = observed - expected(found)
    slopes = _slopes(expected, found)
    gain = np.asarray(np.linalg.solve(slopes.T @ weight @ slopes, slopes.T @ weight), np.float64)
    return found, gain, float(rest @ weight @ rest)


def _slopes(function: Callable[[Array], Array], at: Array) -> Array:
    """Return the derivatives by central differences, one column for each value."""
    columns = []
    for index, value in enumerate(at.tolist()):
        step = np.zeros_like(at)
        step[index] = 1e-5 * max(abs(value), 1e-3)
        columns.append((function(at + step) - function(at - step)) / (2 * step[index]))
    return np.stack(columns, axis=1)
