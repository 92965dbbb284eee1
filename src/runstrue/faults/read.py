"""The knowledge, read from its files and from the user's own, checked on the way.

One file for each area of a deck stands in `knowledge/`; files of the user's own are read after
them and may add causes, checks and symptoms, and add to the ones that are there:

    symptoms: causes: checks: cautions: tools: sources: synonyms: empty_words:   new pieces
    add_to_symptoms:    - {symptom: …, said: […], causes: {common: […]}, checks: […]}
    add_to_outcomes:    - {check: …, outcome: …, points_to: […], makes_unlikely: […]}

Every slip is told in one sentence with its file and line.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TypeVar, get_args

from runstrue.faults.fields import AREAS, LIKELIHOODS, Fields, words_of
from runstrue.faults.lines import Piece, read_lines, text_of
from runstrue.faults.models import (
    Cause,
    Caution,
    Check,
    Hazard,
    Knowledge,
    Outcome,
    Power,
    Symptom,
    Tool,
)
from runstrue.faults.validate import Places, Reference, additions, validate

OWN_FOLDER = "faults"
KINDS = ("symptoms", "causes", "checks", "cautions", "tools", "sources")
SPOKEN = ("synonyms", "empty_words")
ADDED = ("add_to_symptoms", "add_to_outcomes")

_ID = re.compile(r"[a-z][a-z0-9_]*")
_Known = TypeVar("_Known", Symptom, Cause, Check, Caution, Tool)


def read_knowledge(extra: Sequence[Path] = ()) -> Knowledge:
    """Read all that is known about faults.

    Parameters
    ----------
    extra : sequence of Path
        The user's own files, or folders of them (every `*.yaml` in a folder, by name).

    Returns
    -------
    Knowledge
        With no id left dangling.

    Raises
    ------
    DescriptionError
        One sentence with file and line: an unknown key or word, an id that is there twice or
        nowhere, a risky step without a caution.
    FileError
        Where a file cannot be read.

    Examples
    --------
    >>> read_knowledge().causes["main_belt_slack"].area
    'drive'
    """
    return _own() if not extra else _read((*_own_pages(), *_extra_pages(extra)))


def knowledge_of_bench(bench: Path) -> Knowledge:
    """Read all that is known, and what the bench has added in its folder `faults`.

    Parameters
    ----------
    bench : Path
        The folder of the logbook; every `*.yaml` in its folder `faults` is read, by name.
    """
    own = bench / OWN_FOLDER
    return read_knowledge([own] if own.is_dir() else [])


@cache
def _own() -> Knowledge:
    return _read(_own_pages())


@cache
def _own_pages() -> tuple[Piece, ...]:
    folder = files("runstrue.faults") / "knowledge"
    names = {one.name for one in folder.iterdir() if one.name.endswith(".yaml")}
    texts = {
        name: (folder / name).read_text(encoding="utf-8")
        for name in sorted(names - {"intake.yaml"})
    }
    return _pages(texts.items())


def _extra_pages(extra: Sequence[Path]) -> tuple[Piece, ...]:
    paths = [
        path for one in extra for path in (sorted(one.glob("*.yaml")) if one.is_dir() else (one,))
    ]
    return _pages((path.name, text_of(path)) for path in paths)


def _pages(texts: Iterable[tuple[str, str]]) -> tuple[Piece, ...]:
    pages = (read_lines(text, name) for name, text in texts)
    return tuple(page for page in pages if page is not None)


def _read(pages: Sequence[Piece]) -> Knowledge:
    reading = _Reading()
    for page in pages:
        reading.file(page)
    knowledge = Knowledge(
        symptoms=reading.symptoms,
        causes=reading.causes,
        checks=reading.checks,
        cautions=reading.cautions,
        tools=reading.tools,
        sources=reading.sources,
        synonyms=tuple(reading.synonyms),
        empty_words=tuple(reading.empty_words),
    )
    knowledge = additions(knowledge, reading.more_symptoms, reading.more_outcomes, reading.places)
    validate(knowledge, reading.references, reading.places)
    return knowledge


@dataclass
class _Reading:
    """What has been read so far, and where it stood."""

    symptoms: dict[str, Symptom] = field(default_factory=dict)
    causes: dict[str, Cause] = field(default_factory=dict)
    checks: dict[str, Check] = field(default_factory=dict)
    cautions: dict[str, Caution] = field(default_factory=dict)
    tools: dict[str, Tool] = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)
    synonyms: list[tuple[str, ...]] = field(default_factory=list)
    empty_words: list[str] = field(default_factory=list)
    more_symptoms: list[tuple[Piece, Symptom]] = field(default_factory=list)
    more_outcomes: list[tuple[Piece, str, Outcome]] = field(default_factory=list)
    places: Places = field(default_factory=dict)
    references: list[Reference] = field(default_factory=list)

    def file(self, page: Piece) -> None:
        """Read one file."""
        sections = page.entries("A file of knowledge", (*KINDS, *SPOKEN, *ADDED))
        for section, piece in sections.items():
            getattr(self, f"_{section}")(piece)

    def _symptoms(self, piece: Piece) -> None:
        self._all(piece, "symptom", self.symptoms, self._symptom)

    def _causes(self, piece: Piece) -> None:
        self._all(piece, "cause", self.causes, self._cause)

    def _checks(self, piece: Piece) -> None:
        self._all(piece, "check", self.checks, self._check)

    def _cautions(self, piece: Piece) -> None:
        self._all(piece, "caution", self.cautions, self._caution)

    def _tools(self, piece: Piece) -> None:
        self._all(piece, "tool", self.tools, self._tool)

    def _sources(self, piece: Piece) -> None:
        for key, words in piece.entries("The sources", None).items():
            self._new("source", key, words, self.sources)
            self.sources[key] = words.text(f"The source '{key}'")

    def _synonyms(self, piece: Piece) -> None:
        for group in piece.items("The synonyms"):
            self.synonyms.append(words_of(group, "A group of synonyms"))

    def _empty_words(self, piece: Piece) -> None:
        self.empty_words.extend(words_of(piece, "the empty words"))

    def _add_to_symptoms(self, piece: Piece) -> None:
        for one in piece.items("The additions to symptoms"):
            keys = ("symptom", "said", "causes", "checks")
            of = Fields(one, "An addition to a symptom", keys, ("symptom",), self.references)
            symptom = Symptom(
                id=of.reference("symptom", "symptom"), name="", area="build",
                said=of.texts("said"), causes=of.links(), checks=of.refer("checks", "check"),
            )  # fmt: skip
            self.more_symptoms.append((one, symptom))

    def _add_to_outcomes(self, piece: Piece) -> None:
        for one in piece.items("The additions to outcomes"):
            keys = ("check", "outcome", "points_to", "makes_unlikely")
            of = Fields(one, "An addition to an outcome", keys, keys[:2], self.references)
            check = of.reference("check", "check")
            self.more_outcomes.append((one, check, of.outcome(of.text("outcome"), "")))

    def _all(
        self, piece: Piece, kind: str, found: dict[str, _Known], read: Callable[[Piece], _Known]
    ) -> None:
        for one in piece.items(f"The {kind}s"):
            known = read(one)
            self._new(kind, known.id, one, found)
            found[known.id] = known

    def _new(self, kind: str, key: str, piece: Piece, found: Mapping[str, object]) -> None:
        if not _ID.fullmatch(key):
            raise piece.refused(
                f"'{key}' is no id", "small letters, digits and '_' are needed, as in belt_slack"
            )
        if key in found:
            before = self.places[kind, key]
            raise piece.refused(
                f"The {kind} '{key}' is there twice",
                f"it stands in {before.file}, line {before.line}, too",
                "give the new one another id",
            )
        self.places[kind, key] = piece

    def _tool(self, piece: Piece) -> Tool:
        of = Fields(piece, "A tool", ("id", "name"), ("id", "name"), self.references)
        return Tool(id=of.text("id"), name=of.text("name"))

    def _caution(self, piece: Piece) -> Caution:
        keys = ("id", "kind", "text", "basis")
        of = Fields(piece, "A caution", keys, keys[:3], self.references)
        return Caution(
            id=of.text("id"),
            kind=of.word("kind", get_args(Hazard)),
            text=of.text("text"),
            basis=of.refer("basis", "source"),
        )

    def _symptom(self, piece: Piece) -> Symptom:
        keys = ("id", "name", "said", "area", "causes", "checks", "cold_checks_before_power",
                "playing", "cautions", "basis")  # fmt: skip
        needed = ("id", "name", "area", "causes", "checks")
        of = Fields(piece, "A symptom", keys, needed, self.references)
        return Symptom(
            id=of.text("id"),
            name=of.text("name"),
            said=of.texts("said"),
            area=of.word("area", AREAS),
            causes=of.links(),
            checks=of.refer("checks", "check"),
            cold_checks_before_power=of.refer("cold_checks_before_power", "check"),
            playing=of.word("playing", ("impossible",)),
            cautions=of.refer("cautions", "caution"),
            basis=of.refer("basis", "source"),
        )

    def _cause(self, piece: Piece) -> Cause:
        keys = ("id", "name", "area", "prior_group", "likelihood", "remedy", "parts", "tools",
                "effort_min", "risk", "cautions", "basis")  # fmt: skip
        needed = ("id", "name", "area", "remedy", "effort_min", "basis")
        of = Fields(piece, "A cause", keys, needed, self.references)
        return Cause(
            id=of.text("id"),
            name=of.text("name"),
            area=of.word("area", AREAS),
            prior_group=of.text("prior_group", ""),
            likelihood=of.word("likelihood", LIKELIHOODS, "occasional"),
            remedy=of.text("remedy"),
            parts=of.texts("parts"),
            tools=of.refer("tools", "tool"),
            effort_min=of.range("effort_min"),
            risk=of.risk(),
            cautions=of.refer("cautions", "caution"),
            basis=of.refer("basis", "source"),
        )

    def _check(self, piece: Piece) -> Check:
        keys = ("id", "name", "area", "how", "tools", "minutes", "power", "playing", "risk",
                "outcomes", "cautions", "measures", "basis")  # fmt: skip
        needed = ("id", "name", "how", "minutes", "power", "outcomes")
        of = Fields(piece, "A check", keys, needed, self.references)
        return Check(
            id=of.text("id"),
            name=of.text("name"),
            area=of.word("area", AREAS, ""),
            how=of.text("how"),
            tools=of.refer("tools", "tool"),
            minutes=of.number("minutes"),
            power=of.word("power", get_args(Power)),
            playing=of.word("playing", ("needed",)),
            risk=of.risk(),
            outcomes=tuple(self._outcome(one) for one in of.list("outcomes")),
            cautions=of.refer("cautions", "caution"),
            measures=of.text("measures", ""),
            basis=of.refer("basis", "source"),
        )

    def _outcome(self, piece: Piece) -> Outcome:
        keys = ("id", "see", "points_to", "makes_unlikely")
        of = Fields(piece, "An outcome", keys, keys[:2], self.references)
        return of.outcome(of.text("id"), of.text("see"))
