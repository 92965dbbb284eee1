"""Spec sheets: lines typed or pasted from brochures and service manuals, understood or not.

What is understood becomes limits; what is not is handed back word for word with the reason;
nothing is guessed. The words of five languages and the rules that part one method from
another are tables in `words/`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from runstrue.verdict.clauses import Clause, clauses_of
from runstrue.verdict.figures import Figure
from runstrue.verdict.fits import (
    Item,
    by_another_method,
    could_be_condition,
    could_be_limit,
    says_which,
    topic_fits,
)
from runstrue.verdict.meaning import NAME_MAY_BE_LOST, limits_of
from runstrue.verdict.models import Limit, Sheet, Unread
from runstrue.verdict.said import Said, read_words
from runstrue.verdict.tokens import Token
from runstrue.verdict.vocabulary import topics

# No line of a sheet is longer; a pasted file without line ends is no sheet.
LONGEST_LINE = 2000

_CONTINUED = "Taken as going on from the line above."


def read_sheet(text: str) -> Sheet:
    """Read a spec sheet.

    Parameters
    ----------
    text : str
        One or more lines as they stand on paper, in English, German, French, Portuguese or
        Spanish; any text at all is taken without error.

    Returns
    -------
    Sheet
        Limits in the order of the text, and every piece that was not understood.

    Examples
    --------
    >>> sheet = read_sheet("Wow and flutter 0.14 % DIN weighted; speed ±1.5 %; heads: 2")
    >>> [(limit.ids, limit.bound_text()) for limit in sheet.limits]
    [(('flutter.weighted_peak',), '≤ 0.14 %'), (('speed.deviation',), '±1.5 %')]
    >>> [piece.words for piece in sheet.unread]
    ['heads: 2']
    """
    limits: list[Limit] = []
    unread: list[Unread] = []
    heading: _Heading | None = None
    for line in text.splitlines():
        if not line.strip():
            _close(heading, unread)
            heading = None
            continue
        if len(line) > LONGEST_LINE:
            unread.append(Unread(words=line, why="the line is too long for a line of a sheet"))
            continue
        for piece in _pieces(line):
            heading = _read_piece(piece, heading, limits, unread)
    _close(heading, unread)
    return Sheet(text=text, limits=tuple(limits), unread=tuple(unread))


@dataclass(slots=True)
class _Heading:
    """A quantity that an earlier line named."""

    topics: list[str]
    said: Said | None
    words: str
    alone: bool  # it stood without a figure
    used: bool = False


def _pieces(line: str) -> list[str]:
    """Part a line at semicolons, except where the part after one names no quantity."""
    parts = line.split(";")
    pieces: list[str] = []
    for part in parts:
        names_quantity = any(clause.named for clause in clauses_of(part))
        has_figure = any(clause.groups or _figures(clause.header) for clause in clauses_of(part))
        if pieces and has_figure and not names_quantity and _starts_with_figure(part):
            pieces[-1] += ";" + part
        else:
            pieces.append(part)
    return [piece for piece in pieces if piece.strip()]


def _starts_with_figure(part: str) -> bool:
    """Whether no unknown word stands before the first figure of this part."""
    for clause in clauses_of(part):
        for item in clause.header:
            if isinstance(item, Figure):
                return True
            if item.kind == "word":
                return False
    return True


def _read_piece(
    piece: str, heading: _Heading | None, limits: list[Limit], unread: list[Unread]
) -> _Heading | None:
    carried = heading.topics if heading and _may_go_on(piece, heading) else []
    for clause in clauses_of(piece, carried):
        words = piece[clause.start : clause.end].strip(" \t,;:|")
        from_heading = bool(carried) and clause.topics == carried and not clause.named
        if clause.refused:
            unread.append(Unread(words=words, why=clause.refused))
            _close(heading, unread)
            heading = None
            continue
        if not clause.topics:
            if any(letter.isalnum() for letter in words):
                unread.append(Unread(words=words, why="it names no quantity that Runstrue knows"))
            _close(heading, unread)
            heading = None
            continue
        if from_heading and heading and not heading.alone and not _says_which(clause):
            unread.append(Unread(words=words, why=NAME_MAY_BE_LOST))
            continue
        if not clause.groups:
            if _figures(clause.header):
                unread.append(Unread(words=words, why=_why_no_figure_fits(clause)))
                _close(heading, unread)
                heading = None
            else:
                heading = _open(clause, piece, words, heading, unread)
            continue
        said = heading.said if from_heading and heading else None
        found, refused = limits_of(clause, piece, said)
        if from_heading and heading:
            heading.used = True
            found = [_continued(limit, heading) for limit in found]
        limits += found
        unread += refused
        if not from_heading:
            if heading and heading.topics == clause.topics:  # the line below names it again
                heading.used = True
            _close(heading, unread)
            heading = _Heading(clause.topics, None, words, alone=False, used=True)
    return heading


def _may_go_on(piece: str, heading: _Heading) -> bool:
    """Whether a line without a quantity of its own goes on with the heading's."""
    clauses = clauses_of(piece)
    if any(clause.named for clause in clauses) or not _starts_with_figure(piece):
        return False
    topic = heading.topics[0]
    figures = [figure for clause in clauses for figure in _figures(clause.header)]
    figures += [group.figure for clause in clauses for group in clause.groups]
    if heading.alone:
        return any(topic_fits(topic, figure) for figure in figures)
    items = [item for clause in clauses for item in _items(clause)]
    figures.sort(key=lambda figure: figure.start)
    own = [figure for figure in figures if not could_be_condition(topic, figure)]
    return bool(own) and could_be_limit(topic, own[0]) and not by_another_method(topic, items)


