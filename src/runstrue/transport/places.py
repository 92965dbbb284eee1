"""How much out of true moves the tape by 1 %: the wheels and belts between motor and capstan.

    capstan, pulley, flywheel rim   a wheel of radius r that is off its axis by e runs at r ± e
                                    where the drive leaves or enters it: e / r
    idler                           it takes the drive in and passes it on, so its two places count
                                    together: 2 sin(half the angle between them) · e / r
    belt                            where it is thicker by d it runs at a diameter larger by d on
                                    the pulley, and a while later on the flywheel

Small errors, so first order. A wheel that hangs on the drive but does not lie between motor and
capstan moves the tape by no law as plain as these, nor does a roller that the tape turns; such
have no place here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from runstrue.quantity import Quantity
from runstrue.transport.description import Belt, Transport
from runstrue.transport.drive import Step
from runstrue.transport.known import Known
from runstrue.transport.turning import Place

UM_PER_PERCENT_OF_MM = 10.0
"""1 % of 1 mm, in µm."""

# Where the axes' places are not given: the two touching points of an idler are a quarter to half a
# turn apart, which makes 1 / (2 sin(α / 2)) 0.71 to 0.5: the middle of that, and its half width.
USUAL_IDLER = ((math.sqrt(0.5) + 0.5) / 2, (math.sqrt(0.5) - 0.5) / 2)


def capstan_place(diameter: Known, name: str) -> Place:
    """Return the place on a capstan."""
    return Place(name, _um(diameter.times(Known(0.5))))


def wheel_places(
    transport: Transport,
    steps: tuple[Step, ...],
    values: Mapping[str, Known],
    names: Mapping[str, str],
) -> dict[str, dict[str, Place]]:
    """Return the places by shaft and wheel, for the wheels of one drive.

    Parameters
    ----------
    transport : Transport
    steps : tuple of Step
        From motor to capstan.
    values : mapping of str to Known
        Figures of `runstrue.transport.equations`.
    names : mapping of str to str
        Of the wheels.
    """
    found: dict[str, dict[str, Place]] = {}
    used = [(wheel, step) for step in steps for wheel in (step.out_of, step.into)]
    for wheel, step in used:
        shaft, _ = transport.wheel(wheel)
        both = sum(one == wheel for one, _ in used) == 2
        diameter = _running(step, wheel, values)
        if diameter is None:
            continue
        um = _um(diameter.times(Known(0.5)))
        if both:
            um = _passed_on(transport, steps, wheel, um)
        found.setdefault(shaft.id, {})[wheel] = Place(names[wheel], um)
    return found


def belt_place(belt: Belt, steps: tuple[Step, ...], values: Mapping[str, Known]) -> Place | None:
    """Return the place for the thickness of a belt; None where it does not drive the capstan.

    Notes
    -----
    A belt thicker by d everywhere moves the tape by d (1/(d_m + t) − 1/(D_f + t)), pulley and
    flywheel; one that is thicker in part does so by anything from that to the sum of both, as the
    thick part reaches the flywheel earlier or later. Half way between is taken, the rest is in the
    uncertainty. A half swing of thickness counts like a change of that size.
    """
    step = next((one for one in steps if one.by is belt), None)
    if step is None:
        return None
    first, second = (_running(step, wheel, values) for wheel in (step.out_of, step.into))
    if first is None or second is None:
        return None
    small, large = sorted((first, second), key=lambda one: one.value)
    um = UM_PER_PERCENT_OF_MM * small.value
    relative = math.hypot(small.value / large.value / math.sqrt(3), small.relative_u)
    return Place(f"thickness of the {belt.name}", Quantity(um, "µm", um * relative))


def _running(step: Step, wheel: str, values: Mapping[str, Known]) -> Known | None:
    """Diameter at which the drive takes hold of a wheel; None for gears and where unknown."""
    if isinstance(step.by, Belt):
        return values.get(f"running.{step.by.id}.{wheel}")
    return None if step.by.by_teeth else values.get(f"diameter.{wheel}")


def _passed_on(transport: Transport, steps: tuple[Step, ...], wheel: str, um: Quantity) -> Quantity:
    """Return the place of a wheel that takes the drive in and passes it on."""
    before = next(one for one in steps if one.into == wheel)
    after = next(one for one in steps if one.out_of == wheel)
    here = transport.wheel(wheel)[0].place
    come = transport.wheel(before.out_of)[0].place
    go = transport.wheel(after.into)[0].place
    factor, half = USUAL_IDLER
    if here and come and go:
        first, second = (
            math.atan2(one[1].value - here[1].value, one[0].value - here[0].value)
            for one in (come, go)
        )
        factor, half = 1 / max(abs(2 * math.sin((first - second) / 2)), 1e-3), 0.0
    relative = math.hypot(um.u / um.value, half / math.sqrt(3) / factor)
    return Quantity(um.value * factor, "µm", um.value * factor * relative)


def _um(radius: Known) -> Quantity:
    um = radius.value * UM_PER_PERCENT_OF_MM
    return Quantity(um, "µm", um * radius.relative_u)
