"""One deck's fault-finding: what the logbook holds of it, and what is added."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.faults.models import Evidence, Knowledge
    from runstrue.logbook import Logbook
    from runstrue.logbook.models import Deck, EvidenceRecord, Visit

TRAINED, TOOLS, OWN_COUNTS = "faults.trained_for_mains", "faults.tools", "faults.own_counts"
NONE_OF_THESE = "none of these"
YES, NO, ALL = "yes", "no", "all"


@dataclass(frozen=True, slots=True)
class Settings:
    """What holds for everything at this bench.

    Parameters
    ----------
    trained : bool
        Trained, and where local rules ask licensed, for work on mains sets.
    tools : frozenset of str or None
        At hand; None where nothing was said, so that none is held against a check.
    own_counts : bool
        Whether repairs of this bench sharpen the chances.
    """

    trained: bool = False
    tools: frozenset[str] | None = None
    own_counts: bool = True


def read_settings(book: Logbook) -> Settings:
    """Return the settings of a logbook."""
    tools = book.setting(TOOLS) or ALL
    return Settings(
        book.setting(TRAINED) == YES,
        None if tools == ALL else frozenset(tools.split()),
        book.setting(OWN_COUNTS) != NO,
    )


class FaultBench:
    """The fault list of one deck, in its visit; a visit is begun by the first thing that is kept.

    Raises
    ------
    LogbookError
        When there is no such deck or no logbook.
    """

    def __init__(self, bench: Bench, deck: str) -> None:
        from runstrue.faults.read import knowledge_of_bench

        self._bench = bench
        self.knowledge: Knowledge = knowledge_of_bench(bench.folder)
        with bench.open() as book:
            self.deck: Deck = book.find_deck(deck)
            self.settings = read_settings(book)
            self._read(book)

    @classmethod
    def open(cls, bench: Bench, deck: str) -> FaultBench:
        """Return the fault list of a deck."""
        return cls(bench, deck)

    def _read(self, book: Logbook) -> None:
        self.visit: Visit | None = book.current_visit(self.deck)
        self.intake: dict[str, str] = {
            one.question: one.answer for one in book.intake(self.deck, self.visit)
        }
        self.records: tuple[EvidenceRecord, ...] = _without_withdrawn(
            book, self.deck, book.evidence(self.deck, self.visit)
        )
        repairs = book.repairs()
        self.repairs = tuple(one for one in repairs if one.deck_id == self.deck.id)
        self.own_counts: dict[str, int] = dict(
            Counter(one.cause for one in repairs if one.cause in self.knowledge.causes)
        )

    @property
    def name(self) -> str:
        """The deck's short name."""
        return self.deck.name

    @property
    def evidence(self) -> tuple[Evidence, ...]:
        """All that is in force, oldest first; what this program does not know is left out."""
        return tuple(one.evidence for one in self.records if is_known(one.evidence, self.knowledge))

    @property
    def trained(self) -> bool:
        """Whether the person said so, for this deck or for all."""
        here = self.intake.get("trained")
        return here == "trained" if here in ("trained", "not_trained") else self.settings.trained

    @property
    def passed_intake(self) -> bool:
        """Whether every look before power was answered for, whatever came of it."""
        from runstrue.faults.intake import next_question

        return next_question(self.intake) is None

    @property
    def may_be_powered(self) -> bool:
        """Whether nothing that was asked speaks against power: no word about safety."""
        from runstrue.faults.intake import may_be_powered

        return may_be_powered(self.intake)

    def answer_intake(self, question: str, answer: str) -> None:
        """Keep the answer to one question."""
        with self._bench.open() as book:
            book.add_intake_answer(self.deck, self._begun(book), question, answer)
            self._read(book)

    def see(self, *evidence: Evidence) -> None:
        """Keep what was said or seen."""
        with self._bench.open() as book:
            visit = self._begun(book)
            for one in evidence:
                book.add_evidence(self.deck, visit, one)
            self._read(book)

    def take_back(self, number: int) -> Evidence:
        """Take back one thing, by its number in the list.

        Raises
        ------
        InputError
            When there is no such number.
        """
        if not 1 <= number <= len(self.records):
            raise InputError(
                f"There is no number {number} in what is known about '{self.name}'",
                f"1 to {len(self.records)} is needed" if self.records else "nothing was said yet",
                "see runstrue fault list",
            )
        record = self.records[number - 1]
        with self._bench.open() as book:
            book.take_back(record)
            self._read(book)
        return record.evidence

    def repaired(
        self, cause: str, words: str, minutes: float | None, parts: Sequence[str] = ()
    ) -> None:
        """Keep what it was, and what was done."""
        with self._bench.open() as book:
            book.add_repair(
                self.deck, self._begun(book), cause, words=words, minutes=minutes,
                parts=", ".join(parts),
            )  # fmt: skip
            self._read(book)

    def take_back_repair(self, cause: str, number: int | None = None) -> None:
        """Take back a repair that was told by a slip: this one, or the latest of its cause.

        Raises
        ------
        InputError
            When there is none.
        """
        alike = [
            one for one in self.repairs
            if one.id == number or (number is None and one.cause == cause)
        ]  # fmt: skip
        if not alike:
            raise InputError(
                f"No repair of that kind stands with '{self.name}'", "one that was told is needed"
            )
        with self._bench.open() as book:
            book.take_back(alike[-1])
            self._read(book)

    def _begun(self, book: Logbook) -> Visit:
        return book.current_visit(self.deck) or book.open_visit(self.deck)


def _without_withdrawn(
    book: Logbook, deck: Deck, records: tuple[EvidenceRecord, ...]
) -> tuple[EvidenceRecord, ...]:
    """Leave out what came from a reading that was withdrawn since."""
    if all(one.evidence.reading_id is None for one in records):
        return records
    withdrawn = {
        reading.id
        for capture in book.captures(deck, hidden=True)
        if capture.hidden
        for reading in capture.readings
    }
    return tuple(one for one in records if one.evidence.reading_id not in withdrawn)


def keep_setting(bench: Bench, name: str, value: str) -> Settings:
    """Write down one setting of the bench, and return them all."""
    with bench.open(create=True) as book:
        book.set_setting(name, value)
        return read_settings(book)


def is_known(evidence: Evidence, knowledge: Knowledge) -> bool:
    """Whether a symptom or check, with its answer, is still in the knowledge."""
    if evidence.kind == "symptom":
        return evidence.key in knowledge.symptoms
    check = knowledge.checks.get(evidence.key)
    if check is None:
        return False
    return evidence.answer in {"unknown", *(one.id for one in check.outcomes)}
