"""Ctrl-C: one sentence, exit code 130, nothing half-written."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path

from tests.cli.conftest import command


def _heeds_ctrl_c() -> None:
    """A shell that starts these tests in the background has them, and their children, ignore it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _stopped(arguments: list[str | Path], ready: Path, bench: Path) -> subprocess.CompletedProcess:
    """Call, and send what Ctrl-C sends to the whole group once something of `ready` is there."""
    process = subprocess.Popen(
        command(*arguments),
        env={**os.environ, "RUNSTRUE_BENCH": str(bench)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=_heeds_ctrl_c,
    )
    deadline = time.monotonic() + 30
    while not list(ready.glob(".part-*")) and time.monotonic() < deadline:
        assert process.poll() is None, process.communicate()
        time.sleep(0.02)
    time.sleep(0.3)
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=30)
    return subprocess.CompletedProcess(arguments, process.returncode, out, err)


def test_a_stopped_recording_leaves_nothing_half_written(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    folder.mkdir()
    done = _stopped(
        ["practice", "healthy", "--length", "3000", "-o", folder / "long.flac"], folder, tmp_path
    )
    assert done.returncode == 130  # 128 + SIGINT, as shells report it
    assert done.stderr.strip() == "Stopped; nothing was left half-written."
    assert list(folder.iterdir()) == []


def test_a_stop_while_several_files_are_measured_stores_nothing_and_says_so(
    recordings: Path, bench: Path
) -> None:
    files = [recordings / "new-belt.flac"] * 200
    process = subprocess.Popen(
        command("measure", *files),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=_heeds_ctrl_c,
    )
    assert process.stdout is not None
    for _ in range(2):  # the heading and the first recording: the work is under way
        assert process.stdout.readline()
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert err.strip() == "Stopped; nothing was left half-written."
    assert not bench.exists()
