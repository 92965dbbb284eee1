"""What a belt's way, size and choice look like in a terminal, and as JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from typing import Any

from runstrue.cli.layout import bold, table, wrapped
from runstrue.quantity import Quantity, number_text
from runstrue.transport.belt_choice import RANGES, Job, Outcome
from runstrue.transport.belt_faults import named
from runstrue.transport.belt_path import BeltPath
from runstrue.transport.belt_section import Section, inner_diameter, lay_flat, middle_length
from runstrue.transport.belt_way import Way
from runstrue.transport.grip import GRAM_CENTIMETRE_MNM
from runstrue.transport.rubber import Band, two_figures

FORMAT = "runstrue-belt/1"


def within(quantity: Quantity, *, signed: bool = False, decimals: int | None = None) -> str:
    """Print a figure with what it lies within, 95 % sure: '312.0 ±1.2 mm'.

    The half-width is rounded to two figures, and the figure with it, unless decimals are given.
    """
    half = quantity.expanded()
    if half <= 0:
        return f"{quantity.value_text(signed=signed)} {quantity.unit}"
    if decimals is None:
        decimals = Quantity(quantity.value, "", half).decimals()
    value = number_text(quantity.value, decimals, signed=signed)
    return f"{value} ±{number_text(half, decimals)} {quantity.unit}"


def length_lines(way: Way, section: Section | None) -> Iterator[str]:
    """The length of a way, and what lies on each pulley."""
    path = way.path
    rows = [["in the grooves" if section is None else "inner circumference", within(way.inner)]]
    if section is not None:
        middle = way.inner.value + (
            0.0 if path is not None and path.crossed else math.pi * section.thickness.value
        )
        rows.append(["along the middle", within(Quantity(middle, "mm", way.inner.u))])
    yield bold(f"Way of the belt, from {way.source}") + " (± holds 95 %)"
    yield from table(rows, "<<", indent="  ")
    if path is None:
        return
    yield ""
    yield from table(
        (
            [
                one.name or f"pulley {index + 1}",
                f"{2 * one.radius_mm:.4g} mm",
                "back" if one.side < 0 and not path.crossed else "",
                f"{math.degrees(wrap):.1f}°",
                f"{run:.1f} mm",
            ]
            for index, (one, wrap, run) in enumerate(
                zip(path.pulleys, path.wraps_rad, path.straights_mm, strict=True)
            )
        ),
        "<><>>",
        ["", "diameter", "", "wrap", "free run to the next"],
    )
    if path.crossed:
        yield "The belt is crossed: its wheels turn opposite ways."
    for index, wrap in enumerate(path.wraps_rad):
        if wrap < math.radians(15):
            yield from wrapped(
                f"The belt hardly touches {named(path.pulleys, index)} ({math.degrees(wrap):.0f}°)."
            )


def size_lines(job: Job, outcome: Outcome, cautions: Sequence[str]) -> Iterator[str]:
    """What to order, and what it then does."""
    section, least, most = job.section, job.least_percent, job.most_percent
    aim = job.free_inner()
    drives = job.way.drive is not None and job.way.drive.sets_speed
    low, high = job.free_inner(most).value, job.free_inner(least).value
    yield from wrapped(
        f"{within(job.way.inner)}, from {job.way.source}", " " * 17, first="Way on the deck  "
    )
    usual = RANGES[section.kind]
    yield from wrapped(
        f"{job.aim_percent:.3g} %; {usual[0]:g} to {usual[2]:g} % is usual for a {section.kind} "
        "belt",
        " " * 17,
        first="Stretch wanted   ",
    )
    yield ""
    yield from shopping_lines(section, aim, low, high)
    yield ""
    yield bold("On the deck it then has")
    yield from table(_effect_rows(job, outcome), "<<", indent="  ")
    yield from wrapped(
        f"Rubber is known by a factor of two each way; {job.shore_a:g} Shore A is taken"
        + (f", and a load of {job.load_mnm / GRAM_CENTIMETRE_MNM:.3g} g·cm." if drives else ".")
    )
    if drives and outcome.margin is not None and outcome.margin.low < 1:
        likely = "is likely to" if outcome.margin.middle < 1 else "may"
        cautions = [f"Under this load the belt {likely} slip.", *cautions]
    yield from caution_lines(cautions)


def shopping_lines(section: Section, aim: Quantity, low: float, high: float) -> Iterator[str]:
    """What to read out to a shop: the belt, and between which sizes one will do."""
    decimals = 0 if aim.value >= 50 else 1
    yield bold("For the shop")
    yield from wrapped(
        f"{section} belt, inner circumference {number_text(aim.value, decimals)} mm "
        f"({number_text(low, decimals)} to {number_text(high, decimals)} mm will do)",
        "  ",
    )
    rows = []
    for name, convert in (("inner diameter", inner_diameter), ("lay-flat, inside", lay_flat)):
        ends = [number_text(convert(value), 1) for value in (aim.value, low, high)]
        rows.append([f"or {name}", f"{ends[0]} mm", f"({ends[1]} to {ends[2]} mm)"])
    yield from table(rows, "<><", indent="  ")


def old_belt_lines(
    section: Section, old: Quantity, found: tuple[Quantity, Quantity, Quantity]
) -> Iterator[str]:
    """What to order where there is nothing but an old belt."""
    aim, low, high = found
    yield from wrapped(within(old), " " * 17, first="Old belt, lying  ")
    yield ""
    yield from shopping_lines(section, aim, low.value, high.value)
    yield ""
    yield from wrapped(
        "How far the old belt has grown cannot be seen from it, so this is a guess: trade pages "
        "take 4 to 10 % off. A string laid once round in the grooves tells it far better: "
        "runstrue belt size --string."
    )


def choice_lines(job: Job, outcomes: Sequence[Outcome], cautions: Sequence[str]) -> Iterator[str]:
    """The belts that can be had, the one to take first."""
    speeds = any(one.speed is not None for one in outcomes)
    trims = any(one.reach for one in outcomes)
    heading = ["belt", "stretch %", "", "tension, N"]
    heading += ["speed %"] * speeds + ["trim"] * trims
    rows = []
    for one in outcomes:
        row = [
            _short(one.offer.name, 18),
            within(one.stretch, decimals=1).removesuffix(" %"),
            one.fit,
            str(one.tension).removesuffix(" N") if one.tension.middle else "none",
        ]
        if speeds:
            told = within(one.speed, signed=True, decimals=1) if one.speed is not None else ""
            row.append(told.removesuffix(" %"))
        if trims:
            row.append("unsure" if one.reach.startswith("too") else one.reach)
        rows.append(row)
    yield from wrapped(
        f"{within(job.way.inner)}, from {job.way.source}", " " * 17, first="Way on the deck  "
    )
    yield from wrapped(
        f"{job.section}, {job.aim_percent:.3g} % of stretch", " " * 17, first="Wanted           "
    )
    yield ""
    yield from table(rows, "<><<" + ">" * speeds + "<" * trims, heading)
    yield ""
    best = outcomes[0]
    yield from wrapped(verdict_words(job, best))
    for one in outcomes:
        others = _against(job, one)
        if others and one.fit not in ("does not grip", "too slack", "too tight"):
            yield from wrapped(f"{one.offer.name}: {others}.", "  ", first="  ")
    if speeds:
        yield from wrapped(
            f"± holds 95 %. Speed is against a new {job.section} belt at "
            f"{job.aim_percent:.3g} %, by the thickness (which moves the pitch line) and by creep "
            f"under {job.load_mnm / GRAM_CENTIMETRE_MNM:.3g} g·cm. Set the speed anew after a new "
            "belt in any case."
        )
    elif job.way.drive is not None and not job.way.drive.sets_speed:
        yield from wrapped("The tape's speed does not hang on this belt.")
    yield from caution_lines(cautions)


def verdict_words(job: Job, best: Outcome) -> str:
    """Say which belt to take, as one would over the counter."""
    offer = best.offer
    told = f"{offer.section}, inner circumference {offer.inner.value:.0f} mm"
    name = "" if offer.name.startswith(offer.section.kind) else f"{offer.name}: "
    if not best.suits:
        aim, high = job.free_inner(), job.free_inner(job.least_percent).value
        return (
            f"None of these suits. Ask for a {job.section} belt, inner circumference "
            f"{aim.value:.0f} mm ({job.free_inner(job.most_percent).value:.0f} to {high:.0f} mm)."
        )
    if best.fit == "fits":
        return f"Take {name}{told}."
    return f"Nearest is {name}{told}. It is {best.fit}, but will do."


def caution_lines(cautions: Sequence[str]) -> Iterator[str]:
    """Each caution in a paragraph of its own."""
    if cautions:
        yield ""
        for caution in cautions:
            yield from wrapped(caution, "  ", first="! ")


def torque_words(torque: Band) -> str:
    """Print a torque in both of the trade's units."""
    grams = torque.times(1 / GRAM_CENTIMETRE_MNM, "g·cm")
    return f"{grams} ({two_figures(torque.low)} to {two_figures(torque.high)} {torque.unit})"


