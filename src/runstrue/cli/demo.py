"""`runstrue demo`: an invented deck as found and as left, through the whole job."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench
from runstrue.cli.teach import ExampleCommand

if TYPE_CHECKING:
    from runstrue.cli.measured import Done
    from runstrue.logbook.models import Deck

DECK = "Sallowby C-14"
LENGTH_S = 120.0
SHEET = """\
Wrenholm C-14, from its leaflet
Tape speed: 4.76 cm/s ±1.5 %
Wow and flutter: 0.12 % (WRMS), ±0.2 % (DIN)
Frequency response: 40-14 000 Hz ±3 dB
Signal to noise ratio: better than 56 dB (A-weighted)
Take-up torque in play: 35-60 g·cm
Pinch force: 300-380 gf
"""
REASON = "plays flat, sinks further as the side goes on, long notes sway"
NOTES = (
    "Main belt perished and slack: new belt, pulleys cleaned with alcohol. Take-up clutch felt "
    "renewed. Pinch roller cleaned. Speed trimmed by the flutter tape."
)


@dataclass(frozen=True, slots=True)
class Stage:
    """What the demo does at one stage: the preset, its file, what is read off instruments."""

    key: str
    preset: str
    file: str
    words: str
    typed: tuple[tuple[str, str, str, str], ...]


# Dial readings such as a torque cassette and a spring scale give (common practice, no source).
STAGES = (
    Stage("found", "perished-belt", "as-found.flac", "as found", (
        ("torque.take_up", "27", "g·cm", "2"),
        ("force.pinch", "345", "gf", "10"),
    )),
    Stage("left", "new-belt", "as-left.flac", "as left", (
        ("torque.take_up", "46", "g·cm", "2"),
        ("force.pinch", "340", "gf", "10"),
    )),
)  # fmt: skip
STEPS = 3 + 3 * len(STAGES)


@click.command(cls=ExampleCommand, short_help="Take an invented deck through the whole job.")
@click.argument("folder", type=click.Path(path_type=Path), default=Path("demo"))
def demo(folder: Path) -> None:
    """Take an invented deck through the whole job, as found and as left.

      runstrue demo
      runstrue demo /tmp/sallowby

    A Wrenholm C-14 of the repair club in Sallowby comes in with a perished belt and leaves with
    a new one. Recordings, logbook, printed sheet and pictures are written into FOLDER; running
    it again adds another visit.
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.report.files import make_folder

    begun = time.monotonic()
    make_folder(folder)
    out(wrapped(
        "The repair club in Sallowby has an old cassette deck on its bench, a Wrenholm C-14; the "
        "club, the maker and the deck are invented, everything else is real work."
    ))  # fmt: skip
    out("")
    _run(folder)
    out("")
    out(wrapped(f"Done in {time.monotonic() - begun:.0f} s."))


def _run(folder: Path) -> None:
    from runstrue.cli.compare import change_lines
    from runstrue.cli.layout import bold, out
    from runstrue.report.figures import write_figures
    from runstrue.report.printed import write_report

    bench = Bench(folder / "bench")
    steps = _Steps()
    steps.next("Test tape and the maker's sheet")
    _write_papers(folder)
    steps.next("Deck and visit into the logbook")
    deck = _deck_on_bench(bench)
    for stage in STAGES:
        steps.next(f"Playing the deck {stage.words} ({LENGTH_S:.0f} s of 3150 Hz)")
        _play(folder, stage)
        steps.next(f"Measuring it {stage.words}")
        done = _measure(bench, folder, stage)
        out(_short_lines(done))
        steps.next(f"Torque and force {stage.words}, read off a dial and a scale")
        out(_enter(bench, stage))
    with bench.open() as book:
        visit = book.current_visit(deck)
        if visit is not None:
            book.add_repair(
                deck, visit, "main_belt_slack", words="main belt renewed, pulleys cleaned",
                minutes=35, parts="main belt",
            )  # fmt: skip
            book.close_visit(visit, NOTES)
        record = book.deck_record(deck)
    steps.next("Found against left, printed sheet and pictures")
    report = write_report(record, folder / "report.pdf")
    pictures = write_figures(record, folder / "pictures")
    out("")
    out(change_lines(record))
    out("")
    out(bold("Look at"))
    out(_look_at(folder, report, len(pictures)))


class _Steps:
    """Numbered lines, so that one sees where the work stands."""

    def __init__(self) -> None:
        self._step = 0

    def next(self, words: str) -> None:
        from runstrue.cli.layout import bold, out

        self._step += 1
        out(bold(f"[{self._step}/{STEPS}] {words}"))


def _tape_path(folder: Path) -> Path:
    return folder / "sallowby-tape.toml"


def _write_papers(folder: Path) -> None:
    from runstrue.report.files import write_whole
    from runstrue.stimulus.testtape import TestTape, write_test_tape

    write_test_tape(
        TestTape(
            name="Sallowby flutter tape",
            tone_hz=3150.0,
            level="250 nWb/m less 10 dB",
            speed_tolerance_percent=0.3,
            own_flutter_percent=0.03,
            batch="7",
            remark="Invented, like the deck.",
        ),
        _tape_path(folder),
    )
    write_whole(folder / "sheet.txt", SHEET.encode())


