"""Signal to noise: how far the noise of a silent stretch lies below a reference level.

Four figures that sheets use, each by its own standard; none is converted into another, since
the difference depends on the spectrum of the noise:

- unweighted, 20 Hz to 20 kHz, r.m.s. (common practice of tape decks, no source);
- A-weighted r.m.s. (curve of IEC 61672-1);
- quasi-peak behind the 468 curve (ITU-R BS.468-4): the mean of the needle, and how high it went;
- average-responding behind the 468 curve shifted to 0 dB at 2 kHz (J. Audio Eng. Soc. 27(3),
  1979, second-hand).

Levels are those of a sine: 0 dB FS is a sine that just reaches full scale (AES17), and noise has
the level of the sine with the same r.m.s. value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from runstrue.dsp.noise_weighting import Curves, gain_db
from runstrue.dsp.quasi_peak import SETTLED_S, QuasiPeak
from runstrue.errors import SignalError
from runstrue.quantity import Budget, Contribution, ContributionKind
from runstrue.result import Condition, Result, Spread

Array = NDArray[np.float64]

BAND_HZ = (20.0, 20_000.0)
HUM_REACH_HZ = 1.0
"""Either side of a mains line that is left out with the hum: own choice, common practice."""
SHORTEST_S = SETTLED_S + 5.0
"""The quasi-peak needle is averaged over at least 5 s after it has settled."""
NEEDLE_S = 10.0
"""Twice what is asked for: longer makes the needle's mean no surer than its meter is (0.3 dB)."""
BLOCK_S = 1.0
"""Stretches whose scatter tells the uncertainty: the slowest reading, the needle, forgets within
0.3 s, so that a second's mean hardly knows the last one's."""
SINE_AVERAGE = math.pi / (2 * math.sqrt(2))
"""r.m.s. of a sine over its rectified mean: how an average-responding meter is scaled."""
ONSET_S = 0.1  # the weighting's own beginning


@dataclass(frozen=True, slots=True)
class Reference:
    """The level that noise is told against.

    Parameters
    ----------
    words : str
        What it is: '315 Hz at 250 nWb/m', '3 % third harmonic at 315 Hz'.
    level_dbfs : tuple of float
        For each channel, in dB against a full-scale sine.
    u_db : float
        Standard uncertainty.
    source : str
        What a shared uncertainty belongs to; empty where it is random.
    flux_nwb_per_m : float or None
    flux_scale : str
        'ANSI/AES' or 'old DIN': the two differ by 0.75 to 0.92 dB and are never mixed.
    """

    words: str
    level_dbfs: tuple[float, ...]
    u_db: float = 0.0
    source: str = ""
    flux_nwb_per_m: float | None = None
    flux_scale: str = ""

    @property
    def contribution(self) -> Contribution:
        """What the reference brings to an uncertainty."""
        kind: ContributionKind = "shared" if self.source else "random"
        return Contribution("reference level", self.u_db, kind, self.source)


FULL_SCALE = "full scale of the recording"


def measure_noise(
    samples: NDArray[np.floating],
    rate_hz: float,
    channels: Sequence[str],
    reference: Reference | None = None,
    hum_hz: Sequence[float] = (),
) -> tuple[Result, ...]:
    """Noise of a stretch in which nothing was recorded.

    Parameters
    ----------
    samples : ndarray of float, shape (channel, frame)
        Full scale is ±1; at least 6 s.
    rate_hz : float
        At least 44 100, so that 20 kHz is in it.
    channels : sequence of str
        Names of the rows.
    reference : Reference, optional
        Else full scale, which says little about the deck; a doubt says so.
    hum_hz : sequence of float
        Lines to leave out, ±1 Hz each, in a second set of figures; empty for none.

    Returns
    -------
    tuple of Result
        For each channel `noise.unweighted`, `noise.a`, `noise.quasi_peak_468` (spread: how low
        and high the needle went) and `noise.average_468_2k`, in dB below the reference; with
        `hum_hz`, those of the first two once more without the hum.

    Raises
    ------
    SignalError
        When the stretch is shorter than 6 s, or digitally silent.
    """
    length_s = samples.shape[1] / rate_hz
    if length_s < SHORTEST_S:
        raise SignalError(
            f"Only {length_s:.1f} s of silence were found",
            f"{SHORTEST_S:g} s are needed for a reading of noise",
            "record a longer silence",
        )
    results = []
    for index, name in enumerate(channels):
        track = samples[index] - samples[index].mean()
        if not track.any():
            raise SignalError(
                f"The {name} channel holds nothing at all, not even noise",
                "a recording of the deck's own silence is needed",
                "check that the recorder does not gate or mute",
            )
        told = _Told(name, index, reference, {"length": f"{length_s:.1f} s"})
        curves = Curves(track[None], rate_hz)
        results += _root_means(curves, rate_hz, told) + _behind_468(curves, rate_hz, told)
        if hum_hz:
            cleaned = without_lines(track, rate_hz, hum_hz)
            results += _root_means(Curves(cleaned[None], rate_hz), rate_hz, told, hum="left out")
    return tuple(results)


