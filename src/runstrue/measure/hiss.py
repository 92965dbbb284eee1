"""What hiss does to a flutter reading, propagated through the detectors.

The level of the hiss comes from the measured noise-to-carrier density by the FM noise law
(frequency noise f²·N₀/C). How it moves a quantile, a mean or a root mean square depends on the
flutter itself, so it is propagated by the Monte Carlo method (JCGM 101:2008): seeded noise of
that level and colour is added to what the filters gave, and the figures are taken again.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from runstrue.dsp.demodulate import FLAT_TO_HZ, SILENT_FROM_HZ
from runstrue.dsp.detectors import SHARE_ABOVE
from runstrue.dsp.weighting import Weighting
from runstrue.measure.flutter import (
    PEAK_POINTS,
    Figures,
    flat_sections,
    flutter_sections,
    wow_sections,
)

Array = NDArray[np.float64]

TRIALS = 24  # the scatter is then known to 15 %
SEED = 386
POINTS = {"weighted": PEAK_POINTS, "flat": PEAK_POINTS, "wow": 1, "flutter": 1}


@dataclass(frozen=True, slots=True)
class Hiss:
    """What hiss does to the figures, in %.

    Parameters
    ----------
    scatter : Figures
        Standard uncertainty: another piece of the same hiss would have given another reading.
    lift : Figures
        By how much hiss raises the readings on average; they are not corrected for it. A
        threshold may be moved either way, by amounts that hang on where the flutter has its
        turning points; there the shift belongs to the scatter and the lift is 0.
    """

    scatter: Figures
    lift: Figures

    def at(self, noise_ratio: float) -> Hiss:
        """The same flutter with this much more or less noise power.

        To first order a figure moves with the noise itself, and is lifted with its power.
        """
        root = math.sqrt(noise_ratio)
        return Hiss(
            Figures(**{name: root * value for name, value in asdict(self.scatter).items()}),
            Figures(**{name: noise_ratio * value for name, value in asdict(self.lift).items()}),
        )


def _two_sigma_of(values: Array) -> float:
    return float(np.quantile(np.abs(values), 1 - SHARE_ABOVE))


def _rms_of(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _average_of(values: Array) -> float:
    return float(np.pi / (2 * np.sqrt(2)) * np.mean(np.abs(values)))


_DETECTORS: dict[str, tuple[str, Callable[[Array], float]]] = {
    "weighted_peak": ("weighted", _two_sigma_of),
    "weighted_rms": ("weighted", _rms_of),
    "unweighted_peak": ("flat", _two_sigma_of),
    "unweighted_rms": ("flat", _rms_of),
    "unweighted_average": ("flat", _average_of),
    "wow_rms": ("wow", _rms_of),
    "flutter_rms": ("flutter", _rms_of),
}


def hiss_gain(rates_hz: Array, rate_hz: float) -> dict[str, Array]:
    """Gain from frequency noise to what each filter gives, over rate of variation."""
    # the demodulator's own low-pass: flat, then down to nothing (straight in amplitude)
    edge = np.clip((SILENT_FROM_HZ - rates_hz) / (SILENT_FROM_HZ - FLAT_TO_HZ), 0, 1)
    sections = {
        "flat": flat_sections(rate_hz),
        "wow": wow_sections(rate_hz),
        "flutter": flutter_sections(rate_hz),
    }
    gains = {
        name: edge * np.abs(signal.sosfreqz(part, rates_hz, fs=rate_hz)[1])
        for name, part in sections.items()
    }
    return {"weighted": edge * np.abs(Weighting(rate_hz).response(rates_hz)), **gains}


def floor_percent(noise_per_hz: float, tone_hz: float, rate_hz: float) -> dict[str, float]:
    """R.m.s. in % that hiss alone gives behind each filter: √∫f²·(N₀/C)·|H(f)|²df.

    References
    ----------
    FM noise law: H. Taub, D. L. Schilling, *Principles of Communication Systems* (from
    memory, sure).
    """
    rates_hz = np.linspace(0, SILENT_FROM_HZ, 5001)
    return {
        name: 100
        / tone_hz
        * math.sqrt(noise_per_hz * float(np.trapezoid(rates_hz**2 * gain**2, rates_hz)))
        for name, gain in hiss_gain(rates_hz, rate_hz).items()
    }


def hiss_uncertainty(
    excerpt: dict[str, Array], noise_per_hz: float, tone_hz: float, rate_hz: float, used_s: float
) -> Hiss:
    """How hiss scatters each figure and how far it lifts it.

    Parameters
    ----------
    excerpt : dict of str to ndarray
        What each filter gave (`FlutterReadout.excerpt`).
    noise_per_hz : float
        Noise-to-carrier density N₀/C in 1/Hz.
    tone_hz, rate_hz : float
        Mean frequency of the tone; rate of the deviation.
    used_s : float
        Length of the whole reading; the scatter of the excerpt shrinks with its root.
    """
    if excerpt["wow"].size < 2:
        return Hiss(Figures(*(0.0,) * 7), Figures(*(0.0,) * 7))
    most = min(excerpt[band].size // points for band, points in POINTS.items())
    samples = fft.prev_fast_len(most, real=True)
    excerpt = {band: values[: samples * POINTS[band]] for band, values in excerpt.items()}
    rates_hz = np.asarray(np.fft.rfftfreq(samples, 1 / rate_hz), dtype=np.float64)
    colour = rates_hz * math.sqrt(noise_per_hz * rate_hz / 2) * 100 / tone_hz
    gains = {name: colour * gain for name, gain in hiss_gain(rates_hz, rate_hz).items()}
    plain = {name: detect(excerpt[band]) for name, (band, detect) in _DETECTORS.items()}
    source = np.random.default_rng(SEED)
    moved = {name: np.zeros(TRIALS) for name in _DETECTORS}
    for trial in range(TRIALS):
        white = np.fft.rfft(source.standard_normal(samples))
        noisy = {
            band: excerpt[band] + POINTS[band] * np.fft.irfft(white * gain, samples * POINTS[band])
            for band, gain in gains.items()
        }
        for name, (band, detect) in _DETECTORS.items():
            moved[name][trial] = detect(noisy[band]) - plain[name]
    shrink = min(math.sqrt(samples / rate_hz / used_s), 1.0)
    scatter = {name: float(shift.std(ddof=1)) * shrink for name, shift in moved.items()}
    lift = {name: float(shift.mean()) for name, shift in moved.items()}
    for name in lift:
        if name.endswith("peak"):
            scatter[name], lift[name] = math.hypot(scatter[name], lift[name]), 0.0
    return Hiss(Figures(**scatter), Figures(**{name: max(up, 0.0) for name, up in lift.items()}))
