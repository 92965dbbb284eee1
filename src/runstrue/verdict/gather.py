"""The parts of a line gathered into quantities, each with its figures and words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from runstrue.verdict.figures import Figure
from runstrue.verdict.fits import (
    Item,
    by_another_method,
    could_be_condition,
    could_be_limit,
    has_label,
    implied_topics,
    is_at,
    more_exact,
    names_level,
    open_beside,
    related,
    says_which,
    topic_fits,
)
from runstrue.verdict.order import OPEN, Part, followed_by_figure, parts_of

_MAYBE_CONDITION = "it may be a condition of the figure before it or a limit of its own"


@dataclass(slots=True)
class Draft:
    """A quantity and all parts of the line that belong to it.

    Parameters
    ----------
    topics : list of str
        What its words name or, where `named` is false, what its units imply.
    parts : list of Part
    named : bool
    figure_first : bool
        Whether its figure stands before its name.
    refused : str
        Why it is handed back; mostly empty.
    """

    topics: list[str] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    named: bool = False
    figure_first: bool = False
    refused: str = ""

    @property
    def items(self) -> list[Item]:
        """All its items in the order of the line."""
        return [item for part in self.parts for item in part.items]

    @property
    def depths(self) -> list[int]:
        """How deep in brackets each item stands."""
        return [depth for part in self.parts for depth in part.depths]

    @property
    def figures(self) -> list[Figure]:
        """All its figures."""
        return [figure for part in self.parts for figure in part.figures]

    @property
    def has_limit(self) -> bool:
        """Whether one of its figures fits its quantity."""
        return any(topic_fits(name, one) for name in self.topics for one in self.figures)

    def take(self, part: Part) -> None:
        """Add a part, with its name if it has one."""
        self.parts.append(part)
        if part.topics:
            self.topics = _general_first([*self.topics, *part.topics])
            self.named = True
            self.figure_first = part.kind == "figure first"
        self.refused = self.refused or part.refused


def gather(items: Sequence[Item], carried: Sequence[str] = ()) -> list[Draft]:
    """Gather a line into quantities.

    Parameters
    ----------
    items : sequence of Item
    carried : sequence of str
        Topics of a heading on an earlier line, for a line that names none itself.
    """
    drafts = [Draft(topics=list(carried))]
    parts = parts_of(items)
    for number, part in enumerate(parts):
        draft = drafts[-1]
        if part.kind == "words":
            draft.take(part)
        elif part.kind == "figure":
            _figure(part, drafts)
        elif part.kind == "topic":
            _topic(part, drafts, followed_by_figure(parts, number, part.topics[-1]))
        elif part.refused:
            drafts.append(_new(part))
        else:
            _whole(part, drafts)
    return [draft for draft in drafts if draft.parts]


def _figure(part: Part, drafts: list[Draft]) -> None:
    """A figure without a name: of the quantity before it, or of none that is known yet."""
    draft = drafts[-1]
    implied = implied_topics(part.items)
    if implied and implied != draft.topics:
        if not draft.topics and _only_conditions(draft.items, implied[0]):
            draft.topics = implied
            draft.take(part)
        else:
            drafts.append(_new(part, implied))
        return
    if not draft.topics or (not draft.has_limit and not draft.refused):
        draft.take(part)
        return
    topic = draft.topics[-1]
    goes_on = any(could_be_limit(topic, one) for one in part.figures)
    tolerance_only = topic == "response" and all(one.dimension == "dB" for one in part.figures)
    if goes_on and not tolerance_only:
        # 'speed ±1.5 %, 0.2 %': the name may be lost; '0.05 / 0.08 %' is one of two
        pair = part.after not in (",", ";", "|") and not draft.figure_first and draft.named
        goes_on = not by_another_method(topic, part.items) and (
            pair or says_which(part.items) or _typical_and_limit(draft, part)
        )
    if goes_on or _only_conditions(part.items, topic):
        draft.take(part)
    else:
        drafts.append(_new(part, implied))


def _topic(part: Part, drafts: list[Draft], figure_follows: bool) -> None:
    """A name without a figure: of the figure before it or of one that follows."""
    draft = drafts[-1]
    topic = part.topics[-1]
    figures = draft.figures
    if not draft.topics:
        fitting = [one for one in figures if could_be_limit(topic, one)]
        rest = [one for one in figures if one not in fitting]
        conditions = all(could_be_condition(topic, one) for one in rest)
        if not figures or (conditions and not fitting) or (conditions and fitting):
            if fitting:
                part.kind = "figure first"
                single = len(fitting) == 1 or topic == "response" or _labelled(draft)
                claimed = _claimed_before(drafts, fitting) or by_another_method(topic, draft.items)
                draft.refused = "" if single and not figure_follows and not claimed else OPEN
            draft.take(part)
        elif any(could_be_limit(topic, one) for one in draft.parts[-1].figures):
            _name_last(part, drafts, OPEN if figure_follows else "")
        else:
            drafts.append(_new(part))
        return
    if not draft.has_limit:
        if related(draft.topics[-1], topic):
            draft.take(part)
        else:
            drafts.append(_new(part))
        return
    if not draft.named and draft.topics == [topic]:  # '0.05 % WRMS, wow and flutter'
        part.kind = "figure first"
        draft.take(part)
        draft.refused = OPEN if figure_follows else ""
        return
    last = draft.parts[-1]
    if (
        len(draft.parts) > 1
        and last.kind == "figure"
        and (not figure_follows or related(draft.topics[-1], topic))
        and any(could_be_limit(topic, one) for one in last.figures)
    ):
        _name_last(part, drafts, OPEN)
    elif names_level(topic) and part.figures and _only_conditions(part.items, draft.topics[-1]):
        draft.parts.append(part)
    else:
        drafts.append(_new(part))


def _name_last(part: Part, drafts: list[Draft], refused: str) -> None:
    """Take the last figure out of a draft and put it with the name that stands after it."""
    taken = _new(drafts[-1].parts.pop())
    part.kind = "figure first"
    taken.take(part)
    taken.refused = refused
    drafts.append(taken)


def _whole(part: Part, drafts: list[Draft]) -> None:
    """A name with its figure: joined only to a heading or to conditions that stand before."""
    draft = drafts[-1]
    topic = part.topics[-1]
    if not draft.topics:
        figure_first = part.kind == "figure first"
        conditions = _only_conditions(draft.items, topic)
        listed = (
            figure_first
            and _labelled(draft)
            and all(could_be_limit(topic, one) for one in draft.figures)
            and not by_another_method(topic, draft.items)
        )
        if conditions or listed:
            draft.take(part)
        else:
            drafts.append(_new(part))
    elif not draft.has_limit and related(draft.topics[-1], topic) and not draft.refused:
        draft.take(part)
    else:
        new = _new(part)
        beside = bool(part.after) and draft.has_limit
        if part.kind == "figure first" and beside and open_beside(topic, draft.topics[-1]):
            new.refused = _MAYBE_CONDITION
        drafts.append(new)


def _new(part: Part, implied: Sequence[str] = ()) -> Draft:
    draft = Draft(topics=list(implied))
    draft.take(part)
    return draft


def _claimed_before(drafts: list[Draft], figures: Sequence[Figure]) -> bool:
    """Whether the quantity before a nameless figure stands first and may own it as well."""
    if len(drafts) < 2 or not drafts[-2].topics:
        return False
    before = drafts[-2]
    if before.figure_first and not before.refused:
        return False
    return any(could_be_limit(before.topics[-1], one) for one in figures)


def _typical_and_limit(draft: Draft, part: Part) -> bool:
    """'0.05 % typical, max. 0.1 %' and the other way round."""
    typical = {"about" in one.bounds for one in draft.figures}
    return typical.isdisjoint({"about" in one.bounds for one in part.figures})


def _labelled(draft: Draft) -> bool:
    return all(has_label(part.items) for part in draft.parts if part.kind == "figure")


def _only_conditions(items: Sequence[Item], topic: str) -> bool:
    """Whether every figure here can be a condition of this quantity."""
    return all(
        could_be_condition(
            topic, item, said_at=is_at(items[place - 1] if place else None, widely=True)
        )
        for place, item in enumerate(items)
        if isinstance(item, Figure)
    )


def _general_first(names: list[str]) -> list[str]:
    """'THD 1.5 % distortion' speaks of the total distortion: the more exact name goes last."""
    if len(names) > 1 and more_exact(names[-2], names[-1]):
        names[-2:] = [names[-1], names[-2]]
    return names
