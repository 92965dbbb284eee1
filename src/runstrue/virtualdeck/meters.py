"""A deck's own level meters: what each needle shows, and how a meter circuit fails.

A meter is a rectifier, a movement and their faults. The needle is a second-order system; that of
a VU meter (IEC 60268-17: 99 % after 300 ms, 1 to 1.5 % of overshoot) has the damping 0.8127 and
13.51 rad/s (worked out from an overshoot of 1.25 %). What it shows in the end is

    deflection = offset + gain · input + bend · input²,    1 at the 0 dB mark

How vintage meter circuits fail is bench lore, from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from scipy.signal import bilinear, lfilter

from runstrue.errors import InputError
from runstrue.stimulus.programme import Programme, Section
from runstrue.virtualdeck.described import Described

Array = NDArray[np.float64]

RATE_HZ = 48_000.0
DAMPING = 0.8127
NATURAL_RAD_S = 13.51
AFTER_S = 1.0
"""The needle is watched for so long after a section: bursts make it rise a little later."""


@dataclass(frozen=True, slots=True)
class Meter(Described):
    """One needle.

    Parameters
    ----------
    offset : float
        Deflection without any signal: a leaky coupling capacitor, the mechanical zero.
    gain_db : float
        Of the circuit: a trimmer. One diode of a full-wave pair that is open takes 6.02 dB by
        itself: say `half_wave`.
    bend : float
        Share of the square: a leaky diode.
    half_wave : bool
        Only the half of the wave that points up is seen, without scaling.
    quickness : float
        1 is a VU meter; 4 one whose smoothing capacitor is gone, 0.5 a stiff pivot.
    bass_hz : float
        Below it the reading falls, by a dried coupling capacitor; 0: a sound one.
    """

    offset: float = 0.0
    gain_db: float = 0.0
    bend: float = 0.0
    half_wave: bool = False
    quickness: float = 1.0
    bass_hz: float = 0.0

    def __post_init__(self) -> None:
        Described.__post_init__(self)
        self.need(self.quickness > 0, f"a quickness of {self.quickness}", "more than 0 is needed")
        self.need(self.bass_hz >= 0, f"bass from {self.bass_hz} Hz", "0 or more is needed")


@dataclass(frozen=True, slots=True)
class Shown:
    """What the needles show in one section, in dB; −inf for a needle at rest.

    Parameters
    ----------
    section : str
        Its id.
    shown_db : tuple of float
        Left, right: the highest of bursts, else where the needle stands at the end.
    """

    section: str
    shown_db: tuple[float, ...]

    @property
    def line(self) -> str:
        """As somebody writes it down: 'step-5 L -5.0 R -4.5'."""
        pairs = zip("LR", self.shown_db, strict=False)
        # a needle that stands at 0 dB was not seen at −0.0
        return f"{self.section} " + " ".join(
            f"{letter} {round(shown, 1) + 0.0:.1f}" for letter, shown in pairs
        )


def needle_readings(meters: tuple[Meter, ...], programme: Programme) -> tuple[Shown, ...]:
    """Feed a programme to a deck's meters; the reference level belongs to their 0 dB.

    Parameters
    ----------
    meters : tuple of Meter
        Left, right; one alone stands for both.
    programme : Programme
        'meters' or any other.

    Raises
    ------
    InputError
        For a deck without meters.
    """
    if not meters:
        raise InputError("The deck has no meters", "one or two are needed")
    both = meters if len(meters) > 1 else meters * 2
    return tuple(
        Shown(
            section.id,
            tuple(_reading(meter, programme, section, track) for track, meter in enumerate(both)),
        )
        for section in programme.sections
    )


def _reading(meter: Meter, programme: Programme, section: Section, track: int) -> float:
    frames = math.ceil((section.lasts_s + AFTER_S) * RATE_HZ)
    heard = programme.read(track, Fraction(section.starts_s), np.arange(frames) / RATE_HZ)
    inside = round(section.lasts_s * RATE_HZ)
    heard[inside:] = 0.0
    moved = deflection(meter, heard / 10 ** (programme.reference_dbfs / 20))
    steady = section.kind not in ("bursts", "polarity")
    seen = moved[inside - round(0.5 * RATE_HZ) : inside].mean() if steady else moved.max()
    return 20 * math.log10(seen) if seen > 1e-4 else -math.inf


def deflection(meter: Meter, samples: Array) -> Array:
    """How far the needle stands over time, 1 at the 0 dB mark.

    Parameters
    ----------
    meter : Meter
    samples : ndarray of float64, shape (frame,)
        At `RATE_HZ`; a sine of peak 1 belongs to 0 dB.
    """
    if meter.bass_hz:
        turn = math.exp(-2 * math.pi * meter.bass_hz / RATE_HZ)
        samples = lfilter([(1 + turn) / 2, -(1 + turn) / 2], [1, -turn], samples)
    seen = np.maximum(samples, 0.0) if meter.half_wave else np.abs(samples)
    level = _movement(seen * (math.pi / 2), meter.quickness)
    gain = 10 ** (meter.gain_db / 20)
    return np.asarray(meter.offset + gain * level + meter.bend * level**2)


def _movement(force: Array, quickness: float) -> Array:
    """Second-order response; 48 kHz is so far above it that the bilinear transform is exact."""
    omega = NATURAL_RAD_S * quickness
    top, bottom = bilinear([omega**2], [1, 2 * DAMPING * omega, omega**2], RATE_HZ)
    return np.asarray(lfilter(top, bottom, force))
