"""An attribution as results: what logbook, fault list and report hold of it.

Each part's share carries its lines and, where the turn was folded, the turn's curve. Beside it
stand the error of size that would do it, for each place, and what would remain without the part.
All are of one attribution, so they share its method and are replaced together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from runstrue.measure.parts.model import Attribution, OnceRound, PartShare, WhatIf
from runstrue.result import Condition, Line, Result, Trace

SHARE, RUNOUT, WITHOUT = "flutter.part_weighted", "flutter.part_runout", "flutter.part_without"
TURN, TURN_WITHIN = "once round", "once round, 95 % half-width"
JOINED = " + "


def results_to_keep(
    told: Attribution, rounds: Sequence[OnceRound] = (), what_ifs: Sequence[WhatIf] = ()
) -> tuple[Result, ...]:
    """Return all that is kept of an attribution.

    Parameters
    ----------
    told : Attribution
    rounds : sequence of OnceRound
        Turns of some of its parts.
    what_ifs : sequence of WhatIf
        Of parts that matter.

    Returns
    -------
    tuple of Result
        `flutter.part_weighted` of each share and of what is nobody's, `flutter.part_runout` by
        place, `flutter.part_without` of each what-if.
    """
    turned = {one.id: one for one in rounds}
    kept: list[Result] = []
    for result in told.results:
        share = _share_of(result, told.shares)
        kept.append(result if share is None else _whole(result, share, turned))
    for share in told.shares:
        kept += _runouts(share, told)
    kept += [one for what_if in what_ifs for one in _without(what_if, told)]
    return tuple(kept)


def _share_of(result: Result, shares: Sequence[PartShare]) -> PartShare | None:
    name = result.conditions.get("part")
    return next((one for one in shares if name in (part_key(one.ids), *one.ids)), None)


def part_key(ids: Sequence[str]) -> str:
    """Return the condition 'part' of a share: its ids, joined where it has several."""
    return JOINED.join(ids)


def _whole(result: Result, share: PartShare, turned: dict[str, OnceRound]) -> Result:
    """Return a share with all that belongs to it."""
    conditions: dict[str, Condition] = {
        **result.conditions,
        "matters": share.guilty,
        "chance": float(share.chance),
        "rate_hz": share.rate.value,
        "power_percent": share.weighted_share.value,
    }
    lines = tuple(
        Line(one.rate.value, one.rate.u, one.peak.value, one.peak.u, one.weighted.value)
        for one in share.harmonics
    )
    once = next((turned[one] for one in share.ids if one in turned), None)
    return replace(
        result, conditions=conditions, lines=result.lines or lines,
        traces=(*result.traces, *(_traces(once) if once is not None else ())),
    )  # fmt: skip


def _traces(once: OnceRound) -> tuple[Trace, Trace]:
    marks = {"rate, Hz": once.rate.value, "u of the rate, Hz": once.rate.u, "turns": once.turns}
    axes = ("turn", "", "tape speed", "%", "both")
    return (
        Trace(TURN, once.turn, once.percent, *axes, marks),
        Trace(TURN_WITHIN, once.turn, once.within_percent, *axes),
    )


def _runouts(share: PartShare, told: Attribution) -> Iterator[Result]:
    if not share.guilty or not told.results:
        return
    for one in share.runouts:
        yield Result(
            RUNOUT, told.results[0].method, "both", one.size,
            conditions={"part": part_key(share.ids), "name": share.name, "point": one.place},
        )  # fmt: skip


def _without(what_if: WhatIf, told: Attribution) -> Iterator[Result]:
    for one in what_if.results:
        if one.id == "flutter.weighted_peak" and one.quantity is not None and told.results:
            yield replace(
                one, id=WITHOUT, method=told.results[0].method, lines=(), traces=(),
                conditions={"part": part_key(what_if.ids), "name": " and ".join(what_if.names)},
            )  # fmt: skip
            return
