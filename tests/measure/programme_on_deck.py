"""Sections played on a virtual deck, handed over as stretches, for the tests of measurements."""

from __future__ import annotations

import numpy as np

from runstrue.measure.sections import Found, Stretch
from runstrue.stimulus.programme import Programme, Section
from runstrue.virtualdeck.deck import Component, Hiss, Skew, VirtualDeck
from runstrue.virtualdeck.play import play

RATE_HZ = 48_000.0
REFERENCE_DBFS = -12.0
PAUSE_S = 0.5
INWARD_S = 0.05


def programme(*sections: Section, **facts: object) -> Programme:
    """Put sections one after the other, with pauses; their own starts do not count."""
    from dataclasses import replace

    placed, at_s = [], PAUSE_S
    for section in sections:
        placed.append(replace(section, starts_s=at_s))
        at_s += section.lasts_s + PAUSE_S
    return Programme("test", "test", tuple(placed), reference_dbfs=REFERENCE_DBFS, **facts)  # type: ignore[arg-type]


def bench_deck(
    *, speed_percent: float = 1.5, hiss_db: float = 55.0, skew: Skew | None = None, **facts: object
) -> VirtualDeck:
    """0.2 % peak flutter in three lines, 1.5 % off speed, hiss 55 dB below the reference."""
    return VirtualDeck(
        "bench conditions",
        speed_error_percent=speed_percent,
        components=(
            Component("capstan", 6.3, 0.08, 0.1),
            Component("roller", 1.38, 0.07, 0.3),
            Component("belt", 4.0, 0.05),
        ),
        hiss=Hiss(hiss_db, reference_dbfs=REFERENCE_DBFS),
        skew=skew or Skew(),
        **facts,  # type: ignore[arg-type]
    )


def stretches(deck: VirtualDeck, made: Programme, seed: int = 1) -> list[Stretch]:
    """Play a programme and cut it where its sections are known to be."""
    ratio = 1 + deck.speed_error_percent / 100
    recording = play(deck, made, duration_s=made.lasts_s / ratio + 1, seed=seed)
    return [cut(np.asarray(recording.signal.samples), section, ratio) for section in made.sections]


def cut(samples: np.ndarray, section: Section, ratio: float = 1.0) -> Stretch:
    starts_s = section.starts_s / ratio + INWARD_S
    lasts_s = section.lasts_s / ratio - 2 * INWARD_S
    first, frames = round(starts_s * RATE_HZ), round(lasts_s * RATE_HZ)
    part = samples[:, first : first + frames]
    with np.errstate(divide="ignore"):
        levels = tuple((10 * np.log10(2 * np.mean(part**2, axis=1))).tolist())
    return Stretch(Found(section, starts_s, lasts_s, ratio, levels), part, RATE_HZ)
