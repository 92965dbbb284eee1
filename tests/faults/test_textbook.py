"""The exact sums against published examples and against other roads to the same numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain, combinations, product

import numpy as np
import pytest

from runstrue.errors import InputError
from runstrue.faults.network import Finding, NoisyOr, Outcome, solve
from runstrue.faults.sets import Array, CauseSets, Places, sets_of
from runstrue.faults.tabled import Tabled


@dataclass(frozen=True)
class Table:
    """A finding by a table over sets of causes: any likelihood at all."""

    chances: dict[frozenset[int], float]

    @property
    def touched(self) -> Places:
        return np.array(sorted(frozenset().union(*self.chances)), dtype=np.intp)

    def log_likelihood(self, sets: CauseSets, causes: Places) -> Array:
        own = set(self.touched.tolist())
        found = [
            self.chances[frozenset(int(causes[m]) for m in members if m < len(causes)) & own]
            for members in sets.members.T
        ]
        return np.log(found)


def fever_of(present: Sequence[int]) -> float:
    """P(fever | just these of cold, flu, malaria), by the noisy-OR."""
    fever = NoisyOr(0.0, 1 - np.array([0.6, 0.2, 0.1]), True)
    sets = sets_of(3)
    at = next(
        at for at, members in enumerate(sets.members.T) if {*members.tolist()} - {3} == {*present}
    )
    return math.exp(fever.log_likelihood(sets, np.arange(3))[at])


@pytest.mark.parametrize(
    ("present", "printed"),
    [((2,), 0.9), ((1,), 0.8), ((1, 2), 0.98), ((0,), 0.4), ((0, 2), 0.94), ((0, 1), 0.88),
     ((0, 1, 2), 0.988)],
)  # fmt: skip
def test_fever_as_printed(present: tuple[int, ...], printed: float) -> None:
    """S. Russell and P. Norvig, Artificial Intelligence: A Modern Approach, noisy-OR for Fever."""
    assert fever_of(present) == pytest.approx(printed, abs=1e-12)


def test_no_fever_without_a_cause() -> None:
    with np.errstate(divide="ignore"):
        assert fever_of(()) == 0.0


def test_flu_or_cold() -> None:
    """K. Baclawski and T. Niu, Ontologies for Bioinformatics, ch. 14: their tables.

    They print P(flu | fever) = 0.009 from rounded tables; the tables themselves give 0.008195 by
    Bayes' theorem (four terms, on paper).
    """
    flu, cold = 0, 1
    fever = Table(
        {frozenset(): 0.01, frozenset({cold}): 0.1, frozenset({flu}): 0.9,
         frozenset({flu, cold}): 0.95}
    )  # fmt: skip
    found = solve(np.array([0.0001, 0.01]), [fever]).chances
    assert found[flu] == pytest.approx(0.008195, abs=5e-7)
    assert found[flu] == pytest.approx(0.009, abs=1e-3)
    assert found[cold] == pytest.approx(0.091078, abs=5e-7)


def test_burglary() -> None:
    """J. Pearl's alarm, with the usual tables (Russell and Norvig print P(B | j, m) = 0.284)."""
    burglary, earthquake = 0, 1
    alarm = {
        frozenset(): 0.001, frozenset({burglary}): 0.94, frozenset({earthquake}): 0.29,
        frozenset({burglary, earthquake}): 0.95,
    }  # fmt: skip
    both_call = Table({key: 0.9 * 0.7 * p + 0.05 * 0.01 * (1 - p) for key, p in alarm.items()})
    found = solve(np.array([0.001, 0.002]), [both_call]).chances
    assert found[burglary] == pytest.approx(0.284172, abs=5e-7)
    assert found[earthquake] == pytest.approx(0.176067, abs=5e-7)


def test_leak_stands_outside() -> None:
    """P(f | d) = 1 − (1 − leak) ∏ (1 − q): a cause with q = 0.5 and a leak of 0.2 gives 0.6."""
    finding = NoisyOr(0.2, np.array([0.5]), True)
    chances = np.exp(finding.log_likelihood(sets_of(1), np.arange(1)))
    assert chances == pytest.approx([0.2, 0.6], abs=1e-12)


def small_network(seed: int, causes: int = 7) -> tuple[Array, list[Finding]]:
    """Return random priors and findings: two symptoms there, one not, two checks."""
    draw = np.random.default_rng(seed)
    priors = draw.uniform(0.01, 0.5, causes)
    findings: list[Finding] = []
    for present in (True, True, False):
        brings = draw.uniform(0, 0.95, causes) * (draw.random(causes) < 0.6)
        findings.append(NoisyOr(float(draw.uniform(0, 0.05)), brings, present))
    for outcomes in (2, 4):
        gains = draw.normal(0, 2, (causes, outcomes)) * (draw.random((causes, 1)) < 0.6)
        findings.append(Outcome(draw.normal(0, 1, outcomes), gains, int(draw.integers(outcomes))))
    return priors, findings


