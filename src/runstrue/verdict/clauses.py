"""What belongs together on a line: one quantity with its figures, and which words go with which.

'Wow & flutter: 0.05 % (WRMS), ±0.14 % (DIN)' is one clause with two figures; WRMS goes with
the first and DIN with the second. 'Speed ±1.5 %, S/N 56 dB' is two clauses.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from runstrue.verdict.figures import Figure, figure_at, give_unit
from runstrue.verdict.fits import (
    Item,
    begins_response,
    could_be_limit,
    flags_of,
    implied_topics,
    is_at,
    topic_fits,
)
from runstrue.verdict.gather import gather
from runstrue.verdict.order import is_separator
from runstrue.verdict.tokens import Token, tokenise
from runstrue.verdict.vocabulary import Unit


@dataclass(slots=True)
class Group:
    """One figure and all that goes with it."""

    figure: Figure
    items: list[Item] = field(default_factory=list)


@dataclass(slots=True)
class Clause:
    """One quantity with its figures.

    Parameters
    ----------
    topics : list of str
        Topics that its words name; mostly one.
    header : list of Item
        What stands before the first figure and may hold for all.
    groups : list of Group
        The figures that fit the topic, each with the words that go with it.
    start, end : int
        Its place in the line.
    named : bool
        Whether its words name the quantity; else its units or a heading do.
    refused : str
        Why it is handed back; mostly empty.
    """

    topics: list[str]
    header: list[Item]
    groups: list[Group]
    start: int
    end: int
    named: bool = False
    refused: str = ""


def clauses_of(line: str, carried: Sequence[str] = ()) -> list[Clause]:
    """Cut one line into clauses.

    Parameters
    ----------
    line : str
    carried : sequence of str
        Topics of a heading on an earlier line, for a line that names none itself.
    """
    clauses = []
    for draft in gather(_items(tokenise(line)), carried):
        items = draft.items
        while len(items) > 1 and is_separator(items[-1]):
            items = items[:-1]
        names = draft.topics or implied_topics(items)
        clause = _arrange(names, items, draft.depths[: len(items)])
        clause.named, clause.refused = draft.named, draft.refused
        clauses.append(clause)
    return clauses


# --- from tokens to items ------------------------------------------------------------------


def _items(tokens: list[Token]) -> list[Item]:
    """Put figures together and give each its unit where another figure or a bracket names it."""
    items: list[Item] = []
    place = 0
    while place < len(tokens):
        found = figure_at(tokens, place)
        if found:
            items.append(found[0])
            place = found[1]
        else:
            items.append(tokens[place])
            place += 1
    return _with_units(items)


def _with_units(items: list[Item]) -> list[Item]:
    """'0.05 / 0.08 %' shares its unit backwards; 'Torque (g·cm): 30–65' forwards."""
    following: Unit | None = None
    near = False
    shared: list[Item] = []
    for item in reversed(items):
        current = item
        if isinstance(current, Figure):
            if not current.dimension and following and near:
                current = give_unit(current, following)
            units = [token.unit for token in current.tokens if token.unit]
            following, near = (units[0] if units else None), True
        elif current.kind not in ("slash", "separator"):
            near = False
        shared.append(current)
    shared.reverse()
    in_brackets: Unit | None = None
    whole: list[Item] = []
    for item in shared:
        if isinstance(item, Token):
            if item.kind == "unit":
                in_brackets = item.unit
        elif not item.dimension and in_brackets:
            item = give_unit(item, in_brackets)
        whole.append(item)
    return whole


# --- from items to clauses -----------------------------------------------------------------


def _arrange(names: list[str], items: list[Item], brackets: list[int]) -> Clause:
    """Give every word of a clause to the figure that it goes with."""
    fitting = _fitting_topics(names, items)
    chosen = fitting[-1:] or names[-1:]
    fits = [
        isinstance(item, Figure) and bool(chosen) and topic_fits(chosen[0], item) for item in items
    ]
    # 'S/N 56 dB at 0 dB': the second is no limit, unless there is no other
    aside = [fit and place > 0 and is_at(items[place - 1]) for place, fit in enumerate(fits)]
    for place, item in enumerate(items):
        if fits[place] and isinstance(item, Figure) and item.flags:
            aside[place] = aside[place] or not could_be_limit(chosen[0], item)
        if chosen != ["response"] and begins_response(items[place : place + 3]):
            aside[place + 1 : place + 3] = [True] * len(aside[place + 1 : place + 3])
    is_main = [fit and not at for fit, at in zip(fits, aside, strict=True)]
    if not any(is_main):
        is_main = fits
    breaks = _breaks(items, brackets, is_main)
    clause = Clause(chosen, [], [], items[0].start, items[-1].end)
    main = [place for place, flag in enumerate(is_main) if flag]
    if not main:
        clause.header = list(items)
        return clause
    clause.header = items[: main[0]]
    for number, place in enumerate(main):
        figure = items[place]
        assert isinstance(figure, Figure)
        clause.groups.append(Group(figure))
        if number:
            between = range(main[number - 1] + 1, place)
            before, after = _share_out(between, breaks, label_first=_label_first(items, main))
            clause.groups[number - 1].items += [items[index] for index in before]
            clause.groups[number].items += [items[index] for index in after]
    clause.groups[-1].items += items[main[-1] + 1 :]
    return clause


def _fitting_topics(names: Iterable[str], items: list[Item]) -> list[str]:
    figures = [item for item in items if isinstance(item, Figure)]
    return [name for name in names if any(topic_fits(name, figure) for figure in figures)]


def _breaks(items: list[Item], brackets: list[int], is_main: list[bool]) -> list[bool]:
    """Which items set figures apart: separators outside brackets, brackets around figures."""
    breaks = []
    for place, item in enumerate(items):
        mark = False
        if isinstance(item, Token):
            if is_separator(item):
                mark = brackets[place] == 0 or _inside_holds_main(place, brackets, is_main)
            elif item.kind in ("open", "close"):
                mark = _inside_holds_main(place, brackets, is_main, at_bracket=item.kind)
        breaks.append(mark)
    return breaks


def _inside_holds_main(
    place: int, brackets: list[int], is_main: list[bool], at_bracket: str = ""
) -> bool:
    """Whether the bracket around (or begun or ended at) this place holds a main figure."""
    inside = place - 1 if at_bracket == "close" else place
    if inside < 0 or brackets[inside] == 0:
        return False
    low = high = inside
    while low > 0 and brackets[low - 1] > 0:
        low -= 1
    while high + 1 < len(brackets) and brackets[high + 1] > 0:
        high += 1
    return any(is_main[low : high + 1])


def _share_out(
    between: range, breaks: list[bool], *, label_first: bool
) -> tuple[list[int], list[int]]:
    """Part the items between two figures: what goes with the first, what with the second."""
    cuts = [place for place in between if breaks[place]]
    if not cuts:
        return ([], list(between)) if label_first else (list(between), [])
    return (
        [place for place in between if place < cuts[-1] and not breaks[place]],
        [place for place in between if place > cuts[-1]],
    )


def _label_first(items: list[Item], main: list[int]) -> bool:
    """Whether labels stand before their figures: 'DIN 0.14 % WRMS 0.05 %'."""

    def says_something(part: list[Item]) -> bool:
        return any(
            isinstance(item, Token) and (flags_of(item) or item.is_phrase("condition"))
            for item in part
        )

    return says_something(items[: main[0]]) and not says_something(items[main[-1] + 1 :])
