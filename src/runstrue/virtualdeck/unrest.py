"""Random wander of the speed: Gaussian noise of a given spectrum that is known at any time.

The noise is a cubic spline through 1600 random coefficients a second. A spline can be
evaluated and integrated exactly at any time, and unlike a sum of sinusoids it has no lines, so
that a flutter spectrum of any length sees noise in it.

The coefficients come in hops of 64 s. Each hop is the sum of two seeded stretches of 128 s,
one fading out and one fading in by a quarter of a sine and cosine, which keeps the variance
the same throughout. So any place can be made without what came before, and a longer recording
begins like a shorter one.
"""

from __future__ import annotations

from collections import OrderedDict
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from runstrue.virtualdeck.deck import Unrest

Array = NDArray[np.float64]
Thing = TypeVar("Thing")

# Eight coefficients in the shortest period (200 Hz): a cubic spline then keeps its images
# (sin x / x to the fourth power) 68 dB below.
GRID_HZ = 1600
HOP = 64 * GRID_HZ
HOPS_KEPT = 3


class RandomSpeed:
    """All unrest of one deck, as deviation and as its integral.

    Parameters
    ----------
    sources : tuple of Unrest
    seed : int
        At least 0.
    """

    def __init__(self, sources: tuple[Unrest, ...], seed: int) -> None:
        self._seed = seed
        self._density = sum((_density(source) for source in sources), np.zeros(HOP + 1))
        self._silent = not self._density.any()
        self._stretches: OrderedDict[int, Array] = OrderedDict()
        self._hops: OrderedDict[int, tuple[Array, Array]] = OrderedDict()
        self._reached = [0.0]

    def deviation(self, times_s: Array) -> Array:
        """Return the deviation at any times from 0, in the unit of ``rms_percent``."""
        return self._evaluate(times_s)[0]

    def integral(self, times_s: Array) -> Array:
        """Return the integral of the deviation from 0 to any times from 0."""
        return self._evaluate(times_s)[1]

    def _evaluate(self, times_s: Array) -> tuple[Array, Array]:
        deviation, integral = np.zeros(times_s.shape), np.zeros(times_s.shape)
        if self._silent or not times_s.size:
            return deviation, integral
        places = np.maximum(times_s, 0.0) * GRID_HZ
        intervals = np.floor(places).astype(np.int64)
        for hop in range(int(intervals.min()) // HOP, int(intervals.max()) // HOP + 1):
            here = (intervals >= hop * HOP) & (intervals < (hop + 1) * HOP)
            if not here.any():
                continue
            index = intervals[here] - hop * HOP
            deviation[here], integral[here] = self._within(
                hop, index, places[here] - intervals[here]
            )
        return deviation, integral

    def _within(self, hop: int, index: NDArray[np.int64], u: Array) -> tuple[Array, Array]:
        """Evaluate the spline inside its intervals, u from 0 to 1 in each."""
        coefficients, reached = self._hop(hop)
        first, last = int(index.min()), int(index.max())
        a0, a1, a2, a3 = _cubic(coefficients[first : last + 4])
        index = index - first
        b0, b1, b2, b3 = a0[index], a1[index], a2[index], a3[index]
        deviation = b0 + u * (b1 + u * (b2 + u * b3))
        inside = u * (b0 + u * (b1 / 2 + u * (b2 / 3 + u * b3 / 4)))
        return deviation, reached[first : last + 1][index] + inside / GRID_HZ

    def _hop(self, hop: int) -> tuple[Array, Array]:
        """Return coefficients of a hop (three more than it has) and the integral so far."""
        if hop in self._hops:
            return self._hops[hop]
        while len(self._reached) <= hop:  # the hops before this one, for their integrals alone
            self._hop(len(self._reached) - 1)
        coefficients = np.concatenate([self._coefficients(hop), self._coefficients(hop + 1)[:3]])
        a0, a1, a2, a3 = _cubic(coefficients)
        steps = (a0 + a1 / 2 + a2 / 3 + a3 / 4) / GRID_HZ
        reached = self._reached[hop] + np.concatenate([[0.0], np.cumsum(steps)])
        if len(self._reached) == hop + 1:
            self._reached.append(float(reached[-1]))
        _keep(self._hops, hop, (coefficients, reached))
        return coefficients, reached

    def _coefficients(self, hop: int) -> Array:
        """Cross-fade the second half of the stretch before with the first half of this one."""
        rising = np.sin(np.pi / 2 * (np.arange(HOP) + 0.5) / HOP)
        return self._stretch(hop)[HOP:] * rising[::-1] + self._stretch(hop + 1)[:HOP] * rising

    def _stretch(self, number: int) -> Array:
        if number in self._stretches:
            return self._stretches[number]
        draw = np.random.default_rng([self._seed, 2, number])
        bins = draw.standard_normal((2, HOP + 1)) * np.sqrt(self._density * HOP * GRID_HZ / 2)
        stretch = np.fft.irfft(bins[0] + 1j * bins[1], 2 * HOP)
        _keep(self._stretches, number, stretch)
        return stretch


def _density(source: Unrest) -> Array:
    """One-sided density of the coefficients, %²/Hz, at the bins of a stretch.

    A real sequence of N values whose bins have the variance N · rate · density / 2 has the
    one-sided density wanted; half of that variance is in the real and half in the imaginary
    part. The spline multiplies the spectrum by (sin x / x)⁴, x = π f / grid, which is undone.
    """
    rates_hz = np.arange(HOP + 1) * (GRID_HZ / (2 * HOP))
    inside = (rates_hz >= source.low_hz) & (rates_hz <= source.high_hz)
    shape = np.zeros(HOP + 1)
    # 10 log10 of the density falls by the slope for each octave
    exponent = source.slope_db_per_octave / (10 * np.log10(2))
    shape[inside] = (rates_hz[inside] / source.high_hz) ** exponent
    shape *= source.rms_percent**2 / (shape.sum() * rates_hz[1])
    return shape / np.sinc(rates_hz / GRID_HZ) ** 8


def _cubic(c: Array) -> tuple[Array, Array, Array, Array]:
    """Polynomial of each interval of a cubic B-spline, from four neighbouring coefficients."""
    c0, c1, c2, c3 = c[:-3], c[1:-2], c[2:-1], c[3:]
    return (
        (c0 + 4 * c1 + c2) / 6,
        (c2 - c0) / 2,
        (c0 - 2 * c1 + c2) / 2,
        (c3 - c0) / 6 + (c1 - c2) / 2,
    )


def _keep(kept: OrderedDict[int, Thing], number: int, thing: Thing) -> None:
    kept[number] = thing
    while len(kept) > HOPS_KEPT:
        kept.popitem(last=False)
