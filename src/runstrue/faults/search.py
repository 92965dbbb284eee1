"""Symptoms found by a person's own words.

Every symptom has a name and the ways in which owners say it. Words are cut to their stems, bench
words that mean the same are made one, slips of the pen are taken for the nearest known word, and
what is left is weighed by how few symptoms share it (inverse document frequency, K. Spärck Jones
1972, from memory). A symptom scores by its likest phrase, and by how much of what was said it
knows at all. Where nothing is like it, nothing is returned.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from runstrue.faults.models import Knowledge, Symptom

LEAST_SCORE = 0.28
"""Below this a symptom is not like what was said: half of a short phrase has to be met."""
LEAST_LIKENESS = 0.78
"""Of two words' letters, to take one for a slip of the other (`difflib` ratio)."""

_WORD = re.compile(r"[a-z0-9]+")
_DASH = re.compile(r"[-/]")
_ENDINGS = ("ingly", "ings", "ing", "edly", "ied", "ies", "ed", "ers", "er", "es", "s", "ly", "y")


@dataclass(frozen=True, slots=True)
class FoundSymptom:
    """A symptom that is like what was said.

    Parameters
    ----------
    symptom : Symptom
    score : float
        From 0 to 1; 1 where the very words are known. It is no chance.
    why : str
        The likest of its phrases, and the words that met.
    """

    symptom: Symptom
    score: float
    why: str


def find_symptoms(text: str, knowledge: Knowledge, count: int = 5) -> tuple[FoundSymptom, ...]:
    """Find the symptoms that are like what a person says.

    Parameters
    ----------
    text : str
        In their own words: 'the motor runs, nothing turns'.
    knowledge : Knowledge
    count : int
        At most so many.

    Returns
    -------
    tuple of FoundSymptom
        The likest first; empty where nothing is like it.

    Examples
    --------
    >>> from runstrue.faults.read import read_knowledge
    >>> [one.symptom.id for one in find_symptoms("tape salad!", read_knowledge(), 1)]
    ['chews_tape']
    """
    language = _Language(knowledge)
    said = language.understood(text)
    found = [
        FoundSymptom(symptom, score, why)
        for symptom in knowledge.symptoms.values()
        for score, why in (language.likeness(said, symptom),)
        if score >= LEAST_SCORE
    ]
    found.sort(key=lambda one: (-one.score, one.symptom.id))
    return tuple(found[:count])


@dataclass(frozen=True, slots=True)
class _Said:
    """A word as understood: its stem or concept, as it was said, and how surely."""

    stem: str
    word: str
    sureness: float = 1.0


