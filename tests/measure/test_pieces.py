"""Stretches kept as their ends, against numpy on masks."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from runstrue.measure.pieces import Pieces

MASKS = hnp.arrays(np.bool_, st.integers(1, 60))


@given(MASKS, st.data())
def test_pieces_answer_as_masks_do(mask: np.ndarray, data: st.DataObject) -> None:
    other = data.draw(hnp.arrays(np.bool_, mask.size))
    one, two = Pieces.of(mask), Pieces.of(other)
    assert one.samples == np.count_nonzero(mask)
    assert np.array_equal(one.mask(0, mask.size), mask)
    start = data.draw(st.integers(0, mask.size - 1))
    assert np.array_equal(one.mask(start, mask.size), mask[start:])
    assert np.array_equal(one.meet(two).mask(0, mask.size), mask & other)
    assert np.array_equal(one.join(two).mask(0, mask.size), mask | other)
    outside = np.zeros(mask.size, dtype=bool)
    for begin, end in one.outside(mask.size):
        outside[begin:end] = True
    assert np.array_equal(outside, ~mask)


@given(MASKS, st.integers(0, 5))
def test_gaps_up_to_a_length_are_closed_and_no_others(mask: np.ndarray, most: int) -> None:
    closed = Pieces.of(mask).bridged(most)
    assert all(end - begin > most for begin, end in closed.gaps())
    added = closed.mask(0, mask.size) & ~mask
    assert all(end - begin <= most for begin, end in Pieces.of(added).spans)


def test_each_value_may_stand_for_several_samples() -> None:
    assert Pieces.of(np.array([False, True, True, False]), 10).spans == ((10, 30),)
