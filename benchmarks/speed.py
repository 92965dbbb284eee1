"""How long it takes and how much memory: 45 minutes against decoding, scipy and RAM."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from benchmarks.child import Spent, spend
from benchmarks.recordings import beginning_of, long_recording, warm
from benchmarks.row import Row

REPEATS = 3
LONG_MIN, SHORT_MIN = 45.0, 5.0


def time_rows() -> Iterator[Row]:
    """Wall time of a long recording."""
    long = long_recording(LONG_MIN)
    warm(long)
    decoding: list[Spent] = []
    measuring: list[Spent] = []
    for _ in range(REPEATS):  # alternating, so that a busy minute falls on both
        decoding.append(spend("decode", long))
        measuring.append(spend("measure", long))
    decode_s, measure_s = _typical(decoding), _typical(measuring)
    yield Row(
        "45 min stereo, all readings, against decoding alone",
        f"{measure_s / decode_s:.2f} ×",
        "≤ 2 ×",
        measure_s / decode_s / 2,
        remark=f"FLAC, 48 kHz, 24 bits; medians of {REPEATS} alternating runs in fresh processes: "
        f"{measure_s:.2f} s against {decode_s:.2f} s of decoding in blocks of 2 s "
        f"({60 * LONG_MIN / decode_s:,.0f} times real time); best {_best(measuring):.2f} s and "
        f"{_best(decoding):.2f} s",
    )
    short = beginning_of(long, SHORT_MIN)
    warm(short)
    hilbert = [spend("hilbert", short) for _ in range(2)]
    scaled_s = _best(hilbert) * LONG_MIN / SHORT_MIN
    yield Row(
        "the same against Hilbert and unwrap at full rate",
        f"{scaled_s / measure_s:.1f} × faster",
        "≥ 5 × faster",
        scaled_s / measure_s / 5,
        more_is_better=True,
        remark=f"scipy's transform of {SHORT_MIN:.0f} min at once, decoding included, no readings; "
        f"best of 2, times {LONG_MIN / SHORT_MIN:.0f} for 45 min in such pieces",
    )
    yield from _memory_rows(measuring, [spend("measure", short) for _ in range(2)])


def _memory_rows(long: Sequence[Spent], short: Sequence[Spent]) -> Iterator[Row]:
    long_mb = max(one.peak_mb for one in long)
    short_mb = max(one.peak_mb for one in short)
    yield Row(
        "peak memory, 5 min and 45 min",
        f"{short_mb:.0f} and {long_mb:.0f} MB",
        "≤ 250 MB",
        max(long_mb, short_mb) / 250,
        remark="largest resident set of a process that does nothing else, program and libraries "
        "included",
    )
    kept_mb = (LONG_MIN - SHORT_MIN) * 60 * 500 * 2 * 4 / 1e6
    # pages that the system happens to keep: what equal runs differ by
    scatter_mb = max(one.peak_mb for one in long) - min(one.peak_mb for one in long)
    yield Row(
        "growth of that with the length",
        f"{long_mb - short_mb:.1f} MB",
        f"≤ {kept_mb:.1f} MB",
        max(long_mb - short_mb, 0.0) / kept_mb,
        remark="allowed is the 500 Hz deviation of two channels in single precision for 40 min; "
        f"equal runs differ by {scatter_mb:.1f} MB",
    )


def shell_rows() -> Iterator[Row]:
    """What a person at a keyboard waits for."""
    program = Path(sys.executable).with_name("runstrue")
    minute = beginning_of(long_recording(LONG_MIN), 1.0)
    warm(minute)
    with tempfile.TemporaryDirectory() as bench:
        for what, words, limit_s, repeats in (
            ("runstrue --help", ["--help"], 0.15, 7),
            ("runstrue measure, a file of 60 s", ["measure", str(minute)], 1.5, 5),
        ):
            taken = [_run_s([str(program), *words], bench) for _ in range(repeats)]
            warm_s = statistics.median(taken[1:])
            yield Row(
                what,
                f"{warm_s:.2f} s",
                f"≤ {limit_s:g} s",
                warm_s / limit_s,
                remark=f"from the shell; first run {taken[0]:.2f} s, then the median of "
                f"{repeats - 1}",
            )


def _run_s(words: list[str], bench: str) -> float:
    begin = time.perf_counter()
    subprocess.run(
        words,
        check=True,
        capture_output=True,
        env={**os.environ, "RUNSTRUE_BENCH": bench},
    )
    return time.perf_counter() - begin


def _typical(spent: Sequence[Spent]) -> float:
    return statistics.median(one.seconds for one in spent)


def _best(spent: Sequence[Spent]) -> float:
    return min(one.seconds for one in spent)
