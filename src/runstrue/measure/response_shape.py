"""What the shape of a frequency response points to.

Treble that is missing is missing in one of a few shapes, and each has its own cause:

    a shelf            the tape was made for the other equalisation than the switch says
    falling with f     spacing: dirt or a worn pressure pad keep the tape off the head
    falling with f²    azimuth or a wide gap: both follow |sin x / x|

Each is fitted to the gain from 1 kHz up, with its one free size (and a constant, since 0 dB lies
at one noisy point); the one that leaves least is told if it leaves much less than a straight
line and clearly less than the others. Formulas: spacing Wallace 1951, gap and azimuth loss
(Camras, Jorgensen), all from memory, sure.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result
from runstrue.stimulus.equalisation import shelf_db

Array = NDArray[np.float64]

FROM_HZ = 1000.0
LEAST_POINTS = 5
RIPPLE_DB = 0.4
"""What a sound deck's response wanders from any smooth curve (common practice, no source)."""
LEAST_LOSS_DB = 1.5
"""A change at the top smaller than this is no fault to look for (own choice)."""
CLEARLY = 4.0
"""A shape is told when its χ² is this much below that of the next one: odds of e² to 1."""

SPACING_DB = 20 * 2 * math.pi / math.log(10)
"""Wallace: 54.575 dB for a spacing of one wavelength."""


@dataclass(frozen=True, slots=True)
class Shape:
    """One way in which treble is lost or gained.

    Parameters
    ----------
    key : str
    words : str
    curve : callable
        Takes frequency in Hz and one size; returns dB.
    sizes : tuple of float
        Where the size is looked for: lowest, highest.
    unit : str
        Of the size.
    """

    key: str
    words: str
    curve: Callable[[Array, float], Array]
    sizes: tuple[float, float]
    unit: str


def shapes(speed_mm_per_s: float, treble_us: tuple[float, float] | None) -> tuple[Shape, ...]:
    """Return the shapes that are possible at a tape speed.

    Parameters
    ----------
    speed_mm_per_s : float
    treble_us : (float, float) or None
        The two equalisations that a switch can confuse, (120, 70) for cassettes.
    """

    def spacing(f: Array, size_um: float) -> Array:
        return np.asarray(-SPACING_DB * size_um * f / (speed_mm_per_s * 1000))

    def sinc(f: Array, size_um: float) -> Array:
        return np.asarray(
            20 * np.log10(np.maximum(np.abs(np.sinc(size_um * f / (speed_mm_per_s * 1000))), 1e-3))
        )

    found = [
        Shape(
            "spacing", "falls in step with frequency, as when dirt or a weak pressure pad keeps "
            "the tape off the head", spacing, (0.02, 3.0), "µm",
        ),
        Shape(
            "azimuth-or-gap", "falls faster and faster, as with a tilted head or a worn, widened "
            "gap", sinc, (0.2, 2.9), "µm",
        ),
    ]  # fmt: skip
    if treble_us:
        slow, fast = max(treble_us), min(treble_us)
        for key, made, played in (("shelf-up", fast, slow), ("shelf-down", slow, fast)):
            curve = _shelf(made, played)
            found.append(
                Shape(
                    key, f"a shelf, as when a tape made for {made:g} µs is played at "
                    f"{played:g} µs: look at the tape-type switch", curve, (1.0, 1.0), "",
                )
            )  # fmt: skip
    return tuple(found)


