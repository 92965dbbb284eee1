"""A chain at work: from what is on the tape, or was fed to the record head, to the output.

    fed → compander → record equalisation and treble → saturation → modulation noise
        → replay equalisation and losses → crosstalk → level → echoes, old tone, noise
        → compander → gain of each channel

Replay-only tapes come in at the replay equalisation. Saturation works at three times the rate, so
that harmonics fold back from far above hearing only.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.signal import lfilter

from runstrue.virtualdeck.chain import Chain, TimeConstants
from runstrue.virtualdeck.compander import Companding
from runstrue.virtualdeck.losses import (
    across,
    noise_shape,
    printed,
    replayed,
    shelf,
)
from runstrue.virtualdeck.saturation import Law
from runstrue.virtualdeck.zero_phase import middle, response, spectra

Array = NDArray[np.float64]
Piece = Callable[[int], Array]
"""Takes the number of a stretch and returns it, shape (channel, frame)."""

BAND_HZ = (20.0, 20_000.0)
FINE = 3
"""At twice the rate of 48 kHz the fifth harmonic of 16 kHz would fold onto it."""
PASSES, STOPS = 0.45, 0.49
"""Of the rate: there the chain falls off, as a deck does and as folding demands."""
BLOCK_HZ = 5.0
"""Direct current that even harmonics bring is kept back from here on down."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What a chain is run at.

    Parameters
    ----------
    reference_peak : float
        Peak of a sine at the reference level, full scale ±1.
    rate_hz : float
    channels, seed : int
    speed_ratio : float
        Played over nominal speed, without flutter.
    tape_us : (float, float or None) or None
        Time constants of a tape that comes from elsewhere; None: recorded here.
    """

    reference_peak: float
    rate_hz: float
    channels: int
    seed: int
    speed_ratio: float
    tape_us: TimeConstants | None

    @property
    def here(self) -> bool:
        """Whether the tape was recorded on this deck."""
        return self.tape_us is None


class ChainRun:
    """A chain that is ready to run.

    Parameters
    ----------
    chain : Chain
    setting : Setting
    stretch : int
        Frames of each piece; a power of two.
    """

    def __init__(self, chain: Chain, setting: Setting, stretch: int) -> None:
        self.chain, self.setting = chain, setting
        self._stretch, self._half, self._size = stretch, stretch // 2, 2 * stretch
        saturation = chain.record.saturation if setting.here else None
        self.law = Law.of(saturation, setting.reference_peak) if saturation else None
        self._companding = Companding(setting.reference_peak, setting.rate_hz)
        # filters at half the stretch either side
        self._into = self._response(self._gain_into)
        if self.law:
            self._own, self._leak = self._outward(self._gain_out_of, FINE)
        else:
            self._own, self._leak = self._outward(
                lambda f: self._gain_into(f) * self._gain_out_of(f), 1
            )

    def run(self, fed: Piece, level: Piece, beside: Piece | None, old: Piece | None) -> Iterator[
        Array
    ]:  # fmt: skip
        """Yield the output, stretch by stretch and without end.

        Parameters
        ----------
        fed : callable
            What was fed or is on the tape.
        level : callable
            Gain over time, of everything on the tape.
        beside : callable or None
            What is printed on it, not yet shaped.
        old : callable or None
            What was left on it, as it comes out.
        """
        compander, here = self.chain.compander, self.setting.here
        stretches: Iterator[Array] = (fed(number) for number in itertools.count())
        if compander and compander.recording and here:
            stretches = self._companding.recorded(stretches)
        stretches = self._saturated(stretches) if self.law else self._filtered(stretches)
        if self.chain.tape.modulation and here:
            stretches = self._modulated(stretches)
        stretches = (one * level(number) for number, one in enumerate(stretches))
        if beside:
            stretches = (a + b for a, b in zip(stretches, self._printed(beside), strict=False))
        if old:
            stretches = (one + old(number) for number, one in enumerate(stretches))
        if self.chain.replay.noise:
            stretches = (a + b for a, b in zip(stretches, self._noise(), strict=False))
        if compander and compander.playing:
            stretches = self._companding.played(stretches, compander.level_error_db)
        gains = np.array([self.gain_of(channel) for channel in range(self.setting.channels)])
        return (one * gains[:, None] for one in stretches)

    def gain_of(self, channel: int) -> float:
        """Gain of a channel; the last one told counts for all further ones."""
        told_db = self.chain.replay.gains_db
        return float(10 ** (told_db[min(channel, len(told_db) - 1)] / 20))

    def noise_scale(self) -> float:
        """What the shape of the noise is multiplied with, power per Hz."""
        noise = self.chain.replay.noise
        if noise is None:
            return 0.0
        # on a logarithmic grid, since the shape is steep below
        log_hz = np.linspace(math.log(BAND_HZ[0]), math.log(BAND_HZ[1]), 20_001)
        middles = np.exp((log_hz[:-1] + log_hz[1:]) / 2)
        area = float(np.sum(noise_shape(noise, middles) * middles) * (log_hz[1] - log_hz[0]))
        return self.setting.reference_peak**2 / 2 * 10 ** (-noise.ratio_db / 10) / area

    def gain_into(self, played_hz: Array) -> Array:
        """Gain from the input to where the tape saturates, without the lift of treble."""
        record, nominal_hz = self.chain.record, played_hz / self.setting.speed_ratio
        if not self.setting.here:
            return np.ones(played_hz.shape)
        return np.asarray(10 ** (record.gain_db / 20) * shelf(record.treble, nominal_hz))

    def gain_out_of(self, played_hz: Array) -> Array:
        """Gain from there to the output, without the lift being undone."""
        tape_us = self.setting.tape_us or self.chain.record.equalisation_us
        return replayed(self.chain, tape_us, self.setting.speed_ratio, played_hz)

    def lift(self, played_hz: Array) -> Array:
        """Lift of treble around the saturation."""
        nominal_hz = played_hz / self.setting.speed_ratio
        return self.law.lift(nominal_hz) if self.law else np.ones(played_hz.shape)

    def _gain_into(self, f: Array) -> Array:
        return self.gain_into(f) * self.lift(f) * _band(f, self.setting.rate_hz)

    def _gain_out_of(self, f: Array) -> Array:
        return self.gain_out_of(f) / self.lift(f) * _band(f, self.setting.rate_hz)

    def _outward(self, gain: Callable[[Array], Array], times: int) -> tuple[Array, Array | None]:
        """Return the response of each channel to itself and to the other one."""
        talk = self.chain.replay.crosstalk
        own = self._response(gain, times)
        if talk is None or self.setting.channels != 2:
            return own, None
        return own, self._response(lambda f: gain(f) * across(talk, f), times, odd=True)

    def _response(self, gain: Callable[[Array], Array], times: int = 1, odd: bool = False) -> Array:
        return response(
            gain, times * self._half, times * self._size, times * self.setting.rate_hz, odd
        )

    def _mixed(self, lines: NDArray[np.complex128]) -> NDArray[np.complex128]:
        """Filter each channel and let some of the other one through."""
        kept = slice(self._size // 2 + 1)  # of the finer rate too, for nothing is left above
        mixed = lines[:, kept] * self._own[kept]
        return mixed if self._leak is None else mixed + lines[::-1, kept] * self._leak[kept]

    def _filtered(self, stretches: Iterator[Array]) -> Iterator[Array]:
        for lines in spectra(stretches, self._half):
            yield middle(self._mixed(lines), self._size, self._half)

    def _shaped(self, stretches: Iterator[Array], shape: Array) -> Iterator[Array]:
        for lines in spectra(stretches, self._half):
            yield middle(lines * shape, self._size, self._half)

    def _saturated(self, stretches: Iterator[Array]) -> Iterator[Array]:
        assert self.law is not None
        for lines in spectra(self._bent(stretches), FINE * self._half):
            yield middle(self._mixed(lines) / FINE, self._size, self._half)

    def _bent(self, stretches: Iterator[Array]) -> Iterator[Array]:
        """Saturate at three times the rate."""
        law = self.law
        assert law is not None
        turn = math.exp(-2 * math.pi * BLOCK_HZ / (FINE * self.setting.rate_hz))
        share = (1 + turn) / 2
        memory = np.zeros((self.setting.channels, 1))
        for lines in spectra(stretches, self._half):
            fine = FINE * fft.irfft(lines * self._into, FINE * self._size, axis=1)
            fine = fine[:, FINE * self._half : -FINE * self._half]
            bent = law.bent(fine)
            if law.bow:
                even, memory = lfilter(
                    [share, -share], [1, -turn], law.bow * fine**2, axis=1, zi=memory
                )
                bent += even
            yield bent

    def _modulated(self, stretches: Iterator[Array]) -> Iterator[Array]:
        modulation = self.chain.tape.modulation
        assert modulation is not None
        corner_hz, rate_hz = modulation.corner_hz, self.setting.rate_hz
        area = corner_hz * math.atan(rate_hz / 2 / corner_hz)
        density = 10 ** (-modulation.ratio_db / 10) / area
        shape = self._response(lambda f: np.sqrt(1 / (1 + (f / corner_hz) ** 2)))
        swings = self._shaped(self._white(8, density), shape)
        return (one * (1 + swing) for one, swing in zip(stretches, swings, strict=False))

    def _printed(self, beside: Piece) -> Iterator[Array]:
        echo = self.chain.tape.print_through
        assert echo is not None
        speed, ratio = self.chain.speed_mm_per_s, self.setting.speed_ratio
        stretches: Iterator[Array] = (beside(number) for number in itertools.count())
        shape = self._response(
            lambda f: printed(echo, speed, f / ratio) * self.gain_into(f) * self.gain_out_of(f)
            * _band(f, self.setting.rate_hz)
        )  # fmt: skip
        return self._shaped(stretches, shape)

    def _noise(self) -> Iterator[Array]:
        noise = self.chain.replay.noise
        assert noise is not None
        shape = self._response(lambda f: np.sqrt(noise_shape(noise, f)))
        return self._shaped(self._white(7, self.noise_scale()), shape)

    def _white(self, purpose: int, density_per_hz: float) -> Iterator[Array]:
        channels = range(self.setting.channels)
        draws = [np.random.default_rng([self.setting.seed, purpose, one]) for one in channels]
        deviation = math.sqrt(density_per_hz * self.setting.rate_hz / 2)
        while True:
            yield deviation * np.stack([one.standard_normal(self._stretch) for one in draws])


def _band(frequencies_hz: Array, rate_hz: float) -> Array:
    """1 up to 0.45 of the rate, a raised cosine to 0 at 0.49."""
    along = np.clip((frequencies_hz / rate_hz - PASSES) / (STOPS - PASSES), 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * along))
