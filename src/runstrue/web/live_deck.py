"""What is known of the deck on the bench, and what its sheet says of a live figure."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from runstrue.catalogue import KINDS
from runstrue.live.models import Figure, Update
from runstrue.measure.tape_tone import TonePlan
from runstrue.quantity import Quantity
from runstrue.report.words import MARKS
from runstrue.result import Condition, Result
from runstrue.verdict.bench import speed_advice
from runstrue.verdict.judge import judge
from runstrue.verdict.models import Limit, Verdict
from runstrue.web.live_parts import PartNames
from runstrue.web.live_words import longest_window

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.logbook import Logbook
    from runstrue.logbook.models import Deck

SPEED, FLUTTER = "speed.deviation", "flutter.weighted_peak"

WHERE = {
    "meets": "Inside",
    "does not meet": "Outside",
    "too close to call": "Near the edge of",
    "cannot be compared": "Not to be held against",
}

WINDOW_METHODS = {
    "flutter": (FLUTTER, "two-sigma/1"),
    "needle": ("flutter.indicated_peak", "needle/1"),
    "weighted_rms": ("flutter.weighted_rms", "weighted-rms/1"),
    "unweighted_peak": ("flutter.unweighted_peak", "flat-two-sigma/1"),
    "unweighted_rms": ("flutter.unweighted_rms", "flat-rms/1"),
    "wow": ("flutter.wow_rms", "wow-rms/1"),
    "flutter_rms": ("flutter.flutter_rms", "flutter-rms/1"),
    "drift": ("speed.drift", "bell-slope/1"),
    "balance": ("level.balance", "band-power/1"),
}
"""The figures of a window, and what they are called in the catalogue."""


@dataclass(frozen=True, slots=True)
class OnBench:
    """The deck that is being listened to; without a name, none was chosen.

    Parameters
    ----------
    name : str
    limits : tuple of Limit
        Of its sheet.
    conditions : dict
        How the pass is made, in the words of a sheet's conditions.
    names : PartNames
    speeds_cm_s : tuple of float
    plan : TonePlan
        The tape that plays and the sound card that hears.
    named_tape : bool
        Whether the tape was described, rather than taken cautiously.
    """

    name: str = ""
    limits: tuple[Limit, ...] = ()
    conditions: dict[str, str] = field(default_factory=dict)
    names: PartNames = PartNames()  # noqa: RUF009  frozen and empty
    speeds_cm_s: tuple[float, ...] = ()
    plan: TonePlan = TonePlan()  # noqa: RUF009  frozen and equal for all
    named_tape: bool = False

    def facts(self) -> dict[str, Any]:
        """What a page that comes is told: name, limits to draw, what the sheet says."""
        return {
            "deck": self.name,
            "limits": {
                "speed": bounds(self.limits, SPEED),
                "flutter": bounds(self.limits, FLUTTER),
            },
            "sheet": self._sheet_words(),
            "parts": bool(self.names.turnings),
        }

    def judged(self, update: Update) -> dict[str, Any]:
        """Hold the newest figures against the sheet."""
        results = live_results(update)
        verdicts = judge(self.limits, results, conditions=self.conditions)
        told = [one for one in verdicts if one.reason != "not measured"]
        return {
            "speed": self._said(told, SPEED, results),
            "flutter": self._said(told, FLUTTER, results),
            "rows": [_row(one) for one in told],
        }

    def _sheet_words(self) -> str:
        if not self.name:
            return "No deck was chosen: its limits would be drawn in."
        if not self.limits:
            return "The deck has no sheet yet: paste its lines, and its limits are drawn in."
        return ""

    def _said(
        self, verdicts: list[Verdict], quantity_id: str, results: list[Result]
    ) -> dict[str, str]:
        """The verdict on one figure in one line, or what is said without a sheet."""
        for verdict in verdicts:
            if verdict.id == quantity_id:
                return {"words": _in_one_line(verdict), "outcome": verdict.outcome}
        reading = next((one for one in results if one.id == quantity_id), None)
        if reading is None:
            return {"words": "", "outcome": ""}
        family = "speed" if quantity_id == SPEED else "flutter"
        words = f"No limit for {KINDS[quantity_id].name if family == 'flutter' else 'the speed'}"
        words += " on the sheet." if self.limits else ": no sheet."
        advice = speed_advice(reading) if quantity_id == SPEED else ""
        return {"words": f"{words} {_sentence(advice)}".strip(), "outcome": ""}


def on_bench(bench: Bench, name: str, plan: TonePlan, *, named_tape: bool = False) -> OnBench:
    """Read from the logbook what is known of a deck.

    Raises
    ------
    LogbookError
        When there is no logbook or no such deck.
    """
    if not name:
        return OnBench(plan=plan, named_tape=named_tape)
    with bench.open() as book:
        deck = book.find_deck(name)
        sheets = book.sheets(deck)
        names = _part_names(book, deck)
    speeds = deck.speeds_cm_s
    return OnBench(
        name=deck.name,
        limits=sheets[-1].limits if sheets else (),
        conditions={"speed": f"{speeds[0]:g} cm/s"} if len(speeds) == 1 else {},
        names=names,
        speeds_cm_s=speeds,
        plan=plan,
        named_tape=named_tape,
    )


def bounds(limits: tuple[Limit, ...], quantity_id: str) -> tuple[float | None, float | None] | None:
    """Return what the sheet allows of a figure, for drawing; None where it says nothing."""
    for limit in limits:
        if limit.ids[0] == quantity_id and limit.has_bound:
            return limit.low, limit.high
    return None


def live_results(update: Update) -> list[Result]:
    """Return the live figures as readings, as the verdict takes them.

    The speed is that of the last seconds, so that it follows a screwdriver; flutter is that of
    the longest window that is full.
    """
    results = []
    if update.speed is not None:
        conditions: dict[str, Condition] = {"tone_hz": update.tone_hz or 0.0}
        results.append(_result(SPEED, "bell-mean/1", update.speed.percent, conditions))
    window = longest_window(update.windows)
    if window is not None:
        for name, (quantity_id, method) in WINDOW_METHODS.items():
            figure = getattr(window, name)
            if figure is not None:
                used: dict[str, Condition] = {"used_s": window.counted_s}
                results.append(_result(quantity_id, method, figure, used))
    return results


def _result(
    quantity_id: str, method: str, figure: Figure, conditions: dict[str, Condition]
) -> Result:
    quantity = Quantity(figure.value, figure.unit, figure.u)
    return Result(quantity_id, method, "both", quantity, conditions=conditions)


def _part_names(book: Logbook, deck: Deck) -> PartNames:
    from runstrue.errors import RunstrueError
    from runstrue.logbook.bench_records import transport_for
    from runstrue.transport.rates import turnings
    from runstrue.transport.read import parse_transport

    speeds = deck.speeds_cm_s
    entry = transport_for(book.transports(deck), speeds[0] if len(speeds) == 1 else None)
    if entry is None:
        return PartNames()
    try:
        transport = parse_transport(entry.text, entry.name)
        name = transport.speeds[0].name if len(transport.speeds) == 1 else ""
        return PartNames(turnings(transport, name))
    except RunstrueError:
        return PartNames()  # the page of the parts says what is wrong with the description


def _row(verdict: Verdict) -> dict[str, str]:
    return {
        "limit": " ".join(verdict.limit.words.split()),
        "words": verdict.words,
        "outcome": verdict.outcome,
        "mark": MARKS[verdict.outcome],
    }


def _in_one_line(verdict: Verdict) -> str:
    from runstrue.cli.show_verdicts import outcome_and_advice

    head, advice = outcome_and_advice(verdict)
    bound = verdict.limit.bound_text(plus_minus=KINDS[verdict.id].plus_minus)
    said = f"{WHERE[verdict.outcome]} {bound}: {head}."
    return f"{said} {_sentence(advice)}".strip()


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:].rstrip(".") + "." if words else ""
