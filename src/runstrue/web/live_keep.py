"""A kept stretch goes into the logbook by the road that a file goes: measured, judged, stored."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from runstrue.errors import RunstrueError

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.cli.keep import Place
    from runstrue.live.kept import Kept
    from runstrue.logbook.models import CaptureRecord
    from runstrue.result import Measured
    from runstrue.verdict.models import Verdict
    from runstrue.web.live_deck import OnBench


def store(bench: Bench, kept: Kept, deck: OnBench, place: Place) -> dict[str, Any]:
    """Measure a kept stretch, judge it and put it into the logbook.

    Parameters
    ----------
    bench : Bench
    kept : Kept
        Its file is deleted once the logbook has its bytes, and stays where it is otherwise.
    deck : OnBench
    place : Place
        Stage, side and so on.

    Returns
    -------
    dict
        What is told: 'words', 'lines', 'link', 'linkWords', 'outcome', and the numbers 'capture'
        and 'deck' for a script.
    """
    from runstrue.cli.keep import Keeper
    from runstrue.cli.measured import done_of
    from runstrue.runner import Judging, measure_file

    try:
        keeper = Keeper(bench, deck.name, place)
        limits = keeper.sheet.limits if keeper.sheet is not None else ()
        outcome = measure_file(kept.path, deck.plan, Judging(limits, keeper.conditions))
        if outcome.error is not None or outcome.measured is None:
            return refused(kept, str(outcome.error))
        measured = replace(outcome.measured, doubts=(*outcome.measured.doubts, *kept.doubts))
        done = done_of(kept.path.name, replace(outcome, measured=measured))
        records = keeper.keep([done], deck.plan.tape, named_tape=deck.named_tape, own_sheet=True)
    except RunstrueError as error:
        return refused(kept, str(error))
    kept.path.unlink(missing_ok=True)
    told = _told(kept, records[0], measured, outcome.verdicts, keeper.begun_visit)
    return {**told, "link": f"/decks/{quote(keeper.deck.name, safe='')}"}


def refused(kept: Kept, why: str) -> dict[str, Any]:
    """Say why a stretch is not in the logbook, and where its sound is."""
    return {
        "words": f"Not in the logbook: {why}",
        "lines": [f"The sound itself is safe: live/{kept.path.name} in the folder of the bench."],
        "link": "",
        "linkWords": "",
        "outcome": "bad",
    }


def _told(
    kept: Kept,
    record: CaptureRecord,
    measured: Measured,
    verdicts: tuple[Verdict, ...],
    begun_visit: bool,
) -> dict[str, Any]:
    lines = [figure for figure in map(_figure, (measured,)) if figure]
    lines += [
        f"{' '.join(one.limit.words.split())}: {one.words}."
        for one in verdicts
        if one.reason != "not measured"
    ]
    if begun_visit:
        lines.append("A visit was begun with it.")
    lines += list(kept.doubts)
    outcomes = [one.outcome for one in verdicts]
    return {
        "words": f"Kept {record.facts.stage}: {kept.length_s:.0f} s, number {record.id}.",
        "lines": lines,
        "linkWords": "Go on with the deck",
        "outcome": "does not meet" if "does not meet" in outcomes else "good",
        "capture": record.id,
    }


def _figure(measured: Measured) -> str:
    """Speed and flutter in one line, as the terminal prints them."""
    from runstrue.cli.show_measured import main_channel
    from runstrue.report.words import figure_of, within_of

    said = []
    for quantity_id, name in (("speed.deviation", "speed"), ("flutter.weighted_peak", "flutter")):
        result = measured.find(quantity_id, main_channel(measured))
        if result is not None and result.quantity is not None:
            figure = figure_of(result.quantity, quantity_id)
            said.append(f"{name} {figure} (95 % within {within_of(result.quantity)})")
    return "; ".join(said)
