"""Does the uncertainty hold what it promises? Seeded recordings of decks that are known.

Three questions, each asked of many seeds; for each reading the error is divided by the
uncertainty that was claimed, and the share within ±2 is the coverage:

`hiss`     The reading with hiss against that of the same stretch without, less the lift by hiss
           that the budget states, by the budget's scatter from hiss alone.
`length`   The reading of a minute against the long-run figure of a deck that wavers at random,
           by the random part of the budget. The long-run figure follows from the spectrum that
           was put in; for the needle a record of 30 min stands for it.
`overall`  The reading with an unknown tape, sound card, hiss and a short record against the
           deck's own long-run figure, by the whole uncertainty.

Goals: 92 to 98 % for the first two, at least 93 % for the third, since a rectangular tolerance
covers more than a normal one (own goals; 2u covers 95.4 % of a normal distribution).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.weighting import Weighting
from runstrue.measure.conditions import SoundCard
from runstrue.measure.flutter import flat_sections, flutter_sections, wow_sections
from runstrue.measure.tape_tone import TonePlan, measure_tone
from runstrue.result import Measured, Result
from runstrue.stimulus.testtape import TestTape
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.deck import Component, Hiss, Unrest, VirtualDeck
from runstrue.virtualdeck.play import Performance

RATE_HZ = 16_000.0  # enough for the tone, and quick
TONE_HZ = 3150.0
HISS_S, LENGTH_S, OVERALL_S, LONG_RUN_S = 20.0, 60.0, 60.0, 1800.0

Ratios = dict[str, float]
"""Reading: error over claimed standard uncertainty."""


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often one kind of reading lay within twice its uncertainty.

    Parameters
    ----------
    name : str
    seeds : int
    inside : float
        Share within ±2u.
    mean : float
        Mean of error over u: a lean to one side.
    spread : float
        Standard deviation of error over u; 1 when the uncertainty is right.
    """

    name: str
    seeds: int
    inside: float
    mean: float
    spread: float


def coverage(case: Callable[[int], Ratios], seeds: Sequence[int]) -> list[Coverage]:
    """Ask one question of many seeds."""
    return summarize([case(seed) for seed in seeds])


def summarize(answers: Sequence[Ratios]) -> list[Coverage]:
    """Count, per reading."""
    rows = []
    for name in dict.fromkeys(name for answer in answers for name in answer):
        ratios = np.array([answer[name] for answer in answers if name in answer])
        rows.append(
            Coverage(
                name,
                ratios.size,
                float(np.mean(np.abs(ratios) <= 2)),
                float(ratios.mean()),
                float(ratios.std(ddof=1)),
            )
        )
    return rows


def hiss_case(seed: int) -> Ratios:
    """Compare a stretch with its hiss against the same stretch without."""
    draw = np.random.default_rng([seed, 101])
    deck = replace(_some_deck(draw), hiss=Hiss(float(draw.uniform(40, 50))))
    channels = 2 if seed % 4 == 0 else 1
    performance = Performance(
        deck, Tone(TONE_HZ), duration_s=HISS_S, rate_hz=RATE_HZ, channels=channels, seed=seed
    )
    plan = TonePlan(tone_hz=TONE_HZ)
    noisy = measure_tone(performance.blocks(65_536), RATE_HZ, channels, plan)
    quiet = measure_tone([performance.clean(0, performance.frames)], RATE_HZ, channels, plan)
    ratios = {}
    for name, result in _first_channel(noisy).items():
        # a needle waits and falls, so that a little hiss may move its middle by a hundredth:
        # what is claimed for that is the latitude which two needles of the standard have
        parts = {part.name: part.u for part in result.budget}
        scatter, lift = parts["hiss"], parts.get("lift by hiss", 0.0)
        if name == "flutter.indicated_peak":
            scatter = parts["latitude of the needle's standard"]
        ratios[name] = (_value(result) - _value(_first_channel(quiet)[name]) - lift) / scatter
    return ratios


def length_case(seed: int) -> Ratios:
    """Compare a minute against what the deck does in the long run."""
    draw = np.random.default_rng([seed, 102])
    kind = seed % len(WAVERS)
    deck = _wavering(kind, draw)
    measured = measure_tone(_blocks(deck, LENGTH_S, seed), RATE_HZ, 1, TonePlan(tone_hz=TONE_HZ))
    truth = long_run(kind)
    return {
        f"{name}, {WAVERS[kind].name}": (_value(result) - truth[name]) / result.budget.random_u
        for name, result in _first_channel(measured).items()
    }


