"""The running spectrum: twice a second, thinned out to what a screen can show."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from runstrue.live.models import SpectrumLine
from runstrue.measure.rhythm import spectrum_of
from runstrue.result import Line

Array = NDArray[np.float64]

LEAST_S = 5.0
SHOWN_HZ = (0.2, 200.0)
POINTS = 300


def running_spectrum(percent: Array, rate_hz: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Rates (Hz) and peaks (%) of the newest unbroken deviation.

    Parameters
    ----------
    percent : ndarray, shape (channel, sample)
    rate_hz : float

    Returns
    -------
    tuple of tuple of float
        Both empty for less than `LEAST_S`. Of the points that fall on one place of the screen the
        highest is told; where there are fewer points than places, all are.
    """
    if not percent.size or percent.shape[1] < LEAST_S * rate_hz:
        return (), ()
    rates_hz, peak = spectrum_of(percent, float(percent.mean()), rate_hz)
    inside = (rates_hz >= SHOWN_HZ[0]) & (rates_hz <= SHOWN_HZ[1])
    rates_hz, peak = rates_hz[inside], peak[inside]
    low, high = np.log(SHOWN_HZ)
    place = ((np.log(rates_hz) - low) / (high - low) * POINTS).astype(int)
    begins = np.flatnonzero(np.diff(place, prepend=-1))
    highest = np.maximum.reduceat(peak, begins)
    middle = np.maximum.reduceat(rates_hz, begins)
    return tuple(middle.round(3).tolist()), tuple(highest.round(5).tolist())


def lines_of(lines: tuple[Line, ...]) -> tuple[SpectrumLine, ...]:
    """Lines as they are told."""
    return tuple(
        SpectrumLine(
            line.rate_hz,
            line.u_rate_hz,
            line.peak_percent,
            line.u_peak_percent,
            line.weighted_peak_percent,
        )
        for line in lines
    )