def way_plain(way: Way) -> dict[str, Any]:
    """Return a way as plain values for JSON."""
    path = way.path
    return {
        "inner_circumference_mm": _plain(way.inner),
        "source": way.source,
        "pulleys": _pulleys_plain(path) if path is not None else None,
        "crossed": path.crossed if path is not None else None,
    }


def outcome_plain(outcome: Outcome) -> dict[str, Any]:
    """Return what a belt would do as plain values for JSON."""
    offer = outcome.offer
    bands = {
        "tension_n": outcome.tension,
        "bearing_n": outcome.bearing,
        "grip_mnm": outcome.grip,
        "grip_over_load": outcome.margin,
        "creep_percent": outcome.creep,
    }
    return {
        "name": offer.name,
        "section": str(offer.section),
        "inner_circumference_mm": _plain(offer.inner),
        "inner_diameter_mm": inner_diameter(offer.inner.value),
        "lay_flat_mm": lay_flat(offer.inner.value),
        "middle_length_mm": middle_length(offer.inner.value, offer.section.thickness.value),
        "stretch_percent": _plain(outcome.stretch),
        "fit": outcome.fit,
        "speed_percent": _plain(outcome.speed) if outcome.speed is not None else None,
        "trim": outcome.reach or None,
        "suits": outcome.suits,
        **{
            name: {"low": band.low, "middle": band.middle, "high": band.high} if band else None
            for name, band in bands.items()
        },
    }


