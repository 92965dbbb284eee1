"""Which figure goes with which quantity, where either may stand first.

'Speed ±1.5 %', '0.2 % DIN wow and flutter' and lists of both. A line is parted at its commas,
semicolons, slashes and 'and's; each part is put in order by itself, and joined to the part
before it only where it cannot be meant otherwise. Where a figure may belong to the quantity
before it as well as to the one after it, both are handed back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from runstrue.verdict.figures import Figure
from runstrue.verdict.fits import (
    Item,
    could_be_limit,
    is_at,
    names_condition,
    related,
)
from runstrue.verdict.tokens import Token

OPEN = "the figure may belong to the quantity before it or to the one after it"

_AND = frozenset({"and", "und", "et", "e", "y", "&", "or", "oder", "ou", "o"})

PartKind = Literal["words", "figure", "topic", "topic first", "figure first"]


@dataclass(slots=True)
class Part:
    """A run of items between two cuts.

    Parameters
    ----------
    kind : str
        Neither figure nor quantity; figures alone; a quantity without a figure that fits it;
        a quantity and then its figures; a figure and then its quantity.
    items : list of Item
    depths : list of int
        How deep in brackets each item stands.
    topics : list of str
    refused : str
        Why it must be handed back; mostly empty.
    after : str
        The separator before it; empty where none stands.
    """

    kind: PartKind
    items: list[Item]
    depths: list[int]
    topics: list[str] = field(default_factory=list)
    refused: str = ""
    after: str = ""

    @property
    def figures(self) -> list[Figure]:
        """Its figures."""
        return [item for item in self.items if isinstance(item, Figure)]


@dataclass(slots=True)
class _Mark:
    """A quantity or a figure that may be a limit, by its place in the part."""

    place: int
    topic: str = ""
    figure: Figure | None = None


def parts_of(items: Sequence[Item]) -> list[Part]:
    """Part a line at its separators and wherever one quantity ends and the next begins."""
    stretches = _stretches(items)
    parts: list[Part] = []
    for number, (stretch, depths) in enumerate(stretches):
        following = _figures_that_follow(stretches, number)
        found = _in_order(stretch, depths, following)
        found[0].after = _last_text(stretches[number - 1][0]) if number else ""
        parts += found
    return parts


def is_separator(item: Item) -> bool:
    """Whether this item parts a line, where it stands outside brackets."""
    return isinstance(item, Token) and (item.kind == "separator" or is_joint(item))


def is_joint(token: Token) -> bool:
    """Whether this joins a pair: '0.05 / 0.08 %', '30 and 65 g·cm'."""
    return token.kind == "slash" or token.text.casefold() in _AND


def followed_by_figure(parts: Sequence[Part], number: int, topic: str) -> bool:
    """Whether the part after this one is a figure for the topic, and for no later name."""
    rest = [part for part in parts[number + 1 :] if part.kind != "words"]
    if not rest or rest[0].kind != "figure":
        return False
    figures = [figure for figure in rest[0].figures if could_be_limit(topic, figure)]
    later = rest[1].topics[-1] if len(rest) > 1 and rest[1].kind == "topic" else ""
    return bool(figures) and not (later and could_be_limit(later, figures[-1]))


# --- within one stretch between separators ---------------------------------------------------


def _stretches(items: Sequence[Item]) -> list[tuple[list[Item], list[int]]]:
    """Cut after each separator outside brackets; the separator stays with what is before it."""
    stretches: list[tuple[list[Item], list[int]]] = [([], [])]
    depth = 0
    for item in items:
        if isinstance(item, Token):
            depth = max(depth + (item.kind == "open") - (item.kind == "close"), 0)
        stretches[-1][0].append(item)
        stretches[-1][1].append(depth)
        if depth == 0 and is_separator(item):
            stretches.append(([], []))
    return [stretch for stretch in stretches if stretch[0]]


def _last_text(items: Sequence[Item]) -> str:
    return items[-1].text if isinstance(items[-1], Token) else ""


def _figures_that_follow(
    stretches: Sequence[tuple[list[Item], list[int]]], number: int
) -> list[Figure]:
    """Figures of the next stretch, if it is one of figures alone."""
    plain = [
        Part(_kind_without_topic(one), one, depths) if not _topics_in(one, depths) else None
        for one, depths in stretches[number + 1 : number + 3]
    ]
    if not plain or plain[0] is None or plain[0].kind != "figure":
        return []
    if len(plain) > 1 and plain[1] is None and not _has_figure(stretches[number + 2][0]):
        return []
    return plain[0].figures


def _in_order(items: list[Item], depths: list[int], following: list[Figure]) -> list[Part]:
    marks = _marks(items, depths)
    if not any(mark.topic for mark in marks):
        return [Part(_kind_without_topic(items), items, depths)]
    runs = _runs(marks)
    first_is_topic = bool(runs[0][0].topic)
    last_is_topic = bool(runs[-1][0].topic)
    cutter = _Cutter(items, depths, runs, following)
    if len(runs) == 1:
        cutter.cut(0, "topic", runs[0])
    elif first_is_topic and not last_is_topic:
        cutter.topic_first(runs)
    elif first_is_topic:
        cutter.topic_at_both_ends(runs)
    elif last_is_topic:
        cutter.figure_first()
    else:
        cutter.figure_at_both_ends()
    return cutter.parts()


class _Cutter:
    """Where to cut one stretch, and what each piece of it is."""

    def __init__(
        self,
        items: list[Item],
        depths: list[int],
        runs: list[list[_Mark]],
        following: list[Figure],
    ) -> None:
        self._items, self._depths = items, depths
        self._runs, self._following = runs, following
        self._cuts: list[tuple[int, PartKind, list[str], str]] = []

    def cut(self, place: int, kind: PartKind, topics: Sequence[_Mark], refused: str = "") -> None:
        names = [mark.topic for mark in topics if mark.topic]
        self._cuts.append((place if self._cuts else 0, kind, names, refused))

    def parts(self) -> list[Part]:
        ends = [place for place, *_ in self._cuts[1:]] + [len(self._items)]
        return [
            Part(kind, self._items[place:end], self._depths[place:end], names, refused)
            for (place, kind, names, refused), end in zip(self._cuts, ends, strict=True)
        ]

    def topic_first(self, runs: list[list[_Mark]]) -> None:
        """'Speed ±1.5 %', 'S/N 56 dB erasure 60 dB'."""
        figures: list[_Mark] = []
        for number, topics in enumerate(runs[::2]):
            rest = topics
            if figures and not related(topics[0].topic, topics[-1].topic):
                own, last = runs[2 * number - 2][-1].topic, figures[-1]
                if _fits(topics[0].topic, last):  # the first name has no figure after it
                    self._part_off(last, topics[0], own, alone=len(figures) == 1)
                    rest = topics[1:]
            self.cut(rest[0].place, "topic first", rest)
            figures = runs[2 * number + 1] if 2 * number + 1 < len(runs) else []

    def _part_off(self, figure: _Mark, topic: _Mark, own: str, *, alone: bool) -> None:
        """Give a figure between two quantities to the second, or hand back what is open."""
        if not _fits(own, figure):
            self.cut(figure.place, "figure first", [topic])
        elif not alone:
            self.cut(figure.place, "figure first", [topic], OPEN)
        else:
            place, kind, names, _ = self._cuts[-1]
            self._cuts[-1] = (place, kind, names, OPEN)

    def topic_at_both_ends(self, runs: list[list[_Mark]]) -> None:
        """'Distortion 3 % third harmonic' is one; 'S/N 56 dB 0.2 % wow and flutter' are two."""
        *body, before, figures, after = runs
        own, other, last = before[-1].topic, after[0].topic, figures[-1]
        if related(own, after[-1].topic):
            self.topic_first([*body, [*before, *after], figures])
            return
        fits_own, fits_other = _fits(own, last), _fits(other, last)
        theirs = _only_of(other, own, figures)
        if len(figures) > 1 and theirs > 0:
            last, fits_own = figures[theirs], False
        if not fits_other or any(could_be_limit(other, one) for one in self._following):
            self.topic_first([*body, before, figures])
            self.cut(after[0].place, "topic", after)
        elif not fits_own and last is figures[0]:
            if body:
                self.topic_at_both_ends([*body, before])
            else:
                self.cut(before[0].place, "topic", before)
            self._figure_then(last, after)
        elif not fits_own or len(figures) > 1:
            self.topic_first([*body, before, figures])
            self._figure_then(last, after, OPEN if fits_own else "")
        else:
            self.topic_first(body)
            self.cut(before[0].place, "topic first", before, OPEN)

    def figure_first(self) -> None:
        """'0.2 % DIN wow and flutter', '0.2 % wow and flutter 56 dB S/N'."""
        previous, mixed = "", self._is_mixed()
        for figures, topics in zip(self._runs[::2], self._runs[1::2], strict=True):
            apart = not related(topics[0].topic, topics[-1].topic)
            name = topics[0 if apart else -1].topic
            theirs = max(_only_of(name, previous, figures), 0) if previous else 0
            doubtful = figures if mixed else figures[: theirs or len(figures) - 1]
            open_before = previous and any(_fits(previous, one) for one in doubtful)
            fitting = [one for one in figures[theirs:] if _fits(name, one)]
            several = len(fitting) > 1 and name != "response"
            sure = figures[-1] in fitting and not several and not open_before
            self._figure_then(figures[0], topics, "" if sure else OPEN)
            previous = topics[-1].topic

    def _is_mixed(self) -> bool:
        """Whether two figures or two names stand together, so that the order changes midway."""
        for figures, topics in zip(self._runs[::2], self._runs[1::2], strict=True):
            name = topics[-1].topic
            if not related(topics[0].topic, name):
                return True
            if name != "response" and sum(_fits(name, one) for one in figures) > 1:
                return True
        return False

    def _figure_then(self, figure: _Mark, topics: list[_Mark], refused: str = "") -> None:
        """Cut before a figure and its quantity; the name of another may follow without one."""
        apart = not related(topics[0].topic, topics[-1].topic)
        if apart and _fits(topics[-1].topic, figure):
            refused = refused or OPEN
        apart = apart and not refused
        self.cut(figure.place, "figure first", topics[:1] if apart else topics, refused)
        if apart:
            self.cut(topics[1].place, "topic", topics[1:])

    def figure_at_both_ends(self) -> None:
        """'±3 dB response 30–15 000 Hz' is one; '0.2 % wow and flutter 0.1 %' is open."""
        lead, topics, after = self._runs[0], self._runs[1], self._runs[2]
        first, final = topics[0].topic, topics[-1].topic
        if len(topics) > 1 and not related(first, final):
            sure = _fits(first, lead[-1]) and not _fits(final, lead[-1])
            if sure and _fits(final, after[0]) and len(topics) == 2:
                self.cut(0, "figure first", topics[:1])
                self.topic_first([topics[1:], *self._runs[2:]])
                return
            self.cut(0, "figure first", topics, OPEN)
            return
        same = {mark.figure.dimension for mark in lead if mark.figure and _fits(final, mark)} & {
            mark.figure.dimension for mark in after if mark.figure and _fits(final, mark)
        }
        fitting = any(_fits(final, mark) for mark in lead)
        if same or (fitting and len(self._runs) > 3):
            self.cut(0, "figure first", topics, OPEN)
            return
        self.topic_first(self._runs[1:])


def _only_of(topic: str, other: str, figures: Sequence[_Mark]) -> int:
    """Return the place of the first figure that fits this topic and not the other; −1: none."""
    places = (
        place for place, mark in enumerate(figures) if _fits(topic, mark) and not _fits(other, mark)
    )
    return next(places, -1)


def _fits(topic: str, mark: _Mark) -> bool:
    return mark.figure is not None and could_be_limit(topic, mark.figure)


def _marks(items: list[Item], depths: list[int]) -> list[_Mark]:
    """Quantities outside brackets, and the figures that may be a limit of one of them."""
    topics = _topics_in(items, depths)
    names = list(topics.values())
    figures = {
        place: item
        for place, item in enumerate(items)
        if isinstance(item, Figure)
        and not is_at(items[place - 1] if place else None)
        and any(could_be_limit(name, item) for name in names)
    }
    outside = {place: item for place, item in figures.items() if depths[place] == 0}
    marks = [_Mark(place, topic=name) for place, name in topics.items()]
    marks += [_Mark(place, figure=item) for place, item in (outside or figures).items()]
    return sorted(marks, key=lambda mark: mark.place)


def _topics_in(items: list[Item], depths: list[int]) -> dict[int, str]:
    """Quantities by place, without those that only say a condition: 'at 3 % THD'."""
    found: dict[int, str] = {}
    for place, item in enumerate(items):
        if not isinstance(item, Token) or depths[place] > 0 or not item.is_phrase("topic"):
            continue
        assert item.meaning is not None
        topic = item.meaning.names[0]
        back = place - 1
        while back >= 0 and _is_filler(items[back]):
            back -= 1
        figure = items[back] if back >= 0 else None
        before = items[back - 1] if back > 0 else None
        if isinstance(figure, Figure) and names_condition(topic, figure, before):
            continue
        found[place] = topic
    return found


def _is_filler(item: Item) -> bool:
    return isinstance(item, Token) and item.is_phrase("filler")


def _runs(marks: list[_Mark]) -> list[list[_Mark]]:
    runs: list[list[_Mark]] = []
    for mark in marks:
        if runs and bool(runs[-1][0].topic) == bool(mark.topic):
            runs[-1].append(mark)
        else:
            runs.append([mark])
    return runs


def _kind_without_topic(items: Sequence[Item]) -> PartKind:
    return "figure" if _has_figure(items) else "words"


def _has_figure(items: Sequence[Item]) -> bool:
    return any(isinstance(item, Figure) for item in items)
