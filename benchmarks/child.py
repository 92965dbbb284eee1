"""One piece of work in a process of its own: `python -m benchmarks.child WORK FILE`.

Prints a line of JSON: seconds of wall time for the work itself (imports not counted) and the
peak of the memory that the process held (imports counted).
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

REPOSITORY = Path(__file__).parents[1]


@dataclass(frozen=True, slots=True)
class Spent:
    """What a piece of work took."""

    seconds: float
    peak_mb: float


def spend(work: str, path: Path) -> Spent:
    """Do a piece of work on a file in a fresh process."""
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.child", work, str(path)],
        cwd=REPOSITORY,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        last = (done.stderr.strip().splitlines() or ["no message"])[-1]
        raise RuntimeError(f"{work} of {path.name} failed: {last}")
    return Spent(**json.loads(done.stdout))


def side_by_side(works: Sequence[str], path: Path, times: int = 3) -> dict[str, list[Spent]]:
    """Do several pieces of work in turn, so that a busy minute falls on all of them."""
    spent: dict[str, list[Spent]] = {work: [] for work in works}
    for _ in range(times):
        for work in works:
            spent[work].append(spend(work, path))
    return spent


def middle_s(spent: Sequence[Spent]) -> float:
    """Median of the seconds."""
    return sorted(one.seconds for one in spent)[len(spent) // 2]


def decode(path: Path) -> Callable[[], None]:
    """Read a file block by block and do nothing with it."""
    import soundfile

    def work() -> None:
        with soundfile.SoundFile(path) as sound:
            frames = 2 * sound.samplerate
            while len(sound.read(frames, dtype="float32", always_2d=True)):
                pass

    return work


def measure(path: Path) -> Callable[[], None]:
    """Take all readings of a file."""
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.runner import measure_file

    def work() -> None:
        outcome = measure_file(path, TonePlan())
        if outcome.error is not None:
            raise outcome.error

    return work


def hilbert(path: Path) -> Callable[[], None]:
    """Deviation at full rate by scipy: analytic signal, unwrapped phase, its slope. No readings."""
    import numpy as np
    import soundfile
    from scipy import signal

    def work() -> None:
        samples, rate_hz = soundfile.read(path, always_2d=True)
        for channel in samples.T:
            phase = np.unwrap(np.angle(signal.hilbert(channel)))
            np.diff(phase) * (rate_hz / (2 * np.pi * 3150)) * 100 - 100

    return work


def find(path: Path) -> Callable[[], None]:
    """Find the sections of the programme that the file is named after."""
    from runstrue.capture.file import FileSource
    from runstrue.measure.finding import find_sections
    from runstrue.stimulus.programmes import programme

    def work() -> None:
        finding = find_sections(FileSource(path, hashed=False), programme(path.stem))
        if finding.missing:
            raise RuntimeError(f"{len(finding.missing)} sections were not found")

    return work


def sheet(path: Path) -> Callable[[], None]:
    """Measure everything of the programme that the file is named after."""
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.measure.whole_sheet import ProgrammePlan
    from runstrue.runner import measure_file
    from runstrue.stimulus.programmes import programme

    plan = ProgrammePlan(programme(path.stem), TonePlan())

    def work() -> None:
        outcome = measure_file(path, plan)
        if outcome.error is not None:
            raise outcome.error
        if outcome.measured is None or len(outcome.measured.results) < 80:
            raise RuntimeError("the sheet is not whole")

    return work


WORKS = {"decode": decode, "measure": measure, "hilbert": hilbert, "find": find, "sheet": sheet}


def main() -> None:
    """Do the work that the command line names."""
    work = WORKS[sys.argv[1]](Path(sys.argv[2]))
    begin = time.perf_counter()
    work()
    seconds = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # KiB on Linux, bytes on macOS
    peak_mb = peak / (1e6 if sys.platform == "darwin" else 1e6 / 1024)
    print(json.dumps({"seconds": seconds, "peak_mb": peak_mb}))


if __name__ == "__main__":
    main()
