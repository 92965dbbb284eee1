"""A long curve made small: no extreme lost, no gap closed, no bias in the mean."""

from __future__ import annotations

import numpy as np
import pytest

from runstrue.report.envelope import envelope_of


def _curve(samples: int, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, 0.1, (2, samples)).astype(np.float32)


@pytest.mark.parametrize("samples", [1, 7, 899, 900, 901, 30_001])
def test_extremes_of_every_column_are_those_of_its_samples(samples: int) -> None:
    curve = _curve(samples)
    envelope = envelope_of(curve, 500.0, columns=300)
    columns = envelope.time_s.size
    assert columns <= 300
    per_column = -(-samples // 300)
    for column in range(columns):  # the plain way, one slice after the other
        part = curve[:, column * per_column : (column + 1) * per_column]
        np.testing.assert_array_equal(envelope.low[:, column], part.min(axis=1))
        np.testing.assert_array_equal(envelope.high[:, column], part.max(axis=1))


def test_a_gap_stays_open_and_costs_its_neighbours_nothing() -> None:
    curve = np.full((1, 30_000), 0.25, dtype=np.float32)
    curve[:, 10_000:13_000] = np.nan
    envelope = envelope_of(curve, 500.0, columns=300)
    inside = (envelope.time_s > 20.0) & (envelope.time_s < 26.0)
    for row in (envelope.low, envelope.high, envelope.mean):
        assert np.isnan(row[0, inside]).all()
        # A constant stays that constant right up to the gap and the ends.
        np.testing.assert_allclose(row[0, ~inside], 0.25, rtol=0, atol=1e-12)


def test_the_mean_follows_a_straight_drift_exactly() -> None:
    # A symmetric window leaves a straight line as it is, away from the ends.
    time = np.arange(60_000) / 500
    envelope = envelope_of((0.3 - 0.002 * time)[None, :], 500.0)
    width = envelope.mean_width_s
    middle = (envelope.time_s > width) & (envelope.time_s < time[-1] - width)
    # Columns are centred half a sample later than their samples' mean time.
    expected = 0.3 - 0.002 * (envelope.time_s[middle] - 0.5 / 500)
    np.testing.assert_allclose(envelope.mean[0, middle], expected, rtol=0, atol=1e-12)


def test_nothing_but_gaps_gives_open_columns_without_a_warning() -> None:
    envelope = envelope_of(np.full((2, 5000), np.nan, dtype=np.float32), 500.0)
    assert np.isnan(envelope.mean).all()
    assert np.isnan(envelope.low).all()
