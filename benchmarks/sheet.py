"""The whole sheet against its figures: time, memory, accuracy, honest uncertainties.

`python -m benchmarks.sheet [--seeds N] [--only time accuracy coverage]`
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from benchmarks.child import middle_s, side_by_side
from benchmarks.finding import write_worn
from benchmarks.row import Row, as_text
from benchmarks.sheet_coverage import CASES
from benchmarks.sheet_figures import accuracy_rows
from runstrue.stimulus.programmes import programme

SEEDS = 100
WITHIN = {"overall": 0.93}
RANDOM = 0.92
"""Share of truths that twice the standard uncertainty has to hold: the lower end of what is asked
of the random parts of budgets, and of whole ones where tape and calibration are drawn anew."""


def sheet_rows(seeds: int = SEEDS) -> Iterator[Row]:
    """Rows of the table."""
    yield from time_rows()
    yield from accuracy_rows()
    yield from coverage_rows(seeds)


def time_rows() -> Iterator[Row]:
    """Time and memory of the full sheet, in processes of their own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "full-sheet.flac"
        write_worn(programme("full-sheet"), path)
        spent = side_by_side(("decode", "sheet"), path)
    decode_s, sheet_s = middle_s(spent["decode"]), middle_s(spent["sheet"])
    yield Row(
        "the full sheet measured, against decoding alone", f"{sheet_s / decode_s:.2f} ×", "≤ 4 ×",
        sheet_s / decode_s / 4,
        remark=f"14.5 min, FLAC, 48 kHz stereo; medians of 3 runs: {sheet_s:.1f} s against "
        f"{decode_s:.1f} s",
    )  # fmt: skip
    peak_mb = max(one.peak_mb for one in spent["sheet"])
    yield Row("peak memory of that", f"{peak_mb:.0f} MB", "≤ 300 MB", peak_mb / 300)


def coverage_rows(seeds: int = SEEDS) -> Iterator[Row]:
    """How often twice the uncertainty holds the truth, for each kind of reading."""
    for name, case in CASES.items():
        found: dict[str, list[float]] = {}
        for seed in range(seeds):
            for quantity, ratio in case(seed).items():
                found.setdefault(quantity, []).append(abs(ratio))
        reach = WITHIN.get(name, RANDOM)
        for quantity, ratios in found.items():
            share = float(np.mean(np.array(ratios) <= 2))
            # so many seeds scatter by so much themselves: two standard deviations of the share
            least = reach - 2 * float(np.sqrt(reach * (1 - reach) / len(ratios)))
            yield Row(
                f"{quantity} within 2 u ({name})", f"{100 * share:.0f} %", f"≥ {100 * reach:.0f} %",
                share / least, more_is_better=True,
                remark=f"{len(ratios)} seeds; r.m.s. of error over u "
                f"{float(np.sqrt(np.mean(np.square(ratios)))):.2f}",
            )  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the rows."""
    parts = {"time": lambda _: time_rows(), "accuracy": lambda _: accuracy_rows(),
             "coverage": coverage_rows}  # fmt: skip
    parser = argparse.ArgumentParser(prog="python -m benchmarks.sheet")
    parser.add_argument("--seeds", type=int, default=SEEDS)
    parser.add_argument("--only", nargs="+", choices=parts, default=list(parts))
    wanted = parser.parse_args(arguments)
    rows = [row for name in wanted.only for row in parts[name](wanted.seeds)]
    print(as_text(rows))
    for row in rows:
        if row.remark:
            print(f"- {row.what}: {row.remark}.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
