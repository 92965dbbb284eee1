"""Decks with one known electrical fault each, on the sound transport of the house.

All are the Wrenholm C-14 of `presets`, with a chain: third harmonic 1.2 % at reference level,
gap 0.8 µm, crosstalk −42 dB, noise 54 dB below reference. Figures of faults are such as send a
deck to the bench (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace

from runstrue.errors import InputError
from runstrue.virtualdeck.chain import (
    TYPE_I_US,
    TYPE_II_US,
    BiasNoise,
    Chain,
    Compander,
    Crosstalk,
    Erasure,
    ModulationNoise,
    Record,
    Replay,
    Saturation,
    Shelf,
    Tape,
)
from runstrue.virtualdeck.deck import Skew, VirtualDeck
from runstrue.virtualdeck.hum_sources import induced_hum, supply_hum
from runstrue.virtualdeck.losses import azimuth_delay_us
from runstrue.virtualdeck.meters import Meter
from runstrue.virtualdeck.presets import PRESETS, Preset

TRACKS_APART_MM = 0.9
AZIMUTH_MINUTES = 9.0

SOUND_RECORD = Record(saturation=Saturation(1.2))
SOUND_TAPE = Tape(modulation=ModulationNoise(46.0), erasure=Erasure(70.0))
SOUND_REPLAY = Replay(gap_um=0.8, crosstalk=Crosstalk(-42.0, 4000.0), noise=BiasNoise(54.0))
SOUND_CHAIN = Chain(SOUND_RECORD, SOUND_TAPE, SOUND_REPLAY)


def electrical_preset(key: str) -> Preset:
    """Return the electrical preset with this key.

    Raises
    ------
    InputError
        When there is none.
    """
    try:
        return ELECTRICAL[key]
    except KeyError:
        raise InputError(
            f"There is no virtual deck '{key}'", f"one of {', '.join(ELECTRICAL)} is needed"
        ) from None


def sound_deck(name: str, chain: Chain = SOUND_CHAIN) -> VirtualDeck:
    """Return the deck of the house with a chain, which brings its noise; it does not hum."""
    return replace(
        PRESETS["healthy"].deck, name=f"Wrenholm C-14, {name}", hiss=None, hum=(), imbalance_db=0.0,
        chain=chain, meters=(Meter(), Meter()),
    )  # fmt: skip


def _replaying(**changed: object) -> Chain:
    return replace(SOUND_CHAIN, replay=replace(SOUND_REPLAY, **changed))  # type: ignore[arg-type]


def _preset(key: str, notice: str, part: str, deck: VirtualDeck) -> Preset:
    return Preset(key, notice, part, replace(deck, preset=key))


def _azimuth_off() -> VirtualDeck:
    deck = sound_deck("azimuth off", _replaying(azimuth_minutes=AZIMUTH_MINUTES))
    delay_us = azimuth_delay_us(AZIMUTH_MINUTES, TRACKS_APART_MM, SOUND_CHAIN.speed_mm_per_s)
    return replace(deck, skew=Skew(delay_us, 1.5, deck.skew.sway_rate_hz))


ELECTRICAL: dict[str, Preset] = {
    one.key: one
    for one in (
        _preset("sound", "Nothing: it gives back what it was given.", "none", sound_deck("sound")),
        _preset(
            "wrong-eq",
            "All cymbals and consonants, from the middle of the piano upwards too bright.",
            "tape-type switch: recorded for 70 µs, played at 120 µs",
            sound_deck(
                "wrong equalisation",
                Chain(
                    replace(SOUND_RECORD, equalisation_us=TYPE_II_US), SOUND_TAPE,
                    replace(SOUND_REPLAY, equalisation_us=TYPE_I_US),
                ),
            ),
        ),
        _preset(
            "azimuth-off",
            "Tapes from elsewhere sound dull, and duller still in mono.",
            "replay head, tilted by 9 minutes of arc",
            _azimuth_off(),
        ),
        _preset(
            "dirty-head",
            "It plays as if through a blanket.",
            "replay head, with a film of oxide of 0.4 µm",
            sound_deck("dirty head", _replaying(spacing_um=0.4)),
        ),
        _preset(
            "worn-head",
            "The top octave is gone, though the head is clean and straight.",
            "replay head, its gap worn open to 1.9 µm",
            sound_deck("worn head", _replaying(gap_um=1.9)),
        ),
        _preset(
            "hum-transformer",
            "A low hum with an edge to it, that changes when the deck is turned.",
            "screen of the replay head or of the mains transformer",
            replace(sound_deck("transformer hum"), hum=induced_hum(-38.0)),
        ),
        _preset(
            "hum-supply",
            "An even hum, an octave above the mains.",
            "reservoir capacitor of the supply, dried out",
            replace(sound_deck("supply hum"), hum=supply_hum(-38.0)),
        ),
        _preset(
            "magnetised-head",
            "Loud passages are coarse, and there is more hiss than there should be.",
            "heads, magnetised",
            sound_deck(
                "magnetised head",
                Chain(
                    replace(SOUND_RECORD, saturation=Saturation(1.2, second_percent=1.6)),
                    replace(SOUND_TAPE, modulation=ModulationNoise(40.0)),
                    replace(SOUND_REPLAY, noise=BiasNoise(48.0)),
                ),
            ),
        ),
        _preset(
            "weak-erase",
            "Behind a new recording the old one can be heard.",
            "erase head or its oscillator",
            sound_deck(
                "weak erasure",
                replace(SOUND_CHAIN, tape=replace(SOUND_TAPE, erasure=Erasure(38.0, 775.0))),
            ),
        ),
        _preset(
            "bias-low",
            "Its own recordings are shrill and coarse; bought tapes sound right.",
            "bias oscillator or its trimmer, bias low",
            sound_deck(
                "bias low",
                replace(
                    SOUND_CHAIN,
                    record=Record(treble=Shelf(5000.0, 6.0), saturation=Saturation(3.5)),
                ),
            ),
        ),
        _preset(
            "channel-low",
            "The right side is too soft.",
            "replay amplifier, right channel",
            sound_deck("channel low", _replaying(gains_db=(0.0, -6.0))),
        ),
        _preset(
            "mistracking",
            "With noise reduction on, everything soft comes back dull.",
            "play level, 4 dB too low for the noise reduction",
            sound_deck(
                "noise reduction mistracks",
                replace(SOUND_CHAIN, compander=Compander(level_error_db=-4.0)),
            ),
        ),
        _preset(
            "meter-offset",
            "The right needle stands off its rest, and reads high when nothing is recorded.",
            "coupling capacitor of the right meter, leaking",
            replace(sound_deck("meter offset"), meters=(Meter(), Meter(offset=0.14))),
        ),
    )
}  # fmt: skip
