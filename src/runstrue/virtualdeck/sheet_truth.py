"""What a perfect performance sheet of a recording would say: the truth beside practice programmes.

Figures of the chain come in closed form from `ChainTruth`; the meters of the deck do not count.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runstrue.stimulus.programme import Programme
from runstrue.virtualdeck.chain import Chain
from runstrue.virtualdeck.chain_truth import ChainTruth
from runstrue.virtualdeck.deck import VirtualDeck

if TYPE_CHECKING:
    from runstrue.virtualdeck.play import Performance

SIDES = ("left", "right")
SOFT_DB = -40.0
"""Where the lift of the noise reduction is told: the softest level of its programme."""
FAINTEST_PERCENT = 0.005


@dataclass(frozen=True, slots=True)
class TrueFigure:
    """One figure of the sheet.

    Parameters
    ----------
    id : str
        As in `runstrue.catalogue`.
    channel : {'left', 'right', 'both'}
    value : float
    unit : str
    at : str
        What it belongs to: '10000 Hz, −20 dB'.
    """

    id: str
    channel: str
    value: float
    unit: str
    at: str = ""


def sheet_of(performance: Performance) -> tuple[TrueFigure, ...]:
    """Return the true sheet of a programme on a deck with a chain; nothing for others."""
    programme, on_tape = performance.stimulus, performance.on_tape
    chain = performance.deck.chain
    if not isinstance(programme, Programme) or on_tape is None or chain is None:
        return ()
    sides = SIDES[: performance.channels]
    figures = [
        *_levels(on_tape.truth, programme, sides),
        *_azimuth(performance.deck, sides),
        *_noise(on_tape.truth, programme, sides),
        *_separation(on_tape.truth, chain, programme, sides),
        *(_limits(on_tape.truth, chain, programme) if on_tape.recorded_here else ()),
        *(_companding(on_tape.truth, chain) if on_tape.recorded_here else ()),
    ]
    served = {one for section in programme.sections for one in section.serves}
    return tuple(one for one in figures if one.id in served and math.isfinite(one.value))


def _levels(
    truth: ChainTruth, programme: Programme, sides: tuple[str, ...]
) -> Iterator[TrueFigure]:
    reference_hz = programme.reference_hz
    levels = [truth.level_db(reference_hz, 0.0, side) for side in range(len(sides))]
    if len(levels) == len(SIDES):
        yield TrueFigure(
            "level.balance", "both", levels[0] - levels[1], "dB", f"{reference_hz:g} Hz"
        )
    told = set()
    for section in programme.serving("response.gain"):
        if section.kind != "tone" or (key := (section.level_db, section.frequencies_hz)) in told:
            continue
        told.add(key)
        tone_hz, level_db = section.frequencies_hz[0], section.level_db
        for side, name in enumerate(sides):
            gain_db = truth.gain_db(tone_hz, level_db, side, reference_hz)
            yield TrueFigure(
                "response.gain", name, gain_db, "dB", f"{tone_hz:g} Hz, {level_db:g} dB"
            )


def _azimuth(deck: VirtualDeck, sides: tuple[str, ...]) -> Iterator[TrueFigure]:
    if len(sides) == len(SIDES):
        yield TrueFigure("azimuth.delay", "both", deck.skew.delay_us, "µs", "mean")


def _noise(truth: ChainTruth, programme: Programme, sides: tuple[str, ...]) -> Iterator[TrueFigure]:
    for side, name in enumerate(sides):
        above_db = truth.level_db(programme.reference_hz, 0.0, side) - truth.noise_db(channel=side)
        yield TrueFigure("noise.unweighted", name, above_db, "dB", "20 Hz – 20 kHz")


def _separation(
    truth: ChainTruth, chain: Chain, programme: Programme, sides: tuple[str, ...]
) -> Iterator[TrueFigure]:
    tones_hz = {one.frequencies_hz[0] for one in programme.serving("separation.channels")}
    if len(sides) == len(SIDES):
        for tone_hz in sorted(tones_hz):
            yield TrueFigure(
                "separation.channels", "both", truth.separation_db(tone_hz), "dB",
                f"{tone_hz:g} Hz",
            )  # fmt: skip
    if chain.tape.erasure is not None:
        yield TrueFigure("erasure.depth", "both", chain.tape.erasure.depth_db, "dB")


def _limits(truth: ChainTruth, chain: Chain, programme: Programme) -> Iterator[TrueFigure]:
    saturation = chain.record.saturation
    if saturation is None or not saturation.third_percent:
        return
    for section in programme.serving("distortion.third"):
        tone_hz, level_db = section.frequencies_hz[0], section.level_db
        third = 100 * 10 ** (truth.third_db(tone_hz, level_db) / 20)
        if section.kind == "tone" and third > FAINTEST_PERCENT:
            yield TrueFigure(
                "distortion.third", "left", third, "%", f"{tone_hz:g} Hz, {level_db:g} dB"
            )
    # against the reference tone as it comes back, as a sheet has it
    reference_db = truth.level_db(programme.reference_hz, 0.0)
    for section in programme.serving("level.mol"):
        tone_hz = section.frequencies_hz[0]
        mol_db = truth.mol_db(tone_hz) - reference_db
        yield TrueFigure("level.mol", "left", mol_db, "dB", f"{tone_hz:g} Hz")
    for section in programme.serving("level.sol"):
        tone_hz = section.frequencies_hz[0]
        sol_db = truth.sol_db(tone_hz) - reference_db
        yield TrueFigure("level.sol", "left", sol_db, "dB", f"{tone_hz:g} Hz")


def _companding(truth: ChainTruth, chain: Chain) -> Iterator[TrueFigure]:
    if chain.compander is None:
        return
    lift_db = truth.level_db(5000.0, SOFT_DB) - truth.level_db(400.0, SOFT_DB)
    kind = "companding.tracking" if chain.compander.playing else "companding.lift"
    yield TrueFigure(kind, "left", lift_db, "dB", f"5 kHz over 400 Hz, {SOFT_DB:g} dB")