def overall_case(seed: int) -> Ratios:
    """Compare a reading with a tape and a sound card drawn at random against the deck alone."""
    draw = np.random.default_rng([seed, 103])
    kind = seed % len(WAVERS)
    tape = TestTape(
        name="tape of the coverage", speed_tolerance_percent=0.3, own_flutter_percent=0.05
    )
    tape_speed = float(draw.uniform(-1, 1)) * tape.speed_tolerance_percent
    tape_flutter = float(draw.uniform(0, 1)) * tape.own_flutter_percent / _tape_flutter_peak()
    own_speed = float(draw.uniform(-1.5, 1.5))
    deck = _wavering(kind, draw)
    on_tape = _tape_flutter(draw, tape_flutter)
    played = replace(
        deck,
        speed_error_percent=100 * ((1 + own_speed / 100) * (1 + tape_speed / 100) - 1),
        components=(*deck.components, *on_tape.components),
        unrest=(*deck.unrest, *on_tape.unrest),
        hiss=Hiss(45.0),
        clock_error_ppm=float(draw.uniform(-100, 100)),
    )
    plan = TonePlan(tone_hz=TONE_HZ, tape=tape, card=SoundCard())
    measured = measure_tone(_blocks(played, OVERALL_S, seed), RATE_HZ, 1, plan)
    truth = {**long_run(kind), "speed.deviation": own_speed}
    return {
        name: (_value(result) - truth[name]) / result.quantity.u
        for name, result in _first_channel(measured).items()
        if result.quantity is not None
    }


CASES: dict[str, Callable[[int], Ratios]] = {
    "hiss": hiss_case,
    "length": length_case,
    "overall": overall_case,
}


@lru_cache(maxsize=8)
def long_run(kind: int) -> dict[str, float]:
    """What each reading tends to on a long record of this waver.

    Notes
    -----
    All but the needle follow from the spectrum that was put in and from the gain of the
    filters; what the needle tends to has no formula and is read off a long record.
    """
    deck = VirtualDeck("long run", components=WAVERS[kind].components, unrest=WAVERS[kind].unrest)
    measured = measure_tone(
        _blocks(deck, LONG_RUN_S, 987_654), RATE_HZ, 1, TonePlan(tone_hz=TONE_HZ)
    )
    found = {name: _value(result) for name, result in _first_channel(measured).items()}
    found["speed.deviation"] = found["speed.drift"] = 0.0
    behind = {band: _settled(deck, band) for band in _BANDS}
    rms = {band: float(np.sqrt(np.mean(values**2))) for band, values in behind.items()}
    found |= {
        "flutter.weighted_peak": float(np.quantile(np.abs(behind["weighted"]), 0.95)),
        "flutter.weighted_rms": rms["weighted"],
        "flutter.unweighted_peak": float(np.quantile(np.abs(behind["flat"]), 0.95)),
        "flutter.unweighted_rms": rms["flat"],
        "flutter.unweighted_average": math.pi
        / (2 * math.sqrt(2))
        * float(np.mean(np.abs(behind["flat"]))),
        "flutter.wow_rms": rms["wow"],
        "flutter.flutter_rms": rms["flutter"],
    }
    return found


def _settled(deck: VirtualDeck, band: str) -> NDArray[np.float64]:
    """Draw the deviation behind a filter at a million instants that have nothing in common.

    Sines whose rates have no common multiple stand at any phase, Gaussian waver at any value
    of a normal distribution: that is what a record tends to that never ends. A million draws
    fix an r.m.s. to 0.07 % and the two-sigma threshold to 0.1 %, a fiftieth of what a minute
    leaves open.
    """
    draw = np.random.default_rng(11)
    values = _sigma(deck.unrest, band) * draw.standard_normal(1_000_000)
    for part in deck.components:
        gain = float(_gain(band, np.array([part.rate_hz]))[0])
        values += gain * part.peak_percent * np.sin(2 * np.pi * draw.uniform(size=values.size))
    return values


@dataclass(frozen=True, slots=True)
class Waver:
    """One kind of deck for the question of length."""

    name: str
    components: tuple[Component, ...]
    unrest: tuple[Unrest, ...]


