"""Which part makes the flutter, told in a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from runstrue.cli.layout import bold, faint, table, tinted, wrapped
from runstrue.quantity import Quantity, number_text
from runstrue.verdict.bench import chance_text

if TYPE_CHECKING:
    from runstrue.cli.parts_work import Looked, Remedy
    from runstrue.measure.parts.model import Attribution, PartShare
    from runstrue.result import Result

STRAYS_TOLD = 4
SHORT_FROM = 3.0
"""Share of the weighted power in % from which a part is told beside other readings."""
LONGEST_NAME = 30
PATTERNS = {"plain": "", "twice": ", most of it twice a turn", "pulses": ", in pulses"}


def parts_lines(looked: Looked) -> Iterator[str]:
    """Tell the shares, the guilty with what would do it, and what repairs would do."""
    told = looked.attribution
    yield from wrapped(_heading(looked))
    yield ""
    yield from _share_lines(told)
    yield from _guilty_lines(told)
    yield from _stray_lines(told)
    yield from _remedy_lines(looked)
    yield from _doubt_lines(looked)


def short_lines(looked: Looked) -> Iterator[str]:
    """Tell beside other readings which parts make most of the flutter."""
    told = looked.attribution
    yield ""
    yield bold(f"Parts, by {looked.drive.source}")
    shown = [one for one in told.shares if one.guilty or one.weighted_share.value >= SHORT_FROM]
    rows = [
        [f"  {_short(one.name)}", _peak(one.weighted), _within(one.weighted),
         _percent(one.weighted_share), _mark(one)] for one in shown
    ]  # fmt: skip
    rows.append(["  explained by no part", _peak(told.unexplained), _within(told.unexplained),
                 _percent(told.unexplained_share), ""])  # fmt: skip
    yield from table(rows, "<>>><")
    if not told.guilty:
        yield "  No part makes flutter that matters."
    for one in looked.remedies:
        yield from wrapped(remedy_words(one), "    ", first="  ")


def parts_of_lines(result: Result, looked: Looked | None) -> dict[float, str]:
    """Name the lines of a spectrum by the parts that make them, by the line's rate."""
    from runstrue.report.told_parts import names_of_lines

    if looked is None:
        return {}
    return names_of_lines(
        result.lines,
        [
            (share.name, one.rate.value, one.rate.u)
            for share in looked.attribution.shares
            for one in share.harmonics
        ],
    )


def before_after_lines(before: Looked, after: Looked) -> Iterator[str]:
    """Set the shares of two records side by side, with the change."""
    yield from wrapped(f"Before: {_heading(before)}")
    yield from wrapped(f"After: {_heading(after)}")
    yield ""
    rows = []
    for name, was, is_now, matters in _pairs(before.attribution, after.attribution):
        change = Quantity(is_now.value - was.value, "%", math.hypot(was.u, is_now.u))
        rows.append([
            _short(name), _number(was), _number(is_now),
            number_text(change.value, _decimals(change), signed=True), _bare_within(change),
            _verdict_of(change) + (", matters" if matters else ""),
        ])  # fmt: skip
    yield from table(
        rows, "<>>>><", ["weighted flutter, ± %", "before", "after", "change", "95 % within", ""]
    )
    yield from _remedy_lines(after)
    yield from _doubt_lines(after)


def remedy_words(remedy: Remedy) -> str:
    """Say what would remain without some parts, and whether that would do."""
    from runstrue.report.told_parts import put_right_words, would_words

    names = joined(remedy.what_if.names)
    now, then = _figure(remedy.what_if.before), _figure(remedy.what_if.results)
    if now is None or then is None:
        return f"Without what the {names} does, nothing could be read."
    return put_right_words(
        names, now, then,
        [f"'{one.limit.words.strip()}': {would_words(one.words)}" for one in remedy.verdicts],
    )  # fmt: skip


def joined(names: Sequence[str]) -> str:
    """Join names: 'belt', 'belt and roller', 'belt, roller and hub'."""
    if len(names) < 3:
        return " and ".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _heading(looked: Looked) -> str:
    told = looked.attribution
    name = looked.drive.transport.name
    at = f" at {looked.drive.speed_name}" if looked.drive.speed_name else ""
    speed = number_text(told.speed_percent, 2, signed=True)
    return (
        f"{looked.heard.name}, {name}{at}: {told.used_s:.0f} s of tone, tape speed {speed} %."
    )  # fmt: skip


