"""From the options of the command line to what the measuring needs: tape, card, sheet."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.errors import DescriptionError, FileError, LogbookError, RunstrueError, SheetError

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.measure.conditions import SoundCard
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.runner import Plan
    from runstrue.stimulus.programme import Programme
    from runstrue.stimulus.testtape import TestTape
    from runstrue.verdict.models import Limit, Sheet

LONGEST_NAME = 255  # of a file in all usual file systems; a longer text is no name of a file


@dataclass(frozen=True, slots=True)
class Wanted:
    """The limits to judge by, and the pieces of the sheet that were not understood."""

    limits: tuple[Limit, ...] = ()
    unread: tuple[str, ...] = ()


def sheet_text(words: str) -> str:
    """Return the text itself, or what the file of this name holds."""
    if not words.strip() or "\n" in words or len(words.encode()) > LONGEST_NAME:
        return words
    path = Path(words)
    try:
        if not path.is_file():
            return words
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise SheetError(
            f"'{path}' is not a text file", "the lines of a spec sheet in UTF-8 are needed",
            "save it as plain text, or type the lines after --sheet",
        ) from None  # fmt: skip
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be read ({(error.strerror or str(error)).lower()})",
            "the lines of a spec sheet are needed",
        ) from None


def read_sheets(words: Sequence[str]) -> Sheet:
    """Read the sheets that were named, as one.

    Raises
    ------
    SheetError
        When there is no figure in them that is understood.
    """
    from runstrue.verdict.sheet import read_sheet

    sheet = read_sheet("\n".join(sheet_text(text) for text in words))
    if not sheet.limits:
        seen = " ".join(sheet.text.split())
        shown = seen if len(seen) <= 60 else seen[:59] + "…"
        if len(words) == 1 and _looks_like_a_file(words[0]):
            raise FileError(
                f"'{words[0]}' was not found",
                "a text file with the sheet, or its words, is needed",
                "check the name",
            )
        raise SheetError(
            f"Nothing in the sheet was understood as a figure that can be measured ('{shown}')",
            "lines such as 'Wow and flutter 0.14 % DIN' or 'Speed ±1.5 %' are needed",
            "see `runstrue sheet --help`",
        )
    return sheet


def _looks_like_a_file(words: str) -> bool:
    """Whether this names a file rather than saying a figure."""
    one_word = len(words.split()) == 1
    return one_word and (Path(words).suffix in {".txt", ".md", ".text", ".toml"} or "/" in words)


def wanted_of(sheet: Sheet | None) -> Wanted:
    """Return limits and unread pieces of a sheet, or nothing."""
    if sheet is None:
        return Wanted()
    return Wanted(sheet.limits, tuple(piece.words for piece in sheet.unread))


def read_tape(path: Path | None) -> TestTape:
    """Return the tape that this file describes, or the cautious one."""
    from runstrue.stimulus.testtape import CAUTIOUS, read_test_tape

    return read_test_tape(path) if path is not None else CAUTIOUS


def sound_card(bench: Bench, clock_ppm: str | None, name: str) -> SoundCard:
    """Return the sound card: as named by the options, as the logbook knows it, or any.

    Raises
    ------
    DescriptionError
        When the clock cannot be read as a figure.
    LogbookError
        When a card is named that the logbook does not know.
    """
    from runstrue.measure.conditions import SoundCard

    if clock_ppm is not None:
        value, u = read_clock(clock_ppm)
        any_card = SoundCard()
        return SoundCard(name or any_card.name, value, any_card.u_clock_ppm if u is None else u)
    try:
        book = bench.open_if_there()
    except RunstrueError as error:
        if name:
            raise
        click.echo(f"{error} It was measured without the sound card's own figures.", err=True)
        return SoundCard()
    if book is None:
        if name:
            raise _unknown_card(name)
        return SoundCard()
    with book:
        known = book.sound_card(name)
    if known is not None:
        return SoundCard(known.name, known.clock_ppm, known.u_ppm)
    if name:
        raise _unknown_card(name)
    return SoundCard()


def measuring_plan(
    bench: Bench,
    tone: TonePlan,
    named: str | None,
    *,
    noise_reduction: str = "",
    zero_output: str | None = None,
    level_set: str | None = None,
    input_name: str = "",
) -> Plan:
    """Return what the recordings are taken to hold.

    Parameters
    ----------
    tone : TonePlan
        With the tape and the sound card.
    named : str or None
        A programme's key, the file of a calibration tape, or 'any' for whichever is recognised;
        None for what the tape's own description lists, or else a tone.
    noise_reduction : str
        As the option says: 'off', 'B-type'; empty where it does not.
    zero_output : str or None
        What line out gives at the deck's 0 dB, with its unit.
    level_set : str or None
        What line out gives for 400 Hz at 200 nWb/m of a level tape, with its unit.
    input_name : str
    """
    if named is None and not tone.tape.section:
        return tone
    from runstrue.cli.card_facts import card_facts, read_output
    from runstrue.cli.programme import programme_named
    from runstrue.measure.whole_sheet import ProgrammePlan
    from runstrue.runner import AnyPlan
    from runstrue.stimulus.programmes import KEYS
    from runstrue.stimulus.tape_programme import programme_of

    card = card_facts(bench, tone.card.name)
    zero_dbfs = None if zero_output is None else read_output(zero_output, card.input)
    set_dbfs = None if level_set is None else read_output(level_set, card.input)
    played = "" if not noise_reduction else "off" if noise_reduction == "off" else "on"

    def plan(programme: Programme) -> ProgrammePlan:
        return ProgrammePlan(
            programme, tone, card.input, card.figures, card.output, zero_dbfs, input_name,
            played, set_dbfs,
        )  # fmt: skip

    if named is None:
        return plan(programme_of(tone.tape, tone.tape.name))
    if named != "any":
        return plan(programme_named(named))
    known = [plan(programme_named(key)) for key in KEYS]
    if tone.tape.section:
        known.append(plan(programme_of(tone.tape, tone.tape.name)))
    return AnyPlan(tuple(known), tone)


def _unknown_card(name: str) -> LogbookError:
    return LogbookError(
        f"The logbook knows no sound card '{name}'",
        "a card that was entered is needed",
        f'enter it: runstrue card set "{name}" --clock-ppm 12 --u 3',
    )


_CLOCK = re.compile(
    r"\s*(?P<value>[+−-]?[\d.,]+)\s*(?:ppm)?\s*(?:(?:±|\+/?-)\s*(?P<u>[\d.,]+)\s*(?:ppm)?)?\s*"
)


def read_clock(text: str) -> tuple[float, float | None]:
    """Read '12', '-35±3' or '12 ppm ± 3' as a figure and its standard uncertainty."""
    found = _CLOCK.fullmatch(text)
    try:
        if found is None:
            raise ValueError
        return number_of(found["value"]), number_of(found["u"]) if found["u"] else None
    except ValueError:
        raise DescriptionError(
            f"A clock error of '{text}' was given",
            "parts per million such as 12, -35 or 12±3 are needed",
        ) from None


def number_of(text: str) -> float:
    """Read a number with a point or a comma, and a true or a typed minus.

    Raises
    ------
    ValueError
        When it is none, or not finite.
    """
    plain = text.strip().replace("−", "-").replace(" ", "")
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?", plain):
        raise ValueError(text)
    return float(plain)
