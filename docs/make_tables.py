"""Write the tables of the pages from the program's own, so that they stay true.

Run it with `python docs/make_tables.py`: every table between the marks `<!-- table: NAME -->` and
`<!-- end of table -->` in `docs/*.md` is written anew. A test holds the pages to it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from runstrue.catalogue import KINDS, METHODS
from runstrue.cli.units import units_for
from runstrue.dsp.needle import Needle, pulse_table
from runstrue.dsp.weighting import Weighting, weighting_table
from runstrue.quantity import number_text

FOLDER = Path(__file__).parent
MARKED = re.compile(
    r"(?P<head><!-- table: (?P<name>[a-z-]+) -->\n).*?(?P<foot><!-- end of table -->)", re.DOTALL
)
DEVIATION_RATES_HZ = (500.0, 1000.0)
SINES_HZ = (0.315, 0.5, 0.8, 1.0, 1.6, 2.0, 4.0, 6.3, 10.3, 20.3, 31.7, 40.3, 63.7)
"""Rates of the weighting's table, moved a little from 10 Hz on: a sine that fits a whole number
of times into 500 samples is met at the same few points for ever."""


def main() -> None:
    """Write every page whose tables have changed."""
    for page in sorted(FOLDER.glob("*.md")):
        before = page.read_text(encoding="utf-8")
        after = filled(before)
        if after != before:
            page.write_text(after, encoding="utf-8")
            print(f"{page.name}: tables written anew")


def filled(page: str) -> str:
    """Return a page with its tables written anew."""
    return MARKED.sub(lambda mark: mark["head"] + TABLES[mark["name"]]() + mark["foot"], page)


def pulses() -> str:
    """Pulse figures of the needle: required against reached."""
    rows = []
    for figure in pulse_table():
        low = figure.required_percent - figure.tolerance_percent
        high = figure.required_percent + figure.tolerance_percent
        met = low <= figure.through_weighting_percent <= high
        straight_met = low <= figure.straight_percent <= high
        rows.append(
            (
                figure.words,
                f"{figure.required_percent:.0f} ± {figure.tolerance_percent:.0f}",
                f"{figure.through_weighting_percent:.1f}{'' if met else ', **not met**'}",
                f"{figure.straight_percent:.1f}{'' if straight_met else ', **not met**'}",
                figure.standing,
            )
        )
    heading = ("", "required, %", "reached, %", "reached if they enter behind the weighting, %",
               "known from")  # fmt: skip
    return _table(heading, rows)


def sines() -> str:
    """What the needle shows of a steady sine, against its peak."""
    time_s = np.arange(int(40 * DEVIATION_RATES_HZ[0])) / DEVIATION_RATES_HZ[0]
    waves = np.sin(2 * np.pi * np.array(SINES_HZ)[:, None] * time_s)
    shown = Needle(DEVIATION_RATES_HZ[0]).process(waves)[:, time_s.size // 2 :].max(axis=1)
    return _table(
        ("rate, Hz", "the needle's highest point against the peak, dB"),
        [
            (f"{rate:g}", _decibels(20 * np.log10(reading), 1))
            for rate, reading in zip(SINES_HZ, shown, strict=True)
        ],
    )


def weighting() -> str:
    """Table of the standard against the filter's own response."""
    rates_hz, weights_db = weighting_table()
    reached = [
        20 * np.log10(np.abs(Weighting(rate).response(rates_hz))) for rate in DEVIATION_RATES_HZ
    ]
    filters = (f"filter at {rate:.0f} Hz, less table, dB" for rate in DEVIATION_RATES_HZ)
    heading = ("rate, Hz", "table, dB", *filters)
    return _table(
        heading,
        [
            (f"{rate:g}", _decibels(wanted, 1), *(_decibels(row[k] - wanted, 2) for row in reached))
            for k, (rate, wanted) in enumerate(zip(rates_hz, weights_db, strict=True))
        ],
    )


def methods() -> str:
    """Methods of all readings."""
    return _table(
        ("key", "in words", "source"),
        [(f"`{one.key}`", one.words, one.source) for one in METHODS.values()],
    )


def typed() -> str:
    """What is not read from a tone can be typed in."""
    return _table(
        ("id", "what", "kept in", "typed in"),
        [
            (f"`{kind.id}`", kind.name, kind.unit, ", ".join(units_for(kind)))
            for kind in KINDS.values()
            if not kind.id.startswith(("speed.", "flutter."))
        ],
    )


TABLES: dict[str, Callable[[], str]] = {
    "pulses": pulses,
    "sines": sines,
    "weighting": weighting,
    "methods": methods,
    "typed": typed,
}


def _table(heading: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [heading, ["---"] * len(heading), *rows]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _decibels(value: float, decimals: int) -> str:
    """Print with a sign and a true minus, and zero without one."""
    return number_text(float(value), decimals, signed=round(float(value), decimals) != 0)


if __name__ == "__main__":
    main()
