"""The conversation: where things stand, the next best check, one number as the answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runstrue.cli.fault_ask import Asking
from runstrue.cli.layout import bold, out, wrapped

if TYPE_CHECKING:
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.faults.infer import Ranking
    from runstrue.faults.next_check import NextChecks

LETTERS = (
    ("s", "say something else that is noticed"),
    ("o", "another check"),
    ("w", "why: what spoke for and against each cause"),
    ("b", "take something back"),
    ("e", "explain a cause of the list: remedy, parts, cautions"),
    ("d", "done: say what it was"),
    ("n", "none of these"),
    ("q", "stop; it goes on from here tomorrow"),
)


def converse(held: FaultBench, ask: Asking) -> None:
    """Go on with a deck until the person stops; everything is kept as it is said."""
    _Talk(held, ask).go()


class _Talk:
    """What a letter does returns True where the screen is to be drawn anew, False at the end."""

    def __init__(self, held: FaultBench, ask: Asking) -> None:
        self.held, self.ask = held, ask
        self.skipped: set[str] = set()
        self.told: set[str] = set()  # cautions that were told in full
        self.kept_back: list[str] = []

    def go(self) -> None:
        out(bold(self.held.name))
        if not self.held.evidence and not self._say():
            return
        while self._round():
            pass

    def _round(self) -> bool:
        """One screen, and all that is typed until something changes; False to stop."""
        ranking, found = self._standing()
        check = found.suggestions[0].check if found.suggestions else None
        hint = ("number, or a " if check else "") + "letter; ? lists them"
        while True:
            word = self.ask.word(hint)
            if word in ("", "q"):
                out("It is all in the logbook, and goes on from here.")
                return False
            if word == "?":
                out(f"  {letter}  {what}" for letter, what in LETTERS)
            elif word in _HANDLERS:
                what_now = _HANDLERS[word](self, ranking, found)
                if what_now is not None:
                    return what_now
            elif check is not None:
                chosen = self.ask.number(word, len(check.outcomes) + 1)
                if chosen is not None:
                    self._answer(check.id, chosen)
                    return True
            else:
                out(f"'{word}' is none of the letters; ? lists them.")

    def _standing(self) -> tuple[Ranking, NextChecks]:
        from runstrue.cli.fault_find import finder_of, offered
        from runstrue.cli.fault_list import held_back_lines, ranking_lines
        from runstrue.cli.fault_show import check_lines

        finder = finder_of(self.held)
        ranking = finder.posterior(self.held.evidence)
        out("")
        out(ranking_lines(ranking, self.held.knowledge, why=False, basis=False))
        found = offered(self.held, finder, without=self.skipped)
        out("")
        if found.suggestions:
            first = found.suggestions[0]
            out(check_lines(first.check, self.held.knowledge, why=first.why, told=self.told))
        else:
            out("No check that is left would tell more: say more, or what it was.")
        kept_back = list(held_back_lines(found))
        if kept_back != self.kept_back:  # told again only where it is something else
            out(kept_back)
            self.kept_back = kept_back
        return ranking, found

    def _answer(self, check: str, chosen: int) -> None:
        from runstrue.cli.fault_find import answer_of, check_evidence

        found = self.held.knowledge.checks[check]
        self.held.see(check_evidence(found, answer_of(found, str(chosen))))

    def _say(self) -> bool:
        """Ask what is noticed; False where nothing was said."""
        from runstrue.cli.fault_find import symptom_evidence
        from runstrue.cli.fault_show import caution_lines, found_lines
        from runstrue.faults.search import find_symptoms

        while True:
            text = self.ask.words("what is noticed; empty goes back")
            if not text:
                return False
            found = find_symptoms(text, self.held.knowledge)
            if not found:
                out("Nothing like that is known; try other words.")
                continue
            out(found_lines(found))
            word = self.ask.word("number of what is meant; anything else: other words")
            if word.isdecimal() and 1 <= int(word) <= len(found):
                symptom = found[int(word) - 1].symptom
                out(caution_lines(symptom.cautions, self.held.knowledge, self.told))
                self.held.see(symptom_evidence(symptom.id))
                return True

    def _more(self, ranking: Ranking, found: NextChecks) -> bool | None:
        return self._say() or None

    def _other(self, ranking: Ranking, found: NextChecks) -> bool | None:
        if not found.suggestions:
            return None
        self.skipped.add(found.suggestions[0].check.id)
        return True

    def _why(self, ranking: Ranking, found: NextChecks) -> bool | None:
        from runstrue.cli.fault_list import evidence_lines, ranking_lines

        out(evidence_lines(self.held.evidence, self.held.knowledge))
        out(ranking_lines(ranking, self.held.knowledge, why=True))
        return None

    def _back(self, ranking: Ranking, found: NextChecks) -> bool | None:
        from runstrue.cli.fault_list import evidence_lines, evidence_words

        out(evidence_lines(self.held.evidence, self.held.knowledge))
        if not self.held.evidence:
            return None
        number = self.ask.number(self.ask.word("number to take back"), len(self.held.evidence))
        if number is None:
            return None
        taken = self.held.take_back(number)
        out(wrapped(f"Taken back: {evidence_words(taken, self.held.knowledge)}."))
        return True

    def _explain(self, ranking: Ranking, found: NextChecks) -> bool | None:
        from runstrue.cli.fault_look import explain_lines

        chosen = self._cause(ranking)
        if chosen is not None:
            out(explain_lines(chosen, self.held.knowledge))
        return None

    def _done(self, ranking: Ranking, found: NextChecks) -> bool | None:
        from runstrue.cli.fault_done import done_lines

        chosen = self._cause(ranking)
        if chosen is None:
            return None
        minutes = self.ask.word("minutes that the work took; empty: not known")
        words = self.ask.words("what was done, in your own words; empty: nothing more") or ""
        before = dict(self.held.own_counts)
        self.held.repaired(chosen, words, float(minutes) if minutes.isdecimal() else None)
        out(done_lines(self.held, self.held.knowledge.causes[chosen], before))
        return False

    def _none(self, ranking: Ranking, found: NextChecks) -> bool | None:
        from runstrue.cli.fault_bench import NONE_OF_THESE
        from runstrue.cli.fault_done import none_lines

        words = self.ask.words("what it was, if that is known; empty: not known") or ""
        self.held.repaired(NONE_OF_THESE, words, None)
        out(none_lines(self.held, words))
        return False

    def _cause(self, ranking: Ranking) -> str | None:
        """Ask for a cause by its number in the list, or by its id."""
        from runstrue.cli.fault_list import shown_rows

        rows = shown_rows(ranking)
        word = self.ask.word("number of the cause in the list, or its id")
        if word in self.held.knowledge.causes:
            return word
        number = self.ask.number(word, len(rows))
        return None if number is None else rows[number - 1].cause.id


_HANDLERS = {
    "s": _Talk._more, "o": _Talk._other, "w": _Talk._why, "b": _Talk._back,
    "e": _Talk._explain, "d": _Talk._done, "n": _Talk._none,
}  # fmt: skip
