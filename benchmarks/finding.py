"""Are the sections of a programme found again, whatever the deck did to them? Seeded recordings.

`python -m benchmarks.finding [--seeds N]` plays programmes on virtual decks drawn at random and
counts: audible sections that were not found, sections found where they are not, and sections found
that cannot be heard. Then it finds the full sheet in a file, against decoding that file alone.

What is drawn: where the recording begins, speed (±6 %), wow and flutter, hiss, hum, treble loss,
level, balance, skew, dropouts, swapped plugs, a dead channel, voice between the sections. A section
counts as audible when it is as loud as the hiss of its third octave, in a channel that works.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from importlib import resources
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from benchmarks.child import middle_s, side_by_side
from benchmarks.row import Row, as_text
from runstrue.measure.finding import find_sections
from runstrue.measure.sections import Finding, HeldSource
from runstrue.stimulus.programme import Programme, Section
from runstrue.stimulus.programmes import programme
from runstrue.stimulus.sampled import Sampled
from runstrue.stimulus.tape_programme import programme_of
from runstrue.stimulus.testtape import read_test_tape
from runstrue.virtualdeck.deck import Component, Hiss, HumLine, RandomDropouts, Skew, VirtualDeck
from runstrue.virtualdeck.play import Performance

Array = NDArray[np.float64]

SEEDS = 200
RATE_HZ = 44_100.0
WORN = (
    "quick-look", "tape-types", "full-sheet", "sallowby-20", "noise-reduction", "tarn-reel-19",
    "record-and-play", "quick-look", "loop-back", "erasure",
)  # fmt: skip
"""Programmes in turn; of two hundred seeds each comes twenty times, the quick look forty."""
VOICE_RATE_HZ = 16_000.0
EDGE_S = 0.005
"""How far outside its section a found stretch may reach; its edges are meant to lie inside."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one recording.

    Parameters
    ----------
    audible, found : int
        Sections that can be heard and lie wholly on the recording, and how many of them were found.
    lost, wrong, unheard : tuple of str
        Ids that were not found, found elsewhere, or found although nothing of them can be heard.
    speed_off : float
        Largest error of a section's speed ratio.
    remarks : tuple of str
    """

    audible: int
    found: int
    lost: tuple[str, ...]
    wrong: tuple[str, ...]
    unheard: tuple[str, ...]
    speed_off: float
    remarks: tuple[str, ...]

    @property
    def is_right(self) -> bool:
        """Everything audible found, nothing else, nothing elsewhere."""
        return not (self.lost or self.wrong or self.unheard)


@dataclass(frozen=True, slots=True, eq=False)
class Interrupted:
    """A programme with voice in between: a stimulus.

    Parameters
    ----------
    programme : Programme
    starts_s : float
        Place of the programme where the tape begins; below 0 it begins before.
    breaks : tuple of (float, Sampled)
        Places of the programme, in order, and what is heard there before it goes on.
    """

    programme: Programme
    starts_s: float
    breaks: tuple[tuple[float, Sampled], ...]

    name = "programme with voice"
    tracks = 2
    tone_hz = None

    @property
    def rms(self) -> float:
        """That of the reference level."""
        return self.programme.rms

    def on_tape_s(self, nominal_s: float) -> float:
        """Where a place of the programme lies on the tape."""
        return (
            nominal_s
            - self.starts_s
            + sum(_length_s(voice) for at_s, voice in self.breaks if at_s <= nominal_s)
        )

    def read(self, track: int, base_s: Fraction, offsets_s: Array) -> Array:
        """Read the tape; see `Stimulus.read`."""
        places_s = float(base_s) + self.starts_s + offsets_s
        out, left = np.zeros(places_s.shape), np.ones(places_s.shape, dtype=bool)
        passed_s = 0.0
        for at_s, voice in self.breaks:
            before = left & (places_s - passed_s < at_s)
            self._programme(out, before, track, places_s - passed_s)
            left &= ~before
            inside = left & (places_s - passed_s < at_s + _length_s(voice))
            if inside.any():
                out[inside] = voice.read(0, Fraction(0), places_s[inside] - passed_s - at_s)
            left &= ~inside
            passed_s += _length_s(voice)
        self._programme(out, left, track, places_s - passed_s)
        return out

    def _programme(self, out: Array, where: NDArray[np.bool_], track: int, places_s: Array) -> None:
        if where.any():
            out[where] = self.programme.read(track, Fraction(0), places_s[where])


def case(seed: int, key: str = "") -> Outcome:
    """Play one programme on one deck and find its sections."""
    draw = np.random.default_rng([seed, 301])
    plan = programme_for(key or WORN[seed % len(WORN)])
    deck, hiss_db = _some_deck(draw)
    played = _worn(plan, draw)
    stimulus = _interrupted(played, plan, draw)
    speed = 1 + deck.speed_error_percent / 100
    lead_s = float(draw.uniform(0, 3))
    lasts_s = lead_s + stimulus.on_tape_s(plan.lasts_s) / speed + float(draw.uniform(0.5, 4))
    performance = Performance(
        deck, stimulus, duration_s=lasts_s, rate_hz=RATE_HZ, seed=seed, lead_in_s=lead_s
    )
    samples = np.concatenate(
        [block.astype(np.float32) for block in performance.blocks(65_536)], axis=1
    )
    if draw.random() < 0.15:
        samples = samples[::-1]
    finding = find_sections(HeldSource(samples, RATE_HZ), plan)
    times_s = np.arange(0, performance.frames / RATE_HZ + 1, 0.1)
    tape_s = performance.motion.tape_position_s(times_s)
    place = {
        one.id: tuple(
            float(np.interp(stimulus.on_tape_s(edge_s), tape_s, times_s, -1e3, 1e6))
            for edge_s in (one.starts_s, one.ends_s)
        )
        for one in plan.sections
    }
    heard = {one.id: _heard_db(one, deck, hiss_db) for one in played.sections}
    return _judged(plan, finding, place, heard, speed, performance)


def programme_for(key: str) -> Programme:
    """One of our own programmes, or the programme of an example tape."""
    example = resources.files("runstrue.stimulus").joinpath("examples", f"{key}.toml")
    with resources.as_file(example) as path:
        return programme_of(read_test_tape(path), key) if path.exists() else programme(key)


def _judged(
    plan: Programme,
    finding: Finding,
    place: dict[str, tuple[float, ...]],
    heard: dict[str, float],
    speed: float,
    performance: Performance,
) -> Outcome:
    end_s = performance.frames / performance.rate_hz
    found = {one.section.id: one for one in finding.found}
    whole, lost, wrong, unheard = 0, [], [], []
    off = 0.0
    for one in plan.sections:
        begin_s, finish_s = place[one.id]
        sounds = one.kind == "silence" or heard[one.id] > 0
        there = found.get(one.id)
        if sounds and begin_s > performance.schedule.steady_from_s and finish_s < end_s:
            whole += 1
            if there is None:
                lost.append(one.id)
        if there is None:
            continue
        off = max(off, abs(there.speed_ratio / speed - 1))
        if there.starts_s < begin_s - EDGE_S or there.starts_s + there.lasts_s > finish_s + EDGE_S:
            wrong.append(one.id)
        if one.kind != "silence" and heard[one.id] < -10:
            unheard.append(one.id)
    return Outcome(whole, whole - len(lost), tuple(lost), tuple(wrong), tuple(unheard), off,
                   finding.remarks)  # fmt: skip


def _heard_db(one: Section, deck: VirtualDeck, hiss_db: float) -> float:
    """How far a section stands above the hiss of its third octave, where it is heard best."""
    if one.kind == "silence":
        return 0.0
    tracks = [track for track in (0, 1) if one.sounds_on(track) and track not in deck.dead_channels]
    if not tracks:
        return -200.0
    gain_db = max(deck.imbalance_db * track for track in tracks)
    # white hiss from 20 Hz to 20 kHz; a third octave is 0.23 of its middle wide
    middle_hz = one.frequencies_hz[0] if one.kind in ("tone", "ramp") else 1000.0
    share_db = 10 * math.log10(0.2316 * min(middle_hz, 18_000) / 19_980)
    return one.highest_db + gain_db + hiss_db - share_db


def _some_deck(draw: np.random.Generator) -> tuple[VirtualDeck, float]:
    hiss_db = float(draw.uniform(48, 62))
    mains_hz = float(draw.choice([50.0, 60.0]))
    dead = (int(draw.integers(2)),) if draw.random() < 0.1 else ()
    deck = VirtualDeck(
        "some deck",
        speed_error_percent=float(draw.uniform(-6, 6)),
        drift_percent_per_min=float(draw.uniform(-0.03, 0.03)),
        components=(
            Component("capstan", float(draw.uniform(4, 9)), float(draw.uniform(0.02, 0.15)),
                      float(draw.uniform())),
            Component("roller", float(draw.uniform(0.8, 1.6)), float(draw.uniform(0.02, 0.2)),
                      float(draw.uniform())),
            Component("scrape", float(draw.uniform(20, 60)), float(draw.uniform(0.0, 0.05)),
                      float(draw.uniform())),
        ),
        hiss=Hiss(hiss_db),
        hum=tuple(
            HumLine(mains_hz * multiple, float(draw.uniform(-75, -50)))
            for multiple in (1, 2, 3, 5)
        ),
        dropouts=(RandomDropouts(3.0, 0.06, float(draw.uniform(6, 20))),),
        level_db=float(draw.uniform(-20, 2)),
        imbalance_db=float(draw.uniform(-4, 1)),
        dead_channels=dead,
        skew=Skew(float(draw.uniform(-60, 60))),
    )  # fmt: skip
    return deck, hiss_db


def _worn(plan: Programme, draw: np.random.Generator) -> Programme:
    """The programme as a worn or dirty head gives it back: treble falls."""
    loss_db = float(draw.uniform(0, 14)) if draw.random() < 0.6 else 0.0
    sections = []
    for one in plan.sections:
        if one.kind in ("tone", "ramp"):
            down_db = loss_db * (one.frequencies_hz[0] / 10_000) ** 1.5
            top = None if one.level_to_db is None else one.level_to_db - down_db
            one = replace(one, level_db=one.level_db - down_db, level_to_db=top)
        sections.append(one)
    return replace(plan, sections=tuple(sections))


def _interrupted(played: Programme, plan: Programme, draw: np.random.Generator) -> Interrupted:
    begins_s = float(draw.uniform(0.05, 0.3) * plan.lasts_s if draw.random() < 0.3 else
                     draw.uniform(-8, 5))  # fmt: skip
    pauses = [
        (one.ends_s + other.starts_s) / 2
        for one, other in zip(plan.sections[:-1], plan.sections[1:], strict=True)
        if other.starts_s - one.ends_s > 0.2 and one.ends_s > begins_s + 1
    ]
    count = int(draw.integers(0, 4)) if plan.kind == "made" else min(len(pauses), 4)
    chosen = sorted(draw.choice(pauses, min(count, len(pauses)), replace=False).tolist())
    return Interrupted(
        played, begins_s,
        tuple((at_s, voice_like(draw, float(draw.uniform(1.5, 5)), played.rms)) for at_s in chosen),
    )  # fmt: skip


def voice_like(draw: np.random.Generator, lasts_s: float, rms: float) -> Sampled:
    """Something like speech: pulses of a wandering pitch through two resonances, in syllables."""
    frames = round(lasts_s * VOICE_RATE_HZ)
    out = np.zeros(frames)
    at = 0
    while at < frames:
        length = int(draw.uniform(0.08, 0.35) * VOICE_RATE_HZ)
        t = np.arange(length) / VOICE_RATE_HZ
        pitch_hz = draw.uniform(85, 220) * (1 + draw.uniform(-0.2, 0.2) * t / t[-1])
        turns = np.cumsum(pitch_hz) / VOICE_RATE_HZ
        low_hz, high_hz = draw.uniform(280, 800), draw.uniform(900, 2600)
        sound = np.zeros(length)
        for multiple in range(1, 25):
            middle_hz = multiple * float(pitch_hz.mean())
            gain = sum(1 / (1 + ((middle_hz - peak) / 90) ** 2) for peak in (low_hz, high_hz))
            sound += (gain + 0.02) * np.sin(2 * np.pi * multiple * turns)
        sound += 0.05 * draw.standard_normal(length)
        end = min(at + length, frames)
        out[at:end] = (sound * np.hanning(length))[: end - at]
        at = end + int(draw.uniform(0.02, 0.2) * VOICE_RATE_HZ)
    out *= 0.7 * rms / max(float(np.sqrt(np.mean(out**2))), 1e-12)
    return Sampled(out[None, :], VOICE_RATE_HZ, "voice")


def _length_s(voice: Sampled) -> float:
    return voice.samples.shape[1] / voice.rate_hz


def finding_rows(seeds: int = SEEDS) -> Iterator[Row]:
    """Rows of the table: sections found, and time and memory for the full sheet."""
    yield from _time_rows()  # first: a child's peak counts what its parent held when it began
    outcomes = [(seed, case(seed)) for seed in range(seeds)]
    right = sum(outcome.is_right for _, outcome in outcomes)
    audible = sum(outcome.audible for _, outcome in outcomes)
    found = sum(outcome.found for _, outcome in outcomes)
    told = "; ".join(
        f"seed {seed}: lost {one.lost}, elsewhere {one.wrong}, unheard {one.unheard}"
        for seed, one in outcomes
        if not one.is_right
    )
    yield Row(
        "spoiled recordings in which every audible section is found, none elsewhere",
        f"{right} of {seeds}",
        f"{seeds} of {seeds}",
        right / seeds,
        more_is_better=True,
        remark=f"{found} of {audible} audible sections"
        + f"; largest error of a section's speed {max(o.speed_off for _, o in outcomes):.1e}"
        + (f"; {told}" if told else ""),
    )


def _time_rows() -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "full-sheet.flac"
        write_worn(programme("full-sheet"), path)
        spent = side_by_side(("decode", "find"), path)
    decode_s, find_s = middle_s(spent["decode"]), middle_s(spent["find"])
    yield Row(
        "the full sheet found, against decoding alone",
        f"{find_s / decode_s:.2f} ×",
        "≤ 1.5 ×",
        find_s / decode_s / 1.5,
        remark=f"14.5 min, FLAC, 48 kHz stereo, 24 bits, hiss 55 dB down; medians of 3 runs: "
        f"{find_s:.2f} s against {decode_s:.2f} s; decoding runs beside it where a second core is "
        "free",
    )
    peak_mb = max(one.peak_mb for one in spent["find"])
    yield Row(
        "peak memory of that",
        f"{peak_mb:.0f} MB",
        "≤ 300 MB",
        peak_mb / 300,
        remark="largest resident set, program and libraries included",
    )


def write_worn(plan: Programme, path: Path) -> None:
    """Write a programme as a worn deck gives it back: hiss, and a little less level."""
    draw = np.random.default_rng(7)
    hiss = plan.rms * 10 ** (-55 / 20) * math.sqrt(24_000 / 19_980)
    with soundfile.SoundFile(path, "w", 48_000, 2, "PCM_24", format="FLAC") as file:
        for block in plan.samples(48_000):
            file.write((0.7 * block + hiss * draw.standard_normal(block.shape)).T)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the rows."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.finding")
    parser.add_argument("--seeds", type=int, default=SEEDS)
    begin = time.perf_counter()
    rows = list(finding_rows(parser.parse_args(arguments).seeds))
    print(as_text(rows))
    for row in rows:
        print(f"- {row.what}: {row.remark}")
    print(f"{time.perf_counter() - begin:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
