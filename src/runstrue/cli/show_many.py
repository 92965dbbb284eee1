"""Many recordings: one line each, and a summary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from runstrue.cli.layout import bold, columns, shown_width, wrapped
from runstrue.cli.show_measured import main_channel
from runstrue.quantity import number_text
from runstrue.report.words import figure_of, within_of

if TYPE_CHECKING:
    from runstrue.cli.measured import Done
    from runstrue.result import Measured, Result

NAME = 24
WIDTHS, ALIGNED = (NAME, 10, 10, 10, 10, 5), "<>>>><"


def heading(*, judged: bool) -> str:
    """Line above the lines; `judged` where there is a sheet."""
    return bold(
        columns(
            ["recording", "speed", "95 %", "flutter", "95 %", "sheet" if judged else ""],
            WIDTHS,
            ALIGNED,
        )
    )


def one_line(done: Done) -> str:
    """One recording in one line."""
    name = short(done.given, NAME)
    measured = done.measured
    if measured is None:
        return f"{columns([name], [NAME], '<')}  could not be used".rstrip()
    cells = [name]
    for result in (
        _speed(measured),
        measured.find("flutter.weighted_peak", main_channel(measured)),
    ):
        quantity = result.quantity if result else None
        if result is None or quantity is None:
            known = "undecided" if result is not None and _undecided(result) else "not known"
            cells += [known, ""]
        else:
            cells += [figure_of(quantity, result.id), within_of(quantity)]
    cells.append(_marks(done))
    return columns(cells, WIDTHS, ALIGNED)


def short(name: str, width: int) -> str:
    """Shorten a name from its beginning: folders matter least."""
    if shown_width(name) <= width:
        return name
    return "…" + name[-(width - 1) :]


def summary_lines(done: Sequence[Done]) -> Iterator[str]:
    """How many, from where to where, and how many meet each limit."""
    good = [one for one in done if one.measured is not None]
    bad = len(done) - len(good)
    yield ""
    said = (
        f"{len(good)} of {len(done)} recordings measured"
        if bad
        else (f"{len(done)} recordings measured")
    )
    spans = [
        text
        for text in (
            _span("speed", [_speed(one.measured) for one in good if one.measured]),
            _span(
                "wow and flutter",
                [
                    one.measured.find("flutter.weighted_peak", main_channel(one.measured))
                    for one in good
                    if one.measured
                ],
            ),
        )
        if text
    ]
    yield from wrapped("; ".join([said, *spans]) + ".")
    counts: dict[str, Counter[str]] = {}
    for one in good:
        for verdict in one.verdicts:
            if verdict.reason != "not measured":
                words = " ".join(verdict.limit.words.split())
                counts.setdefault(words, Counter())[verdict.outcome] += 1
    for words, outcomes in counts.items():
        told = ", ".join(
            f"{sign_of(outcome)} {outcome}: {count}" for outcome, count in outcomes.items()
        )
        yield from wrapped(f"{words}: {told}", "    ", first="  ")
    doubtful = sum(1 for one in good if one.measured and one.measured.doubts)
    if doubtful:
        yield from wrapped(
            f"Doubts were raised by {doubtful} of them; measure one alone to read them."
        )


def _speed(measured: Measured) -> Result | None:
    result = measured.find("speed.deviation", main_channel(measured))
    if result is not None and _undecided(result):
        from dataclasses import replace

        return replace(result, quantity=None)
    return result


def _undecided(result: Result) -> bool:
    return bool(result.conditions.get("tone_undecided"))


def _span(name: str, results: Sequence[Result | None]) -> str:
    known = [result.quantity for result in results if result and result.quantity]
    if not known:
        return ""
    first = next(result for result in results if result and result.quantity)
    if len(known) == 1:
        return f"{name} {figure_of(known[0], first.id)}"
    decimals = min(quantity.decimals() for quantity in known)
    signed = first.id.startswith("speed")
    low, high = (
        number_text(value, decimals, signed=signed)
        for value in (min(q.value for q in known), max(q.value for q in known))
    )
    return f"{name} from {low} to {high} %"


def _marks(done: Done) -> str:
    """One sign a limit: yes, no, nearly, or not comparable."""
    return "".join(
        sign_of(verdict.outcome) for verdict in done.verdicts if verdict.reason != "not measured"
    )


def sign_of(outcome: str) -> str:
    """Return the sign of an outcome, or a letter where the terminal lacks it."""
    from runstrue.cli.layout import can_print

    if can_print("✔✘≈–"):
        signs = {"meets": "✔", "does not meet": "✘", "too close to call": "≈"}
        return signs.get(outcome, "–")
    return {"meets": "y", "does not meet": "n", "too close to call": "~"}.get(outcome, "-")