class _Language:
    """All phrases of all symptoms, and what each word of them weighs."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.empty = {"".join(_plain(word)) for word in knowledge.empty_words}
        self.concepts = _concepts(knowledge.synonyms)
        self.longest = max((len(key) for key in self.concepts), default=1)
        self.phrases = {
            one.id: tuple(
                (phrase, {said.stem for said in self._words(phrase)})
                for phrase in (one.name, *one.said)
            )
            for one in knowledge.symptoms.values()
        }
        held = {key: set().union(*(p for _, p in ps)) for key, ps in self.phrases.items()}
        self.words = {stem for words in held.values() for stem in words}
        everybody = len(held) or 1
        self.weight = {
            stem: math.log(1 + everybody / sum(stem in words for words in held.values()))
            for stem in self.words
        }
        self.held = held
        self.unknown_weight = math.log(1 + everybody / 4)
        phrases = [phrase for ps in self.phrases.values() for phrase, _ in ps]
        spoken = {_stem(word) for phrase in phrases for word in _plain(phrase)}
        spoken |= {part for key in self.concepts for part in key}
        self.spelled = sorted(spoken - self.empty)

    def understood(self, text: str) -> tuple[_Said, ...]:
        """Return the words of a person, with slips of the pen put right, each once."""
        found: dict[str, _Said] = {}
        for said in self._words(text, self._nearest):
            if said.stem not in found or found[said.stem].sureness < said.sureness:
                found[said.stem] = said
        return tuple(found.values())

    def likeness(self, said: Sequence[_Said], symptom: Symptom) -> tuple[float, str]:
        """Return how like a symptom is to what was said, and why."""
        whole = sum(self._weight(one.stem) for one in said)
        if not whole:
            return 0.0, ""
        met = [one for one in said if one.stem in self.held[symptom.id]]
        covered = sum(self._weight(one.stem) * one.sureness for one in met) / whole
        best, likest = 0.0, symptom.name
        for phrase, words in self.phrases[symptom.id]:
            shared = sum(self._weight(o.stem) * o.sureness for o in said if o.stem in words)
            of_phrase = sum(self._weight(word) for word in words)
            like = shared / math.sqrt(whole * of_phrase) if of_phrase else 0.0
            if like > best:
                best, likest = like, phrase
        words_met = ", ".join(f"'{one.word}'" for one in met)
        return 0.65 * best + 0.35 * covered, f"like '{likest}': {words_met}"

    def _weight(self, stem: str) -> float:
        return self.weight.get(stem, self.unknown_weight)

    def _nearest(self, stem: str) -> tuple[str, float]:
        """Return the known word that a word is a slip of, and how surely; or the word itself."""
        alike = [word for word in self.spelled if word[0] == stem[0]]
        if len(stem) < 4 or stem in alike:
            return stem, 1.0
        near = difflib.get_close_matches(stem, alike, n=1, cutoff=LEAST_LIKENESS)
        if not near:
            return stem, 1.0
        return near[0], difflib.SequenceMatcher(None, stem, near[0]).ratio() ** 3

    def _words(
        self, text: str, corrected: Callable[[str], tuple[str, float]] = lambda stem: (stem, 1.0)
    ) -> Iterator[_Said]:
        """Yield the words of a text that say something, several that are one made one."""
        words = _plain(text)
        taken = [
            (_stem(word), 1.0) if word in self.empty else corrected(_stem(word)) for word in words
        ]
        stems, sure = [one for one, _ in taken], [one for _, one in taken]
        at = 0
        while at < len(words):
            for length in range(min(self.longest, len(words) - at), 0, -1):
                concept = self.concepts.get(tuple(stems[at : at + length]))
                if concept is not None:
                    said = " ".join(words[at : at + length])
                    yield _Said(concept, said, min(sure[at : at + length]))
                    at += length
                    break
            else:
                if words[at] not in self.empty:
                    yield _Said(stems[at], words[at], sure[at])
                at += 1


def _concepts(synonyms: Sequence[Sequence[str]]) -> dict[tuple[str, ...], str]:
    """Return the groups of synonyms as stems that stand for a concept, '=motor'.

    A group that shares a word with an earlier one adds to it.
    """
    found: dict[tuple[str, ...], str] = {}
    for group in synonyms:
        keys = [tuple(_stem(word) for word in _plain(phrase)) for phrase in group]
        concept = next((found[key] for key in keys if key in found), f"={group[0]}")
        for key in keys:
            found.setdefault(key, concept)
    return found


def _plain(text: str) -> list[str]:
    """Return the words in small letters, without accents and apostrophes."""
    letters = unicodedata.normalize("NFKD", text.lower())
    letters = "".join(c for c in letters if not unicodedata.combining(c) and c not in "'’")
    return _WORD.findall(_DASH.sub(" ", letters))


def _stem(word: str) -> str:
    """Cut the usual English endings: 'chewing', 'chews' and 'chewed' are 'chew'."""
    for ending in _ENDINGS:
        rest = word.removesuffix(ending)
        if ending in {"er", "ers"} and rest[-1:] == rest[-2:-1]:
            continue
        if rest != word and len(rest) >= 3 and re.search("[aeiouy]", rest):
            word = rest if ending not in {"ies", "ied"} else rest + "y"
            break
    if len(word) > 3 and word[-1] == word[-2] and word[-1] not in "aeiou":
        word = word[:-1]
    return word.rstrip("e") if len(word) > 3 else word
