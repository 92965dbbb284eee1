"""`runstrue tape`: the description of a test tape, bought or made at home."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleGroup, show_group_help
from runstrue.errors import FileError, InputError

if TYPE_CHECKING:
    from runstrue.logbook.models import CaptureRecord
    from runstrue.stimulus.testtape import TestTape

TEMPLATE = """# A test tape. Fill in what its sheet or sleeve says; a line you do not know can go,
# all but the name: the cautious figures below are then taken.
# Every figure goes into the uncertainty of what is measured with this tape.

name = "my flutter tape"          # tells your tapes apart
kind = "bought"                   # or "home": recorded on a deck that was measured well
tone_hz = 3150                    # the tone at nominal speed
# level = "250 nWb/m less 10 dB"  # in words, or in dB

# The speed of the tape lies within ± this, in %. When nothing is known, leave 0.5.
speed_tolerance_percent = 0.5

# Flutter that is recorded on the tape itself: weighted peak, ±, in %. Unknown: 0.05.
own_flutter_percent = 0.05
# own_flutter_u_percent = 0.01    # its standard uncertainty, where it was measured

# Where the speed was measured, both take the place of the tolerance:
# speed_known_percent = -0.08     # the tone is this much off when played at true speed
# speed_known_u_percent = 0.05    # standard uncertainty of that

# batch = "7"                     # tapes of one batch share their error
# remark = "kept in its box"
"""

CALIBRATION = """
# What is recorded where. 0 dB is the tape's reference level.
reference_hz = 315                # what the response is referred to
flux_nwb_per_m = 250              # of the reference level
flux_scale = "ANSI/AES"           # or "old DIN"; a tape that does not say: leave the line out
equalisation_us = [120, 3180]     # time constants: treble, bass; [70] where there is no bass one
level_tolerance_db = 1.0          # its levels lie within ± this; unknown: 1.0

# One [[section]] for each part of the tape, in order. Lengths need only be about right; what is
# spoken in between need not be told. runstrue programme show FILE.toml shows how it is understood.

[[section]]
what = "tone"
purpose = "level"
hz = 315
level_db = 0
lasts_s = 30

[[section]]
what = "tone"
purpose = "azimuth"
hz = 10000
level_db = -10
lasts_s = 30

[[section]]
what = "tones"                    # one after the other, each lasts_s long
purpose = "response"
hz = [315, 40, 63, 125, 1000, 4000, 6300, 8000, 10000, 12500, 315]
level_db = -20
lasts_s = 8
# corrections_db = {"12500" = 0.4} # the tape's own sheet: so much more than it should carry

