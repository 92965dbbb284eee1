"""A virtual deck from what turns in a transport: faulty parts, true sizes, and the speed they make.

Every part follows the tape's slow travel (speed error and drift, not the flutter itself), a pack
turns (r − r₀) / h times as it grows or shrinks, and the pulses of the mains keep their own time.
What is wrong with a part moves the speed at multiples of its turn. All of it is closed: the phase
of every part is known at any time.

The sizes of a real transport are not those of its description. `true_sizes` draws a set of them
from the description's own uncertainties; a size that several parts share moves all of them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError
from runstrue.result import Deviation
from runstrue.transport.turning import Pack, Turning
from runstrue.virtualdeck.deck import Component, Harmonic, Hiss, Hub, Unrest, VirtualDeck

Array = NDArray[np.float64]
Shape = Literal["eccentric", "oval", "bump"]

SHAPES: dict[Shape, tuple[tuple[int, float, float], ...]] = {
    "eccentric": ((1, 1.0, 0.0), (2, 0.08, 0.2)),
    "oval": ((2, 1.0, 0.0), (1, 0.15, 0.4)),
    "bump": tuple((m, math.exp(-(((m - 1) / 3.2) ** 2)), 0.03 * m) for m in range(1, 7)),
}
"""Multiple, share of the peak, phase in turns. A bump is a pulse of about a tenth of the turn."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one part.

    Parameters
    ----------
    part : str
        Id of the turning.
    peak_percent : float
        Peak speed deviation of the harmonic whose share is 1.
    shape : {'eccentric', 'oval', 'bump'}
    phase_turns : float
        Where the part stands at the beginning.
    """

    part: str
    peak_percent: float
    shape: Shape = "eccentric"
    phase_turns: float = 0.0


@dataclass(frozen=True, slots=True)
class Mechanism:
    """A transport with faults, running.

    Parameters
    ----------
    turnings : tuple of Turning
        At the nominal speed.
    faults : tuple of Fault
    speed_mm_s : float
        Nominal tape speed.
    sizes : mapping of str to float
        How far each size is off its description, in its standard uncertainties.
    speed_error_percent, drift_percent_per_min : float
    played_s : float
        Tape that has gone by at the beginning, in s at nominal speed.

    Raises
    ------
    InputError
        When a fault names a part that is not there.
    """

    turnings: tuple[Turning, ...]
    faults: tuple[Fault, ...]
    speed_mm_s: float
    sizes: Mapping[str, float] = field(default_factory=dict)
    speed_error_percent: float = 0.0
    drift_percent_per_min: float = 0.0
    played_s: float = 0.0

    def __post_init__(self) -> None:
        known = {one.id for one in self.turnings}
        for fault in self.faults:
            if fault.part not in known:
                raise InputError(f"A fault of '{fault.part}' was asked for", "a part is needed")

    def deviation_percent(self, times_s: Array) -> Array:
        """Deviation of the tape speed from nominal at these times, in %."""
        total = self.speed_error_percent + self.drift_percent_per_min / 60 * times_s
        for fault in self.faults:
            turned = self.turns(fault.part, times_s) + fault.phase_turns
            for multiple, share, phase in SHAPES[fault.shape]:
                angle = 2 * math.pi * (multiple * turned + phase)
                total = total + fault.peak_percent * share * np.sin(angle)
        return np.asarray(total)

    def turns(self, part: str, times_s: Array) -> Array:
        """Turns of a part since the beginning."""
        one = self._turning(part)
        if not one.follows_tape:
            return self.nominal_rate_hz(part) * times_s
        travel_s = self.travel_s(times_s)
        if one.pack is None:
            return self.nominal_rate_hz(part) * travel_s
        start_mm = self._radius_mm(one.pack, np.zeros(1))
        growth_mm = self._radius_mm(one.pack, travel_s) - start_mm
        signed_mm = self._thickness_mm(one.pack) * (1 if one.pack.side == "take-up" else -1)
        return np.asarray(self._per_hub(one) * growth_mm / signed_mm)

    def rate_hz(self, part: str, time_s: float) -> float:
        """Turns a second at this time, as a finite difference over a millisecond."""
        first, last = self.turns(part, np.array([time_s - 5e-4, time_s + 5e-4]))
        return float(last - first) / 1e-3

    def nominal_rate_hz(self, part: str) -> float:
        """Rate with the true sizes at nominal speed (of a pack: as described)."""
        one = self._turning(part)
        return one.rate.value * math.exp(self._off(one))

    def travel_s(self, times_s: Array) -> Array:
        """Tape that has gone by without the flutter, in s at nominal speed."""
        bend = self.drift_percent_per_min / 60 / 200
        return np.asarray((1 + self.speed_error_percent / 100) * times_s + bend * times_s**2)

    def kept(
        self, length_s: float, *, seed: int, hiss_db: float, unrest_percent: float = 0.0,
        tone_hz: float = 3150.0, rate_hz: float = 500.0, channels: int = 2,
    ) -> Deviation:  # fmt: skip
        """Return the deviation that a reading would keep, with noise by formula.

        Parameters
        ----------
        length_s : float
        seed : int
        hiss_db : float
            Power of the tone over that of white noise from 20 Hz to 20 kHz in each channel.
        unrest_percent : float
            R.m.s. of a random waver, common to the channels, falling by 3 dB an octave from
            0.2 to 100 Hz.

        Notes
        -----
        Frequency noise of a carrier in white noise: density f² · N₀/C (H. Taub, D. L. Schilling,
        *Principles of Communication Systems*; from memory, sure).
        """
        source = np.random.default_rng(seed)
        samples = round(length_s * rate_hz)
        clean = self.deviation_percent(np.arange(samples) / rate_hz)
        rates = np.asarray(np.fft.rfftfreq(samples, 1 / rate_hz), dtype=np.float64)
        inside = (rates >= 0.2) & (rates <= 100)
        slope = np.where(inside, 1 / np.sqrt(np.maximum(rates, 0.1)), 0.0)
        waver = _coloured(slope, samples, source)
        clean = clean + unrest_percent * waver / waver.std()
        edge = np.clip((250.0 - rates) / 50.0, 0, 1)
        noise_per_hz = 10 ** (-hiss_db / 10) / (20_000 - 20)
        colour = edge * rates * math.sqrt(noise_per_hz * rate_hz / 2) * 100 / tone_hz
        rows = np.stack([clean + _coloured(colour, samples, source) for _ in range(channels)])
        names = ("left", "right")[:channels] if channels > 1 else ("mono",)
        return Deviation(rows.astype(np.float32), rate_hz, tone_hz, names)

    def deck(self, hiss_db: float, unrest_percent: float = 0.0) -> VirtualDeck:
        """Return the same as a virtual deck to play a tone on.

        Raises
        ------
        InputError
            With a drift, or pulses that keep their own time: a virtual deck has none of that.
        """
        if self.drift_percent_per_min:
            raise InputError("A drift was asked for", "a deck of even speed is needed here")
        factor = 1 + self.speed_error_percent / 100
        components, hubs = [], []
        for fault in self.faults:
            one = self._turning(fault.part)
            if one.pack is None:
                by = factor if one.follows_tape else 1.0
                shapes = tuple(Harmonic(m, s, p) for m, s, p in SHAPES[fault.shape])
                components.append(
                    Component(one.id, self.nominal_rate_hz(one.id) * by, fault.peak_percent,
                              fault.phase_turns, shapes)
                )  # fmt: skip
            else:
                ratio = self._per_hub(one)
                if abs(ratio - 1) > 1e-9:
                    raise InputError(f"A fault of the {one.name} was asked for",
                                     "a hub itself is needed here")  # fmt: skip
                shapes = tuple(Harmonic(m, s, p) for m, s, p in SHAPES[fault.shape])
                radius_mm = float(self._radius_mm(one.pack, np.zeros(1))[0])
                hubs.append(
                    Hub(one.id, fault.peak_percent, radius_mm, 1000 * self._thickness_mm(one.pack),
                        one.pack.side, self.speed_mm_s, fault.phase_turns, shapes)
                )  # fmt: skip
        waver = (Unrest("waver", unrest_percent, 0.2, 100.0, -3.01),) if unrest_percent else ()
        return VirtualDeck(
            "from a transport", self.speed_error_percent, components=tuple(components),
            hubs=tuple(hubs), unrest=waver, hiss=Hiss(hiss_db),
        )  # fmt: skip

    def _turning(self, part: str) -> Turning:
        return next(one for one in self.turnings if one.id == part)

    def _off(self, one: Turning) -> float:
        return sum(share * self.sizes.get(name, 0.0) for name, share in one.scale_shares)

    def _per_hub(self, one: Turning) -> float:
        """Turns for one of its hub: what its rate holds besides the pack."""
        assert one.pack is not None
        nominal = self.speed_mm_s / (2 * math.pi * _half_radius_mm(one.pack))
        own = [(name, share) for name, share in one.scale_shares if not _of_pack(name)]
        off = sum(share * self.sizes.get(name, 0.0) for name, share in own)
        return one.rate.value / nominal * math.exp(off)

    def _thickness_mm(self, pack: Pack) -> float:
        return 1e-3 * self._true(pack.thickness.value, pack.thickness.u, "tape thickness")

    def _radius_mm(self, pack: Pack, travel_s: Array) -> Array:
        hub_mm = self._true(pack.empty_radius.value, pack.empty_radius.u,
                            f"{pack.side} hub diameter")  # fmt: skip
        length_mm = 1000 * self._true(pack.length.value, pack.length.u, "tape length")
        held_mm = (self.played_s + travel_s) * self.speed_mm_s
        if pack.side == "supply":
            held_mm = length_mm - held_mm
        if held_mm.min() < 0:
            raise InputError("The tape ends within the record", "a longer tape is needed")
        return np.asarray(np.sqrt(hub_mm**2 + self._thickness_mm(pack) * held_mm / math.pi))

    def _true(self, value: float, u: float, name: str) -> float:
        return value + u * self.sizes.get(name, 0.0)


def true_sizes(turnings: Sequence[Turning], source: np.random.Generator) -> dict[str, float]:
    """Draw how far every size is off, in standard uncertainties; none further than 2.5."""
    names = sorted({name for one in turnings for name, _ in one.scale_shares})
    return {name: float(np.clip(source.standard_normal(), -2.5, 2.5)) for name in names}


def _half_radius_mm(pack: Pack) -> float:
    held_mm2 = pack.thickness.value * pack.length.value / 2 / math.pi
    return math.sqrt(pack.empty_radius.value**2 + held_mm2)


def _of_pack(name: str) -> bool:
    return name.endswith("hub diameter") or name in ("tape thickness", "tape length")


def _coloured(colour: Array, samples: int, source: np.random.Generator) -> Array:
    white = np.fft.rfft(source.standard_normal(samples))
    return np.asarray(np.fft.irfft(white * colour, samples), dtype=np.float64)
