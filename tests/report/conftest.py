"""Invented records for the report's tests, made by hand: no measuring, no storage."""

from __future__ import annotations

from collections.abc import Callable

import msgspec
import numpy as np
import pytest

from runstrue.logbook.change import difference
from runstrue.logbook.models import (
    CaptureFacts,
    CaptureRecord,
    Change,
    Deck,
    DeckRecord,
    ReadingRecord,
    SheetEntry,
    SoundCard,
    Stage,
    VerdictRecord,
    Visit,
)
from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Deviation, Line, Result, Spread, Table, Trace
from runstrue.stimulus.testtape import TestTape
from runstrue.verdict.models import Candidate, DecisionRule, Limit, Sheet, Unread, Verdict

VERSION = "0.1.0"
RULE = DecisionRule().words

SPEED = Limit(ids=("speed.deviation",), unit="%", low=-1.5, high=1.5, words="Speed ±1.5 %")
PEAK = Limit(
    ids=("flutter.weighted_peak",), unit="%", high=0.14, notes=("DIN",),
    words="Wow and flutter 0.14 % (DIN)",
)  # fmt: skip
TORQUE = Limit(
    ids=("torque.take_up",), unit="mN·m", low=3.0, high=6.0, words="Take-up torque 30–60 g·cm"
)
HISS = Limit(ids=("noise.a",), unit="dB", low=56.0, words="S/N better than 56 dB (A)")


def reading(number: int, result: Result) -> ReadingRecord:
    return ReadingRecord(
        id=number, result=result, made_at="2026-03-12T10:00:00Z", program_version=VERSION
    )


def verdict(number: int, limit: Limit, read: ReadingRecord, outcome: str, chance: float,
            words: str, advice: str = "") -> VerdictRecord:  # fmt: skip
    quantity = read.result.quantity
    assert quantity is not None
    return VerdictRecord(
        id=number,
        verdict=Verdict(
            id=read.result.id, limit=limit, outcome=outcome, rule=RULE, words=words,  # type: ignore[arg-type]
            method=read.result.method, channel=read.result.channel, chance=chance, advice=advice,
            value=quantity.value, unit=quantity.unit, u=quantity.u,
        ),
        reading_id=read.id, sheet_id=1, judged_at="2026-03-12T10:00:00Z", program_version=VERSION,
    )  # fmt: skip


def deviation(seconds: float, offset: float, wow: float, seed: int, gap: bool) -> Deviation:
    rng = np.random.default_rng(seed)
    time = np.arange(int(seconds * 500)) / 500
    motion = (
        offset
        + wow * np.sin(2 * np.pi * 0.41 * time)
        + 0.6 * wow * np.sin(2 * np.pi * 6.41 * time)
        + rng.normal(0, 0.02, time.size)
    )
    both = np.stack([motion + rng.normal(0, 0.01, time.size) for _ in range(2)])
    if gap:
        both[:, int(0.4 * time.size) : int(0.43 * time.size)] = np.nan
    return Deviation(both.astype(np.float32), 500.0, 3150.0, ("left", "right"))


def traces_of(kept: Deviation) -> tuple[Trace, Trace, float]:
    """Return a histogram and a spectrum in the form that the measurements deliver."""
    values = kept.percent[0][np.isfinite(kept.percent[0])].astype(float)
    values = values - values.mean()
    edges = np.arange(-1.0005, 1.001, 0.001)
    counts, _ = np.histogram(values, edges)
    sigma = float(np.quantile(np.abs(values), 0.95))
    histogram = Trace(
        "weighted deviation histogram", (edges[1:] + edges[:-1]) / 2, 100 * counts / counts.sum(),
        "weighted deviation", "%", "share of the time", "%", "both", {"two-sigma": sigma},
    )  # fmt: skip
    window = np.hanning(values.size)
    size = 2 * np.abs(np.fft.rfft(values * window)) / window.sum()
    rate = np.fft.rfftfreq(values.size, 1 / 500)
    spectrum = Trace("flutter spectrum", rate[1:], size[1:], "rate", "Hz",
                     "speed variation, peak in the line's bandwidth", "%", "both")  # fmt: skip
    return histogram, spectrum, sigma


