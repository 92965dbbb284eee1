"""Tape packs: how fast a hub turns, wherever the tape stands.

Tape of thickness h that is wound on a hub of radius r₀ fills the area between hub and rim:
L h = π (r² − r₀²), and the pack turns at v / (2 π r) (common geometry of a spiral whose turns are
thin against its radius).
"""

from __future__ import annotations

import math
from typing import overload

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.turning import Pack, Turning

Array = NDArray[np.float64]


@overload
def pack_radius_mm(pack: Pack, played_mm: float) -> float: ...
@overload
def pack_radius_mm(pack: Pack, played_mm: Array) -> Array: ...
def pack_radius_mm(pack: Pack, played_mm: float | Array) -> float | Array:
    """Radius of a pack.

    Parameters
    ----------
    pack : Pack
    played_mm : float or ndarray
        Tape that has gone from supply to take-up since the beginning, in mm: 0 to the tape's
        length.

    Returns
    -------
    float or ndarray
        In mm.

    Raises
    ------
    InputError
        When more is played than there is.
    """
    played = np.asarray(played_mm, dtype=np.float64)
    held_mm = _held_mm(pack, played)
    squared = pack.empty_radius.value**2 + held_mm * pack.thickness.value * 1e-3 / math.pi
    radius = np.sqrt(squared)
    return float(radius) if np.ndim(played_mm) == 0 else radius


def pack_rate_hz(turning: Turning, played_mm: float | Array) -> float | Array:
    """Rate of whatever turns with a pack, at the nominal tape speed, as plain numbers.

    Parameters
    ----------
    turning : Turning
        With a pack.
    played_mm : float or ndarray
        0 to the tape's length, in mm.

    Returns
    -------
    float or ndarray
        In Hz.
    """
    pack = _pack_of(turning)
    middle_mm = pack_radius_mm(pack, half_mm(pack))
    radius_mm = pack_radius_mm(pack, played_mm)
    return turning.rate.value * middle_mm / radius_mm


def pack_rate(turning: Turning, played_mm: float) -> Quantity:
    """Rate of whatever turns with a pack, at the nominal tape speed, with its uncertainty.

    Notes
    -----
    First order in the sizes of hub and tape (JCGM 100:2008, 5.1.2). What else the rate depends on,
    such as pulleys on the way to a counter, is taken over from `Turning.scale_shares`.
    """
    pack = _pack_of(turning)
    rate = float(pack_rate_hz(turning, played_mm))
    own = radius_shares(pack, played_mm)
    shared = dict(turning.scale_shares)
    for name, share in radius_shares(pack, half_mm(pack)):
        shared[name] = shared.get(name, 0.0) + share  # takes the share at half away again
    for name, share in own:
        shared[name] = shared.get(name, 0.0) - share
    return Quantity(rate, "Hz", rate * math.sqrt(sum(share**2 for share in shared.values())))


def radius_shares(pack: Pack, played_mm: float) -> tuple[tuple[str, float], ...]:
    """Relative change of the radius when a size is larger by its standard uncertainty.

    Notes
    -----
    From r² = r₀² + h s / π: dr/r = (r₀² · dr₀/r₀ + (h s / 2π) (dh/h + ds/s)) / r², where the
    length s held depends on the tape's length only for the supply pack (and for half the tape).
    """
    radius_mm = pack_radius_mm(pack, played_mm)
    hub_part = (pack.empty_radius.value / radius_mm) ** 2
    tape_part = (1 - hub_part) / 2
    length_mm = pack.length.value * 1000
    held_mm = float(_held_mm(pack, np.asarray(played_mm)))
    by_length = 1.0 if pack.side == "supply" else 0.0
    if math.isclose(played_mm, length_mm / 2):
        by_length = 0.5  # half of the tape is half of it, however long it is
    held = by_length * length_mm / held_mm if held_mm > 0 else 0.0
    return (
        (f"{pack.side} hub diameter", hub_part * _relative(pack.empty_radius)),
        ("tape thickness", tape_part * _relative(pack.thickness)),
        ("tape length", tape_part * held * _relative(pack.length)),
    )


def half_mm(pack: Pack) -> float:
    """Half of the tape, in mm."""
    return pack.length.value * 500


def nominal_speed_mm_s(turnings: tuple[Turning, ...]) -> float | None:
    """Tape speed that these turnings belong to, by a hub's rate and radius; None without one."""
    for turning in turnings:
        if turning.kind == "hub" and turning.pack is not None:
            radius_mm = pack_radius_mm(turning.pack, half_mm(turning.pack))
            return 2 * math.pi * radius_mm * turning.rate.value
    return None


def _held_mm(pack: Pack, played_mm: Array) -> Array:
    """Tape on this pack."""
    length_mm = pack.length.value * 1000
    if played_mm.size and not (played_mm.min() >= 0 and played_mm.max() <= length_mm * (1 + 1e-9)):
        seen = float(played_mm.min() if played_mm.min() < 0 else played_mm.max()) / 1000
        raise InputError(
            f"{seen:.4g} m of tape were to be played",
            f"0 to {length_mm / 1000:.4g} m are there on this tape",
            "give another place or a longer tape",
        )
    return played_mm if pack.side == "take-up" else np.maximum(length_mm - played_mm, 0.0)


def _pack_of(turning: Turning) -> Pack:
    if turning.pack is None:
        raise InputError(f"The {turning.name} turns with no tape pack", "a hub is needed")
    return turning.pack


def _relative(size: Quantity) -> float:
    return size.u / size.value
