"""The filter for live sound against numpy's own convolution."""

from __future__ import annotations

import numpy as np
import pytest

from runstrue.dsp.demodulate import Demodulated, Demodulator
from runstrue.dsp.prompt_filter import PromptFilter
from runstrue.measure.tone import band_for


def _kernel(offset: np.ndarray) -> np.ndarray:
    return np.exp(-((offset / 3.0) ** 2)) * (1 + 0.3 * offset)  # one-sided, so that a flip shows


@pytest.mark.parametrize("cuts", [(1,), (7,), (1000,), (0, 3, 250)])
def test_outputs_are_those_of_a_plain_convolution(cuts: tuple[int, ...]) -> None:
    """numpy.convolve with the sampled kernel, one output for one input."""
    values = np.random.default_rng(5).standard_normal((2, 400))
    reach = 12
    prompt = PromptFilter(_kernel, reach, 1, 1, 2)
    parts, at = [], 0
    while at < values.shape[1]:
        for cut in cuts:
            parts.append(prompt.process(values[:, at : at + cut]))
            at += cut
    given = np.concatenate([*parts, prompt.finish()], axis=1)
    taps = _kernel(np.arange(-reach, reach + 1.0))
    # output k = Σ x[j]·K(k − j): a convolution with K itself
    expected = np.array([np.convolve(row, taps, mode="same") for row in values])
    # 25 products of numbers near 1 in double precision: 25 · 2⁻⁵² · a few
    np.testing.assert_allclose(given, expected, atol=1e-13)


def test_every_output_comes_as_soon_as_its_last_input_is_there() -> None:
    reach = 5
    prompt = PromptFilter(_kernel, reach, 1, 1, 1)
    counts = [prompt.process(np.ones((1, 1))).shape[1] for _ in range(20)]
    # output k needs input k + reach (+ 1, for offsets between the inputs)
    assert counts == [0] * (reach + 1) + [1] * (20 - reach - 1)


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 44_056, 48_000])
def test_a_prompt_demodulator_gives_what_the_other_one_gives(rate_hz: int) -> None:
    time_s = np.arange(3 * rate_hz) / rate_hz
    noise = np.random.default_rng(3).standard_normal((2, time_s.size))
    tone = np.sin(2 * np.pi * 3160 * time_s + 0.5 * np.sin(2 * np.pi * 30 * time_s))
    sound = 0.5 * tone + 0.01 * noise

    def through(block: int, *, prompt: bool) -> Demodulated:
        demodulator = Demodulator(rate_hz, 2, band_for(None), prompt=prompt)
        parts = [
            demodulator.process(sound[:, at : at + block]) for at in range(0, sound.shape[1], block)
        ]
        parts.append(demodulator.finish())
        return Demodulated(
            *(
                np.concatenate([getattr(part, name) for part in parts], axis=1)
                for name in Demodulated.__slots__
            )
        )

    plain, prompt = through(10**7, prompt=False), through(rate_hz // 20, prompt=True)
    for name in Demodulated.__slots__:
        np.testing.assert_allclose(
            getattr(prompt, name), getattr(plain, name), rtol=1e-9, atol=1e-9, err_msg=name
        )


def test_sound_cut_off_in_front_by_whole_grids_gives_the_same_values() -> None:
    rate_hz, grids = 44_100, 41
    time_s = np.arange(3 * rate_hz) / rate_hz
    sound = 0.5 * np.sin(2 * np.pi * 3160 * time_s + 0.5 * np.sin(2 * np.pi * 30 * time_s))[None]
    whole, cut = (Demodulator(rate_hz, 1, band_for(None)) for _ in range(2))
    first = grids * whole.grid_frames
    everything = whole.process(sound).offset_hz[0]
    rest = cut.process(sound[:, first:]).offset_hz[0]
    shift = round(first / rate_hz * whole.deviation_rate_hz)
    length = min(rest.size, everything.size - shift)
    # the filters reach 0.07 s = 35 values; 50 are left out
    np.testing.assert_allclose(rest[50:length], everything[shift + 50 : shift + length], atol=1e-9)
    assert not np.allclose(rest[50:length], everything[shift + 51 : shift + length + 1], atol=1e-3)
