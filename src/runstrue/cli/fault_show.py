"""Fault-finding on the screen: cautions before steps, causes with why, checks with outcomes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from runstrue.cli.layout import bold, columns, faint, shown_width, tinted, wrapped

if TYPE_CHECKING:
    from runstrue.faults.models import Cause, Check, Knowledge, Power, Risk, Symptom
    from runstrue.faults.search import FoundSymptom

HAZARDS = {
    "electrical": "shock", "chemical": "chemicals", "mechanical": "hands", "media": "tapes",
    "adjust": "adjustment",
}  # fmt: skip
"""What a caution is about, in a word."""
DONT_KNOW = "don't know"


def caution_lines(
    ids: Iterable[str], knowledge: Knowledge, told: set[str] | None = None, indent: str = "  "
) -> Iterator[str]:
    """Cautions in full; one that was told on this screen already is named by its first words.

    Parameters
    ----------
    told : set of str, optional
        Ids that were told; those told now are added.
    """
    told = set() if told is None else told
    again = []
    for key in dict.fromkeys(ids):
        caution = knowledge.cautions[key]
        if key in told:
            again.append(first_words(caution.text))
            continue
        told.add(key)
        mark = f"{indent}! {HAZARDS[caution.kind]}: "
        lines = wrapped(caution.text, indent + "  ", first=mark)
        yield tinted(lines[0], "yellow")
        yield from lines[1:]
    if again:
        yield from wrapped("as above: " + " ".join(again), indent + "  ", first=f"{indent}! ")


def first_words(text: str) -> str:
    """Return the first sentence of a caution."""
    first, stop, _ = text.partition(". ")
    return first + ("." if stop else "")


def check_lines(check: Check, knowledge: Knowledge, *, why: str = "", numbered: bool = True,
                told: set[str] | None = None) -> Iterator[str]:  # fmt: skip
    """One check: cautions, what to do, and what can be seen.

    Parameters
    ----------
    why : str
        Why it is worth doing now.
    numbered : bool
        Whether outcomes carry the numbers that answer them; else their ids.
    told : set of str, optional
        Cautions that were told on this screen already.
    """
    yield heading_with(check.name, f"{minutes_words(check.minutes)}; {check.power}")
    yield from caution_lines(check.cautions, knowledge, told)
    yield from wrapped(check.how, "  ")
    if check.measures:
        yield from wrapped(
            f"{check.measures} answers it by itself with --deck.", "  ", first="  Measure: "
        )
    if check.tools:
        yield from wrapped(tool_words(check.tools, knowledge), "         ", first="  Tools: ")
    if why:
        yield from wrapped(why, "       ", first="  Why: ")
    yield from outcome_lines(check, numbered=numbered)


def outcome_lines(check: Check, *, numbered: bool = True) -> Iterator[str]:
    """List what a check can show, each with its number, or its id for a script."""
    width = max(len(one.id) for one in check.outcomes)
    for number, one in enumerate(check.outcomes, 1):
        mark = f"{number:>4}  " if numbered else f"    {one.id:<{width}}  "
        yield from wrapped(one.see, " " * len(mark), first=mark)
    if numbered:
        yield f"{len(check.outcomes) + 1:>4}  {DONT_KNOW}"
    else:
        yield f"    {'unknown':<{width}}  {DONT_KNOW}"


def cause_lines(cause: Cause, knowledge: Knowledge) -> Iterator[str]:
    """Explain a cause: cautions, what mends it, and what the work takes."""
    low, high = cause.effort_min
    yield heading_with(cause.name, f"{low:g} to {high:g} min, parts to hand")
    yield from caution_lines(cause.cautions, knowledge)
    yield from wrapped(cause.remedy, "  ")
    if cause.parts:
        yield from wrapped(", ".join(cause.parts), "         ", first="  Parts: ")
    if cause.tools:
        yield from wrapped(tool_words(cause.tools, knowledge), "         ", first="  Tools: ")
    risk = risk_words(cause.risk)
    if risk:
        yield from wrapped(risk, "        ", first="  Risk: ")
    if cause.basis:
        said = "; ".join(short_source(knowledge.sources.get(key, key)) for key in cause.basis)
        for line in wrapped(said, "           ", first="  Rests on: "):
            yield faint(line)


def short_source(text: str) -> str:
    """Return what a source is, without all that is told of it."""
    for end in (" (", ":", ";"):
        text = text.partition(end)[0]
    return text.rstrip(".")


def symptom_lines(symptom: Symptom, knowledge: Knowledge) -> Iterator[str]:
    """Explain a symptom: how owners say it, and what can bring it."""
    yield bold(symptom.name) + f" ({symptom.id})"
    yield from caution_lines(symptom.cautions, knowledge)
    if symptom.said:
        yield from wrapped("; ".join(symptom.said), "        ", first="  Said: ")
    for word in ("common", "occasional", "rare"):
        names = [knowledge.causes[link.cause].name for link in symptom.causes
                 if link.likelihood == word]  # fmt: skip
        if names:
            yield from wrapped("; ".join(names), " " * 14, first=f"  {word + ':':<12}")


def found_lines(found: Sequence[FoundSymptom]) -> Iterator[str]:
    """List the symptoms that are like what was said, with numbers and ids."""
    for number, one in enumerate(found, 1):
        mark = f"{number:>4}  "
        yield from wrapped(f"{one.symptom.name} ({one.symptom.id})", " " * 6, first=mark)


def heading_with(name: str, beside: str) -> str:
    """Set a heading with something at the right edge, or on a line of its own."""
    room = 79 - shown_width(name) - shown_width(beside)
    if room >= 2:
        return bold(name) + " " * room + beside
    return bold(name) + "\n" + " " * (79 - shown_width(beside)) + beside


def minutes_words(minutes: float) -> str:
    """'10 min'."""
    return f"{minutes:g} min"


def tool_words(ids: Iterable[str], knowledge: Knowledge) -> str:
    """Name tools."""
    return ", ".join(knowledge.tools[key].name if key in knowledge.tools else key for key in ids)


def risk_words(risk: Risk) -> str:
    """Say how much can go wrong; nothing where nothing can."""
    parts = [
        f"{name} {word}"
        for name, word in (("electrical", risk.electrical), ("mechanical", risk.mechanical))
        if word != "none"
    ]
    return ", ".join(parts)


def chance_words(chance: float) -> str:
    """Print a chance no finer than what stands behind it: to 5 parts in a hundred.

    Examples
    --------
    >>> chance_words(0.463), chance_words(0.013), chance_words(0.99)
    ('about 45 %', 'under 5 %', 'over 95 %')
    """
    percent = 5 * round(20 * chance)
    if percent < 5:
        return "under 5 %"
    return "over 95 %" if percent > 95 else f"about {percent} %"


def power_rank(power: Power) -> int:
    """Order of how much of a deck is under power."""
    order: tuple[Power, ...] = (
        "off, unplugged", "on, covers closed", "on, open, low-voltage side only",
        "on, open, mains side reachable",
    )  # fmt: skip
    return order.index(power)


def two_columns(rows: Sequence[tuple[str, str]], indent: str = "  ") -> Iterator[str]:
    """Set short rows with a label before each."""
    width = max((shown_width(label) for label, _ in rows), default=0)
    for label, text in rows:
        first = indent + columns([label], [width], "<").ljust(width) + "  "
        yield from wrapped(text, " " * (len(indent) + width + 2), first=first)
