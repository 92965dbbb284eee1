"""What a chain does, by formula: the truth that measurements are held against.

Levels are in dB against a sine at the reference level. `fed` levels are as a programme declares
them; frequencies are as they are declared (nominal), and are played at the deck's speed.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from scipy.integrate import quad

from runstrue.errors import InputError
from runstrue.virtualdeck.chain_run import ChainRun
from runstrue.virtualdeck.compander import lift_db, share, undone_db
from runstrue.virtualdeck.losses import across, noise_shape
from runstrue.virtualdeck.saturation import LOUDEST, Law, bend_for

Sounds = Literal["both", "one"]


class ChainTruth:
    """The truth about one chain in one performance.

    Parameters
    ----------
    run : ChainRun
    steady : sequence of float
        Gain of each channel besides the chain: level and imbalance of the deck.
    skew_us : float
        How much the second channel trails the first: where both sound, crosstalk depends on it.
    """

    def __init__(self, run: ChainRun, steady: tuple[float, ...], skew_us: float) -> None:
        self._run, self._steady, self._skew_us = run, steady, skew_us
        self._reference = run.setting.reference_peak

    def level_db(
        self, nominal_hz: float, fed_db: float = -20.0, channel: int = 0, sounds: Sounds = "both"
    ) -> float:
        """Level at the output of a steady tone.

        Parameters
        ----------
        nominal_hz, fed_db : float
        channel : int
        sounds : {'both', 'one'}
            Whether the other channel sounds too: crosstalk then adds a little.
        """
        fed_db += self._lifted_db(nominal_hz, fed_db)
        out_db = _db(self._first(nominal_hz, fed_db) / self._reference)
        if sounds == "both":
            out_db += self._joined_db(nominal_hz, channel)
        out_db -= self._lowered_db(nominal_hz, out_db)
        return out_db + self._after_db(channel)

    def gain_db(
        self,
        nominal_hz: float,
        fed_db: float = -20.0,
        channel: int = 0,
        reference_hz: float = 315.0,
    ) -> float:
        """Response, both channels sounding: against that at the reference frequency."""
        return self.level_db(nominal_hz, fed_db, channel) - self.level_db(
            reference_hz, fed_db, channel
        )

    def third_db(self, nominal_hz: float, fed_db: float) -> float:
        """Third harmonic against the fundamental, left channel, both sounding; negative."""
        return self._harmonic_db(3, nominal_hz, fed_db)

    def second_db(self, nominal_hz: float, fed_db: float) -> float:
        """Second harmonic likewise."""
        return self._harmonic_db(2, nominal_hz, fed_db)

    def mol_db(self, nominal_hz: float = 315.0, third: float = 0.03) -> float:
        """Output level, left channel, both sounding, where the third harmonic is this share."""
        law = self._law()
        peak = math.sqrt(bend_for(third / self._harmonic_weight(3, nominal_hz)) / law.curve)
        return self._limit_db(nominal_hz, law.first(peak))

    def sol_db(self, nominal_hz: float = 10_000.0) -> float:
        """Largest output level, left channel, both sounding."""
        law = self._law()
        return self._limit_db(nominal_hz, law.first(math.sqrt(LOUDEST / law.curve)))

    def separation_db(self, nominal_hz: float) -> float:
        """How far the other channel lies below the one that sounds; equal gains, soft tones."""
        talk = self._run.chain.replay.crosstalk
        if talk is None:
            return math.inf
        return -_db(float(across(talk, np.array([self._played(nominal_hz)]))[0]))

    def noise_density_per_hz(self, played_hz: float, channel: int = 0) -> float:
        """Power density of the chain's noise, full scale² per Hz.

        With noise reduction on while playing it holds for silence, where the lift is all but
        full: to some 0.1 dB.
        """
        noise = self._run.chain.replay.noise
        if noise is None:
            return 0.0
        density = self._run.noise_scale() * float(noise_shape(noise, np.array([played_hz]))[0])
        compander = self._run.chain.compander
        if compander and compander.playing:
            density *= 10 ** (-float(share(np.array([played_hz]))[0]))
        return density * self._run.gain_of(channel) ** 2

    def noise_db(self, low_hz: float = 20.0, high_hz: float = 20_000.0, channel: int = 0) -> float:
        """Noise in a band against the reference level (of the stimulus, not the output)."""
        power, _ = quad(
            lambda x: self.noise_density_per_hz(math.exp(x), channel) * math.exp(x),
            math.log(low_hz), math.log(high_hz), limit=200,
        )  # fmt: skip
        return 10 * math.log10(power / (self._reference**2 / 2)) if power else -math.inf

    def modulation_noise_db(self, played_hz: float, left_out_hz: float) -> float:
        """A tone over the noise that it brings, outside ± so many Hz around it; positive."""
        modulation = self._run.chain.tape.modulation
        if modulation is None:
            return math.inf
        corner, rate = modulation.corner_hz, self._run.setting.rate_hz
        area = math.atan(rate / 2 / corner)

        def between(low_hz: float, high_hz: float) -> float:
            """Share of the noise that swings so fast, as one of two side bands."""
            return (math.atan(high_hz / corner) - math.atan(low_hz / corner)) / area / 2

        above = between(left_out_hz, 20_000 - played_hz)
        below = between(left_out_hz, played_hz - 20)
        # what swings faster than the tone folds up from below zero
        folded = between(played_hz + 20, played_hz + 20_000)
        folded -= between(2 * played_hz - left_out_hz, 2 * played_hz + left_out_hz)
        return modulation.ratio_db - 10 * math.log10(above + below + folded)

    def lift_db(self, nominal_hz: float, fed_db: float) -> float:
        """What the recording half of the noise reduction adds."""
        return self._lifted_db(nominal_hz, fed_db)

    def old_peak(self) -> float:
        """Peak, at the output, of the tone that was on the tape before."""
        erasure = self._run.chain.tape.erasure
        if erasure is None or not erasure.old_hz:
            return 0.0
        level_db = erasure.old_level_db - erasure.depth_db
        played = np.array([self._played(erasure.old_hz)])
        return self._reference * float(10 ** (level_db / 20) * self._run.gain_out_of(played)[0])

    def _harmonic_db(self, order: int, nominal_hz: float, fed_db: float) -> float:
        law = self._law()
        peak = self._peak(nominal_hz, fed_db)
        made = law.third(peak) if order == 3 else law.second(peak)
        if made == 0:
            return -math.inf
        return _db(self._harmonic_weight(order, nominal_hz) * made / law.first(peak))

    def _harmonic_weight(self, order: int, nominal_hz: float) -> float:
        """Gain of a harmonic against its fundamental, from the tape to the output."""
        joined_db = self._joined_db(order * nominal_hz, 0) - self._joined_db(nominal_hz, 0)
        gains = self._gain(order * nominal_hz, "out") / self._gain(nominal_hz, "out")
        return float(gains * 10 ** (joined_db / 20))

    def _limit_db(self, nominal_hz: float, peak: float) -> float:
        """Output level of a tone with this peak behind the law."""
        out_db = _db(peak * self._gain(nominal_hz, "out") / self._reference)
        return out_db + self._joined_db(nominal_hz, 0) + self._after_db(0)

    def _peak(self, nominal_hz: float, fed_db: float) -> float:
        """Peak at the law."""
        return self._reference * 10 ** (fed_db / 20) * self._gain(nominal_hz, "in")

    def _first(self, nominal_hz: float, fed_db: float) -> float:
        peak = self._peak(nominal_hz, fed_db)
        law = self._run.law
        return (law.first(peak) if law else peak) * self._gain(nominal_hz, "out")

    def _gain(self, nominal_hz: float, way: Literal["in", "out"]) -> float:
        played = np.array([self._played(nominal_hz)])
        lift = float(self._run.lift(played)[0])
        if way == "in":
            return float(self._run.gain_into(played)[0]) * lift
        return float(self._run.gain_out_of(played)[0]) / lift

    def _lifted_db(self, nominal_hz: float, fed_db: float) -> float:
        compander = self._run.chain.compander
        if compander is None or not compander.recording or not self._run.setting.here:
            return 0.0
        there = float(share(np.array([self._played(nominal_hz)]))[0])
        return there * float(lift_db(np.array(fed_db + 10 * math.log10(max(there, 1e-12)))))

    def _lowered_db(self, nominal_hz: float, arriving_db: float) -> float:
        compander = self._run.chain.compander
        if compander is None or not compander.playing:
            return 0.0
        there = float(share(np.array([self._played(nominal_hz)]))[0])
        treble_db = arriving_db + 10 * math.log10(max(there, 1e-12))
        return there * undone_db(treble_db, there, compander.level_error_db)

    def _joined_db(self, nominal_hz: float, channel: int) -> float:
        """What the other channel adds, a quarter turn ahead and as much late as it trails."""
        talk = self._run.chain.replay.crosstalk
        if talk is None or self._run.setting.channels != 2:
            return 0.0
        other = float(across(talk, np.array([self._played(nominal_hz)]))[0])
        late = 2e-6 * math.pi * nominal_hz * self._skew_us * (-1 if channel else 1)
        return _db(math.hypot(1 + other * math.sin(late), other * math.cos(late)))

    def _after_db(self, channel: int) -> float:
        return _db(self._run.gain_of(channel) * self._steady[channel])

    def _played(self, nominal_hz: float) -> float:
        return nominal_hz * self._run.setting.speed_ratio

    def _law(self) -> Law:
        law = self._run.law
        if law is None:
            raise InputError(
                "This chain does not saturate", "a tape recorded on a deck with `Saturation`"
            )
        return law


def _db(ratio: float) -> float:
    return 20 * math.log10(ratio) if ratio > 0 else -math.inf
