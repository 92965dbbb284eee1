"""Bad input: one clear sentence, the right exit code, no traceback, nothing stored is lost.

Every case is made for real, as a file on the disk.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from tests.cli.conftest import Call, Ran, command

RATE_HZ = 48_000
SECONDS = 14
TIME_S = np.arange(SECONDS * RATE_HZ) / RATE_HZ
TONE = 0.5 * np.sin(2 * np.pi * 3150 * TIME_S)


def _write(path: Path, left: NDArray[np.floating], rate_hz: int = RATE_HZ, channels: int = 2,
           subtype: str = "PCM_16") -> Path:  # fmt: skip
    soundfile.write(path, np.stack([left] * channels, axis=1), rate_hz, subtype=subtype)
    return path


def _cut(path: Path, share: float) -> Path:
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    return path


def _with(value: float) -> NDArray[np.float64]:
    broken = TONE.copy()
    broken[3 * RATE_HZ] = value
    return broken


def _music() -> NDArray[np.float64]:
    """Decaying notes of several pitches, one after the other, as of a piano."""
    notes = ((440, 0.5), (880, 0.25), (3100, 0.5), (3322, 0.25), (262, 0.4), (2637, 0.3))
    return sum(
        (0.12 * np.sin(2 * np.pi * pitch * TIME_S) * np.exp(-4 * (TIME_S % every)))
        for pitch, every in notes
    )  # type: ignore[return-value]


def _noise() -> NDArray[np.float64]:
    return 0.1 * np.random.default_rng(1).standard_normal(TIME_S.size)


Maker = Callable[[Path], Path]

REFUSED: dict[str, tuple[Maker, str]] = {
    "empty": (lambda f: _cut(_write(f / "a.wav", TONE), 0), "is empty"),
    "FLAC cut to its head": (lambda f: _cut(_write(f / "a.flac", TONE), 1e-4), "cannot be read as"),
    "WAV cut to its head": (lambda f: _cut(_write(f / "a.wav", TONE), 5e-5), "s long; 10 s of"),
    "not audio": (lambda f: _text(f / "a.wav"), "cannot be read as sound"),
    "not a number": (lambda f: _write(f / "a.wav", _with(np.nan), subtype="FLOAT"), "not a number"),
    "infinite": (lambda f: _write(f / "a.wav", _with(np.inf), subtype="FLOAT"), "not a number"),
    "silence": (lambda f: _write(f / "a.wav", 0 * TONE), "is silent"),
    "constant": (lambda f: _write(f / "a.wav", 0 * TONE + 0.3), "a constant offset (0.300"),
    "noise": (lambda f: _write(f / "a.wav", _noise()), "No single tone between"),
    "two tones": (
        lambda f: _write(f / "a.wav", 0.5 * TONE + 0.25 * np.sin(2 * np.pi * 3010 * TIME_S)),
        "No single tone between",
    ),
    "music": (lambda f: _write(f / "a.wav", _music()), "No single tone between"),
    "1 Hz": (lambda f: _write(f / "a.wav", TONE[:40], 1), "has 1 samples a second"),
    "10 MHz": (lambda f: _write(f / "a.wav", TONE, 10_000_000), "has 10,000,000 samples"),
    "8 channels": (lambda f: _write(f / "a.wav", TONE, channels=8), "has 8 channels"),
    "half a second": (lambda f: _write(f / "a.wav", TONE[: RATE_HZ // 2]), "is 0.5 s long"),
    "a folder without recordings": (lambda f: f, "holds no recordings"),
    "no such file": (lambda f: f / "gone.wav", "no such file"),
    # a path through a file is refused to the superuser too, unlike a file without rights
    "a path that may not be walked": (
        lambda f: _write(f / "a.wav", TONE) / "b.wav", "not a directory"
    ),
}  # fmt: skip


def _text(path: Path) -> Path:
    path.write_text("this is no sound\n" * 100)
    return path


def _one_sentence(ran: Ran, words: str) -> None:
    assert ran.code == 1
    assert len(ran.sentences) == 1, ran.err
    assert words in ran.sentences[0]
    assert ran.sentences[0].endswith(".")
    assert "Traceback" not in ran.err + ran.out
    assert "fault of Runstrue" not in ran.err


@pytest.mark.parametrize("case", REFUSED)
def test_a_recording_that_cannot_be_used_gets_one_sentence(
    case: str, call: Call, tmp_path: Path
) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    make, words = REFUSED[case]
    _one_sentence(call("measure", make(folder)), words)


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read everything")
def test_a_recording_without_permission_gets_one_sentence(call: Call, tmp_path: Path) -> None:
    path = _write(tmp_path / "a.wav", TONE)
    path.chmod(0)
    _one_sentence(call("measure", path), "permission denied")


USED: dict[str, tuple[Maker, str]] = {
    "a wrong extension": (lambda f: _write(f / "a.wav", TONE).rename(f / "a.txt"), ""),
    "FLAC called WAV": (lambda f: _write(f / "a.flac", TONE).rename(f / "a.wav"), ""),
    "FLAC cut short": (lambda f: _cut(_write(f / "a.flac", TONE), 0.9), "cut short or damaged"),
    "WAV cut short": (lambda f: _cut(_write(f / "a.wav", TONE), 0.9), "it is cut short"),
    "clipped": (
        lambda f: _write(f / "a.wav", np.clip(4 * TONE, -0.999, 0.999)),
        "is clipped at the sound card",
    ),
    "a path with spaces and umlauts": (
        lambda f: _write(f / "Bänder für Füße – Seite A.wav", TONE), "",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", USED)
def test_a_recording_that_can_be_used_is_used_and_its_doubt_told(
    case: str, call: Call, tmp_path: Path
) -> None:
    make, doubt = USED[case]
    ran = call("measure", make(tmp_path))
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("Tone of 3150 Hz on both channels")
    assert (doubt or "Doubts") in " ".join(ran.out.split()) or not doubt
    assert ("Doubts" in ran.out) == bool(doubt)


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        ("lorem ipsum dolor sit amet", "Nothing in the sheet was understood"),
        ("", "Nothing in the sheet was understood"),
        ("heads: 2; weight 5.2 kg; \u202e 12 !!", "Nothing in the sheet was understood"),
    ],
)
def test_a_sheet_of_nonsense_gets_one_sentence(
    call: Call, recordings: Path, sheet: str, words: str
) -> None:
    _one_sentence(call("measure", recordings / "new-belt.flac", "--sheet", sheet), words)
    _one_sentence(call("sheet", sheet), words)


def test_a_sheet_file_that_is_no_text_gets_one_sentence(call: Call, recordings: Path) -> None:
    path = recordings / "new-belt.flac"
    _one_sentence(call("measure", path, "--sheet", path), "is not a text file")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tone_hz = 31", "does not say 'name'"),
        ("name = ", "is not TOML"),
        ('name = "a"\nspeed_tolerance_percent = "x"\nown_flutter_percent = 0.1', "line 2"),
    ],
)
def test_a_tape_that_is_described_wrongly_gets_one_sentence(
    call: Call, recordings: Path, tmp_path: Path, text: str, words: str
) -> None:
    tape = tmp_path / "tape.toml"
    tape.write_text(text)
    _one_sentence(call("measure", recordings / "new-belt.flac", "--tape", tape), words)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["measure"], "Missing argument"),
        (["measure", "a.wav", "--tone", "loud"], "'loud' is not a valid float"),
        (["measure", "a.wav", "--deck", "C-14"], "--stage found, between or left is needed"),
        (["measure", "a.wav", "--stage", "left"], "name the deck with --deck"),
        (["measur"], "No such command 'measur'"),
        (["deck", "add", "C-14", "--heads", "two"], "'two' is not a valid integer"),
        (["report", "C-14", "-o", "sheet.doc"], "does not end in .pdf"),
        (["--loud"], "No such option"),
    ],
)
def test_wrong_usage_gets_one_sentence_and_exit_code_2(
    call: Call, arguments: list[str], words: str
) -> None:
    ran = call(*arguments)
    assert ran.code == 2
    assert len(ran.sentences) == 1
    assert words in ran.err
    assert "--help" in ran.err


def test_a_clock_that_is_no_figure_gets_one_sentence(call: Call, recordings: Path) -> None:
    path = recordings / "new-belt.flac"
    _one_sentence(call("measure", path, "--clock-ppm", "fast"), "parts per million")
    _one_sentence(call("measure", path, "--tone", "20"), "300 to 15000 Hz can be measured")


DAMAGES: dict[str, Callable[[Path], None]] = {
    "garbage": lambda file: file.write_bytes(b"no logbook at all" * 500) and None,
    "overwritten in its middle": lambda file: _overwrite(file),
    "cut short": lambda file: _cut(file, 0.3) and None,
    "emptied": lambda file: file.write_bytes(b"") and None,
}


def _overwrite(file: Path) -> None:
    whole = bytearray(file.read_bytes())
    whole[4096 : len(whole) * 9 // 10] = os.urandom(len(whole) * 9 // 10 - 4096)
    file.write_bytes(bytes(whole))


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_logbook_gets_one_sentence_and_is_left_as_it_is(
    damage: str, stored: Call, recordings: Path, bench: Path
) -> None:
    call, path = stored, recordings / "new-belt.flac"
    database = bench / "logbook.sqlite"
    for rest in bench.glob("logbook.sqlite-*"):
        rest.unlink()
    DAMAGES[damage](database)
    before = database.read_bytes()
    for arguments in (
        ["measure", path, "--deck", "C-14", "--stage", "left"],
        ["compare", "C-14"],
        ["deck", "list"],
        ["report", "C-14"],
        ["check"],
    ):
        _one_sentence(call(*arguments), "damaged")
    assert database.read_bytes() == before
    kept = [one for one in (bench / "captures").rglob("*") if one.suffix == ".flac"]
    assert {one.read_bytes() for one in kept} == {
        one.read_bytes() for one in recordings.glob("*.flac")
    }
    # without a deck the logbook is needed for the sound card alone: told, and measured
    ran = call("measure", path)
    assert ran.code == 0
    assert "was measured without the sound card's own figures" in ran.err


def test_two_processes_that_store_at_once_both_store(
    call: Call, recordings: Path, bench: Path
) -> None:
    call("deck", "add", "C-14")
    call("visit", "begin", "C-14")
    stages = {"found": "perished-belt.flac", "left": "new-belt.flac"}
    running = [
        subprocess.Popen(
            command(
                "measure", recordings / name, "--tone", "3150", "--deck", "C-14", "--stage", stage
            ),
            env={**os.environ, "RUNSTRUE_BENCH": str(bench)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for stage, name in stages.items()
    ]
    for process in running:
        _, err = process.communicate(timeout=60)
        assert (process.returncode, err) == (0, "")
    shown = call("deck", "show", "C-14").out
    assert "as found: perished-belt.flac" in shown
    assert "as left: new-belt.flac" in shown
    assert call("check").code == 0


@pytest.fixture
def tiny_disk(tmp_path: Path):
    """Return a disk of a few hundred kilobytes, where one can be mounted."""
    place = tmp_path / "tiny"
    place.mkdir()
    if os.geteuid() != 0 or not sys.platform.startswith("linux") or not shutil.which("mount"):
        pytest.skip("a small disk can be mounted by the superuser of a Linux system only")
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=900k", "tmpfs", str(place)],
        capture_output=True, check=False,
    )  # fmt: skip
    if made.returncode:
        pytest.skip("mounting is not allowed here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_gets_one_sentence_and_loses_nothing(
    call: Call, recordings: Path, tiny_disk: Path
) -> None:
    folder = tiny_disk / "bench"
    assert call("deck", "add", "C-14", "--bench", folder).code == 0
    room = tiny_disk / "filling"
    for stage, name in (("found", "perished-belt.flac"), ("left", "new-belt.flac")):
        ran = call("measure", recordings / name, "--tone", "3150", "--deck", "C-14",
                   "--stage", stage, "--bench", folder)  # fmt: skip
        _one_sentence(ran, "full")
    assert not room.exists()
    listed = call("deck", "list", "--bench", folder)
    assert (listed.code, "C-14" in listed.out) == (0, True)
    assert call("check", "--bench", folder).code == 0
    report = call("practice", "healthy", "--length", "20", "-o", tiny_disk / "a.wav")
    _one_sentence(report, "cannot be written")
    assert sorted(one.name for one in tiny_disk.iterdir()) == ["bench"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no /dev/full")
def test_printing_to_a_full_disk_gets_one_sentence(bench: Path) -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            command("words"), stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 1
    assert done.stderr == (
        "What was printed could not be written (no space left on device); make room, or print "
        "elsewhere.\n"
    )


def test_a_fault_of_our_own_is_owned_and_its_trace_written_to_a_file(
    call: Call, recordings: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("runstrue.runner.measure_file", broken)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    ran = call("measure", recordings / "new-belt.flac")
    assert ran.code == 70  # EX_SOFTWARE, sysexits.h
    assert len(ran.sentences) == 1
    assert "This is a fault of Runstrue" in ran.err
    (trace,) = tmp_path.glob("runstrue-fault-*.txt")
    assert str(trace) in ran.err
    assert "ZeroDivisionError" in trace.read_text()
