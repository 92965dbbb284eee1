"""Electrical presets: each has one fault, is told plainly, and fits a file with its truth."""

from __future__ import annotations

import json
import time
from dataclasses import fields, replace

import numpy as np
import pytest

from runstrue.errors import InputError
from runstrue.stimulus.programmes import programme
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.chain import BiasNoise, Saturation
from runstrue.virtualdeck.play import Performance, play
from runstrue.virtualdeck.presets_electrical import (
    ELECTRICAL,
    SOUND_CHAIN,
    electrical_preset,
)


@pytest.mark.parametrize("key", ELECTRICAL)
def test_every_preset_plays_says_what_it_is_and_fits_a_file(key: str) -> None:
    one = electrical_preset(key)
    assert one.key == key == one.deck.preset
    assert one.notice.endswith(".")
    assert one.part
    recording = play(one.deck, Tone(3150, -6.0), duration_s=3, seed=1, recorded_here=True)
    assert np.isfinite(recording.signal.samples).all()
    assert np.abs(recording.signal.samples).max() < 0.95
    told = json.loads(json.dumps(recording.truth.to_plain()))
    assert told["deck"]["chain"]["replay"]["gap_um"] == one.deck.chain.replay.gap_um  # type: ignore[union-attr]


@pytest.mark.parametrize("key", sorted(set(ELECTRICAL) - {"sound"}))
def test_every_preset_differs_from_the_sound_deck_in_its_fault_alone(key: str) -> None:
    deck, sound = ELECTRICAL[key].deck, ELECTRICAL["sound"].deck
    apart = {
        part.name for part in fields(deck) if getattr(deck, part.name) != getattr(sound, part.name)
    } - {"name", "preset"}
    assert apart in ({"chain"}, {"hum"}, {"meters"}, {"chain", "skew"})
    assert deck.chain is not None
    if "chain" not in apart:
        assert deck.chain == SOUND_CHAIN


def test_preset_that_does_not_exist_is_told_with_those_that_do() -> None:
    with pytest.raises(InputError, match="dirty-head"):
        electrical_preset("haunted")


def test_full_sheet_is_made_fast_enough() -> None:
    """A quarter of an hour in well under a minute: a twentieth of it, in processor time."""
    made = programme("full-sheet")
    deck = ELECTRICAL["magnetised-head"].deck
    assert deck.chain is not None
    assert deck.chain.record.saturation == Saturation(1.2, second_percent=1.6)
    assert deck.chain.replay.noise == BiasNoise(48.0)
    performance = Performance(
        replace(deck, run_up_s=0.0), made, duration_s=45.0, recorded_here=True
    )
    began = time.process_time()
    for _ in performance.blocks(48_000):
        pass
    assert time.process_time() - began < 3.0
