"""A line of a spec sheet cut into pieces: figures with units, phrases, signs, separators.

Every piece keeps its place in the line, so that what was understood and what was not can be
shown in the very words of the sheet.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from runstrue.verdict.numerals import NUMBER, read_numeral
from runstrue.verdict.vocabulary import (
    Meaning,
    Node,
    Unit,
    phrases,
    plain_word,
    standards,
    units,
)

TokenKind = Literal[
    "number", "unit", "plus_minus", "plus", "dash", "range", "at_most", "at_least", "separator",
    "slash", "open", "close", "colon", "dot", "joint", "phrase", "standard", "word", "other",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Token:
    """One piece of a line.

    Parameters
    ----------
    kind : str
    start, end : int
        Its place in the line.
    text : str
        As it stands.
    value : float
        Of a number, its unit's factor included.
    unit : Unit or None
        Of a number or a unit.
    raw : tuple of float
        Of a number without a unit: its one or two possible values.
    node : Node or None
        Of a phrase: all that it can mean.
    flags : tuple of str
        Of a standard.
    spaced : bool
        Whether white space stands before it.
    """

    kind: TokenKind
    start: int
    end: int
    text: str
    value: float = 0.0
    unit: Unit | None = None
    raw: tuple[float, ...] = ()
    node: Node | None = None
    flags: tuple[str, ...] = ()
    spaced: bool = True

    @property
    def meaning(self) -> Meaning | None:
        """What a phrase is taken for first."""
        return self.node.best if self.node else None

    def is_phrase(self, kind: str) -> bool:
        """Whether this is a phrase that is taken for this kind first."""
        meaning = self.meaning
        return meaning is not None and meaning.kind == kind


# Signs in the order in which they are tried; leaders ('Wow ........ 0.1 %') are white space.
_SIGN_PATTERNS: tuple[tuple[TokenKind, str], ...] = (
    ("plus_minus", r"±|∓|\+\s?/\s?[-−–]|\+\s?[-−–](?=\s?[0-9.,])"),
    ("at_most", r"≤|≦|=<|<=|⩽|<"),
    ("at_least", r"≥|≧|=>|>=|⩾|>"),
    ("range", r"…|\.\.\.?(?=\s*[-−+±]?[0-9])|[–—~÷]"),
    ("dash", r"[-−]"),
    ("plus", r"\+"),
    ("separator", r"[,;|•·]"),
    ("slash", r"/"),
    ("open", r"[(\[{]"),
    ("close", r"[)\]}]"),
    ("colon", r"[:=]"),
    ("dot", r"\."),
    ("joint", r"[&'’*]"),
)
_SIGNS = tuple((kind, re.compile(pattern)) for kind, pattern in _SIGN_PATTERNS)
_BLANK = re.compile(r"\s+|\.{4,}|\.{3}(?!\s*[-−+±]?[0-9])|_{2,}|(?:\.\s){3,}")
_WORD = re.compile(r"[^\W\d_]+(?:[0-9]+[^\W\d_]*)*")
# After these a minus sign may follow without a blank: '(-56 dB)'.
_OPENING = frozenset({"open", "colon", "separator", "slash", "at_most", "at_least"})
# Words may be joined by these within a phrase: 'take-up', 'S/N', 'w.peak', 'Wow & flutter'.
_JOINTS = frozenset({"dash", "slash", "dot", "joint", "range", "plus"})


def tokenise(line: str) -> list[Token]:
    """Cut a line into tokens; every character that is not blank belongs to one of them."""
    return _join_phrases(_cut(line), line)


def with_unit(token: Token, unit: Unit) -> Token:
    """Return a number that stood without a unit as one with this unit."""
    raw = token.raw[1] if len(token.raw) > 1 and unit.thousands else token.raw[0]
    return Token(
        "number", token.start, token.end, token.text, raw * unit.factor, unit, token.raw,
        spaced=token.spaced,
    )  # fmt: skip


def _cut(line: str) -> list[Token]:
    tokens: list[Token] = []
    place, spaced = 0, True
    while place < len(line):
        blank = _BLANK.match(line, place)
        if blank:
            place, spaced = blank.end(), True
            continue
        token = _one(line, place, spaced)
        tokens.append(token)
        place, spaced = token.end, token.kind in _OPENING
    return tokens


def _one(line: str, place: int, spaced: bool) -> Token:
    starts_word = place == 0 or not line[place - 1].isalnum()
    if starts_word:
        for standard in standards():
            found = standard.pattern.match(line, place)
            if found and not line[found.end() : found.end() + 1].isalnum():
                return Token(
                    "standard", place, found.end(), found.group(), flags=standard.flags,
                    spaced=spaced,
                )  # fmt: skip
    found = NUMBER.match(line, place)
    if found:
        return _number(line, found, spaced)
    word = _WORD.match(line, place)
    if word:
        return Token("word", place, word.end(), word.group(), spaced=spaced)
    unit_alone = _unit_in_brackets(line, place, spaced)
    if unit_alone:
        return unit_alone
    for kind, pattern in _SIGNS:
        sign = pattern.match(line, place)
        if sign:
            return Token(kind, place, sign.end(), sign.group(), spaced=spaced)
    return Token("other", place, place + 1, line[place], spaced=spaced)


def _number(line: str, found: re.Match[str], spaced: bool) -> Token:
    numeral = read_numeral(found)
    raw = (numeral.value,) if numeral.thousands is None else (numeral.value, numeral.thousands)
    bare = Token(
        "number", found.start(), found.end(), found.group(), raw[0], raw=raw, spaced=spaced
    )
    pattern, table = units()
    blank = re.compile(r"[ \u00a0\u2009\u202f]*").match(line, found.end())
    place = blank.end() if blank else found.end()
    unit = pattern.match(line, place)
    if not unit:
        return bare
    whole = with_unit(bare, table[unit.group()])
    return Token(
        "number", bare.start, unit.end(), line[bare.start : unit.end()], whole.value, whole.unit,
        raw, spaced=spaced,
    )  # fmt: skip


def _unit_in_brackets(line: str, place: int, spaced: bool) -> Token | None:
    """'(%)' or '[g·cm]' in the name of a row: the unit of the figures that follow."""
    if line[place] not in "([":
        return None
    pattern, table = units()
    unit = pattern.match(line, place + 1)
    if not unit or line[unit.end() : unit.end() + 1] not in (")", "]"):
        return None
    text = line[place : unit.end() + 1]
    return Token("unit", place, unit.end() + 1, text, unit=table[unit.group()], spaced=spaced)


def _join_phrases(tokens: list[Token], line: str) -> list[Token]:
    joined: list[Token] = []
    place = 0
    while place < len(tokens):
        end, node = _longest_phrase(tokens, place)
        if node is None:
            joined.append(tokens[place])
            place += 1
            continue
        first, last = tokens[place], tokens[end - 1]
        joined.append(
            Token(
                "phrase",
                first.start,
                last.end,
                line[first.start : last.end],
                node=node,
                spaced=first.spaced,
            )
        )
        place = end
    return joined


def _longest_phrase(tokens: list[Token], place: int) -> tuple[int, Node | None]:
    """Return where the longest phrase that begins here ends, and what it means."""
    node: Node | None = phrases()
    best: tuple[int, Node | None] = (place, None)
    at = place
    while at < len(tokens):
        token = tokens[at]
        if token.kind in _JOINTS and at > place:
            at += 1
            continue
        if token.kind != "word" and not (token.kind == "number" and token.unit is None):
            break
        for word in re.findall(r"[^\W\d_]+|[0-9]+", plain_word(token.text)):
            node = node.next.get(word) if node else None
        if node is None:
            break
        at += 1
        if node.meanings and any(tokens[index].kind == "word" for index in range(place, at)):
            best = (at, node)
    return best