def read_shape(
    gain: Result, speed_mm_per_s: float, treble_us: tuple[float, float] | None = (120.0, 70.0)
) -> Result | None:
    """Say what the shape of a response points to.

    Parameters
    ----------
    gain : Result
        A `response.gain` with its table.
    speed_mm_per_s : float
        Nominal tape speed.
    treble_us : (float, float) or None
        The equalisations that the deck's switch offers, in µs.

    Returns
    -------
    Result or None
        `response.shape`: the fitted change at 10 kHz in dB against 1 kHz, with the pattern's key
        in the conditions ('flat', 'spacing', 'azimuth-or-gap', 'shelf-up', 'shelf-down', or
        'unlike any'). None where the table has too few points above 1 kHz.
    """
    assert gain.table is not None
    x, y, u = (np.array(column) for column in (gain.table.x, gain.table.y, gain.table.u))
    high = x >= FROM_HZ
    if np.count_nonzero(high) < LEAST_POINTS:
        return None
    f, gain_db, u_db = x[high], y[high], np.hypot(u[high], RIPPLE_DB)
    fits = sorted(
        (_fit(shape, f, gain_db, u_db) for shape in shapes(speed_mm_per_s, treble_us)),
        key=lambda fit: fit.chi2,
    )
    flat = _fit(
        Shape("flat", "flat", lambda f, _: np.zeros_like(f), (0.0, 0.0), ""), f, gain_db, u_db
    )
    best, second = fits[0], fits[1]
    change_db = best.at_10_khz_db
    if flat.chi2 - best.chi2 < CLEARLY or abs(change_db) < LEAST_LOSS_DB:
        key, words, fit = "flat", "no shape stands out above 1 kHz", flat
    elif best.chi2 > 4 * f.size or second.chi2 - best.chi2 < CLEARLY:
        alike = (best,) if best.chi2 > 4 * f.size else (best, second)
        key, fit = "unlike any", best
        words = "treble changes, but like none of the usual shapes" if len(alike) == 1 else (
            f"treble {best.shape.words}; or {second.shape.words}: too few points tell them apart"
        )  # fmt: skip
    else:
        key, words, fit = best.shape.key, f"treble: {best.shape.words}", best
    conditions: dict[str, Condition] = {
        "pattern": key,
        "hint": words[:1].upper() + words[1:] + ".",
        "points": float(f.size),
    }
    if fit.shape.unit:
        conditions["size"] = f"{fit.size:.2g} {fit.shape.unit}"
    if key in ("azimuth-or-gap", "unlike any") and fit.shape.key == "azimuth-or-gap":
        angle = math.degrees(math.atan(fit.size / 600)) * 60  # a cassette track is 0.6 mm wide
        conditions["as azimuth"] = f"{angle:.0f}′ on a 0.6 mm track"
    budget = Budget((Contribution("points and their ripple", fit.u_10_khz_db, "random"),))
    return Result(
        "response.shape", "response-shape/1", gain.channel,
        budget.quantity(fit.at_10_khz_db, "dB"), budget,
        conditions={**conditions, **{key: gain.conditions[key] for key in ("path", "level, dB")
                                     if key in gain.conditions}},
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Fit:
    shape: Shape
    size: float
    chi2: float
    at_10_khz_db: float
    u_10_khz_db: float


def _fit(shape: Shape, f: Array, gain_db: Array, u_db: Array) -> _Fit:
    """Best size on a grid that is refined, with the best constant for each."""
    weight = 1 / u_db**2

    def chi2(size: float) -> float:
        rest = gain_db - shape.curve(f, size)
        rest = rest - np.average(rest, weights=weight)
        return float(np.sum(rest**2 * weight))

    low, high = shape.sizes
    size = low
    for _ in range(4 if high > low else 0):
        grid = np.linspace(low, high, 41)
        values = [chi2(one) for one in grid.tolist()]
        place = int(np.argmin(values))
        size = float(grid[place])
        step = float(grid[1] - grid[0])
        low, high = max(size - step, shape.sizes[0]), min(size + step, shape.sizes[1])

    def change_db(size: float) -> float:
        ends = shape.curve(np.array([FROM_HZ, 10_000.0]), size)
        return float(ends[1] - ends[0])

    u_change = float(np.sqrt(1 / weight.sum()))
    if shape.sizes[1] > shape.sizes[0]:
        # half a step of χ² by one: the usual interval of one fitted size
        step = max(size * 0.02, 1e-4)
        bend = (chi2(size + step) - 2 * chi2(size) + chi2(max(size - step, 1e-6))) / step**2
        if bend > 0:
            u_size = math.sqrt(2 / bend)
            u_change = abs(change_db(size + u_size) - change_db(size))
    return _Fit(shape, size, chi2(size), change_db(size), u_change)


def _shelf(made_us: float, played_us: float) -> Callable[[Array, float], Array]:
    def curve(f: Array, size: float) -> Array:
        return size * np.array([shelf_db(one, made_us, played_us) for one in f.tolist()])

    return curve