WAVERS = (
    Waver("slow waver", (), (Unrest("belt", 0.15, 0.2, 3.0, -2.0),)),
    Waver("broad waver", (), (Unrest("belt", 0.05, 0.3, 6.0, -2.0),
                              Unrest("scrape", 0.08, 6.0, 200.0, -2.0))),
    Waver("lines and waver", (Component("capstan", 6.33, 0.08), Component("roller", 1.38, 0.06)),
          (Unrest("belt", 0.04, 0.2, 20.0, -2.0),)),
)  # fmt: skip


def _wavering(kind: int, draw: np.random.Generator) -> VirtualDeck:
    """Return this kind of deck, its parts standing anywhere."""
    return VirtualDeck(
        WAVERS[kind].name,
        components=tuple(
            replace(part, phase_turns=float(draw.uniform())) for part in WAVERS[kind].components
        ),
        unrest=WAVERS[kind].unrest,
    )


def _some_deck(draw: np.random.Generator) -> VirtualDeck:
    """Return a deck off speed with a few lines and a little waver."""
    return VirtualDeck(
        "some deck",
        speed_error_percent=float(draw.uniform(-1.5, 1.5)),
        components=tuple(
            Component(f"part {number}", rate, float(draw.uniform(0.01, 0.15)), draw.uniform())
            for number, rate in enumerate(np.exp(draw.uniform(np.log(0.5), np.log(60), 3)).tolist())
        ),
        unrest=(Unrest("waver", float(draw.uniform(0.01, 0.1)), 0.1, 30.0, -2.0),),
    )


def _tape_flutter(draw: np.random.Generator, scale: float) -> VirtualDeck:
    """Flutter as another machine left it on a tape, in a shape whose peak is known."""
    return VirtualDeck(
        "flutter on the tape",
        components=tuple(
            Component(part, rate_hz, peak * scale, float(draw.uniform()))
            for part, rate_hz, peak in (("capstan", 7.9, 0.03), ("roller", 0.93, 0.02))
        ),
        unrest=(Unrest("waver of the recorder", 0.02 * scale, 0.3, 30.0, -1.0),),
    )


@lru_cache(maxsize=1)
def _tape_flutter_peak() -> float:
    deck = _tape_flutter(np.random.default_rng(0), 1.0)
    measured = measure_tone(_blocks(deck, 600.0, 1), RATE_HZ, 1, TonePlan(tone_hz=TONE_HZ))
    return _value(_first_channel(measured)["flutter.weighted_peak"])


def _blocks(deck: VirtualDeck, duration_s: float, seed: int) -> list[NDArray[np.float32]]:
    performance = Performance(
        deck, Tone(TONE_HZ), duration_s=duration_s, rate_hz=RATE_HZ, channels=1, seed=seed
    )
    return [block.astype(np.float32) for block in performance.blocks(65_536)]


def _first_channel(measured: Measured) -> dict[str, Result]:
    """First result of speed and flutter of every kind: both channels together where there are."""
    found: dict[str, Result] = {}
    for result in measured.results:
        if result.id.startswith(("speed.", "flutter.")):
            found.setdefault(result.id, result)
    return found


def _value(result: Result) -> float:
    if result.quantity is None:
        raise ValueError(f"{result.id} has no value")
    return result.quantity.value


_BANDS = ("weighted", "flat", "wow", "flutter")
DEVIATION_RATE_HZ = 500.0


def _sigma(sources: tuple[Unrest, ...], band: str) -> float:
    """Standard deviation of Gaussian waver behind one of the filters, by its spectrum."""
    total = 0.0
    for source in sources:
        rates_hz = np.linspace(source.low_hz, source.high_hz, 200_001)
        density = rates_hz ** (source.slope_db_per_octave / (10 * math.log10(2)))
        density *= source.rms_percent**2 / np.trapezoid(density, rates_hz)
        total += float(np.trapezoid(density * _gain(band, rates_hz) ** 2, rates_hz))
    return math.sqrt(total)


def _gain(band: str, rates_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    if band == "weighted":
        return np.abs(Weighting(DEVIATION_RATE_HZ).response(rates_hz))
    sections = {"flat": flat_sections, "wow": wow_sections, "flutter": flutter_sections}[band]
    delay = np.exp(-2j * np.pi * rates_hz / DEVIATION_RATE_HZ)
    gain = np.ones_like(delay)
    for b0, b1, b2, a0, a1, a2 in sections(DEVIATION_RATE_HZ):
        gain *= (b0 + delay * (b1 + delay * b2)) / (a0 + delay * (a1 + delay * a2))
    return np.abs(gain)
