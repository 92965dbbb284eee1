"""`make bench`, or `python -m benchmarks [--write] [--seeds N] [--only PART…]`.

Prints the figures that are to be reached and those that are, with their ratio; times are given
as ratios of one run, so that they mean the same on another machine. The exit code is 1 when
a part broke down, and 0 when a figure was merely not reached.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import scipy

from benchmarks.browser import browser_rows
from benchmarks.faults import fault_rows
from benchmarks.figures import figure_rows
from benchmarks.finding import finding_rows
from benchmarks.parts import parts_rows
from benchmarks.proof import SEEDS, coverage_rows
from benchmarks.row import Broken, Row, as_markdown, as_text
from benchmarks.sheet import sheet_rows
from benchmarks.speed import shell_rows, time_rows
from runstrue import __version__

PAGE = Path(__file__).parents[1] / "docs" / "benchmarks.md"

PARTS: dict[str, Callable[[argparse.Namespace], Iterable[Row]]] = {
    "time": lambda _: time_rows(),
    "shell": lambda _: shell_rows(),
    "figures": lambda _: figure_rows(),
    "faults": lambda _: fault_rows(),
    "finding": lambda _: finding_rows(),
    "parts": lambda _: parts_rows(),
    "sheet": lambda _: sheet_rows(),
    "browser": lambda _: browser_rows(),
    "coverage": lambda wanted: coverage_rows(wanted.seeds),
}


def main(arguments: list[str] | None = None) -> int:
    """Run all parts and print the table."""
    wanted = _arguments(arguments)
    rows: list[Row] = []
    broken: list[Broken] = []
    begin = time.perf_counter()
    for name in wanted.only or PARTS:
        print(f"{time.perf_counter() - begin:5.0f} s  {name} …", file=sys.stderr, flush=True)
        try:
            # a row that came out is kept even if a later one of its part breaks down
            for row in PARTS[name](wanted):
                rows.append(row)
        except Exception as error:  # whatever it is, the other parts are still worth running
            broken.append(Broken(name, f"{type(error).__name__}: {error}"))
    took_s = time.perf_counter() - begin
    print(as_text(rows))
    print(f"\n{_machine()}; {took_s / 60:.1f} min in all.")
    for part in broken:
        print(f"Broken down: {part.part}: {part.why}", file=sys.stderr)
    if wanted.write and not broken and not wanted.only:
        PAGE.write_text(_page(rows), encoding="utf-8")
        print(f"Written to {PAGE}")
    return 1 if broken else 0


def _arguments(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument(
        "--write", action="store_true", help="write docs/benchmarks.md as well, when all ran"
    )
    parser.add_argument("--seeds", type=int, default=SEEDS, help="seeds for the coverage")
    parser.add_argument("--only", nargs="+", choices=PARTS, help="parts to run")
    return parser.parse_args(arguments)


def _machine() -> str:
    """Describe the machine in general words."""
    return (
        f"{os.cpu_count()} cores ({platform.machine()}), {platform.system()}, "
        f"Python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}"
    )


def _page(rows: list[Row]) -> str:
    reached = sum(row.is_reached for row in rows)
    return f"""# Figures reached

What `make bench` printed for version {__version__}: {reached} of {len(rows)} figures are reached.
A ratio is what was reached over what is to be reached. Times depend on the machine; ratios of
times come from one run and hardly do.

{as_markdown(rows)}

Machine: {_machine()}.
"""


if __name__ == "__main__":
    sys.exit(main())
