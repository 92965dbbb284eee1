"""Parts as candidates: where their lines would lie, how sure that is, and which are usual.

A part's rate is known as well as the sizes that it follows from. Sizes that several parts share
move these together, so each rate is carried as a logarithm that is linear in how far every size
is off (in its standard uncertainties): one line that is found makes all rates more certain.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.parts.faulty import HIGHEST
from runstrue.measure.parts.laws import CLOCK, TAPE, Law
from runstrue.measure.parts.travel import Travelled
from runstrue.transport.pack import (
    half_mm,
    nominal_speed_mm_s,
    pack_radius_mm,
    pack_rate_hz,
    radius_shares,
)
from runstrue.transport.turning import Pack, Turning

Array = NDArray[np.float64]

SPEED_SHARE = 0.0015
"""How far the record's own scale of speed may be off: the test tape's tone and the sound card's
clock (common practice, no source: ±0.3 % for a good tape, as a rectangle)."""
PLACE_S = 5.0
"""Standard uncertainty of a place of the tape that was told."""
LEAST_SHARE = 2e-4
"""A rate is never known better: belts creep and rollers give way a little differently."""
GATE = 4.0
"""Standard uncertainties within which a line is still looked at as a part's."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A turning in this record.

    Parameters
    ----------
    turning : Turning
    log_rate : float
        Logarithm of its rate in the middle of the record, per second of travel (for pulses of
        the mains: of the clock).
    shares : ndarray of float64, shape (size,)
        What one standard uncertainty of each size does to it.
    law : Law
        Of its own rate.
    """

    turning: Turning
    log_rate: float
    shares: Array
    law: Law

    @property
    def u_log(self) -> float:
        """Standard uncertainty of `log_rate`."""
        return float(np.sqrt(self.shares @ self.shares + LEAST_SHARE**2))

    def law_at(self, multiple: int) -> Law:
        """Law of the line at a multiple of its rate."""
        if not self.law.ratio:
            return self.law
        ratio = round(self.law.ratio * multiple, 9)
        return Law(self.law.kind, ratio, self.law.thickness_mm, self.law.speed_mm_s)


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """All parts of a transport in one record.

    Parameters
    ----------
    parts : tuple of Part
    sizes : tuple of str
        Names of the sizes, in the order of `Part.shares`.
    middle_s : float
        Travel from the beginning of the record at which `log_rate` holds.
    place_known : bool
        Whether it is known where the tape stood.
    """

    parts: tuple[Part, ...]
    sizes: tuple[str, ...]
    middle_s: float
    place_known: bool

    def laws_at(self, travel_hz: float, begin_s: float, length_s: float) -> list[Law]:
        """Laws that a line near this rate might follow in a stretch of the record."""
        bins = 2 / length_s
        found: dict[Law, None] = {}
        for part in self.parts:
            if part.law == TAPE:
                continue
            # anywhere on the tape, the many multiples of a hub would lie everywhere
            usual = part.turning.multiples
            for multiple in range(1, HIGHEST + 1) if self.place_known else usual:
                law = part.law_at(multiple)
                rate = multiple * math.exp(part.log_rate)
                wide = math.exp(GATE * part.u_log)
                low, high = rate / wide, rate * wide
                if law.ratio:  # it slides from one end of the stretch to the other, and before
                    ends = [begin_s - self.middle_s, begin_s + length_s - self.middle_s]
                    rates = [law.rate_after(one, gone) for one in (low, high) for gone in ends]
                    there = [one for one in rates if not math.isnan(one)]
                    low, high = min([low, *there]), max([high, *there])
                if low - bins <= travel_hz <= high + bins:
                    found[law] = None
        return list(found)


def parts_of(turnings: Sequence[Turning], record: Travelled, played_s: float | None) -> Parts:
    """Set out where each part's lines would lie in a record.

    Parameters
    ----------
    turnings : sequence of Turning
    record : Travelled
    played_s : float or None
        Tape that had gone by at the beginning, in s at nominal speed.

    Raises
    ------
    InputError
        When the tape is shorter than that.
    """
    speed_mm_s = nominal_speed_mm_s(tuple(turnings))
    rows: list[tuple[Turning, float, dict[str, float], Law]] = []
    for one in turnings:
        own = dict(one.scale_shares)
        if not one.follows_tape:
            rows.append((one, math.log(one.rate.value), own, CLOCK))
        elif one.pack is None or speed_mm_s is None:
            # a belt's or shaft's rate over travel: the scale of the speed comes in
            own["scale of the speed"] = SPEED_SHARE
            rows.append((one, math.log(one.rate.value), own, TAPE))
        else:
            law = _pack_law(one, one.pack, speed_mm_s)
            if played_s is None:
                rate, own = _anywhere(one, one.pack, own)
            else:
                played_mm = (played_s + record.middle_s) * speed_mm_s
                rate, own = _somewhere(one, one.pack, own, played_mm, speed_mm_s)
            rows.append((one, math.log(rate), own, law))
    sizes = tuple(sorted({name for _, _, own, _ in rows for name in own}))
    parts = tuple(
        Part(one, log_rate, np.array([own.get(name, 0.0) for name in sizes]), law)
        for one, log_rate, own, law in rows
    )
    return Parts(parts, sizes, record.middle_s, played_s is not None)


def refined(parts: Parts, sizes: Array, spread: Array) -> Parts:
    """Parts with what a first look has told about their sizes.

    Parameters
    ----------
    parts : Parts
    sizes : ndarray of float64, shape (size,)
        How far each is off, in its standard uncertainties.
    spread : ndarray of float64, shape (size, size)
        Covariance of that.

    Notes
    -----
    The sizes hang together now, so what follows counts in combinations of them that do not: the
    eigenvectors of the covariance.
    """
    values, vectors = np.linalg.eigh(spread)
    combined = vectors * np.sqrt(np.maximum(values, 0.0))
    told = tuple(
        Part(
            one.turning, one.log_rate + float(one.shares @ sizes), one.shares @ combined, one.law
        )
        for one in parts.parts
    )  # fmt: skip
    return Parts(told, tuple(f"combination {k + 1}" for k in range(values.size)),
                 parts.middle_s, True)  # fmt: skip


def _pack_law(one: Turning, pack: Pack, speed_mm_s: float) -> Law:
    per_hub = one.rate.value * 2 * math.pi * pack_radius_mm(pack, half_mm(pack)) / speed_mm_s
    return Law(pack.side, round(per_hub, 9), pack.thickness.value * 1e-3, speed_mm_s)


def _anywhere(one: Turning, pack: Pack, own: dict[str, float]) -> tuple[float, dict[str, float]]:
    """Rate of something that turns with a pack when nobody knows how full the pack is."""
    length_mm = 2 * half_mm(pack)
    ends = [float(pack_rate_hz(one, gone)) for gone in (0.0, length_mm)]
    rest = {name: share for name, share in own.items() if not _of_packs(name)}
    rest[f"radius of the {pack.side} pack"] = abs(math.log(ends[1] / ends[0])) / math.sqrt(12)
    return math.sqrt(ends[0] * ends[1]), rest


def _somewhere(
    one: Turning, pack: Pack, own: dict[str, float], played_mm: float, speed_mm_s: float
) -> tuple[float, dict[str, float]]:
    """Rate of something that turns with a pack, at a place of the tape."""
    for name, share in radius_shares(pack, half_mm(pack)):
        own[name] = own.get(name, 0.0) + share  # takes the share at half away again
    for name, share in radius_shares(pack, played_mm):
        own[name] = own.get(name, 0.0) - share
    radius_mm = pack_radius_mm(pack, played_mm)
    growth = pack.thickness.value * 1e-3 * speed_mm_s / (2 * math.pi * radius_mm**2)
    own["place of the tape"] = PLACE_S * growth * (-1 if pack.side == "take-up" else 1)
    return float(pack_rate_hz(one, played_mm)), own


def _of_packs(name: str) -> bool:
    return name.endswith("hub diameter") or name in ("tape thickness", "tape length")