def tone_capture(number: int, stage: Stage, offset: float, wow: float) -> CaptureRecord:
    """Return a pass of a test tape with speed, flutter, needle, verdicts and curves."""
    kept = deviation(58.0, offset, wow, seed=number, gap=stage == "as found")
    histogram, spectrum, sigma = traces_of(kept)
    tape = Contribution("tolerance of the test tape", 0.1, "shared", "tape T-3150 batch 7")
    clock = Contribution("clock of the sound card", 0.003, "shared", "card")
    noise = Contribution("finite length", 0.02, "random", "", 40)
    speed_budget = Budget((tape, clock, noise))
    peak_budget = Budget(
        (Contribution("finite length", 0.0061, "random", "", 24),
         Contribution("own flutter of the test tape", 0.005, "shared", "tape T-3150 batch 7"))
    )  # fmt: skip
    first = 100 * number
    readings = (
        reading(first + 1, Result("speed.deviation", "bell-mean/1", "both",
                                  speed_budget.quantity(offset, "%"), speed_budget)),
        reading(first + 2, Result(
            "flutter.weighted_peak", "two-sigma/1", "both", peak_budget.quantity(sigma, "%"),
            peak_budget, traces=(histogram,),
        )),
        reading(first + 3, Result(
            "flutter.indicated_peak", "needle/1", "both", Quantity(sigma * 0.98, "%", 0.012),
            spread=Spread(0.8 * sigma, 0.98 * sigma, 1.25 * sigma),
            doubts=("A needle never stands still: its middle is told, and how far it went.",),
        )),
        reading(first + 4, Result(
            "flutter.unweighted_rms", "flat-rms/1", "left", Quantity(0.8 * sigma, "%", 0.004),
            lines=(Line(6.41, 0.003, 0.6 * wow, 0.002, 0.5 * wow),
                   Line(0.41, 0.002, wow, 0.003, 0.18 * wow)),
        )),
    )  # fmt: skip
    good = stage == "as left"
    verdicts = (
        verdict(first + 1, SPEED, readings[0], "meets", 0.9999, "meets: leave it alone"),
        verdict(first + 2, PEAK, readings[1], "too close to call" if good else "does not meet",
                0.62 if good else 0.0004,
                "too close to call (62 % that it meets): about eight starts would settle it"
                if good else "does not meet",
                "" if good else "worth mending: look for what turns 6.41 times a second"),
    )  # fmt: skip
    return CaptureRecord(
        id=number, deck_id=1, visit_id=1, source="file",
        facts=CaptureFacts(stage=stage, side="A", direction="forward", tape="T-3150 batch 7",
                           position="middle"),
        readings=readings, verdicts=verdicts, made_at=f"2026-03-1{number}T10:00:00Z",
        program_version=VERSION, stored_at=f"2026-03-1{number}T10:00:05Z",
        file_name=f"side a {stage}.flac", sha256=f"{number:02x}" + "c0ffee7d" * 7 + "abcdef",
        summary="Tone of 3150 Hz on both channels; 56.8 s used of 58.0 s.",
        conditions={"tone_hz": 3150.0, "duration_s": 58.0, "carrier_to_noise_db": 51.3},
        doubts=("One dropout of 1.7 s was left out.",) if stage == "as found" else (),
        tape=TestTape(name="T-3150", tone_hz=3150.0, speed_tolerance_percent=0.3,
                      own_flutter_percent=0.03, batch="7"),
        deviation=kept, traces=(spectrum,),
    )  # fmt: skip


def typed_capture(number: int, stage: Stage, value: float, count: int = 1) -> CaptureRecord:
    readings = tuple(
        reading(100 * number + index, Result(
            "torque.take_up" if index == 0 else "voltage.point", "typed/1", "",
            Quantity(value + index, "mN·m" if index == 0 else "V", 0.21),
            conditions={} if index == 0 else {"point": f"TP{index}"},
        ))
        for index in range(count)
    )  # fmt: skip
    meets = 3 <= value <= 6
    return CaptureRecord(
        id=number, deck_id=1, visit_id=1, source="typed", facts=CaptureFacts(stage=stage),
        readings=readings,
        verdicts=(verdict(100 * number, TORQUE, readings[0],
                          "meets" if meets else "does not meet", 0.999 if meets else 0.001,
                          "meets: leave it alone" if meets else "does not meet"),),
        made_at="2026-03-12T11:00:00Z", program_version=VERSION,
        stored_at="2026-03-12T11:00:00Z",
    )  # fmt: skip