def plain_chances(
    priors: Array, findings: Sequence[Finding], at_most: int
) -> tuple[list[float], float]:
    """Every state of all causes, in plain products: no logarithms, no tables, no arrays."""
    touched = {int(at) for one in findings for at in one.touched}
    whole, with_each = 0.0, [0.0] * len(priors)
    for state in product((False, True), repeat=len(priors)):
        if sum(there and at in touched for at, there in enumerate(state)) > at_most:
            continue
        weight = math.prod(p if there else 1 - p for p, there in zip(priors, state, strict=True))
        for one in findings:
            if isinstance(one, NoisyOr):
                absent = (1 - one.leak) * math.prod(
                    1 - q for q, there in zip(one.brings, state, strict=True) if there
                )
                weight *= 1 - absent if one.present else absent
            elif isinstance(one, Outcome):
                weights = [
                    math.exp(base) * math.prod(
                        math.exp(gain) for gain, there in zip(column, state, strict=True) if there
                    )
                    for base, column in zip(one.log_weights, one.log_gains.T, strict=True)
                ]  # fmt: skip
                weight *= weights[one.seen] / sum(weights)
        whole += weight
        for at, there in enumerate(state):
            with_each[at] += weight if there else 0.0
    return [one / whole for one in with_each], whole


@pytest.mark.parametrize("at_most", [1, 2, 3, 7])
@pytest.mark.parametrize("seed", range(6))
def test_brute_force_agrees(seed: int, at_most: int) -> None:
    priors, findings = small_network(seed)
    found = solve(priors, findings, at_most).chances
    # both sum fewer than 200 terms in double precision: 1e-12 is what rounding leaves
    assert found == pytest.approx(plain_chances(priors, findings, at_most)[0], abs=1e-12)


def test_brute_force_gives_the_evidence_too() -> None:
    priors, findings = small_network(3)
    found = solve(priors, findings, len(priors))
    assert math.exp(found.log_evidence) == pytest.approx(
        plain_chances(priors, findings, len(priors))[1], rel=1e-10
    )


@pytest.mark.parametrize("seed", range(4))
def test_tables_say_what_the_findings_say(seed: int) -> None:
    priors, findings = small_network(seed, causes=9)
    tabled = solve(priors, [Tabled(one) for one in findings])
    assert tabled.chances == pytest.approx(solve(priors, findings).chances, abs=1e-14)


def test_quickscore_in_fractions_agrees() -> None:
    """The sum over signs of positive findings (D. Heckerman's Quickscore, 1989), exactly.

    P(F+, d) = Σ over subsets F' of F+ of (−1)^|F'| ∏_i [p_i ∏_{f in F'} (1 − q_if) + 1 − p_i],
    worked out in fractions, where nothing can cancel away. Ten findings of twelve causes, each
    rare: in floating point this very sum loses all its figures.
    """
    draw = np.random.default_rng(11)
    causes, findings = 12, 10
    priors = [Fraction(int(draw.integers(1, 30)), 10_000) for _ in range(causes)]
    keeps = [
        [1 - Fraction(int(draw.integers(1, 99)), 100) * int(draw.random() < 0.5)
         for _ in range(causes)] for _ in range(findings)
    ]  # fmt: skip
    leaks = [Fraction(int(draw.integers(1, 20)), 10_000) for _ in range(findings)]

    def score(certain: int | None) -> Fraction:
        whole = Fraction(0)
        subsets = chain.from_iterable(combinations(range(findings), n) for n in range(findings + 1))
        for subset in subsets:
            term = Fraction((-1) ** len(subset))
            for f in subset:
                term *= 1 - leaks[f]
            for i, p in enumerate(priors):
                kept = math.prod((keeps[f][i] for f in subset), start=Fraction(1))
                term *= p * kept + (0 if i == certain else 1 - p)
            whole += term
        return whole

    everything = score(None)
    exact = [float(score(at) / everything) for at in range(causes)]
    made: list[Finding] = [
        NoisyOr(float(leak), np.array([float(1 - one) for one in keep]), True)
        for leak, keep in zip(leaks, keeps, strict=True)
    ]
    found = solve(np.array([float(p) for p in priors]), made, causes)
    assert found.chances == pytest.approx(exact, abs=1e-12)
    # at most three at once: priors below 0.3 %, so a fourth cause is a matter of a few per cent
    assert solve(np.array([float(p) for p in priors]), made, 3).chances.max() <= 1.0


def test_many_unlikely_findings_lose_nothing() -> None:
    """Forty findings that hardly any set brings: chances stay chances."""
    draw = np.random.default_rng(5)
    findings: list[Finding] = [
        NoisyOr(1e-9, 1e-6 * (draw.random(40) < 0.3), True) for _ in range(40)
    ]
    found = solve(np.full(40, 1e-6), findings)
    assert np.isfinite(found.log_evidence)
    assert found.log_evidence < -400
    assert found.weights.sum() == pytest.approx(1, abs=1e-12)
    assert np.all((found.chances >= 0) & (found.chances <= 1))


def test_what_nothing_touches_keeps_its_prior() -> None:
    priors = np.array([0.1, 0.2, 0.3])
    finding = NoisyOr(0.01, np.array([0.5, 0.0, 0.0]), True)
    found = solve(priors, [finding])
    assert found.chances[1:].tolist() == [0.2, 0.3]
    assert found.touched.tolist() == [0]
    assert solve(priors, []).chances.tolist() == priors.tolist()


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="cannot be there together"):
        solve(np.array([0.5]), [NoisyOr(0.0, np.array([0.0]), True)])
    with pytest.raises(InputError, match="between 0 and 1"):
        solve(np.array([1.0]), [])


@pytest.mark.parametrize(("count", "at_most"), [(0, 3), (1, 3), (2, 3), (9, 3), (6, 6)])
def test_every_set_is_there_once(count: int, at_most: int) -> None:
    sets = sets_of(count, at_most)
    found = [tuple(sorted({*m.tolist()} - {count})) for m in sets.members.T]
    wanted = chain.from_iterable(combinations(range(count), n) for n in range(at_most + 1))
    assert sorted(found) == sorted(wanted)
    assert found[0] == ()
