"""The fields of one entry of knowledge, taken out one by one, each of its own kind."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, get_args

from runstrue.faults.lines import Piece
from runstrue.faults.models import Area, Likelihood, Link, Outcome, Risk, RiskWord
from runstrue.faults.validate import Reference

LIKELIHOODS: tuple[Likelihood, ...] = get_args(Likelihood)
AREAS: tuple[Area, ...] = get_args(Area)


class Fields:
    """The fields of one entry, taken out one by one."""

    def __init__(
        self,
        piece: Piece,
        what: str,
        keys: Sequence[str],
        needed: Sequence[str],
        references: list[Reference],
    ) -> None:
        self.what = what
        self.found = piece.entries(what, keys)
        self.references = references
        for key in needed:
            if key not in self.found:
                raise piece.refused(f"{what} without '{key}'", "it is needed", f"write '{key}: …'")

    def text(self, key: str, default: str = "") -> str:
        """Return the words of a field."""
        return self.found[key].text(f"'{key}'") if key in self.found else default

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of words."""
        return words_of(self.found[key], f"'{key}'") if key in self.found else ()

    def list(self, key: str) -> tuple[Piece, ...]:
        """Return the pieces of a list."""
        return tuple(self.found[key].items(f"'{key}'"))

    def number(self, key: str) -> float:
        """Return a number above zero."""
        return self.found[key].number(f"'{key}'")

    def word(self, key: str, words: Sequence[str], default: str = "") -> Any:
        """Return one of some words; no type checker knows that they are those of a literal."""
        return self.found[key].one_of(f"'{key}'", words) if key in self.found else default

    def range(self, key: str) -> tuple[float, float]:
        """Return the least and the most."""
        piece = self.found[key]
        both = [one.number(f"'{key}'") for one in piece.items(f"'{key}'")]
        if len(both) != 2 or both[0] > both[1]:
            raise piece.refused(f"'{key}' is no range", "[least, most] is needed")
        return both[0], both[1]

    def risk(self) -> Risk:
        """Return both risks; none where nothing is said."""
        if "risk" not in self.found:
            return Risk()
        kinds = self.found["risk"].entries("The risk", ("electrical", "mechanical"))
        words = {key: one.one_of(f"'{key}'", get_args(RiskWord)) for key, one in kinds.items()}
        return Risk(**words)  # type: ignore[arg-type]

    def refer(self, key: str, kind: str) -> tuple[str, ...]:
        """Return the ids of another kind, noted to be looked up when all is read."""
        if key not in self.found:
            return ()
        return references_of(self.found[key], key, kind, self.references)

    def reference(self, key: str, kind: str) -> str:
        """Return one id of another kind, noted to be looked up when all is read."""
        word = self.text(key)
        self.references.append(Reference(kind, word, self.found[key]))
        return word

    def links(self) -> tuple[Link, ...]:
        """Return the links to causes, written as `common: [id, id]`, the likeliest first."""
        if "causes" not in self.found:
            return ()
        groups = self.found["causes"].entries("The causes of a symptom", LIKELIHOODS)
        return tuple(
            Link(cause=cause, likelihood=word)
            for word in LIKELIHOODS
            if word in groups
            for cause in references_of(groups[word], word, "cause", self.references)
        )

    def outcome(self, key: str, see: str) -> Outcome:
        """Return an outcome with the causes that it raises and lowers."""
        return Outcome(
            id=key,
            see=see,
            points_to=self.refer("points_to", "cause"),
            makes_unlikely=self.refer("makes_unlikely", "cause"),
        )


def references_of(
    piece: Piece, key: str, kind: str, references: list[Reference]
) -> tuple[str, ...]:
    """Return a list of ids, each once, noted to be looked up when all is read."""
    found: list[str] = []
    for one in piece.items(f"'{key}'"):
        word = one.text(f"An id in '{key}'")
        if word in found:
            raise one.refused(f"'{key}' names '{word}' twice", "once is enough")
        references.append(Reference(kind, word, one))
        found.append(word)
    return tuple(found)


def words_of(piece: Piece, what: str) -> tuple[str, ...]:
    """Return a list of words."""
    return tuple(one.text(f"One of {what}") for one in piece.items(what))