def changes_of(captures: tuple[CaptureRecord, ...]) -> tuple[Change, ...]:
    found = [r for c in captures if c.facts.stage == "as found" for r in c.readings]
    left = [r for c in captures if c.facts.stage == "as left" for r in c.readings]
    changes = []
    for last in left:
        for first in found:
            one, other = first.result, last.result
            points = [r.conditions.get("point", "") for r in (one, other)]
            alike = (one.id, one.method, one.channel) == (other.id, other.method, other.channel)
            if not alike or points[0] != points[1]:
                continue
            moved = difference(one, other)
            changes.append(
                Change(id=one.id, method=one.method, channel=one.channel, found=(first,),
                       left=(last,), difference=moved, words=moved.outcome if moved else "")
            )  # fmt: skip
    return tuple(changes)


def record_of(
    captures: tuple[CaptureRecord, ...] = (), *, sheet: bool = True, deck: Deck | None = None,
    visits: tuple[Visit, ...] | None = None, unread: tuple[Unread, ...] = (),
) -> DeckRecord:  # fmt: skip
    limits = (SPEED, PEAK, TORQUE, HISS)
    entry = SheetEntry(
        id=1, deck_id=1, source="owner's manual, page 27", entered_at="2026-03-12T09:00:00Z",
        program_version=VERSION,
        sheet=Sheet(text="; ".join(limit.words for limit in limits), limits=limits, unread=unread),
    )  # fmt: skip
    stays = (
        Visit(id=1, deck_id=1, begun_at="2026-03-11T09:00:00Z", ended_at="2026-03-14T17:00:00Z",
              reason="Sounds sour on piano.", notes="Belt renewed, capstan and roller cleaned."),
    )  # fmt: skip
    return DeckRecord(
        deck=deck or Deck(
            id=1, name="blue one", maker="Wrenholm", model="C-14", serial="0042", year=1981,
            speeds_cm_s=(4.76,), heads=2, wells=1, mains="230 V, 50 Hz",
        ),
        sheets=(entry,) if sheet else (),
        visits=stays if visits is None else visits,
        captures=captures, changes=changes_of(captures),
        sound_card=SoundCard(name="bench card", clock_ppm=-3.2, u_ppm=1.1, remark="against radio"),
        read_at="2026-03-14T18:00:00Z", program_version=VERSION,
    )  # fmt: skip


def whole() -> DeckRecord:
    """Return a deck with everything: found, left, typed readings, a sheet partly understood."""
    captures = (
        tone_capture(1, "as found", 0.94, 0.12),
        typed_capture(2, "as found", 2.1),
        tone_capture(3, "as left", 0.05, 0.055),
        typed_capture(4, "as left", 4.4),
    )
    unread = (Unread(words="Motor: 1 × DC servo", why="no quantity"),)
    return record_of(captures, unread=unread)


def at(capture: CaptureRecord, number: int, **facts: str) -> CaptureRecord:
    """Return the same pass at another place of the deck, with ids of its own."""
    shift = 100 * number - 100 * capture.id
    readings = tuple(msgspec.structs.replace(one, id=one.id + shift) for one in capture.readings)
    verdicts = tuple(
        msgspec.structs.replace(one, id=one.id + shift, reading_id=(one.reading_id or 0) + shift)
        for one in capture.verdicts
    )
    return msgspec.structs.replace(
        capture, id=number, readings=readings, verdicts=verdicts,
        facts=msgspec.structs.replace(capture.facts, **facts),
    )  # fmt: skip


def double_deck() -> DeckRecord:
    """Return a deck with two wells, one of them auto-reverse: a reading for each."""
    found, left = tone_capture(1, "as found", 0.94, 0.12), tone_capture(3, "as left", 0.05, 0.055)
    return record_of((
        at(found, 11, well="1"), at(found, 12, well="2", direction="reverse"),
        at(left, 13, well="1"), at(left, 14, well="2", direction="reverse"),
        at(tone_capture(3, "in between", 0.2, 0.07), 15, well="1"),
    ))  # fmt: skip


