"""The memory stop against a library's distributions, and over many decks of known scatter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import chi2, t

from runstrue.errors import InputError
from runstrue.transport.memory_stop import returns_of


def test_five_returns_as_a_library_works_them_out() -> None:
    counts = np.array([0.0, 1.0, -1.0, 0.0, 2.0])
    found = returns_of(counts.tolist())
    scatter = np.std(counts, ddof=1)
    assert found.scatter == pytest.approx(scatter)
    assert found.mean.value == pytest.approx(0.4)
    assert found.mean.expanded() == pytest.approx(t.ppf(0.975, 4) * scatter / math.sqrt(5))
    low, high = (scatter * math.sqrt(4 / chi2.ppf(chance, 4)) for chance in (0.975, 0.025))
    assert (found.scatter_low, found.scatter_high) == pytest.approx((low, high))
    reach = t.ppf(0.975, 4) * scatter * math.sqrt(1 + 1 / 5)
    assert (found.next_low, found.next_high) == pytest.approx((0.4 - reach, 0.4 + reach))
    assert not found.hidden


def test_next_return_and_scatter_lie_where_they_are_said_to() -> None:
    # 95 % of 400 is 380 ± 4.4 (binomial); 92 to 98 % is 2.75 of these each way.
    generator = np.random.default_rng(3)
    of_next = of_scatter = 0
    for _ in range(400):
        stops = generator.normal(0.7, 2.5, 7)  # read finely: 0.1 of a count
        found = returns_of(stops[:6].tolist(), 0.1)
        of_next += found.next_low <= stops[6] <= found.next_high
        of_scatter += found.scatter_low <= 2.5 <= found.scatter_high
    assert 368 <= of_next <= 392
    assert 368 <= of_scatter <= 392


def test_scatter_below_what_the_counter_shows_is_not_told_as_none() -> None:
    found = returns_of([0, 0, 0, 0])
    assert found.hidden
    assert found.scatter == pytest.approx(1 / math.sqrt(12))  # one count, rectangular
    assert (found.scatter_low, found.next_low < 0 < found.next_high) == (0.0, True)
    assert returns_of([0, 0.4, -0.2, 0], 0.2).hidden is False


@pytest.mark.parametrize(
    ("counts", "words"),
    [([], "0 returns were"), ([1], "1 return was"), ([0, 1], "2 returns were"),
     ([0, 1, math.nan], "no number")],
)  # fmt: skip
def test_too_few_returns_are_refused(counts: list[float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        returns_of(counts)