def _open(
    clause: Clause, piece: str, words: str, heading: _Heading | None, unread: list[Unread]
) -> _Heading:
    """Begin a heading: a quantity is named, its figures may follow on the next lines."""
    _close(heading, unread)
    own = [
        item for item in clause.header if isinstance(item, Figure) or not item.is_phrase("topic")
    ]
    return _Heading(clause.topics, read_words(own, piece, clause.topics[0]), words, alone=True)


def _close(heading: _Heading | None, unread: list[Unread]) -> None:
    """End a heading; one that no figure followed was not understood."""
    if heading and heading.alone and not heading.used:
        unread.append(Unread(words=heading.words, why="no figure stands with it"))


def _continued(limit: Limit, heading: _Heading) -> Limit:
    words = f"{heading.words} … {limit.words}"
    if heading.alone:
        return _changed(limit, words=words)
    sure = "likely" if limit.sure == "clear" else limit.sure
    return _changed(
        limit, words=words, sure=sure, question=f"{limit.question} {_CONTINUED}".strip()
    )


def _changed(limit: Limit, **changes: object) -> Limit:
    parts = {name: getattr(limit, name) for name in limit.__struct_fields__}
    return Limit(**{**parts, **changes})


def _says_which(clause: Clause) -> bool:
    """Whether words stand with the first figure; the others have been seen to."""
    first = clause.groups[0].items if clause.groups else []
    return says_which([*clause.header, *first])


def _items(clause: Clause) -> list[Item]:
    """All that stands beside the figures of a clause."""
    return [*clause.header, *(item for group in clause.groups for item in group.items)]


def _figures(items: Iterable[Figure | Token]) -> list[Figure]:
    return [item for item in items if isinstance(item, Figure)]


def _why_no_figure_fits(clause: Clause) -> str:
    topic = clause.topics[0]
    needed = " or ".join(unit for unit in topics()[topic] if unit != "question")
    figures = _figures(clause.header)
    if topic == "speed" and any(figure.dimension == "cm/s" for figure in figures):
        return "it names a speed, but not how far the speed may be off"
    if any(_tolerance_in_other_unit(figure) for figure in figures):
        return "the tolerance stands in another unit than the figure"
    if all(not figure.dimension for figure in figures):
        return f"the figure has no unit that Runstrue knows; {needed} is needed"
    return f"no figure stands in a unit that fits; {needed} is needed"


def _tolerance_in_other_unit(figure: Figure) -> bool:
    return figure.shape == "around" and figure.dimension != figure.tolerance_dimension
