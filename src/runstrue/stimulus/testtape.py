"""A test tape, described in a small file that its owner writes in five minutes.

    name = "Sallowby flutter tape"
    kind = "bought"
    tone_hz = 3150
    speed_tolerance_percent = 0.3
    own_flutter_percent = 0.03
    batch = "7"

A calibration tape is described in the same file, with its levels, its equalisation and its sections
(`runstrue.stimulus.section_rows`); `runstrue.stimulus.tape_programme` makes a programme of it.

A reading can be no better than the tape it was made with, so what is known about the tape goes
into every uncertainty; and where two readings share the tape, it cancels in their difference.
"""

from __future__ import annotations

import math
import os
import re
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar, Literal

import msgspec
import tomli_w

from runstrue.errors import DescriptionError, FileError
from runstrue.stimulus.programme import FluxScale
from runstrue.stimulus.section_rows import SectionRow, corrections_of

TapeKind = Literal["bought", "home"]

# The tones that a deck can be measured with by name: what the demodulator takes.
TONE_RANGE_HZ = (300.0, 15_000.0)


# A professional cassette deck's service manual checks the speed with a 3 kHz tape to ±0.5 %.
CAUTIOUS_SPEED_PERCENT = 0.5
# Residual flutter of cassette flutter tapes is typically 0.02 to 0.05 % weighted peak: from
# memory, unsure.
CAUTIOUS_FLUTTER_PERCENT = 0.05
# Common practice, no source: calibration tapes are sold to about ±0.5 dB, and they age.
CAUTIOUS_LEVEL_DB = 1.0