def odd_results() -> DeckRecord:
    """Return what has no single figure: unknown speed, a response, an ambiguous line."""
    pass_ = tone_capture(1, "as found", 0.94, 0.12)
    unknown = reading(
        901,
        Result(
            "speed.deviation",
            "bell-mean/1",
            "left",
            None,
            doubts=("The tone was recorded on this deck, so its speed cannot be known.",),
        ),
    )
    response = reading(
        902,
        Result(
            "response.gain",
            "response/1",
            "left",
            None,
            table=Table((40.0, 1000.0, 12500.0), (-2.94, 0.0, -3.31), (0.2, 0.0, 0.3), "Hz", "dB"),
        ),
    )
    open_limit = Limit(
        ids=("flutter.weighted_peak", "flutter.weighted_rms"),
        unit="%",
        high=0.1,
        words="Wow & flutter 0.1 %",
        sure="ambiguous",
        question="Is it WRMS or DIN?",
    )
    judged = VerdictRecord(
        id=903,
        reading_id=None,
        sheet_id=1,
        judged_at="2026-03-12T10:00:00Z",
        program_version=VERSION,
        verdict=Verdict(
            id="flutter.weighted_peak",
            limit=open_limit,
            outcome="cannot be compared",
            rule=RULE,
            words="the sheet does not say how it was measured",
            reason="method open",
            candidates=(
                Candidate(
                    id="flutter.weighted_peak",
                    method="two-sigma/1",
                    channel="both",
                    value=0.147,
                    unit="%",
                    u=0.012,
                    outcome="does not meet",
                    chance=0.0001,
                ),
                Candidate(
                    id="flutter.weighted_rms",
                    method="weighted-rms/1",
                    channel="both",
                    value=0.071,
                    unit="%",
                    u=0.006,
                    outcome="meets",
                    chance=0.9999,
                ),
            ),
        ),
    )
    odd = msgspec.structs.replace(
        pass_, readings=(*pass_.readings, unknown, response), verdicts=(*pass_.verdicts, judged)
    )
    return record_of((odd, at(pass_, 5), at(pass_, 6)))


LONG = "Extraordinarily-long-name-without-any-space-that-never-ends-" * 3
UNBROKEN = LONG.replace("-", "")

VARIANTS: dict[str, Callable[[], DeckRecord]] = {
    "whole": whole,
    "only as found": lambda: record_of((tone_capture(1, "as found", 0.94, 0.12),)),
    "no sheet": lambda: record_of(
        (tone_capture(1, "as found", 0.94, 0.12), tone_capture(3, "as left", 0.05, 0.05)),
        sheet=False,
    ),
    "nothing at all": lambda: record_of((), sheet=False, visits=(), deck=Deck(name="bare")),
    "sheet but no capture": lambda: record_of(()),
    "only typed readings": lambda: record_of((typed_capture(2, "as found", 2.1),)),
    "thirty readings": lambda: record_of(
        (typed_capture(2, "as found", 2.1, count=30), typed_capture(4, "as left", 4.4, count=30))
    ),
    "long names": lambda: record_of(
        (tone_capture(1, "as found", 0.94, 0.12),),
        deck=Deck(name=LONG, maker=LONG, model=UNBROKEN, serial=LONG,
                  mains=UNBROKEN, notes=LONG * 4),
        visits=(Visit(id=1, deck_id=1, begun_at="2026-03-11T09:00:00Z",
                      reason="It hums, it wavers, and it eats tapes. " * 30, notes=UNBROKEN * 3),),
        unread=(Unread(words=UNBROKEN, why=""),),
    ),
    "other scripts": lambda: record_of(
        (tone_capture(1, "as found", 0.94, 0.12),),
        deck=Deck(name="Дека", maker="Ренхольм", model="日本語 Ω", serial="ﬁ-٤٢ 🎚", notes="מגבר"),
    ),
    "double deck": double_deck,
    "odd results": odd_results,
    "hostile": lambda: record_of(
        (tone_capture(1, "as found", 0.94, 0.12),),
        deck=Deck(name='#import "x"', maker="#panic()", model="[*_$@\\`<a>{}//~",
                  serial="$x^2$ \\frac{1}{2} #{1/0}", notes="*bold* _it_ #rect() = 5 // gone /* x"),
        visits=(Visit(id=1, deck_id=1, begun_at="no date at all", reason="#sys.inputs",
                      notes="line one\nline two\ttab\x00\x07"),),
    ),
}  # fmt: skip


@pytest.fixture(scope="session")
def whole_record() -> DeckRecord:
    return whole()


@pytest.fixture(params=list(VARIANTS))
def any_record(request: pytest.FixtureRequest) -> DeckRecord:
    return VARIANTS[request.param]()