def without_lines(
    track: NDArray[np.floating], rate_hz: float, lines_hz: Sequence[float]
) -> NDArray[np.floating]:
    """Take everything within 1 Hz of these lines out of a stretch."""
    size = next_fast_len(track.size, real=True)
    spectrum = rfft(track, size)
    bin_hz = rate_hz / size
    for line_hz in lines_hz:
        first = math.ceil((line_hz - HUM_REACH_HZ) / bin_hz)
        spectrum[max(first, 0) : math.floor((line_hz + HUM_REACH_HZ) / bin_hz) + 1] = 0
    return np.asarray(irfft(spectrum, size)[: track.size])


@dataclass(frozen=True, slots=True)
class _Told:
    """Whose noise it is and against what it is told."""

    channel: str
    index: int
    reference: Reference | None
    conditions: dict[str, Condition]

    def result(
        self, quantity_id: str, method: str, blocks: Array, hum: str, needle: Array | None = None
    ) -> Result:
        """Make a result of the powers of the blocks (or of the needle's means)."""
        mean = float(blocks.mean())
        u_db = 10 / math.log(10) * float(blocks.std(ddof=1)) / mean / math.sqrt(blocks.size)
        parts = [
            Contribution(
                "finite length of the silence", u_db, "random",
                degrees_of_freedom=blocks.size - 1,
            )
        ]  # fmt: skip
        level_db = 10 * math.log10(2 * mean)  # power of noise; a full-scale sine has 1/2
        above_db = 0.0
        against, doubts = FULL_SCALE, [
            "Nothing to set the noise against was given: the figure is against full scale of the "
            "recording, and says nothing about the deck until a reference level is known."
        ]  # fmt: skip
        conditions = {**self.conditions, "hum": hum}
        if self.reference is not None:
            against, doubts = self.reference.words, []
            above_db = self.reference.level_dbfs[self.index]
            parts.append(self.reference.contribution)
            if self.reference.flux_nwb_per_m is not None:
                conditions["flux"] = self.reference.flux_nwb_per_m
                conditions["flux scale"] = self.reference.flux_scale
        budget = Budget(tuple(parts))
        ratio_db = above_db - level_db
        spread = None
        if needle is not None:
            low, high = (above_db - 20 * math.log10(math.sqrt(2) * value) for value in
                         (needle.max(), needle.min()))  # fmt: skip
            spread = Spread(low, ratio_db, high)
        return Result(
            quantity_id,
            method,
            self.channel,
            budget.quantity(ratio_db, "dB"),
            budget,
            spread=spread,
            conditions={**conditions, "against": against},
            doubts=tuple(doubts),
        )


def _root_means(curves: Curves, rate_hz: float, told: _Told, hum: str = "included") -> list[Result]:
    """Unweighted and A-weighted r.m.s."""
    onset = round(ONSET_S * rate_hz)
    flat, a = curves.between(*BAND_HZ)[0, onset:], curves.weighted("A")[0, onset:]
    return [
        told.result("noise.unweighted", "noise-flat/1", _means(flat**2, rate_hz), hum),
        told.result("noise.a", "noise-a/1", _means(a**2, rate_hz), hum),
    ]


def _behind_468(curves: Curves, rate_hz: float, told: _Told) -> list[Result]:
    """Quasi-peak and average-responding readings behind the 468 curve."""
    onset = round(ONSET_S * rate_hz)
    psophometric = curves.weighted("468")[0]
    watched = psophometric[: round((SETTLED_S + NEEDLE_S) * rate_hz)]
    needle = QuasiPeak(rate_hz).needle(watched)[round(SETTLED_S * rate_hz) :]
    at_2k = 10 ** (-float(gain_db("468", 2000.0)) / 20)
    average = SINE_AVERAGE * at_2k * np.abs(psophometric[onset:])
    return [
        told.result(
            "noise.quasi_peak_468", "noise-468-quasi-peak/1", _means(needle, rate_hz) ** 2,
            "included", needle,
        ),
        told.result(
            "noise.average_468_2k", "noise-468-average/1", _means(average, rate_hz) ** 2,
            "included",
        ),
    ]  # fmt: skip


def _means(values: NDArray[np.floating], rate_hz: float) -> Array:
    """Means over whole seconds; what is left over at the end goes with the last one."""
    count = max(int(values.size / (BLOCK_S * rate_hz)), 1)
    return np.array([part.mean(dtype=np.float64) for part in np.array_split(values, count)])
