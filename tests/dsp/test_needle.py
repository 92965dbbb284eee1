"""The quasi-peak needle against the figures that the standards give for it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate

from runstrue.dsp.needle import SETTLING_S, Needle, pulse_table, wander
from runstrue.dsp.weighting import Weighting
from runstrue.errors import InputError, SignalError

# One-way pulses once a second, in % of the reading of a 4 Hz sine of the same peak-to-peak.
# 60 ms and the fall: AES6-1982, public abstract. The others and all tolerances: from memory
# of the same standard, unconfirmed.
PULSES = {10: (21.0, 3.0), 30: (62.0, 6.0), 60: (90.0, 6.0), 100: (100.0, 4.0)}
FALL = (40.0, 4.0)


def _sine(rate_hz: float, flutter_hz: float, seconds: float = 30.0) -> NDArray[np.float64]:
    return np.sin(2 * np.pi * flutter_hz * np.arange(int(seconds * rate_hz)) / rate_hz)


def _reading(rate_hz: float, signal: NDArray[np.float64]) -> float:
    return float(Needle(rate_hz).process(signal)[-int(5 * rate_hz) :].max())


def _pulsed(rate_hz: float, length_ms: float, height: float = 1.0) -> NDArray[np.float64]:
    one = np.zeros(int(rate_hz))
    one[: round(rate_hz * length_ms / 1000)] = height
    return np.tile(one, 30)


def _figures(rate_hz: float, length_ms: float, height: float = 1.0) -> tuple[float, float]:
    reference = _reading(rate_hz, abs(height) / 2 * _sine(rate_hz, 4.0))
    weighted = Weighting(rate_hz).process(_pulsed(rate_hz, length_ms, height))
    shown = Needle(rate_hz).process(weighted)[-int(5 * rate_hz) :]
    return 100 * float(shown.max()) / reference, 100 * float(shown.min()) / reference


@pytest.mark.parametrize("rate_hz", [500.0, 1000.0])
@pytest.mark.parametrize("length_ms", PULSES)
def test_pulses_through_the_weighting_read_what_the_standard_asks(
    length_ms: float, rate_hz: float
) -> None:
    required, tolerance = PULSES[int(length_ms)]
    assert _figures(rate_hz, length_ms)[0] == pytest.approx(required, abs=tolerance)


@pytest.mark.parametrize("height", [1.0, -1.0, 0.003])
def test_needle_falls_to_forty_percent_between_pulses_of_100_ms(height: float) -> None:
    assert _figures(500.0, 100, height)[1] == pytest.approx(FALL[0], abs=FALL[1])


def test_table_for_the_docs_says_what_the_needle_does() -> None:
    *pulses, fall = pulse_table()
    for row, (length_ms, (required, tolerance)) in zip(pulses, PULSES.items(), strict=True):
        assert row.words == f"{length_ms} ms pulse"
        assert (row.required_percent, row.tolerance_percent) == (required, tolerance)
        # the 4 Hz reference of `_figures` is within 0.3 % of its peak (see above)
        reached = _figures(500.0, length_ms)[0]
        assert row.through_weighting_percent == pytest.approx(reached, rel=3e-3)
    assert (fall.required_percent, fall.tolerance_percent) == FALL


# 0.5 dB is asked for from 1 to 40 Hz; 63 Hz is ours on top. Between whole fractions of the
# rate as well as on them.
@pytest.mark.parametrize(
    "flutter_hz", [1.0, 1.6, 2.0, 5.3, 6.3, 10.0, 20.0, 25.0, 31.7, 40.0, 63.0]
)
def test_steady_sine_reads_its_true_peak(flutter_hz: float) -> None:
    reading = _reading(500.0, 0.1 * _sine(500.0, flutter_hz))
    assert 20 * np.log10(reading / 0.1) == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("rate_hz", [495.0, 500.0, 1000.0])
def test_four_hertz_reads_its_true_peak(rate_hz: float) -> None:
    # the reference of the standard; a sample may miss the crest by half its length, which is
    # 1 - cos(pi 4 / 495) = 0.03 %, and after 25 s the holds are still 0.2 % below it
    assert _reading(rate_hz, 0.1 * _sine(rate_hz, 4.0)) == pytest.approx(0.1, rel=3e-3)


@pytest.mark.parametrize(
    ("flutter_hz", "weight_db"), [(1.0, -4.2), (4.0, 0.0), (10.0, -2.1), (20.0, -5.9)]
)
def test_sine_through_the_weighting_reads_the_table_of_the_standard(
    flutter_hz: float, weight_db: float
) -> None:
    # IEC 60386 Table I; 0.2 dB are the weighting's and 0.4 dB the needle's at 1 Hz
    weighted = Weighting(500.0).process(0.1 * _sine(500.0, flutter_hz))
    read_db = 20 * np.log10(_reading(500.0, weighted) / 0.1)
    assert read_db == pytest.approx(weight_db, abs=0.6)


def test_hold_rises_waits_and_falls_as_the_formulas_say() -> None:
    # a step of 1 for 0.1 s, then nothing; solved on paper: 1 - exp(-t/41 ms), 0.47 s of
    # standing still, exp(-t/0.46 s). One hold alone shows half of it.
    rate_hz = 500.0
    time_s = np.arange(1, 1001) / rate_hz
    shown = Needle(rate_hz).process(np.where(time_s <= 0.1, 1.0, 0.0))
    top = 1 - np.exp(-0.1 / 0.041)
    expected = np.where(
        time_s <= 0.1,
        1 - np.exp(-time_s / 0.041),
        top * np.exp(-np.maximum(time_s - 0.1 - 0.47, 0) / 0.46),
    )
    np.testing.assert_allclose(shown, expected / 2, rtol=1e-12)


def test_rise_agrees_with_a_general_solver_of_differential_equations() -> None:
    # dh/dt = max(x - h, 0) / 41 ms for a sine of 3 Hz, too quick for the holds to fall.
    # Holding the input for a sample of 0.25 ms delays it by half of that: 2 pi 3 Hz 0.125 ms
    # = 0.24 % of the peak.
    def drive(time_s: float) -> float:
        return float(np.sin(2 * np.pi * 3 * time_s))

    def law(time_s: float, holds: NDArray[np.float64]) -> list[float]:
        x = drive(time_s)
        return [max(x - holds[0], 0) / 0.041, max(-x - holds[1], 0) / 0.041]

    time_s = np.arange(8000) / 4000
    solved = integrate.solve_ivp(law, (0, 2), np.zeros(2), t_eval=time_s, max_step=1e-3)
    shown = Needle(4000.0).process(np.sin(2 * np.pi * 3 * time_s))
    np.testing.assert_allclose(shown, (solved.y[0] + solved.y[1]) / 2, atol=2.4e-3)


def test_middle_of_the_needle_agrees_with_two_sigma_on_ordinary_flutter() -> None:
    # AES6-2008, public abstract: two-sigma took the needle's place and gives the same
    # results. No tolerance is given; 10 % is ours, less than a deck's needle wanders.
    weighted = Weighting(500.0).process(np.random.default_rng(37).normal(size=500 * 300))[2500:]
    spread = wander(Needle(500.0).process(weighted), 500.0)
    two_sigma = 1.960 * np.std(weighted)
    assert spread.middle == pytest.approx(two_sigma, rel=0.1)
    # common practice, no source: it wanders by a third of its value and more
    assert 0.2 < (spread.high - spread.low) / spread.middle < 0.5


@pytest.mark.parametrize("flutter_hz", [1.0, 4.0, 20.0, 40.0])
def test_reading_does_not_hang_on_the_sampling_rate(flutter_hz: float) -> None:
    coarse, fine = (_reading(rate, _sine(rate, flutter_hz)) for rate in (500.0, 4000.0))
    assert 20 * np.log10(coarse / fine) == pytest.approx(0.0, abs=0.05)


def test_percentages_do_not_depend_on_the_level() -> None:
    signal = np.random.default_rng(30).normal(size=5000)
    small, large = Needle(500.0).process(1e-4 * signal), Needle(500.0).process(10 * signal)
    np.testing.assert_allclose(1e5 * small, large, rtol=1e-12)


def test_polarity_makes_no_difference() -> None:
    signal = np.random.default_rng(31).normal(size=5000)
    up, down = Needle(500.0).process(signal), Needle(500.0).process(-signal)
    np.testing.assert_allclose(up, down, rtol=1e-12)


@pytest.mark.parametrize("flutter_hz", [0.8, 1.0, 4.0, 20.0])
def test_needle_has_settled_when_it_says_so(flutter_hz: float) -> None:
    shown = Needle(500.0).process(_sine(500.0, flutter_hz))
    cycle = int(500 / flutter_hz)
    settled = int(SETTLING_S * 500)
    assert shown[settled : settled + cycle].max() == pytest.approx(shown[-cycle:].max(), rel=0.01)


@pytest.mark.parametrize("block", [1, 480, 2400])
def test_blocks_of_any_size_give_the_same(block: int) -> None:
    signal = np.random.default_rng(32).normal(size=(2, 6000))
    whole = Needle(500.0).process(signal)
    needle = Needle(500.0)
    parts = [needle.process(signal[:, at : at + block]) for at in range(0, 6000, block)]
    np.testing.assert_array_equal(np.concatenate(parts, axis=1), whole)


def test_passing_over_quiet_stretches_changes_nothing() -> None:
    # the same law one sample at a time, written down a second time
    generator = np.random.default_rng(33)
    signal = generator.normal(size=20_000) * np.repeat(generator.uniform(size=200) ** 3, 100)
    above = below = 0.0
    above_rose = below_rose = -10_000
    expected = []
    for now, value in enumerate(signal):
        if value > above:
            above, above_rose = value + (above - value) * np.exp(-0.002 / 0.041), now
        elif now - above_rose > 0.47 * 500:
            above *= np.exp(-0.002 / 0.46)
        if -value > below:
            below, below_rose = -value + (below + value) * np.exp(-0.002 / 0.041), now
        elif now - below_rose > 0.47 * 500:
            below *= np.exp(-0.002 / 0.46)
        expected.append((above + below) / 2)
    np.testing.assert_allclose(Needle(500.0).process(signal), expected, rtol=1e-9)


def test_reset_puts_the_needle_at_rest() -> None:
    signal = np.random.default_rng(35).normal(size=2000)
    needle = Needle(500.0)
    first = needle.process(signal)
    needle.reset()
    np.testing.assert_array_equal(needle.process(signal), first)


def test_wandering_of_a_uniform_needle_is_its_quantiles() -> None:
    # evenly spread from 0.1 to 0.2: 5, 50 and 95 % lie at 0.105, 0.15 and 0.195
    shown = np.random.default_rng(36).permutation(np.linspace(0.1, 0.2, 50_001))
    spread = wander(np.concatenate([np.full(1500, 9.0), shown]), 500.0)
    assert (spread.low, spread.middle, spread.high) == pytest.approx((0.105, 0.15, 0.195))


def test_single_jerk_does_not_widen_the_wandering() -> None:
    shown = Needle(500.0).process(0.1 * _sine(500.0, 20.0, 60.0))
    calm = wander(shown, 500.0)
    shown[20_000:20_500] *= 2
    assert wander(shown, 500.0).high == pytest.approx(calm.high, rel=0.01)


def test_needle_seen_too_shortly_is_refused() -> None:
    with pytest.raises(SignalError, match=r"seen for 3\.5 s; at least 4 s .* record longer"):
        wander(np.zeros(1750), 500.0)


@pytest.mark.parametrize("rate_hz", [0.0, 100.0, float("nan"), float("inf")])
def test_rate_too_low_for_the_needle_is_refused(rate_hz: float) -> None:
    with pytest.raises(InputError, match="at least 250 times"):
        Needle(rate_hz)


def test_gap_is_refused() -> None:
    with pytest.raises(SignalError, match="gaps must be left out"):
        Needle(500.0).process(np.array([0.0, np.inf]))


def test_change_of_channels_is_refused() -> None:
    needle = Needle(500.0)
    needle.process(np.zeros((2, 10)))
    with pytest.raises(SignalError, match="channels must stay the same"):
        needle.process(np.zeros(10))
