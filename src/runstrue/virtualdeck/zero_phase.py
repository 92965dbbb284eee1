"""Filters without phase, for sound that comes stretch by stretch.

A gain over frequency becomes a symmetric FIR filter; each stretch is filtered together with what
lies around it (overlap-save), so nothing is late. Stretches are always of one length, hence the
result is the same to the last bit whatever block size is asked for at the end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Array = NDArray[np.float64]
Gain = Callable[[Array], Array]
Stretches = Iterator[Array]


def response(gain: Gain, half: int, size: int, rate_hz: float, odd: bool = False) -> Array:
    """Return the response of a filter of ``2 · half + 1`` taps on a grid of ``size // 2 + 1``.

    Parameters
    ----------
    gain : callable
        Takes frequencies in Hz.
    half, size : int
        ``2 · half < size``.
    rate_hz : float
    odd : bool
        A quarter turn ahead: the response is i times the gain.

    Notes
    -----
    The taps are shaped by a Hann window over twice `half`: gains come out averaged over some
    ``rate / half`` of frequency.
    """
    grid_hz = np.arange(size // 2 + 1, dtype=np.float64) * (rate_hz / size)
    wanted = np.asarray(gain(grid_hz), dtype=np.complex128)
    if odd:
        wanted = 1j * wanted
        wanted[0] = wanted[-1] = 0.0
    taps = fft.irfft(wanted, size)
    lag = np.minimum(np.arange(size), size - np.arange(size))
    taps *= np.where(lag <= half, 0.5 + 0.5 * np.cos(np.pi * np.minimum(lag, half) / half), 0.0)
    found = fft.rfft(taps)
    return np.asarray(found if odd else found.real)


def surrounded(stretches: Stretches, around: int) -> Stretches:
    """Yield each stretch with so many frames before and behind it; the last one is lost."""
    current = next(stretches, None)
    if current is None:
        return
    before = np.zeros((current.shape[0], around))
    for following in stretches:
        yield np.concatenate([before, current, following[:, :around]], axis=1)
        before = current[:, current.shape[1] - around :]
        current = following


def spectra(stretches: Stretches, around: int) -> Iterator[NDArray[np.complex128]]:
    """Yield the spectrum of each stretch with what surrounds it."""
    for whole in surrounded(stretches, around):
        yield fft.rfft(whole, axis=1)


def middle(spectrum: NDArray[np.complexfloating], size: int, around: int) -> Array:
    """Return from a spectrum the stretch alone."""
    return np.asarray(fft.irfft(spectrum, size, axis=1)[:, around : size - around])
