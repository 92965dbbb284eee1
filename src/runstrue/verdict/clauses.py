"""What belongs together on a line: one quantity with its figures, and which words go with which.

'Wow & flutter: 0.05 % (WRMS), ±0.14 % (DIN)' is one clause with two figures; WRMS goes with
the first and DIN with the second. 'Speed ±1.5 %, S/N 56 dB' is two clauses.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from runstrue.verdict.figures import Figure, figure_at, give_unit
from runstrue.verdict.tokens import Token, tokenise
from runstrue.verdict.vocabulary import Unit, topics

Item = Figure | Token


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
    """

    topics: list[str]
    header: list[Item]
    groups: list[Group]
    start: int
    end: int


def clauses_of(line: str, carried: Sequence[str] = ()) -> list[Clause]:
    """Cut one line into clauses.

    Parameters
    ----------
    line : str
    carried : sequence of str
        Topics of a heading on an earlier line, for a line that names none itself.
    """
    items = _items(tokenise(line))
    drafts = _cut_at_topics(items)
    clauses = []
    for draft in drafts:
        names = draft.topics or list(carried) or _implied_topics(draft.items)
        clauses.append(_arrange(names, draft.items, draft.brackets))
    return clauses


def topic_fits(topic: str, figure: Figure) -> bool:
    """Whether a figure's dimension is one in which this topic is given."""
    dimensions = topics()[topic].keys()
    if topic == "speed":
        return _fits_speed(figure)
    if topic == "response":
        return figure.dimension == "Hz" and figure.shape in ("span", "single", "around")
    if figure.shape == "around" and figure.tolerance_dimension != figure.dimension:
        return False
    return figure.dimension in dimensions


def _fits_speed(figure: Figure) -> bool:
    if figure.shape == "around":
        same_tone = figure.dimension == figure.tolerance_dimension == "Hz"
        share = figure.tolerance_dimension == "%" and figure.dimension in ("cm/s", "Hz")
        return same_tone or share
    return figure.dimension == "%" or (figure.shape == "span" and figure.dimension == "Hz")


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


@dataclass(slots=True)
class _Draft:
    topics: list[str]
    items: list[Item]
    brackets: list[int]  # depth of brackets at each item


def _cut_at_topics(items: list[Item]) -> list[_Draft]:
    draft = _Draft([], [], [])
    drafts = [draft]
    depth = 0
    for place, item in enumerate(items):
        if isinstance(item, Token):
            depth += (item.kind == "open") - (item.kind == "close")
            depth = max(depth, 0)
            if depth == 0 and item.is_phrase("topic"):
                assert item.meaning is not None
                has_figures = any(isinstance(other, Figure) for other in draft.items)
                if has_figures and _begins_clause(items, place, draft):
                    draft = _Draft([], [], [])
                    drafts.append(draft)
                if not has_figures or not draft.topics:
                    draft.topics.extend(item.meaning.names)
        draft.items.append(item)
        draft.brackets.append(depth)
    return [draft for draft in drafts if draft.items]


def _begins_clause(items: list[Item], place: int, draft: _Draft) -> bool:
    """Whether a topic after figures opens a new clause; in 'at 3 % THD' it does not."""
    before = items[place - 1] if place else None
    set_apart = isinstance(before, Token) and (
        before.kind in ("separator", "slash", "dot", "range", "dash", "close")
        or before.is_phrase("filler")
    )
    if not draft.topics:  # '0.14 % DIN wow and flutter': the figure stands before its topic
        return set_apart and _figure_follows(items, place)
    return set_apart or _figure_follows(items, place)


def _figure_follows(items: list[Item], place: int) -> bool:
    for item in items[place + 1 :]:
        if isinstance(item, Figure):
            return True
        if item.kind in ("separator", "slash") or item.is_phrase("topic"):
            return False
    return False


def _implied_topics(items: list[Item]) -> list[str]:
    """Topics that a line without a name means by its units alone."""
    figures = [item for item in items if isinstance(item, Figure)]
    if any(f.shape == "span" and f.dimension == "Hz" for f in figures) and any(
        f.dimension == "dB" for f in figures
    ):
        return ["response"]
    if any(f.shape == "around" and f.dimension == "cm/s" for f in figures):
        return ["speed"]
    names = {name for item in items if isinstance(item, Token) for name in _flags(item)}
    if "wrms" in names:
        return ["flutter"]
    return []


def _flags(token: Token) -> tuple[str, ...]:
    if token.kind == "standard":
        return token.flags
    meaning = token.meaning
    return meaning.names if meaning and meaning.kind == "flag" else ()


def _arrange(names: list[str], items: list[Item], brackets: list[int]) -> Clause:
    """Give every word of a clause to the figure that it goes with."""
    fitting = _fitting_topics(names, items)
    chosen = fitting[-1:] or names[-1:]
    is_main = [
        isinstance(item, Figure) and bool(chosen) and topic_fits(chosen[0], item) for item in items
    ]
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
            joins = item.kind in ("separator", "slash") or _is_and(item)
            if joins:
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


def _is_and(token: Token) -> bool:
    return token.text.casefold() in ("and", "und", "et", "e", "y", "&", "or", "oder", "ou", "o")


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
            isinstance(item, Token) and (_flags(item) or item.is_phrase("condition"))
            for item in part
        )

    return says_something(items[: main[0]]) and not says_something(items[main[-1] + 1 :])
