"""Hubs and tape: what the packs of a transport are made of.

From two of length, thickness and full diameter the third follows: L h = π (R² − r₀²).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from runstrue.quantity import Quantity
from runstrue.transport.description import Tape
from runstrue.transport.known import Known
from runstrue.transport.pack import half_mm, pack_radius_mm, radius_shares
from runstrue.transport.turning import Pack, PackSide

# Length in m and thickness in µm, half way and half width, of usual cassettes: lengths and
# thicknesses differ by make (C60 86 to 90 m and 16 to 18 µm, C90 129 to 135 m and 11 to 12 µm,
# C120 172 m and 9 µm, C46 68 m and 17 µm; the last from memory).
CASSETTES: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "C46": ((68.0, 2.0), (17.0, 1.0)),
    "C60": ((88.0, 2.0), (17.0, 1.0)),
    "C90": ((132.0, 3.0), (11.5, 0.5)),
    "C120": ((172.0, 4.0), (9.0, 0.5)),
}
# Outer diameter of a cassette's hub in mm, half way and half width (from memory).
CASSETTE_HUB = (22.0, 0.6)


@dataclass(frozen=True, slots=True)
class Spool:
    """Both packs.

    Parameters
    ----------
    take_up, supply : Pack
    remarks : tuple of str
        What was taken because nobody said it.
    """

    take_up: Pack
    supply: Pack
    remarks: tuple[str, ...] = ()

    def pack(self, side: PackSide) -> Pack:
        """Return one of them."""
        return self.take_up if side == "take-up" else self.supply

    def half_radius(self, side: PackSide) -> Known:
        """Return its radius in mm with half the tape played."""
        pack = self.pack(side)
        return Known(
            pack_radius_mm(pack, half_mm(pack)),
            {name: share for name, share in radius_shares(pack, half_mm(pack)) if share},
        )


def spool_of(tape: Tape | None, speed: Quantity | None) -> Spool | None:
    """Put hub and tape together; None where too little is known of them."""
    if tape is None:
        return None
    remarks = []
    length, thickness, hub = tape.length, tape.thickness, tape.hub
    usual = CASSETTES.get(tape.name.upper().replace(" ", "").replace("-", ""))
    if usual:
        if hub is None:
            hub = _half_width(*CASSETTE_HUB, 1.0)
            remarks.append(f"bare hub, {CASSETTE_HUB[0]:g} ± {CASSETTE_HUB[1]:g} mm")
        if length is None and (thickness is None or tape.full is None):
            length = _half_width(*usual[0], 1000.0)
            remarks.append(f"length of a {tape.name}, {usual[0][0]:g} ± {usual[0][1]:g} m")
        if thickness is None and tape.full is None:
            thickness = _half_width(*usual[1], 1e-3)
            remarks.append(f"tape of a {tape.name}, {usual[1][0]:g} ± {usual[1][1]:g} µm thick")
    if hub is None:
        return None
    if tape.full is not None and (length is None) != (thickness is None):
        length, thickness = _third(tape.full, hub, length, thickness)
    if length is None or thickness is None:
        return None
    supply_hub = tape.supply_hub or hub
    return Spool(
        _pack("take-up", hub, thickness, length),
        _pack("supply", supply_hub, thickness, length),
        tuple(remarks),
    )


def _pack(side: PackSide, hub: Quantity, thickness: Quantity, length: Quantity) -> Pack:
    return Pack(
        side,
        Quantity(hub.value / 2, "mm", hub.u / 2),
        Quantity(thickness.value * 1000, "µm", thickness.u * 1000),
        Quantity(length.value / 1000, "m", length.u / 1000),
    )


def _third(
    full: Quantity, hub: Quantity, length: Quantity | None, thickness: Quantity | None
) -> tuple[Quantity, Quantity]:
    """Return length and thickness, one of them from the other and the full pack."""
    area = math.pi / 4 * (full.value**2 - hub.value**2)
    u_area = math.pi / 2 * math.hypot(full.value * full.u, hub.value * hub.u)
    known = length if length is not None else thickness
    assert known is not None
    found = area / known.value
    u = found * math.hypot(u_area / area, known.u / known.value)
    other = Quantity(found, "mm", u)
    return (known, other) if length is not None else (other, known)


def _half_width(middle: float, half: float, factor: float) -> Quantity:
    return Quantity(middle * factor, "mm", half * factor / math.sqrt(3))
