"""The rows of the printed sheet's tables: verdicts, readings, spectral lines, budgets."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from runstrue.catalogue import KINDS
from runstrue.logbook.models import Stage
from runstrue.quantity import Budget, Quantity, number_text
from runstrue.report.paper import Cell, Culprit, Judged, Peak, Reading, Share
from runstrue.report.select import Group, Judgement, Place, Shown, place_words
from runstrue.report.told_parts import NOBODYS, RUNOUT, SHARE, UNEXPLAINED, runout_words
from runstrue.report.words import (
    MARKS,
    figure_of,
    method_of,
    name_of,
    range_of,
    table_of,
    within_of,
)
from runstrue.result import Result, occasion_of
from runstrue.samples import CHANNEL_NAMES
from runstrue.verdict.bench import chance_text
from runstrue.verdict.models import Verdict

FOUND: Stage = "as found"
LEFT: Stage = "as left"
PEAKS_SHOWN = 8
PART_DECIMALS = 3


def judged_row(row: Judgement, several: bool, *, on_sheet: bool) -> Judged:
    """Return one figure of the sheet with the verdicts of both stages."""
    limit = row.limit
    kinds = [KINDS[quantity_id] for quantity_id in limit.ids if quantity_id in KINDS]
    plus_minus = bool(kinds) and all(kind.plus_minus for kind in kinds)
    name = " or ".join(name_of(quantity_id) for quantity_id in limit.ids)
    place = place_words(row.place)
    if several and place:
        name = f"{name} ({place})"
    if limit.conditions:
        name = f"{name}; {', '.join(limit.conditions.values())}"
    allowed = limit.bound_text(plus_minus=plus_minus)
    last = row.verdicts.get(LEFT) or row.verdicts.get(FOUND)
    said = []
    if last:
        advice = "" if last[0].advice in last[0].words else last[0].advice
        stage = LEFT if LEFT in row.verdicts else FOUND
        question = limit.question if limit.sure == "ambiguous" else ""
        said = [f"{stage}:", last[0].words, advice, question]
    elif "in between" in row.verdicts:
        said = [f"in between: {row.verdicts['in between'][0].words}"]
    else:
        said = ["not measured"]
    source = limit.source or ("" if on_sheet else "not on the sheet in force")
    return Judged(
        name=name,
        allowed=allowed or "no bound given",
        printed=f"“{limit.words}”" + (f" ({source})" if source else ""),
        found=_verdict_cell(row.verdicts.get(FOUND)),
        left=_verdict_cell(row.verdicts.get(LEFT)),
        words=joined(said),
    )


def _verdict_cell(judged: tuple[Verdict, Shown | None] | None) -> Cell:
    if judged is None:
        return Cell()
    verdict, shown = judged
    quantity = shown.reading.result.quantity if shown else None
    if quantity is None and verdict.value is not None and verdict.u is not None:
        quantity = Quantity(verdict.value, verdict.unit, verdict.u)
    figure = "" if verdict.candidates else "no figure"
    if quantity is not None:
        figure = figure_of(quantity, verdict.id)
    return Cell(
        figure=figure,
        within=within_of(quantity) if quantity else "",
        more="; ".join(
            f"as {name_of(one.id)}: "
            f"{figure_of(Quantity(one.value, one.unit, one.u), one.id)}, {one.outcome}"
            for one in verdict.candidates
        ),
        mark=MARKS[verdict.outcome],
        outcome=verdict.outcome,
        chance="" if verdict.chance is None else chance_text(verdict.chance),
    )


def reading_rows(groups: Sequence[Group], several: bool) -> list[Reading]:
    """Return each quantity as found and as left, with the change and what it means.

    Both channels hear one transport. Where there is a reading of both together, that is the
    row, and left and right are told small inside it. Quantity and method are named once for
    places that follow each other.
    """
    of_both = {_apart_from_channel(group) for group in groups if _channel(group) == "both"}
    rows: list[Reading] = []
    named = ("", "")
    for group in groups:
        key = _apart_from_channel(group)
        if _channel(group) in CHANNEL_NAMES and key in of_both:
            continue
        sides = [
            other
            for other in groups
            if _channel(other) in CHANNEL_NAMES and _apart_from_channel(other) == key
        ]
        row = _reading_row(group, sides if _channel(group) == "both" else [], several)
        same = (row.name, row.how) == named
        named = (row.name, row.how)
        rows.append(replace(row, name="", how="") if same else row)
    return rows


def _channel(group: Group) -> str:
    return group.any().reading.result.channel


def _apart_from_channel(group: Group) -> tuple[str, str, Place, str]:
    result = group.any().reading.result
    return result.id, result.method, group.place, occasion_of(result)


def _reading_row(group: Group, sides: Sequence[Group], several: bool) -> Reading:
    result = group.any().reading.result
    change = group.change
    difference = change.difference if change else None
    text = within = sure = ""
    if difference is not None:
        moved = difference.quantity
        within = within_of(moved)
        text = f"{moved.value_text(signed=True)} {moved.unit}"
        sure = difference.outcome
    elif change is not None:
        sure = change.words
    return Reading(
        name=name_of(result.id),
        how=method_of(result.method)[0],
        where=where_of(group, several),
        found=_reading_cell(group, sides, FOUND),
        left=_reading_cell(group, sides, LEFT, "in between"),
        change=text,
        within=within,
        sure=sure,
    )


def _reading_cell(group: Group, sides: Sequence[Group], *stages: Stage) -> Cell:
    """Show the latest reading of the first of these stages that has one, earlier ones below."""
    stage = next((stage for stage in stages if group.latest(stage)), None)
    if stage is None:
        return Cell()
    *earlier, last = group.stages[stage]
    result = last.reading.result
    said = [f"{stage}:" if stage != stages[0] else "", range_of(result), table_of(result)]
    said.append(_sides_words([other.latest(stage) for other in sides], result))
    before = [
        figure_of(one.reading.result.quantity, result.id)
        for one in earlier
        if one.reading.result.quantity
    ]
    if before:
        said.append(f"before: {', '.join(before)}")
    quantity = result.quantity
    if quantity is None:
        empty = "" if result.table or result.lines else "no figure"
        return Cell(figure=empty, more=joined([*said, *result.doubts[:1]]))
    return Cell(
        figure=figure_of(quantity, result.id), within=within_of(quantity), more=joined(said)
    )


def _sides_words(sides: Sequence[Shown | None], both: Result) -> str:
    """Tell left and right in a few words, fewest where they print like both together."""
    alone = {
        side.reading.result.channel: figure_of(side.reading.result.quantity, both.id)
        for side in sides
        if side is not None and side.reading.result.quantity is not None
    }
    together = figure_of(both.quantity, both.id) if both.quantity else ""
    if len(alone) > 1 and set(alone.values()) == {together}:
        return f"{' and '.join(alone)} the same"
    return ", ".join(f"{channel}\u00a0{figure}" for channel, figure in alone.items())


def where_of(group: Group, several: bool) -> str:
    """Say channel, test point, and the place on the deck where there are several."""
    result = group.any().reading.result
    parts = [result.channel, occasion_of(result)]
    if several:
        parts.append(place_words(group.place))
    return ", ".join(part for part in parts if part)


def peak_rows(groups: Sequence[Group], several: bool) -> list[Peak]:
    """List the lines of the reading that counts, strongest first, stage by stage.

    Of one place the lines of one reading are listed: both channels' where there is one.
    """
    rows: list[Peak] = []
    listed = set()
    stages: tuple[Stage, ...] = (FOUND, "in between", LEFT)
    for stage in stages:
        for group in groups:
            shown = group.latest(stage)
            if shown is None or not shown.reading.result.lines or (stage, group.place) in listed:
                continue
            listed.add((stage, group.place))
            place = place_words(group.place) if several else ""
            lines = sorted(shown.reading.result.lines, key=lambda one: -one.peak_percent)
            for line in lines[:PEAKS_SHOWN]:
                rate = Quantity(line.rate_hz, "Hz", line.u_rate_hz)
                size = Quantity(line.peak_percent, "%", line.u_peak_percent)
                weighted = number_text(line.weighted_peak_percent, size.decimals())
                rows.append(
                    Peak(
                        ", ".join(part for part in (stage, place) if part),
                        _with_within(rate),
                        f"±{_with_within(size)}",
                        f"±{weighted} %",
                    )
                )
    return rows


def _with_within(quantity: Quantity) -> str:
    within = within_of(quantity)
    figure = f"{quantity.value_text()} {quantity.unit}"
    return f"{figure} ({within})" if within else figure


def culprit_rows(groups: Sequence[Group], several: bool) -> list[Culprit]:
    """Return each part's share of the flutter, the largest first, and last what is nobody's."""
    causes: dict[tuple[str, Place], list[tuple[str, Quantity]]] = {}
    for group in groups:
        result = _last(group).reading.result
        if result.id == RUNOUT and result.quantity is not None:
            part, place = (str(result.conditions.get(key, "")) for key in ("part", "point"))
            causes.setdefault((part, group.place), []).append((place, result.quantity))
    rows = []
    for group in groups:
        result = _last(group).reading.result
        if result.id != SHARE or result.quantity is None:
            continue
        key = str(result.conditions.get("part", ""))
        nobodys = key == UNEXPLAINED
        size = max(
            one[-1].reading.result.quantity.value
            for one in group.stages.values()
            if one[-1].reading.result.quantity is not None
        )
        name = NOBODYS if nobodys else str(result.conditions.get("name", key))
        where = place_words(group.place) if several else ""
        row = Culprit(
            f"{name} ({where})" if where else name,
            _culprit_cell(group.latest(FOUND)), _culprit_cell(group.latest(LEFT)),
            runout_words(causes.get((key, group.place), [])),
        )  # fmt: skip
        rows.append((nobodys, -size, row))
    return [row for _, _, row in sorted(rows, key=lambda one: one[:2])]


def _last(group: Group) -> Shown:
    return group.latest(LEFT) or group.latest(FOUND) or group.any()


def _culprit_cell(shown: Shown | None) -> Cell:
    quantity = shown.reading.result.quantity if shown else None
    if shown is None or quantity is None:
        return Cell()
    matters = shown.reading.result.conditions.get("matters", False)
    decimals = min(quantity.decimals(), PART_DECIMALS)  # parts side by side: one kind of digits
    value, within = (number_text(one, decimals) for one in (quantity.value, quantity.expanded()))
    return Cell(
        figure=f"±{value} {quantity.unit}", within=f"±{within} {quantity.unit}",
        more="matters" if matters else "",
    )  # fmt: skip


def share_rows(groups: Sequence[Group], several: bool) -> list[Share]:
    """Print each budget of the state that the deck is handed over in."""
    rows = []
    of_both = {
        (result.id, result.method)
        for group in groups
        for result in (group.any().reading.result,)
        if result.channel == "both"
    }
    for group in groups:
        shown = group.latest(LEFT) or group.latest(FOUND) or group.any()
        result = shown.reading.result
        if result.quantity is None or not result.budget.contributions:
            continue
        if result.channel in CHANNEL_NAMES and (result.id, result.method) in of_both:
            continue  # made of the same parts as the reading of both together
        name = ", ".join(part for part in (name_of(result.id), where_of(group, several)) if part)
        rows.append(
            Share(
                reading=f"{name}; {method_of(result.method)[0]}, {shown.capture.facts.stage}",
                parts=_parts(result.budget, result.quantity),
                together=f"u = {number_text(result.quantity.u, result.quantity.decimals())} "
                f"{result.quantity.unit}",
            )
        )
    return rows


def _parts(budget: Budget, quantity: Quantity) -> str:
    """Print the parts that matter, largest first, and name the others.

    A part below a tenth of u moves it by less than 0.5 % (root of the sum of squares).
    """
    parts = sorted(budget, key=lambda one: -one.u)
    counting = [part for part in parts if part.u >= 0.1 * quantity.u]
    said = [
        f"{part.name} {_two_figures(part.u)} {quantity.unit}, {part.kind}"
        + (f" ({part.source})" if part.source else "")
        for part in counting
    ]
    small = [part.name for part in parts if part not in counting]
    if small:
        said.append(f"below a tenth of u: {', '.join(small)}")
    return "; ".join(said)


def _two_figures(u: float) -> str:
    """Print an uncertainty with two figures (GUM 7.2.6)."""
    return Quantity(u, "", u).value_text()


def joined(parts: Iterable[str]) -> str:
    """Join words with semicolons, keeping 'in between:' with what follows."""
    return "; ".join(part for part in parts if part).replace(":; ", ": ")
