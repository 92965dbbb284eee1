"""The knowledge as a network: its words turned into the numbers that are reckoned with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from runstrue.errors import InputError
from runstrue.faults.judgement import CLEAR, LINK_CHANCE, POINTS, UNLIKELY, UNLISTED
from runstrue.faults.models import Check, Evidence, Knowledge, Symptom
from runstrue.faults.network import NoisyOr, Outcome, outcome_chances
from runstrue.faults.priors import Prior, base_chances, priors_of
from runstrue.faults.sets import Array, Places, sets_of
from runstrue.faults.tabled import SetTable, Tabled

PRESENT, ABSENT, UNKNOWN = "present", "absent", "unknown"


class KnownNetwork:
    """Priors, symptoms and checks in arrays, each made when it is first asked for.

    Causes have their places by the order of their ids.

    Parameters
    ----------
    knowledge : Knowledge
    own_counts : mapping of str to int, optional
    """

    def __init__(self, knowledge: Knowledge, own_counts: Mapping[str, int] | None = None) -> None:
        self.knowledge = knowledge
        self.ids = tuple(sorted(knowledge.causes))
        self.place = {key: at for at, key in enumerate(self.ids)}
        self.prior: dict[str, Prior] = priors_of(knowledge, own_counts)
        self.priors: Array = np.array([self.prior[key].chance for key in self.ids])
        self._before = base_chances([knowledge.causes[key] for key in self.ids])
        self._symptoms: dict[str, tuple[float, Array]] = {}
        self._checks: dict[str, tuple[Array, Array]] = {}
        self._findings: dict[tuple[str, str, str], Tabled] = {}
        self._outcome_chances: dict[str, SetTable] = {}

    def known(self, evidence: Evidence) -> None:
        """Refuse evidence on what is not known.

        Raises
        ------
        InputError
        """
        if evidence.answer != UNKNOWN:
            self.finding(evidence)
        elif evidence.kind == "symptom":
            self.symptom_known(evidence.key)
        else:
            self.check(evidence.key)

    def finding(self, evidence: Evidence) -> Tabled:
        """Return evidence that says something as a finding.

        Raises
        ------
        InputError
            Where the symptom, the check or the answer is not known.
        """
        named = evidence.kind, evidence.key, evidence.answer
        if named not in self._findings:
            plain = self._symptom_finding if evidence.kind == "symptom" else self._check_finding
            self._findings[named] = Tabled(plain(evidence.key, evidence.answer))
        return self._findings[named]

    def _symptom_finding(self, key: str, answer: str) -> NoisyOr:
        leak, brings = self.symptom(key)
        if answer not in (PRESENT, ABSENT):
            raise InputError(
                f"A symptom is not '{answer}'", f"'{PRESENT}', '{ABSENT}' or '{UNKNOWN}' is needed"
            )
        return NoisyOr(leak, brings, answer == PRESENT)

    def _check_finding(self, key: str, answer: str) -> Outcome:
        outcomes = [one.id for one in self.check(key).outcomes]
        if answer not in outcomes:
            raise InputError(
                f"The check '{key}' has no outcome '{answer}'",
                f"one of {', '.join(outcomes)} or '{UNKNOWN}' is needed",
            )
        return Outcome(*self.weights(key), outcomes.index(answer))

    def outcome_chances(self, key: str) -> SetTable:
        """Return the chance of each outcome of a check, for every set of its causes."""
        if key not in self._outcome_chances:
            log_weights, gains = self.weights(key)
            touched = np.flatnonzero(gains.any(axis=1))
            chances = outcome_chances(sets_of(len(touched)).total(gains[touched]) + log_weights)
            self._outcome_chances[key] = SetTable(touched, chances)
        return self._outcome_chances[key]

    def spoken_for(self, evidence: Evidence) -> Places:
        """Return the places of the causes that evidence points to, rising."""
        if evidence.kind == "symptom":
            return self.places(
                one.cause for one in self.symptom_known(evidence.key).causes
            ) if evidence.answer == PRESENT else self.places(())  # fmt: skip
        for one in self.check(evidence.key).outcomes:
            if one.id == evidence.answer:
                return self.places(one.points_to)
        return self.places(())

    def places(self, causes: Iterable[str]) -> Places:
        """Return the places of some causes, rising."""
        return np.array(sorted({self.place[key] for key in causes}), dtype=np.intp)

    def symptom(self, key: str) -> tuple[float, Array]:
        """Return leak and chances of a symptom, shape (causes,).

        The leak is what makes the causes that the list does not hold a tenth of all that bring
        the symptom, as the priors stand without own repairs.
        """
        if key not in self._symptoms:
            brings = np.zeros(len(self.ids))
            for one in self.symptom_known(key).causes:
                brings[self.place[one.cause]] = LINK_CHANCE[one.likelihood]
            before = np.array([self._before[one] for one in self.ids])
            listed = -np.expm1(np.log1p(-before * brings).sum())
            self._symptoms[key] = float(listed * UNLISTED / (1 - UNLISTED)), brings
        return self._symptoms[key]

    def weights(self, key: str) -> tuple[Array, Array]:
        """Return the logarithms of a check's weights and of what each cause adds to them.

        Shapes (outcomes,) and (causes, outcomes).
        """
        if key not in self._checks:
            outcomes = self.check(key).outcomes
            gains = np.zeros((len(self.ids), len(outcomes)))
            for column, outcome in enumerate(outcomes):
                for cause in outcome.points_to:
                    gains[self.place[cause], column] += np.log(POINTS)
                for cause in outcome.makes_unlikely:
                    gains[self.place[cause], column] += np.log(UNLIKELY)
            self._checks[key] = np.log(_clear_weights(self.check(key))), gains
        return self._checks[key]

    def symptom_known(self, key: str) -> Symptom:
        """Return a symptom, or refuse."""
        if key not in self.knowledge.symptoms:
            raise InputError(
                f"There is no symptom '{key}'", "the id of a known symptom is needed",
                "search for it by the words of the complaint",
            )  # fmt: skip
        return self.knowledge.symptoms[key]

    def check(self, key: str) -> Check:
        """Return a check, or refuse."""
        if key not in self.knowledge.checks:
            raise InputError(f"There is no check '{key}'", "the id of a known check is needed")
        return self.knowledge.checks[key]


def in_order(evidence: Sequence[Evidence]) -> tuple[Evidence, ...]:
    """Return evidence in an order of its own, each answer once, whoever told it."""
    first: dict[tuple[str, str, str], Evidence] = {}
    for one in sorted(evidence, key=_rank):
        first.setdefault((one.kind, one.key, one.answer), one)
    return tuple(first.values())


def _rank(one: Evidence) -> tuple[bool, str, str, str, int]:
    return one.kind == "check", one.key, one.answer, one.because, one.reading_id or 0


def _clear_weights(check: Check) -> Array:
    """Return the weights of the outcomes where none of the check's causes is there."""
    clear = np.array([not one.points_to for one in check.outcomes])
    if clear.all() or not clear.any():
        return np.full(len(clear), 1 / len(clear))
    weights: Array = np.where(clear, CLEAR / clear.sum(), (1 - CLEAR) / (~clear).sum())
    return weights