[[section]]
what = "tone"
purpose = "speed"
hz = 3150
level_db = -10
lasts_s = 60
"""


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Describe a test tape, bought or home-made.",
)
@bench_option
@click.pass_context
def tape(ctx: click.Context) -> None:
    """Describe a test tape, bought or home-made.

      runstrue tape new sallowby.toml
      runstrue tape show sallowby.toml
      runstrue measure a.flac --tape sallowby.toml

    A calibration tape with several sections is described in the same file:
      runstrue tape new calibration.toml --sections

    No test tape? Record a tone on a deck that was measured well, and make its description:
      runstrue tape from-deck C-32 -o home.toml
    """
    show_group_help(ctx)


@tape.command("new")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--sections", is_flag=True, help="A calibration tape: with levels and several sections."
)
def new(file: Path, sections: bool) -> None:
    """Write a description to fill in, with a remark beside every line.

    runstrue tape new sallowby.toml
    runstrue tape new calibration.toml --sections
    """
    from runstrue.cli.layout import out, wrapped

    _refuse_existing(file)
    _write(file, TEMPLATE + CALIBRATION if sections else TEMPLATE)
    out(wrapped(f"Written to '{file}'. Fill it in with any text editor, then:"))
    out(f"  runstrue tape show {file}")


@tape.command("show")
@click.argument("file", type=click.Path(path_type=Path))
def show(file: Path) -> None:
    """Show what a description says, and what it does to a reading.

    runstrue tape show sallowby.toml
    """
    from runstrue.cli.layout import out
    from runstrue.stimulus.testtape import read_test_tape

    tape = read_test_tape(file)
    out(tape_lines(tape))
    if tape.section:
        out(f"  {'sections':<16}{len(tape.section)}: runstrue programme show {file}")


@tape.command("from-deck")
@click.argument("deck")
@click.option(
    "-o", "--out", "target", type=click.Path(path_type=Path), required=True, metavar="FILE.toml"
)
@click.option("--name", default="", metavar="TEXT", help="Else made of the deck's name and date.")
@click.option(
    "--tone",
    "tone_hz",
    type=float,
    metavar="HZ",
    help="The tone that was fed; else the one that the deck was measured with.",
)
@click.option(
    "--side-minutes",
    type=float,
    metavar="MIN",
    help="Length of the recording, over which the deck drifts; else that of the reading.",
)
@bench_option
@click.pass_context
def from_deck(
    ctx: click.Context,
    deck: str,
    target: Path,
    name: str,
    tone_hz: float | None,
    side_minutes: float | None,
) -> None:
    """Describe a tape that was recorded on a deck of the logbook.

      runstrue tape from-deck C-32 -o home.toml --side-minutes 10

    Measure the deck with the best tape you can borrow, record a steady tone on it with the same
    sound card right after, and the new tape's speed and flutter are known as well as the deck's.
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.measure.conditions import SoundCard
    from runstrue.measure.home_tape import drift_half_width, home_tape
    from runstrue.report.words import date_words
    from runstrue.stimulus.testtape import write_test_tape

    _refuse_existing(target)
    with ctx.ensure_object(Bench).open() as book:
        found = book.find_deck(deck)
        capture = latest_tone_reading(book.captures(found), found.name)
        known = book.sound_card(str(capture.conditions.get("sound_card", "")))
    card = SoundCard(known.name, known.clock_ppm, known.u_ppm) if known else None
    measured, when = capture.measured, date_words(capture.made_at)
    made = home_tape(
        measured, name=name or f"recorded on {found.name}", card=card, tone_hz=tone_hz,
        side_min=side_minutes, batch=when,
        remark=f"From capture {capture.id} of {found.title}, {capture.facts.stage}.",
    )  # fmt: skip
    write_test_tape(made, target)
    out(tape_lines(made))
    out("")
    out(wrapped(f"Written to '{target}', from the reading {capture.facts.stage} of {when}."))
    speed = measured.find("speed.deviation")
    if speed is not None:
        drift = drift_half_width(measured, speed, side_minutes) / 3**0.5
        if drift > 0.7 * made.speed_u_percent:
            out(wrapped(
                "Most of the uncertainty is the deck's drift over the side: measure the deck for "
                "as long as you record, once it is warm."
            ))  # fmt: skip


def latest_tone_reading(captures: Sequence[CaptureRecord], deck: str) -> CaptureRecord:
    """Return the latest capture with a speed as left, else the latest of any stage.

    Raises
    ------
    InputError
        When there is none.
    """
    read = [
        capture
        for capture in captures
        if any(reading.result.id == "speed.deviation" for reading in capture.readings)
        and capture.source != "typed"
    ]
    if not read:
        raise InputError(
            f"The deck '{deck}' has no reading of its speed", "one with a test tape is needed",
            "runstrue measure FILE --deck NAME --stage left",
        )  # fmt: skip
    left = [capture for capture in read if capture.facts.stage == "as left"]
    return (left or read)[-1]


def tape_lines(tape: TestTape) -> Iterator[str]:
    """What a description says."""
    from runstrue.cli.layout import bold, wrapped
    from runstrue.quantity import Quantity

    yield bold(tape.name)
    indent = " " * 18
    tone = f"{tape.tone_hz:g} Hz" if tape.tone_hz else "not known; 3150 or 3000 Hz is recognised"
    if tape.speed_known_percent is not None:
        known = Quantity(tape.speed_known_percent, "%", tape.speed_u_percent)
        speed = (
            f"its tone is {known.value_text(signed=True)} % off at true speed, standard "
            f"uncertainty {known.u:.2g} %; readings are corrected for that"
        )
    else:
        speed = (
            f"within ±{tape.speed_tolerance_percent:g} %: no speed can be known better than "
            f"±{2 * tape.speed_u_percent:.2g} %"
        )
    own = f"±{tape.own_flutter_percent:.2g} %"
    if tape.own_flutter_u_percent is not None:
        own += f", standard uncertainty {tape.own_flutter_u_percent:.2g} %"
    for label, text in (
        ("kind", tape.kind),
        ("tone", tone),
        ("level", str(tape.level)),
        ("speed", speed),
        ("own flutter", own),
        ("batch", tape.batch),
        ("remark", tape.remark),
    ):
        if text:
            yield from wrapped(text, indent, first=f"  {label:<16}")


def _refuse_existing(path: Path) -> None:
    if path.exists():
        raise FileError(
            f"'{path}' is there already", "it is not written over", "choose another name"
        )


def _write(path: Path, text: str) -> None:
    from runstrue.report.files import write_whole

    write_whole(path, text.encode())
