"""Is the right fault found, quickly, and are the chances honest? Simulated decks, seeded.

`python -m benchmarks.faults [--seeds N]` draws decks with a fault, lets the fault bring one or two
complaints, and asks. The deck answers from a model of its own: every chance of the knowledge is
moved, its odds by up to a factor of three either way, anew for every deck; one answer in ten is
'don't know'. A sitting ends when the first cause has 80 %, when no check would tell more, or after
twelve checks; whether the first cause is then the true one, and how long it took, is counted.

Against it stands a person who goes down the list of suspects in order of commonness, each in its
turn with the shortest check that points to it. That person minds no risk, does any check whether
or not the complaint names it, and reads the answers just as well: only the order differs. (Asking
every check about the commonest suspect before going on to the next one would take longer.)
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np

from benchmarks.row import Row, as_text
from runstrue.faults.infer import FaultFinder, Ranking
from runstrue.faults.judgement import CLEAR, LINK_CHANCE, POINTS, SURE, UNLIKELY
from runstrue.faults.models import Check, Evidence, Knowledge
from runstrue.faults.priors import Prior, priors_of
from runstrue.faults.read import read_knowledge

SEEDS = 600
MOST_CHECKS = 12
COMPLAINTS = 2
OFF = 3.0
DO_NOT_KNOW = 0.1
BINS = np.linspace(0.0, 1.0, 11)


@dataclass(frozen=True, slots=True)
class Deck:
    """A deck with a fault, and what it would answer.

    Parameters
    ----------
    faults : tuple of str
        Ids of the causes that are there; the complaint comes from the first.
    complaints : tuple of str
    answers : dict of str to str
        By check.
    """

    faults: tuple[str, ...]
    complaints: tuple[str, ...]
    answers: dict[str, str]


@dataclass(frozen=True, slots=True)
class Sitting:
    """What came of one sitting.

    Parameters
    ----------
    is_right : bool
        Whether a true cause stands first at the end.
    checks : int
    minutes : float
    seconds : tuple of float
        What ranking and next check took, each time.
    said : tuple of (float, bool)
        Chance of each suspect at each step, and whether it was true.
    has_conflict : bool
    """

    is_right: bool
    checks: int
    minutes: float
    seconds: tuple[float, ...] = ()
    said: tuple[tuple[float, bool], ...] = field(default=(), repr=False)
    has_conflict: bool = False


@cache
def knowledge() -> Knowledge:
    """Return all that is known."""
    return read_knowledge()


@cache
def _priors() -> dict[str, Prior]:
    return priors_of(knowledge())


@cache
def finder() -> FaultFinder:
    """Return one finder for all sittings."""
    return FaultFinder(knowledge())


def draw_deck(seed: int, *, several: bool = False, off: float = OFF) -> Deck:
    """Draw a deck: its fault by the prior, its complaints and answers by odds that are off.

    Parameters
    ----------
    seed : int
    several : bool
        Draw every cause by its prior instead of just one; the complaint is of one of them.
    off : float
        Largest factor by which odds are off.
    """
    draw = np.random.default_rng(seed)
    causes = sorted(knowledge().causes)
    priors = np.array([_priors()[key].chance for key in causes])
    while True:
        faults = (
            [causes[at] for at in np.flatnonzero(draw.random(len(causes)) < priors)]
            if several
            else [str(draw.choice(causes, p=priors / priors.sum()))]
        )
        draw.shuffle(faults)
        if not faults:
            continue
        brought = [
            symptom.id
            for symptom in knowledge().symptoms.values()
            for link in symptom.causes
            if link.cause == faults[0] and draw.random() < _moved(LINK_CHANCE[link.likelihood],
                                                                  off, draw)
        ]  # fmt: skip
        if brought:
            break
    count = min(COMPLAINTS, len(brought))
    complaints = tuple(str(one) for one in draw.choice(brought, count, replace=False))
    answers = {key: _answer(one, faults, off, draw) for key, one in knowledge().checks.items()}
    return Deck(tuple(faults), complaints, answers)


def _moved(chance: float, off: float, draw: np.random.Generator) -> float:
    """Move a chance: its odds by up to a factor either way, evenly on the logarithm."""
    odds = chance / (1 - chance) * off ** draw.uniform(-1, 1)
    return float(odds / (1 + odds))


def _answer(check: Check, faults: Sequence[str], off: float, draw: np.random.Generator) -> str:
    clear = [not one.points_to for one in check.outcomes]
    weights = []
    for is_clear, outcome in zip(clear, check.outcomes, strict=True):
        weight = 1.0
        if any(clear) and not all(clear):
            weight = CLEAR / sum(clear) if is_clear else (1 - CLEAR) / (len(clear) - sum(clear))
        for cause in faults:
            weight *= POINTS if cause in outcome.points_to else 1
            weight *= UNLIKELY if cause in outcome.makes_unlikely else 1
        weights.append(weight * off ** draw.uniform(-1, 1))
    chosen = check.outcomes[draw.choice(len(weights), p=np.array(weights) / sum(weights))]
    return "unknown" if draw.random() < DO_NOT_KNOW else chosen.id


def sit(deck: Deck, *, by_commonness: bool = False, trained: bool = True) -> Sitting:
    """Ask until sure, until no check tells more, or until twelve checks are done."""
    evidence = [Evidence(kind="symptom", key=key, answer="present") for key in deck.complaints]
    minutes, seconds, said, has_conflict = 0.0, [], [], False
    for asked in range(MOST_CHECKS + 1):
        begin = time.perf_counter()
        ranking = finder().posterior(evidence)
        said += [(row.chance, row.cause.id in deck.faults) for row in ranking.suspects]
        has_conflict = has_conflict or bool(ranking.conflicts)
        if ranking.rows[0].chance >= SURE or asked == MOST_CHECKS:
            break
        if by_commonness:
            check = _commonest(ranking, {one.key for one in evidence}, asked)
        else:
            offered = finder().next_checks(evidence, None, trained, 1).suggestions
            check = offered[0].check if offered else None
            seconds.append(time.perf_counter() - begin)
        if check is None:
            break
        minutes += check.minutes
        evidence.append(Evidence(kind="check", key=check.id, answer=deck.answers[check.id]))
    is_right = ranking.rows[0].cause.id in deck.faults
    return Sitting(is_right, asked, minutes, tuple(seconds), tuple(said), has_conflict)


def _commonest(ranking: Ranking, asked: set[str], count: int) -> Check | None:
    """Return the shortest check about the suspect whose turn it is; the list begins anew."""
    rows = sorted(ranking.suspects, key=lambda one: (-one.prior, one.cause.id))
    for row in (*rows[count:], *rows):
        pointing = [
            one
            for one in knowledge().checks.values()
            if one.id not in asked and any(row.cause.id in o.points_to for o in one.outcomes)
        ]
        if pointing:
            return min(pointing, key=lambda one: (one.minutes, one.id))
    return None


def sittings(
    seeds: int, *, several: bool = False, by_commonness: bool = False, trained: bool = True
) -> list[Sitting]:
    """Sit before many decks."""
    return [
        sit(draw_deck(seed, several=several), by_commonness=by_commonness, trained=trained)
        for seed in range(seeds)
    ]


def share_right(found: Sequence[Sitting]) -> float:
    """Return the part of the sittings that end with a true cause on top."""
    return sum(one.is_right for one in found) / len(found)


def median_checks(found: Sequence[Sitting]) -> float:
    """Return the median count of checks of those that end right."""
    return float(np.median([one.checks for one in found if one.is_right]))


def mean_minutes(found: Sequence[Sitting]) -> float:
    """Return the mean minutes of a sitting, right or wrong."""
    return float(np.mean([one.minutes for one in found]))


def calibration(found: Sequence[Sitting]) -> list[tuple[float, float, int, float, float]]:
    """Return (from, to, how many, mean chance said, part true) for each tenth of chances."""
    said = np.array([pair for one in found for pair in one.said])
    rows = []
    for low, high in pairwise(BINS):
        inside = said[(said[:, 0] >= low) & (said[:, 0] < high)]
        if len(inside):
            rows.append((low, high, len(inside), inside[:, 0].mean(), inside[:, 1].mean()))
    return rows


def calibration_text(found: Sequence[Sitting]) -> str:
    """Set the calibration as a table."""
    lines = ["| given | how many | on average | of these true |", "|---|---:|---:|---:|"]
    lines += [
        f"| {100 * low:.0f}–{100 * high:.0f} % | {count} | {100 * said:.0f} % "
        f"| {100 * true:.0f} % |"
        for low, high, count, said, true in calibration(found)
    ]
    return "\n".join(lines)


def fault_rows(seeds: int = SEEDS) -> Iterator[Row]:
    """Rows of the table: right, how soon, how long, how fast."""
    yield from _time_rows(seeds)
    ours, common = sittings(seeds), sittings(seeds, by_commonness=True)
    right, checks = share_right(ours), median_checks(ours)
    less = 1 - mean_minutes(ours) / mean_minutes(common)
    untrained = sittings(seeds, trained=False)
    remark = (
        f"{seeds} decks with one fault, odds off by up to {OFF:.0f}, every tenth answer 'don't "
        f"know'; in order of commonness {100 * share_right(common):.0f} %; somebody not trained "
        f"for mains work {100 * share_right(untrained):.0f} %; a conflict told in "
        f"{100 * sum(one.has_conflict for one in ours) / len(ours):.0f} %"
    )
    yield Row(
        "the true cause stands first within 12 checks", f"{100 * right:.0f} %", "≥ 80 %",
        right / 0.8, more_is_better=True, remark=remark,
    )  # fmt: skip
    yield Row("checks until then, median", f"{checks:.0f}", "≤ 5", checks / 5)
    yield Row(
        "minutes less than in order of commonness", f"{100 * less:.0f} %", "≥ 25 %", less / 0.25,
        more_is_better=True,
        remark=f"mean of all sittings, right or wrong: {mean_minutes(ours):.1f} min against "
        f"{mean_minutes(common):.1f} min; not trained {mean_minutes(untrained):.1f} min",
    )  # fmt: skip


def _time_rows(seeds: int) -> Iterator[Row]:
    found = sittings(min(seeds, 100))
    took_ms = np.array([1e3 * one for each in found for one in each.seconds])
    yield Row(
        "causes ranked and next check found, median", f"{np.median(took_ms):.0f} ms", "≤ 50 ms",
        float(np.median(took_ms)) / 50,
        remark=f"the full knowledge, {len(took_ms)} states of evidence of simulated sittings; "
        f"nine in ten within {np.quantile(took_ms, 0.9):.0f} ms",
    )  # fmt: skip
    peak_mb = float(
        subprocess.run(
            [sys.executable, "-m", "benchmarks.faults", "--peak", "--seeds", str(min(seeds, 100))],
            capture_output=True, text=True, check=True,
        ).stdout
    )  # fmt: skip
    yield Row(
        "peak memory of that", f"{peak_mb:.0f} MB", "≤ 300 MB", peak_mb / 300,
        remark="a process of its own",
    )  # fmt: skip


def _peak_mb(seeds: int) -> float:
    """Sit before some decks, and return the most memory that this process held by itself."""
    sittings(seeds)
    status = Path("/proc/self/status")
    if status.exists():  # begins anew with a process, where what `resource` tells does not
        held = next(one for one in status.read_text().splitlines() if one.startswith("VmHWM"))
        return float(held.split()[1]) * 1024 / 1e6
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e6 / 1024)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the rows and the calibration."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.faults")
    parser.add_argument("--seeds", type=int, default=SEEDS)
    parser.add_argument("--peak", action="store_true", help="print the peak memory in MB, alone")
    wanted = parser.parse_args(arguments)
    seeds = wanted.seeds
    if wanted.peak:
        print(f"{_peak_mb(seeds):.1f}")
        return 0
    rows = list(fault_rows(seeds))
    print(as_text(rows))
    for row in rows:
        if row.remark:
            print(f"- {row.what}: {row.remark}.")
    for several in (False, True):
        world = "every cause by its prior, several at once" if several else "one fault a deck"
        print(f"\nCalibration, {world}:\n")
        print(calibration_text(sittings(seeds, several=several)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
