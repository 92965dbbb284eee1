"""Recordings to measure, a bench of one's own, and two ways to call the command line."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from runstrue.cli.main import main
from runstrue.cli.practice import play_to
from runstrue.virtualdeck.presets import preset

LENGTH_S = 24.0
SHEET = "Wow and flutter 0.2 % DIN; speed ±1.5 %; take-up torque 35-60 g·cm"


@dataclass(frozen=True)
class Ran:
    """What a call gave."""

    code: int
    out: str
    err: str

    @property
    def sentences(self) -> list[str]:
        return [line for line in self.err.splitlines() if line.strip()]


Call = Callable[..., Ran]


@pytest.fixture(scope="session")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a deck as found and as left, half a minute each."""
    folder = tmp_path_factory.mktemp("recordings")
    for key in ("perished-belt", "new-belt"):
        play_to(preset(key), folder / f"{key}.flac", length_s=LENGTH_S)
    return folder


@pytest.fixture(scope="session")
def benches(recordings: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a bench with a deck measured as found and as left with one named tape."""
    folder = tmp_path_factory.mktemp("benches")
    tape = folder / "sallowby.toml"
    deck = ["--deck", "C-14", "--bench", str(folder / "bench")]
    calls = [
        ["tape", "new", str(tape)],
        ["deck", "add", "C-14", "--maker", "Wrenholm", "--model", "C-14", "--year", "1979",
         *deck[2:]],
        ["sheet", SHEET, "--source", "leaflet", *deck],
        *(
            ["measure", str(recordings / f"{name}.flac"), "--tape", str(tape), "--stage", stage,
             "--side", "A", *deck]
            for stage, name in (("found", "perished-belt"), ("left", "new-belt"))
        ),
    ]  # fmt: skip
    for arguments in calls:
        assert main(arguments) == 0
    return folder / "bench"


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a bench folder of its own, so that no test meets the user's logbook."""
    folder = tmp_path / "bench"
    monkeypatch.setenv("RUNSTRUE_BENCH", str(folder))
    return folder


@pytest.fixture
def call(bench: Path, capsys: pytest.CaptureFixture[str]) -> Call:
    """Call the command line in this process."""

    def run(*arguments: str | Path) -> Ran:
        capsys.readouterr()
        code = main([str(one) for one in arguments])
        told = capsys.readouterr()
        return Ran(code, told.out, told.err)

    return run


@pytest.fixture
def stored(call: Call, benches: Path, bench: Path) -> Call:
    """Return the call, on a copy of the bench with a deck found and left."""
    shutil.copytree(benches, bench)
    return call


@pytest.fixture
def shell(bench: Path) -> Call:
    """Call the command line as a shell does, in a process of its own."""

    def run(
        *arguments: str | Path, env: dict[str, str] | None = None, text: str | None = None
    ) -> Ran:
        done = subprocess.run(
            command(*arguments),
            env={**os.environ, **(env or {})},
            input=text,
            capture_output=True,
            encoding="utf-8",
            timeout=60,
            check=False,
        )
        return Ran(done.returncode, done.stdout, done.stderr)

    return run


def command(*arguments: str | Path) -> list[str]:
    """Return the words of a call in a process of its own."""
    started = "from runstrue.cli.main import run; run()"
    return [sys.executable, "-c", started, *(str(one) for one in arguments)]