def _deck_on_bench(bench: Bench) -> Deck:
    """Add the deck, or find it there from an earlier run, and begin a visit."""
    from runstrue.cli.plan import read_sheets
    from runstrue.logbook.models import Deck, SoundCard
    from runstrue.logbook.register import name_key
    from runstrue.transport.examples import example_text

    with bench.open(create=True) as book:
        known = [one for one in book.decks() if name_key(one.name) == name_key(DECK)]
        if known:
            deck = known[0]
        else:
            deck = book.add_deck(
                Deck(
                    name=DECK, maker="Wrenholm", model="C-14", serial="0417", year=1979, heads=2,
                    speeds_cm_s=(4.76,), mains="230 V, 50 Hz",
                    notes="From the repair club in Sallowby.",
                )
            )  # fmt: skip
            book.add_sheet(deck, read_sheets([SHEET]), "leaflet of the invented maker")
            book.set_sound_card(
                SoundCard(name="club interface", clock_ppm=15.0, u_ppm=5.0,
                          remark="against the time signal")
            )  # fmt: skip
            book.add_transport(deck, example_text("one-belt"), "c-14.toml")
            book.add_deck(
                Deck(name="R-8", maker="Tarn & Aldous", model="R-8", year=1971, kind="open reel",
                     speeds_cm_s=(9.5, 19.0), notes="Waits for its turn on the shelf.")
            )  # fmt: skip
        left_open = book.current_visit(deck)
        if left_open is not None:  # an earlier run was stopped
            book.close_visit(left_open)
        visit = book.open_visit(deck, REASON)
        book.add_intake_answer(deck, visit, "running", "running_here")
    return deck


def _play(folder: Path, stage: Stage) -> None:
    from runstrue.cli.practice import play_to
    from runstrue.virtualdeck.presets import preset

    play_to(preset(stage.preset), folder / stage.file, length_s=LENGTH_S)


def _measure(bench: Bench, folder: Path, stage: Stage) -> Done:
    """The same as `runstrue measure FILE --tape … --deck … --stage …`."""
    from runstrue.cli.keep import Keeper, Place
    from runstrue.cli.measure_parts import drive_for, tell_parts
    from runstrue.cli.measured import Job, measure_jobs
    from runstrue.cli.plan import read_tape, sound_card
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.runner import Judging

    keeper = Keeper(bench, DECK, Place(stage.key, side="A", position="start"))
    tape = read_tape(_tape_path(folder))
    plan = TonePlan(None, tape, sound_card(bench, None, ""))
    limits = keeper.sheet.limits if keeper.sheet else ()
    path = folder / stage.file
    judging = Judging(limits, keeper.conditions)
    (done,) = measure_jobs([Job(str(path), path)], plan, judging)
    if done.error is not None:
        raise done.error
    drive = drive_for(bench, None, None, keeper)
    if drive is not None:
        tell_parts([done], drive, 0.0, judging)
    keeper.keep([done], tape, named_tape=True, own_sheet=True)
    return done


def _enter(bench: Bench, stage: Stage) -> Iterator[str]:
    """The same as `runstrue enter DECK QUANTITY VALUE UNIT --u U --stage …`."""
    from runstrue.cli.enter import kind_named, typed_result
    from runstrue.cli.keep import Keeper, Place
    from runstrue.cli.show_verdicts import one_verdict
    from runstrue.verdict.judge import judge

    keeper = Keeper(bench, DECK, Place(stage.key))
    limits = keeper.sheet.limits if keeper.sheet else ()
    for quantity, value, unit, u in stage.typed:
        result = typed_result(kind_named(quantity), value, unit, u)
        verdicts = [
            verdict for verdict in judge(limits, [result]) if verdict.reason != "not measured"
        ]
        keeper.keep_typed(result, verdicts)
        for verdict in verdicts:
            yield from one_verdict(verdict, notes=False)


def _short_lines(done: Done) -> Iterator[str]:
    """Summary and verdicts; the full view is what `runstrue measure` prints."""
    from runstrue.cli.layout import wrapped
    from runstrue.cli.show_verdicts import one_verdict

    if done.measured is None:
        return
    yield from wrapped(done.measured.summary, "  ")
    for verdict in done.verdicts:
        if verdict.reason != "not measured":
            yield from one_verdict(verdict, notes=False)


def _look_at(folder: Path, report: Path, pictures: int) -> Iterator[str]:
    from runstrue.cli.keep import quoted
    from runstrue.cli.layout import table

    rows = [
        (str(report), "the printed sheet that goes with the deck"),
        (str(folder / "pictures"), f"{pictures} pictures: SVG, PNG, and 16:9 for publishing"),
        (str(folder / "as-found.flac"), "recordings, with the truth beside them"),
        (str(_tape_path(folder)), "how a test tape is described"),
        (str(folder / "sheet.txt"), "the sheet as it was typed"),
        (str(folder / "bench"), "the logbook"),
    ]
    yield from table(rows, "<<", indent="  ")
    yield "The same by hand, in full:"
    tape, bench = quoted(str(_tape_path(folder))), quoted(str(folder / "bench"))
    yield f"  runstrue measure {quoted(str(folder / 'as-found.flac'))} --tape {tape}"
    yield f"  runstrue deck show {quoted(DECK)} --bench {bench}"
    yield "All of it in the browser, with a virtual deck to listen to:"
    yield f"  runstrue open --bench {bench}"