def document(**parts: Any) -> str:
    """Return one JSON document."""
    plain = {"format": FORMAT, **parts}
    return json.dumps(plain, ensure_ascii=False, indent=1, allow_nan=False)


def _effect_rows(job: Job, outcome: Outcome) -> Iterator[list[str]]:
    drive = job.way.drive
    yield ["tension of each run", str(outcome.tension)]
    if outcome.bearing is not None and drive is not None:
        yield [f"pull on the {drive.motor_name}", str(outcome.bearing)]
    if outcome.grip is not None:
        yield ["grip before it slips", torque_words(outcome.grip)]
    if drive is None or not drive.sets_speed:
        return
    if outcome.margin is not None:
        yield ["that is", f"{str(outcome.margin).strip()} times the load"]
    if outcome.creep is not None:
        yield ["creep under the load", f"{outcome.creep}; goes into the speed trim"]


def _against(job: Job, one: Outcome) -> str:
    """What else speaks against a belt than its stretch."""
    said = []
    if not one.same_kind:
        said.append(f"{one.offer.section.kind}, and the deck wants {job.section.kind}")
    elif not one.same_size:
        said.append(f"{one.offer.section}, and the deck wants {job.section}")
    if one.reach == "no":
        said.append("the speed cannot be trimmed back")
    elif one.reach == "too close to call":
        said.append("whether the speed can be trimmed back is too close to call")
    if one.margin is not None and one.margin.middle < 1:
        said.append("it is likely to slip under the load")
    return "; ".join(said)


def _pulleys_plain(path: BeltPath) -> list[dict[str, Any]]:
    return [
        {
            "name": one.name or None,
            "x_mm": one.x_mm,
            "y_mm": one.y_mm,
            "diameter_mm": 2 * one.radius_mm,
            "side": "back" if one.side < 0 else "inside",
            "wrap_degrees": math.degrees(wrap),
            "free_run_mm": run,
        }
        for one, wrap, run in zip(path.pulleys, path.wraps_rad, path.straights_mm, strict=True)
    ]


def _plain(quantity: Quantity) -> dict[str, float]:
    return {"value": quantity.value, "u": quantity.u}


def _short(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"