class TestTape(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A tape with known content.

    Parameters
    ----------
    name : str
        Not empty; it tells the owner's tapes apart.
    kind : {'bought', 'home'}
        A home tape was recorded on a deck that had been measured well.
    tone_hz : float or None
        Its tone at nominal speed, 300 to 15 000 Hz; None when it is not known.
    level : str or float
        In words ('250 nWb/m') or in dB against whatever the remark says; empty when unknown.
    speed_tolerance_percent : float
        The tape's speed lies within ± this of nominal (rectangular), at least 0; the cautious
        0.5 where nothing is said.
    own_flutter_percent : float
        Weighted peak of the flutter that is recorded on the tape, ±, at least 0; the cautious
        0.05 where nothing is said.
    own_flutter_u_percent : float or None
        Standard uncertainty of that, for a tape whose flutter was measured.
    speed_known_percent : float or None
        Measured deviation of the tape's tone from `tone_hz` when played at nominal speed.
    speed_known_u_percent : float or None
        Its standard uncertainty, needed with it. Both together replace the tolerance.
    batch : str
        Batch or serial number: tapes of one batch share their error.
    remark : str
    reference_hz : float
        The frequency that the tape's response is referred to, 100 to 2000 Hz.
    flux_nwb_per_m : float or None
        Flux of the reference level (0 dB of the sections), 20 to 2000 nWb/m.
    flux_scale : {'', 'ANSI/AES', 'old DIN'}
        The scale that figure is on; empty when the tape does not say.
    equalisation_us : tuple of float
        Time constants: treble alone, or treble and bass; empty when unknown.
    level_tolerance_db : float
        Its levels lie within ± this (rectangular), 0 to below 20; the cautious 1 dB where
        nothing is said.
    section : tuple of SectionRow
        What is on it, in order.

    Raises
    ------
    DescriptionError
        When a figure is out of its range.
    """

    # Its name begins like that of a test; pytest is told that it is none.
    __test__: ClassVar[bool] = False

    name: str
    kind: TapeKind = "bought"
    tone_hz: float | None = None
    level: str | float = ""
    speed_tolerance_percent: float = CAUTIOUS_SPEED_PERCENT
    own_flutter_percent: float = CAUTIOUS_FLUTTER_PERCENT
    own_flutter_u_percent: float | None = None
    speed_known_percent: float | None = None
    speed_known_u_percent: float | None = None
    batch: str = ""
    remark: str = ""
    reference_hz: float = 315.0
    flux_nwb_per_m: float | None = None
    flux_scale: FluxScale = ""
    equalisation_us: tuple[float, ...] = ()
    level_tolerance_db: float = CAUTIOUS_LEVEL_DB
    section: tuple[SectionRow, ...] = ()

    def __post_init__(self) -> None:
        for key, seen, needed in _faults(self):
            raise DescriptionError(f"The test tape's {key} is {seen}", f"{needed} is needed")
        corrections_of(self.section)  # refuses what cannot be laid out

    @property
    def source(self) -> str:
        """What shared uncertainty belongs to: equal texts cancel in a difference.

        Empty for a tape that nobody named, since two of those may be two different tapes.
        """
        if self == CAUTIOUS:
            return ""
        return f"test tape '{self.name}'" + (f", batch {self.batch}" if self.batch else "")

    @property
    def speed_correction_percent(self) -> float:
        """Known deviation of the tape's tone from nominal, 0 when only a tolerance is known."""
        return self.speed_known_percent or 0.0

    @property
    def speed_u_percent(self) -> float:
        """Standard uncertainty of the tape's speed.

        Notes
        -----
        A tolerance is taken as rectangular, half-width over √3 (JCGM 100:2008 4.3.7).
        """
        if self.speed_known_u_percent is not None:
            return self.speed_known_u_percent
        return self.speed_tolerance_percent / math.sqrt(3)


def read_test_tape(path: str | os.PathLike[str]) -> TestTape:
    """Read the description of a test tape.

    Parameters
    ----------
    path : path
        A TOML file.

    Raises
    ------
    FileError
        When the file cannot be read.
    DescriptionError
        When it is no TOML, a key is unknown or missing, or a figure is out of its range. The
        message names the file, the key, and the line where it is known.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise DescriptionError(
            f"'{path}' is not a text file", "a TOML file in UTF-8 is needed"
        ) from None
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be read ({error.strerror})",
            "the description of a test tape is needed",
            "see `runstrue tape new`",
        ) from None
    try:
        plain = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DescriptionError(
            f"'{path}' is not TOML: {_tame(str(error))}",
            'lines such as tone_hz = 3150 or name = "my tape" are needed',
        ) from None
    return _from_plain(plain, path, text)


def write_test_tape(tape: TestTape, path: str | os.PathLike[str]) -> None:
    """Write the description of a test tape, whole or not at all.

    Raises
    ------
    FileError
        When the file cannot be written.
    """
    path = Path(path)
    silent = {"section": (), "equalisation_us": (), "flux_scale": "", "reference_hz": 315.0,
              "level_tolerance_db": CAUTIOUS_LEVEL_DB}  # fmt: skip
    plain = {
        key: value
        for key, value in msgspec.to_builtins(tape).items()
        if value is not None and value != silent.get(key)
    }
    plain["section"] = [
        {key: value for key, value in msgspec.to_builtins(row).items() if value is not None}
        for row in tape.section
    ]
    if not tape.section:
        del plain["section"]
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                tomli_w.dump(plain, file)
            os.chmod(temporary, 0o644)
            os.replace(temporary, path)
        except BaseException:
            os.unlink(temporary)
            raise
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be written ({error.strerror})",
            "a folder that can be written to is needed",
        ) from None


def _from_plain(plain: dict[str, Any], path: Path, text: str) -> TestTape:
    known = TestTape.__struct_fields__
    for key in plain:
        if key not in known:
            raise DescriptionError(
                f"'{path}'{_line_of(key, text)} says '{key}', which is no key of a test tape",
                f"the keys are {', '.join(known)}",
            )
    if "name" not in plain:
        raise DescriptionError(f"'{path}' does not say 'name'", "a test tape needs this key")
    try:
        return msgspec.convert(plain, TestTape)
    except msgspec.ValidationError as error:
        # "Expected `float`, got `str` - at `$.tone_hz`"
        words, _, place = str(error).partition(" - at `$.")
        key = place.rstrip("`")
        if not key:  # raised by __post_init__, where msgspec wraps it
            raise DescriptionError(f"'{path}': {_tame(words)}") from None
        raise DescriptionError(
            f"'{path}'{_line_of(key, text)}: {_place_words(key)} {_said(plain, key, words)}",
            f"{_wanted(key)} is needed",
        ) from None
    except DescriptionError as error:
        # msgspec lets our own error pass; it is told again with the file and the line
        fault = next(_faults_of_plain(plain), None)
        if fault is None:  # of a section
            seen = f"'{path}': {_tame(error.seen)}"
            raise DescriptionError(seen, error.needed, error.next_step) from None
        key, seen, needed = fault
        raise DescriptionError(
            f"'{path}'{_line_of(key, text)}: {key} is {seen}", f"{needed} is needed"
        ) from None


def _faults(tape: TestTape) -> Iterator[tuple[str, str, str]]:
    plain = {key: getattr(tape, key) for key in TestTape.__struct_fields__}
    return _faults_of_plain(plain)


def _faults_of_plain(plain: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Yield (key, what was seen, what is needed) for each figure out of its range."""
    if not str(plain["name"]).strip():
        yield "name", "empty", "a name"
    low, high = TONE_RANGE_HZ
    tone_hz = plain.get("tone_hz")
    if tone_hz is not None and not low <= tone_hz <= high:
        yield "tone_hz", f"{tone_hz}", f"a frequency from {low:g} to {high:g} Hz"
    for key in (
        "speed_tolerance_percent",
        "own_flutter_percent",
        "own_flutter_u_percent",
        "speed_known_u_percent",
    ):
        value = plain.get(key)
        if value is not None and not 0 <= value < 100:
            yield key, f"{value}", "a percentage from 0 to below 100"
    for key, least, most, unit in (
        ("reference_hz", 100, 2000, "Hz"),
        ("flux_nwb_per_m", 20, 2000, "nWb/m"),
        ("level_tolerance_db", 0, 20, "dB"),
    ):
        value = plain.get(key)
        if value is not None and not least <= value <= most:
            yield key, f"{value}", f"a figure from {least} to {most} {unit}"
    constants = plain.get("equalisation_us", ())
    if len(constants) > 2 or not all(1 <= value <= 10_000 for value in constants):
        yield "equalisation_us", f"{list(constants)}", "treble, or treble and bass, in µs,"
    known = plain.get("speed_known_percent")
    if known is not None and not -50 < known < 50:
        yield "speed_known_percent", f"{known}", "a percentage between −50 and 50"
    level = plain.get("level")
    if isinstance(level, float) and not math.isfinite(level):
        yield "level", f"{level}", "words or decibels"
    if (known is None) != (plain.get("speed_known_u_percent") is None):
        missing = "speed_known_u_percent" if known is not None else "speed_known_percent"
        yield missing, "missing", "both speed_known_percent and speed_known_u_percent, or neither,"


def _wanted(key: str) -> str:
    if key == "kind":
        return "'bought' or 'home'"
    if key == "level":
        return "a text or a number of decibels"
    if key == "flux_scale":
        return "'ANSI/AES', 'old DIN' or nothing"
    if key == "equalisation_us":
        return "a list such as [120, 3180]"
    if key.startswith("section"):
        name = key.rpartition(".")[2]
        return _WANTED_OF_SECTIONS.get(name, "a number") if "." in key else _SECTION_KEYS
    return "a text in quotes" if key in ("name", "batch", "remark") else "a number"


_WANTED_OF_SECTIONS = {
    "what": "'tone', 'tones', 'sweep' or the like in quotes",
    "hz": "a number, or a list of numbers",
    "channels": "'both', 'left' or 'right'",
    "purpose": "a text in quotes, or a list of such",
    "id": "a text in quotes",
    "corrections_db": 'a table such as {"16000" = 0.4}',
    "inverted": "true or false",
}


_SECTION_KEYS = "a [[section]] with 'what', 'lasts_s' and, as it has them, " + ", ".join(
    key for key in SectionRow.__struct_fields__ if key not in ("what", "lasts_s")
)


def _place_words(key: str) -> str:
    """'section 3, hz' for 'section[2].hz', and plain keys as they are."""
    found = re.match(r"section\[(\d+)\](?:\.(.*))?$", key)
    if found is None:
        return key
    return f"section {int(found[1]) + 1}" + (f", {found[2]}," if found[2] else "")


def _said(plain: dict[str, Any], key: str, words: str) -> str:
    """'is …' with what was written at a place, or which key is too few or too many there."""
    field = re.search(r"(missing required|unknown) field `(\w+)`", words)
    if field is not None:
        return f"{'lacks' if field[1].startswith('missing') else 'has'} the key '{field[2]}'"
    value: Any = plain
    for part in re.findall(r"\w+", key):
        value = value[int(part)] if isinstance(value, list) else value.get(part)
    return f"is {value!r}"


def _line_of(key: str, text: str) -> str:
    """', line 3' for the line that sets a key, or nothing where it is not set plainly."""
    for number, line in enumerate(text.splitlines(), 1):
        if re.match(rf"""\s*["']?{re.escape(key)}["']?\s*[=.\]]""", line) or re.match(
            rf"\s*\[+\s*{re.escape(key)}\s*\]", line
        ):
            return f", line {number}"
    return ""


def _tame(words: str) -> str:
    """One clause without a full stop, beginning small."""
    return words[:1].lower() + words[1:].rstrip(".")


# What is taken when no tape is named.
CAUTIOUS = TestTape(
    name="tape not named",
    remark="Nothing is known about the tape, so the cautious figures of the trade are taken.",
)