def _share_lines(told: Attribution) -> Iterator[str]:
    rows = []
    for share in told.shares:
        rows.append([
            _short(share.name), _peak(share.weighted), _within(share.weighted),
            _percent(share.weighted_share), _rate(share.rate), _mark(share),
        ])  # fmt: skip
    rows.append([
        "explained by no part", _peak(told.unexplained), _within(told.unexplained),
        _percent(told.unexplained_share), "", "",
    ])  # fmt: skip
    rows.append(["all together", _peak(told.weighted), _within(told.weighted), "", "", ""])
    yield from table(
        rows, "<>>>><", ["weighted flutter", "peak", "95 % within", "share", "turns at", ""]
    )
    yield from _wrapped_faint("Peak of a sine of the same power; the share is that of the power.")


def _guilty_lines(told: Attribution) -> Iterator[str]:
    from runstrue.report.told_parts import runout_words

    yield ""
    if not told.guilty:
        yield bold("No part makes flutter that matters.")
        return
    yield bold("What matters")
    for share in told.guilty:
        lines = ", ".join(f"{one.multiple}× ±{_number(one.peak)} %" for one in share.harmonics)
        chance = chance_text(share.chance)
        head = f"{share.name}{PATTERNS[share.pattern]}: {lines} (chance {chance})."
        if len(share.ids) > 1:
            head += " The record cannot tell them apart."
        yield from wrapped(_capital(head), "    ", first="  ")
        if share.runouts:
            places = [(one.place, one.size) for one in share.runouts]
            yield from wrapped(f"Would be done by {runout_words(places)}.", "    ")


def _stray_lines(told: Attribution) -> Iterator[str]:
    if not told.strays:
        return
    lines = []
    for one in told.strays[:STRAYS_TOLD]:
        words = f" ({one.words})" if one.words else ""
        lines.append(f"{_rate(one.rate)} ±{_number(one.peak)} %{words}")
    more = len(told.strays) - STRAYS_TOLD
    yield ""
    yield from wrapped(
        f"Lines of no part: {'; '.join(lines)}{f'; and {more} smaller' if more > 0 else ''}."
    )


def _remedy_lines(looked: Looked) -> Iterator[str]:
    if not looked.remedies:
        return
    yield ""
    asked = [one for one in looked.remedies if one.asked]
    others = [one for one in looked.remedies if not one.asked]
    if asked:
        yield bold("What if")
        for one in asked:
            yield from wrapped(remedy_words(one), "    ", first="  ")
    if others:
        yield bold("Repair first")
        for one in others:
            yield from wrapped(remedy_words(one), "    ", first="  ")


def _doubt_lines(looked: Looked) -> Iterator[str]:
    doubts = [
        *looked.attribution.doubts,
        *(doubt for one in looked.remedies for doubt in one.what_if.doubts),
        *(doubt for one in looked.rounds for doubt in one.doubts),
    ]
    for number, doubt in enumerate(dict.fromkeys(doubts)):
        if number == 0:
            yield ""
            yield bold("Doubts")
        yield from wrapped(doubt, "    ", first="  - ")


def _pairs(
    before: Attribution, after: Attribution
) -> Iterator[tuple[str, Quantity, Quantity, bool]]:
    """Yield each part's share before and after, what is nobody's, and the whole."""
    for share in before.shares:
        now = next((one for one in after.shares if set(one.ids) & set(share.ids)), None)
        if now is not None:
            yield share.name, share.weighted, now.weighted, now.guilty
    yield "explained by no part", before.unexplained, after.unexplained, False
    yield "all together", before.weighted, after.weighted, False


def _verdict_of(change: Quantity) -> str:
    if abs(change.value) <= change.expanded():
        return "no sure change"
    return tinted("less", "green") if change.value < 0 else tinted("more", "red")


def _figure(results: Sequence[Result]) -> Quantity | None:
    """Return the weighted peak, two-sigma."""
    for one in results:
        if one.id == "flutter.weighted_peak" and one.quantity is not None:
            return one.quantity
    return None


def _mark(share: PartShare) -> str:
    return tinted("matters", "red") if share.guilty else ""


def _peak(size: Quantity) -> str:
    return f"±{_number(size)} %"


def _number(size: Quantity) -> str:
    return number_text(size.value, _decimals(size))


def _within(size: Quantity) -> str:
    return f"{_bare_within(size)} %" if size.u else ""


def _bare_within(size: Quantity) -> str:
    return f"±{number_text(size.expanded(), _decimals(size))}"


def _percent(share: Quantity) -> str:
    if share.value < 0.5:
        return "–"
    return f"{share.value:.0f} %"


def _rate(rate: Quantity) -> str:
    return f"{rate.value_text(decimals=min(rate.decimals(), 3))} Hz"


def _decimals(size: Quantity) -> int:
    return min(size.decimals(), 3)


def _short(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1].rstrip() + "…"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _wrapped_faint(text: str) -> Iterator[str]:
    for line in wrapped(text):
        yield faint(line)
