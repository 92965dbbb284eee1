"""How a chance is printed, the same on paper and in the terminal."""

from __future__ import annotations

import pytest

from runstrue.verdict.bench import chance_text
from runstrue.verdict.models import DecisionRule


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.0, "less than 1 %"), (0.0099, "less than 1 %"), (0.01, "1 %"), (0.5, "50 %"),
     (0.95, "95 %"), (0.99, "99 %"), (0.9901, "more than 99 %"), (1.0, "more than 99 %")],
)  # fmt: skip
def test_no_chance_is_told_as_certain(chance: float, words: str) -> None:
    assert chance_text(chance) == words


@pytest.mark.parametrize("chance", [0.9465, 0.0512])
def test_a_chance_beside_the_rule_is_not_rounded_onto_it(chance: float) -> None:
    assert DecisionRule().outcome(chance) == "too close to call"
    assert chance_text(chance) == f"{100 * chance:.1f} %"
