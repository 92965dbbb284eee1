"""Where the wheels of a transport stand, and how its belts lie over them."""

from __future__ import annotations

from collections.abc import Mapping

from runstrue.transport.belt_path import Pulley
from runstrue.transport.description import Belt, Transport
from runstrue.transport.equations import wheel_names
from runstrue.transport.known import Known

Spot = tuple[float, float]


def given_spots(transport: Transport) -> dict[str, Spot]:
    """Return the places of the axes that are given, in mm, by shaft and roller."""
    places = {one.id: one.place for one in transport.shafts}
    places |= {one.id: one.place for one in transport.rollers}
    return {key: (at[0].value, at[1].value) for key, at in places.items() if at is not None}


def pulleys_of(
    transport: Transport, belt: Belt, values: Mapping[str, Known], spots: Mapping[str, Spot]
) -> tuple[list[Pulley], float] | None:
    """Return a belt's pulleys, and its thickness in mm, for `belt_path`.

    Parameters
    ----------
    transport : Transport
    belt : Belt
    values : mapping of str to Known
        Figures of `runstrue.transport.equations`.
    spots : mapping of str to (x, y)
        Places of the axes in mm, by shaft.

    Returns
    -------
    (list of Pulley, float) or None
        None where a place or a size is not known.
    """
    thickness = values.get(f"thickness.{belt.id}")
    thick_mm = thickness.value if thickness else 0.0
    names = wheel_names(transport)
    pulleys = []
    for wheel in belt.over:
        shaft, _ = transport.wheel(wheel)
        running = values.get(f"running.{belt.id}.{wheel}")
        if running is None or shaft.id not in spots or running.value <= thick_mm:
            return None
        x, y = spots[shaft.id]
        side = -1 if wheel in belt.outside else 1
        pulleys.append(Pulley(x, y, (running.value - thick_mm) / 2, side, names[wheel]))
    return pulleys, thick_mm


def radius_of(wheel_id: str, values: Mapping[str, Known]) -> float | None:
    """Return the radius of a wheel as it would be drawn, in mm; None where it is not known."""
    found = values.get(f"diameter.{wheel_id}")
    if found is None:
        running = [one for name, one in values.items() if _is_running(name, wheel_id)]
        found = running[0] if running else None
    return found.value / 2 if found else None


def _is_running(name: str, wheel_id: str) -> bool:
    return name.startswith("running.") and name.partition(".")[2].partition(".")[2] == wheel_id
