"""What a counter's law, its readings, its table and its memory stop look like in a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from runstrue.cli.counter_input import Known
from runstrue.cli.layout import bold, table, wrapped
from runstrue.quantity import Quantity, number_text
from runstrue.transport.counter import Fit
from runstrue.transport.counter_constants import Reeled
from runstrue.transport.counter_law import Law
from runstrue.transport.counter_pairs import clock_text, clock_within, span_text
from runstrue.transport.counter_table import CounterTable
from runstrue.transport.memory_stop import Returns
from runstrue.transport.spool import CASSETTE_HUB


def fit_lines(known: Known) -> Iterator[str]:
    """The law, how the pairs lie on it, and what follows for deck and tape."""
    fit, law = known.fit, known.fit.law
    yield bold(f"Counter{_of(known)}") + " (± holds 95 %)"
    rows = [["time", _law_words(law)]]
    last = fit.pairs[-1].count
    start_s, end_s = law.seconds_a_count(law.start_count), (
        law.seconds_a_count(last)
    )  # fmt: skip
    rows.append(
        ["one count", f"{start_s:.2f} s of playing at the beginning, {end_s:.2f} s at {last:g}"]
    )
    if not fit.zeroed:
        rows.append(["begins at", f"{law.start_count:.0f}, what the counter showed at 0:00"])
    rows.append(["goes by", _reel_words(law)])
    whole = law.whole
    if whole is not None and known.tape is not None and known.told.end is None:
        words = f"{clock_within(whole)}, as a {known.tape.name} usually does; with --end "
        rows.append(["tape plays", f"{words}COUNT@TIME, seen once, what is left is known as well"])
    elif whole is not None:
        rows.append(["tape plays", f"{clock_within(whole)}, to its end at {known.told.end:g}"])
    for label, words in rows:
        yield from wrapped(words, " " * 14, first=f"  {label:<10}  ")
    yield ""
    yield from table(
        (
            [
                f"{pair.count:g}",
                clock_text(pair.time_s),
                clock_text(pair.time_s - off),
                f"{number_text(off, 0, signed=True)} s",
                f"±{max(math.ceil(1.96 * u - 0.05), 1)} s",
            ]
            for pair, off, u in zip(fit.pairs, fit.off_s, fit.u_s, strict=True)
        ),
        ">>>>>",
        ["counter", "time", "by the law", "off", "read to"],
        indent="  ",
    )
    yield from wrapped(_judged(fit), "  ")
    yield ""
    yield from constants_lines(known)


def constants_lines(known: Known) -> Iterator[str]:
    """Hub, tape and counter, or why they cannot be told."""
    constants = known.constants
    yield bold("Hub, tape and counter")
    if constants is None:
        assert known.why_not is not None
        yield from wrapped(str(known.why_not), "  ")
        return
    rows = [
        ["hub diameter", _within(constants.hub_diameter)],
        ["tape thickness", _within(constants.thickness)],
        ["turns a count", _within(constants.turns_a_count).rstrip()],
    ]
    yield from table(rows, "<<", indent="  ")
    yield from wrapped(f"Known from {_basis(known)}.", "  ")
    if not known.told.hub and known.takes_cassettes and _strange_hub(constants.hub_diameter):
        yield from wrapped(
            "! The bare hub of a cassette is about 22 mm. The tape is not what it was taken for, "
            "or the counter slips.", "  ",
        )  # fmt: skip
    if constants.agree is False:
        yield from wrapped(
            "! What was given does not go together: hub, tape and speed contradict the counter's "
            "law. One of them is not what it was taken for.", "  ",
        )  # fmt: skip


def times_lines(
    known: Known, counts: Sequence[float], tapes: Sequence[Reeled], asked_s: Sequence[float]
) -> Iterator[str]:
    """Played and left at some readings, and the reading at some times, for each tape."""
    named: list[tuple[str, Law]] = [(one.name, known.law_for(one)) for one in tapes]
    if not named:
        named = [(known.tape.name if known.tape else "", known.law)]
    yield bold(f"Counter{_of(known)}") + " (± holds 95 %)"
    rows = []
    for count in counts:
        for name, law in named:
            left = law.left(count)
            rows.append(
                [f"{count:g}", name, clock_within(law.played(count)),
                 clock_within(left) if left is not None else "not known"]
            )  # fmt: skip
    if rows:
        yield from table(rows, "><>>", ["counter", "tape", "played", "left"], indent="  ")
    if rows and asked_s:
        yield ""
    if asked_s:
        yield from table(
            (
                [clock_text(asked), name, _count_within(law.count_at(asked))]
                for asked in asked_s
                for name, law in named
            ),
            "><>",
            ["played", "tape", "counter"],
            indent="  ",
        )
    if any(law.whole is None for _, law in named):
        yield from wrapped(
            "What is left needs the tape's length: --tape C90, or --end COUNT@TIME.", "  "
        )
    beyond = [f"{count:g}" for count in counts if count > 1.02 * known.law.last_count]
    if beyond:
        yield from wrapped(
            f"{' and '.join(beyond)} {'lies' if len(beyond) == 1 else 'lie'} beyond the last pair "
            f"({known.law.last_count:g}): this rests on the law alone.", "  ",
        )  # fmt: skip
    if not known.fit.zeroed:
        yield from wrapped("With the counter set to 0 at the beginning of the tape.", "  ")
    if known.fit.fits is False:
        yield from wrapped(_judged(known.fit), "  ")


def table_lines(known: Known, listed: CounterTable) -> Iterator[str]:
    """The table as text, for a terminal or a plain printer."""
    yield bold(f"Counter{_of(known)}, minutes:seconds")
    with_left = [any(column.left) for column in listed.columns]
    heading, rows = ["counter"], [[str(count)] for count in listed.counts]
    for column, left in zip(listed.columns, with_left, strict=True):
        heading.append(f"{column.name} played".strip())
        for row, cell in zip(rows, column.played, strict=True):
            row.append(cell)
        if left:
            heading.append("left")
            for row, cell in zip(rows, column.left, strict=True):
                row.append(cell)
    yield from table(rows, ">" * len(heading), heading, indent="  ")
    for column, left in zip(listed.columns, with_left, strict=True):
        known_to = f"played ±{span_text(column.played_half_s)}"
        known_to += f", left ±{span_text(column.left_half_s)}" if left else ""
        yield from wrapped(f"{column.name + ': ' if column.name else ''}{known_to} (95 %)", "  ")
    if not all(with_left):
        yield from wrapped("Time left needs the tape's length: --tape C90.", "  ")
    yield from wrapped("Set the counter to 0 at the beginning of the tape.", "  ")


def returns_lines(returns: Returns, law: Law | None, name: str) -> Iterator[str]:
    """How repeatably the memory stop comes back."""
    shown = ", ".join(number_text(one, _step_decimals(one)) for one in returns.counts)
    yield bold(
        f"Memory stop{' of ' + name if name else ''}, {len(returns.counts)} returns: {shown}"
    )
    spread = f"{returns.scatter:.2g} counts"
    if returns.hidden:
        spread = f"less than the counter shows; {spread} are taken"
    rows = [
        ["stops at", f"{_count_within(returns.mean, signed=True)} on average"],
        ["scatter", f"{spread} (95 %: {returns.scatter_low:.2g} to "
                    f"{returns.scatter_high:.2g})"],
        ["next return", f"between {number_text(returns.next_low, 1)} and "
                        f"{number_text(returns.next_high, 1, signed=True)} counts, 95 % sure"],
    ]  # fmt: skip
    if law is not None:
        second = law.seconds_a_count(0.0)
        rows.append(
            ["that is", f"{_tape(returns.next_low * second)} to "
                        f"{_tape(returns.next_high * second)} of tape; one count is "
                        f"{second:.2g} s at the beginning"]
        )  # fmt: skip
    for label, words in rows:
        yield from wrapped(words, " " * 15, first=f"  {label:<11}  ")
    if law is None:
        yield from wrapped(
            "How much tape that is, the counter's law tells: name --deck or --pairs.", "  "
        )


def _of(known: Known) -> str:
    tape = f", {known.tape.name}" if known.tape else ""
    return (f" of {known.name}" if known.name else "") + tape


def _law_words(law: Law) -> str:
    a, b = law.per_count, law.per_count_squared
    offset = f"{_within(law.offset)} + " if law.terms[0] else ""
    sign = "−" if b.value < 0 else "+"
    bend = Quantity(abs(b.value) * 1e6, "", b.u * 1e6, b.degrees_of_freedom)
    return f"{offset}{_within(a)} × counter {sign} {_within(bend).rstrip()} s × (counter / 1000)²"


def _reel_words(law: Law) -> str:
    if law.reel == "take-up":
        return "the take-up reel, which grows: a count is ever more tape"
    if law.reel == "supply":
        return "the supply reel, which shrinks: a count is ever less tape"
    return "nothing that these pairs tell: no bend is seen, so it may count tape and not turns"


def _judged(fit: Fit) -> str:
    if fit.fits is None:
        return "Nothing is left to check the pairs by; one more would be."
    if fit.fits:
        return "The pairs lie on the law as well as they can be read."
    times = math.sqrt(fit.chi_square / fit.spare)
    said = f"! The pairs scatter about the law {times:.1f} times as far as reading them explains"
    if fit.suspect is not None:
        pair = fit.pairs[fit.suspect]
        return (
            f"{said}. Without {pair.count:g}@{clock_text(pair.time_s)} the others lie on one: read "
            "that one again. If it was read well, the counter slipped there."
        )
    return (
        f"{said}: the counter slips (a slack or oily belt), the speed is not steady, or a pair was "
        "misread. ± is taken from that scatter."
    )


def _basis(known: Known) -> str:
    told, words = known.told, []
    if told.hub:
        words.append("the hub's diameter as measured")
    if known.tape is not None:
        how = "as given" if told.tape_thickness else f"of a usual {known.tape.name}"
        words.append(f"the tape's thickness {how}")
    if told.turns:
        words.append("the turns a count as given")
    speed = "within ±1.5 %" if told.speed_off is None else f"{told.speed_off:+g} %, as measured"
    return f"{', '.join(words)}; the speed is taken {speed}".replace("-", "−") + (
        "" if known.constants is None or known.constants.agree is None else
        "" if not known.constants.agree else ". They go together"
    )  # fmt: skip


def _strange_hub(diameter: Quantity) -> bool:
    """Whether a cassette cannot have such a hub, whatever the uncertainty."""
    middle, half = CASSETTE_HUB
    return abs(diameter.value - middle) > 3 * half + diameter.expanded()


def _within(quantity: Quantity) -> str:
    from runstrue.cli.show_belt import within

    return within(quantity)


def _count_within(count: Quantity, *, signed: bool = False) -> str:
    half = count.expanded()
    decimals = 0 if half >= 1.95 else 1
    value = number_text(count.value, decimals, signed=signed)
    return f"{value} ±{number_text(max(half, 0.1), decimals)}"


def _tape(seconds: float) -> str:
    return f"{number_text(seconds, 0 if abs(seconds) >= 9.5 else 1, signed=True)} s"


def _step_decimals(value: float) -> int:
    return 0 if value == round(value) else 1
