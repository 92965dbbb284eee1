"""From a clause of a sheet to limits: which quantity, which method, what is allowed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from msgspec import structs

from runstrue.catalogue import KINDS
from runstrue.verdict.bounds import Bounds, bounds_of
from runstrue.verdict.clauses import Clause, Group
from runstrue.verdict.figures import Figure
from runstrue.verdict.fits import by_another_method, could_be_limit
from runstrue.verdict.models import Limit, Sure, Unread
from runstrue.verdict.order import is_joint
from runstrue.verdict.said import Said, combine, pair_speeds, read_words, share_last
from runstrue.verdict.tokens import Token, tokenise
from runstrue.verdict.vocabulary import rules, topics

_ANOTHERS = "the method beside the figure is one by which this quantity is not measured"

NAME_MAY_BE_LOST = "nothing tells it from the figure before it, and it names no quantity itself"

SPEEDS_AND_FIGURES_PART = "several speeds and another number of figures: which holds for which?"

# The words around a figure of these may change what it means ('with mains voltage', 'from reel
# to reel', 'difference between sides'), so none may be left over.
_EXACT_TOPICS = frozenset(
    {
        "speed", "drift", "flutter", "flutter_alone", "wow_alone", "take_up_torque",
        "back_tension_torque", "wind_torque", "forward", "rewind", "torque", "pinch",
        "capstan_pull", "capstan_end_play",
    }
)  # fmt: skip

_ORDER: tuple[Sure, ...] = ("clear", "likely", "ambiguous")

# Topics that say a method by their very name: Fremdspannungsabstand is unweighted noise.
_TOPIC_FLAGS = {
    "noise_weighted": ("din", "weighted"),
    "noise_unweighted": ("unweighted",),
}


def limits_of(
    clause: Clause, line: str, heading: Said | None = None
) -> tuple[list[Limit], list[Unread]]:
    """Return the limits that a clause states, and what in it was not understood.

    Parameters
    ----------
    clause : Clause
        With a topic and at least one figure that fits it.
    line : str
        The line that it stands in.
    heading : Said, optional
        What a heading on an earlier line says.
    """
    topic = clause.topics[0]
    header = read_words(_without_topic(clause), line, topic)
    header.flags.update(_TOPIC_FLAGS.get(topic, ()))
    if heading:
        header = combine(heading, header, is_first=True)
    owns = [read_words(group.items, line, topic) for group in clause.groups]
    combined = [combine(header, own, is_first=number == 0) for number, own in enumerate(owns)]
    share_last(combined)
    if not pair_speeds(combined):
        text = line[clause.start : clause.end].strip(" \t,;:|")
        return [], [Unread(words=text, why=SPEEDS_AND_FIGURES_PART)]
    limits: list[Limit] = []
    unread: list[Unread] = []
    for number, (group, said) in enumerate(zip(clause.groups, combined, strict=True)):
        said.bare = said.bare and not group.figure.flags
        said.flags.update(group.figure.flags)
        words = _words(clause, group, line, is_first=number == 0)
        found: list[Limit] | str
        if number and "about" in group.figure.bounds - clause.groups[0].figure.bounds:
            found = "a typical figure beside a limit promises nothing"
        elif number and _is_anothers(topic, group):
            found = _ANOTHERS
        elif said.bare and not _is_paired(clause.groups[number - 1], group, line):
            found = NAME_MAY_BE_LOST
        else:
            found = _limits_of_group(topic, group.figure, said, words)
        if isinstance(found, str):
            unread.append(Unread(words=words, why=found))
        else:
            limits += found
    return limits, unread


def _is_anothers(topic: str, group: Group) -> bool:
    """Whether a further figure is by a method by which this quantity is not measured."""
    weighted = "a_curve" in group.figure.flags and not could_be_limit(topic, group.figure)
    return weighted or by_another_method(topic, group.items)


def _is_paired(before: Group, group: Group, line: str) -> bool:
    """'0.05 / 0.08 %', '0.05 and 0.08 %', 'typical 0.05 %, max. 0.1 %': two of one quantity."""
    between = line[before.figure.end : group.figure.start]
    typical = ["about" in one.figure.bounds for one in (before, group)]
    return typical[0] != typical[1] or any(is_joint(one) for one in tokenise(between))


def _limits_of_group(topic: str, figure: Figure, said: Said, words: str) -> list[Limit] | str:
    if topic in _EXACT_TOPICS and said.left_over:
        return f"'{' '.join(said.left_over)}' may change what the figure means"
    if "peak_to_peak" in said.flags:
        return _halved(topic, figure, said, words)
    if topic == "response":
        return _response(figure, said, words)
    entry = _entry(topic, figure)
    if "family" in entry:
        flags = said.flags | ({"plus_minus"} if figure.shape == "tolerance" else set())
        rule = _rule(entry["family"], flags)
        if "refuse" in rule:
            return str(rule["refuse"])
        entry = rule
    if "each" in entry:
        parts = [_limit((one,), entry, figure, said, words) for one in entry["each"]]
    else:
        parts = [_limit(tuple(entry["ids"]), entry, figure, said, words)]
    refusals = [part for part in parts if isinstance(part, str)]
    return refusals[0] if refusals else [part for part in parts if isinstance(part, Limit)]


def _halved(topic: str, figure: Figure, said: Said, words: str) -> list[Limit] | str:
    """A flutter given from peak to peak: ± is half of it, as the standards print it."""
    if topic not in ("flutter", "flutter_alone", "wow_alone"):
        return "from peak to peak is no way in which this quantity is measured"
    as_peak = replace(said, flags=(said.flags - {"peak_to_peak"}) | {"peak"})
    found = _limits_of_group(topic, figure, as_peak, words)
    if isinstance(found, str):
        return found
    note = "The sheet's figure is from peak to peak; ± is half of it."
    return [
        structs.replace(
            limit,
            low=None if limit.low is None else limit.low / 2,
            high=None if limit.high is None else limit.high / 2,
            nominal=None if limit.nominal is None else limit.nominal / 2,
            sure=max(limit.sure, "likely", key=_ORDER.index),
            question=f"{limit.question} {note}".strip(),
        )
        for limit in found
    ]


def _entry(topic: str, figure: Figure) -> dict[str, Any]:
    table = topics()[topic]
    dimension = "%" if topic == "speed" else figure.dimension
    entry = table[dimension]
    if isinstance(entry, dict):
        return entry
    question = table.get("question", "")
    return {"ids": entry, "sure": "ambiguous" if len(entry) > 1 else "clear", "question": question}


def _rule(family: str, flags: set[str]) -> dict[str, Any]:
    """Return the first rule of a family whose words fit."""
    for rule in rules():
        if (
            rule["family"] == family
            and flags.issuperset(rule.get("all", ()))
            and not flags.intersection(rule.get("none", ()))
            and all(flags.intersection(choice) for choice in rule.get("one_of", ()))
        ):
            return _rule(rule["like"], flags) if "like" in rule else rule
    raise AssertionError(f"family '{family}' has no rule without conditions at its end")


def _limit(
    ids: tuple[str, ...], entry: dict[str, Any], figure: Figure, said: Said, words: str
) -> Limit | str:
    kind = KINDS[ids[0]]
    allowed = bounds_of(figure, kind)
    if allowed.refusal:
        return allowed.refusal
    conditions = dict(said.conditions)
    left_over = list(said.left_over)
    if ids == ("voltage.point",) and left_over:
        conditions["point"] = " ".join(left_over)
        left_over = []
    if ids == ("speed.deviation",) and figure.shape == "around":
        name = "speed" if figure.dimension == "cm/s" else "tone"
        conditions[name] = figure.tokens[0].text
    sure, question = _worst(
        [
            (entry.get("sure", "clear"), entry.get("question", "")),
            (allowed.sure, allowed.question),
            *_doubts(said, left_over),
        ]
    )
    return Limit(
        ids=ids,
        unit=kind.unit,
        words=words,
        low=allowed.low,
        high=allowed.high,
        nominal=allowed.nominal,
        sure=sure,
        question=question,
        notes=tuple(said.notes),
        conditions=conditions,
        left_over=tuple(left_over),
    )


def _doubts(said: Said, left_over: list[str]) -> Iterable[tuple[Sure, str]]:
    if said.inherited:
        yield "likely", "The method was taken to hold for all figures of the line."
    if said.bare:
        yield "likely", "A further figure without words of its own was taken for the same."
    if said.typical:
        yield "likely", "A typical or approximate figure was taken as the limit."
    if left_over:
        yield "likely", f"Not understood: '{' '.join(left_over)}'; the rest was read without it."


def _worst(parts: Iterable[tuple[Sure, str]]) -> tuple[Sure, str]:
    kept = [(sure, question) for sure, question in parts if sure != "clear" or question]
    sure: Sure = max((sure for sure, _ in kept), key=_ORDER.index, default="clear")
    return sure, " ".join(question for _, question in kept if question)


def _response(figure: Figure, said: Said, words: str) -> list[Limit] | str:
    low: float | None
    high: float | None
    if figure.shape == "span":
        low, high = figure.below, figure.above
    elif "at_most" in figure.bounds and figure.shape in ("single", "around"):
        low, high = None, figure.value
    else:
        return "a single frequency is no band; 'from … to …' or 'up to …' is needed"
    if figure.shape == "around":
        tolerance = Bounds(-figure.below, figure.above)
    else:
        tolerance = _tolerance(said)
    sure, question = _worst([(tolerance.sure, tolerance.question), *_doubts(said, said.left_over)])
    is_window = tolerance.nominal is not None
    return [
        Limit(
            ids=("response.band",),
            unit=KINDS["response.band"].unit,
            words=words,
            sure=sure,
            question=question,
            notes=tuple(said.notes),
            conditions=dict(said.conditions),
            band_low_hz=low,
            band_high_hz=high,
            tolerance_low_db=None if is_window else tolerance.low,
            tolerance_high_db=None if is_window else tolerance.high,
            tolerance_window_db=tolerance.nominal,
            left_over=tuple(said.left_over),
        )
    ]


def _tolerance(said: Said) -> Bounds:
    """Decibels of a response; a total window travels as the nominal."""
    if not said.tolerances:
        return Bounds(
            sure="ambiguous", question="Within how many decibels? The sheet gives no tolerance."
        )
    figure = said.tolerances[0]
    if figure.shape == "tolerance":
        if said.window:
            return Bounds(nominal=figure.below + figure.above)
        return Bounds(-figure.below, figure.above)
    if figure.shape == "single" and figure.value < 0:
        return Bounds(figure.value, None)
    if figure.shape == "single" and said.window:
        return Bounds(nominal=figure.value)
    if figure.shape == "span":
        return Bounds(figure.below, figure.above)
    return Bounds(
        -abs(figure.value),
        abs(figure.value),
        sure="ambiguous",
        question="Are the decibels meant as ± or as a total window?",
    )


def _without_topic(clause: Clause) -> list[Any]:
    """Return the header without the words that name the quantity, but with side topics."""
    kept = []
    for item in clause.header:
        if not isinstance(item, Figure) and item.is_phrase("topic"):
            assert item.meaning is not None
            if item.meaning.names[0] == clause.topics[0]:
                continue
        kept.append(item)
    return kept


def _words(clause: Clause, group: Group, line: str, *, is_first: bool) -> str:
    """Return the exact words of one figure; those of the heading before it where they part."""
    start = min([group.figure.start, *(item.start for item in group.items)])
    end = max([group.figure.end, *(item.end for item in group.items)])
    topic = clause.topics[0]
    if is_first:
        return line[clause.start : end].strip(" \t,;:|")
    named = [
        item.end
        for item in clause.header
        if isinstance(item, Token) and item.meaning and item.meaning.names[:1] == (topic,)
    ]
    header = line[clause.start : named[0]].strip(" \t,;:|") if named else ""
    own = line[start:end].strip(" \t,;:|")
    return f"{header} … {own}" if header else own
