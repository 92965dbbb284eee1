"""Coverage at 400 seeds as rows of the table."""

from __future__ import annotations

from collections.abc import Iterator

from joblib import Parallel, delayed

from benchmarks.coverage import CASES, Coverage, Ratios, summarize
from benchmarks.row import Row

SEEDS = 400
LEAST = {"hiss": 0.92, "length": 0.92, "overall": 0.93}
WORDS = {
    "hiss": "with hiss against without, by the part from hiss",
    "length": "a minute against the long run, by the random part",
    "overall": "tape, sound card, hiss and length at random, by all of it",
}


def coverage_rows(seeds: int = SEEDS) -> Iterator[Row]:
    """One row a question: the kind of reading that is held least often."""
    for case in CASES:
        rows = ask(case, seeds)
        worst = min(rows, key=lambda row: row.inside)
        told = "; ".join(
            f"{row.name} {100 * row.inside:.1f} % (σ {row.spread:.2f})" for row in rows
        )
        yield Row(
            f"within 2u: {WORDS[case]}",
            f"≥ {100 * worst.inside:.1f} % ({worst.name})",
            f"≥ {100 * LEAST[case]:.0f} %",
            worst.inside / LEAST[case],
            more_is_better=True,
            remark=f"{seeds} seeds; {told}; σ is the spread of error over u, 1 when u is right "
            "and less when it is cautious",
        )


def ask(case: str, seeds: int) -> list[Coverage]:
    """Ask one question of many seeds, on all cores."""
    answers: list[Ratios] = Parallel(n_jobs=-1)(
        delayed(_answer)(case, seed) for seed in range(seeds)
    )
    return sorted(summarize(answers), key=lambda row: row.inside)


def _answer(case: str, seed: int) -> Ratios:
    # kinds of deck are pooled: one count for each kind of reading
    answer = CASES[case](seed)
    return {name.partition(",")[0]: ratio for name, ratio in answer.items()}
