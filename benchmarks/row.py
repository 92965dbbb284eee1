"""One row of the table: what was asked, what came out, and whether that is enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One figure to reach.

    Parameters
    ----------
    what : str
    reached, reach : str
        With units, as printed.
    ratio : float
        Reached over reach: at most 1 is reached, unless `more_is_better`.
    more_is_better : bool
    remark : str
        How it was measured, in one clause.
    """

    what: str
    reached: str
    reach: str
    ratio: float
    more_is_better: bool = False
    remark: str = ""

    @property
    def is_reached(self) -> bool:
        """Whether the figure is good enough."""
        return self.ratio >= 1 if self.more_is_better else self.ratio <= 1


@dataclass(frozen=True, slots=True)
class Broken:
    """A part of the benchmark that could not be run."""

    part: str
    why: str


def as_text(rows: Sequence[Row]) -> str:
    """Set rows as a plain table."""
    cells = [("what", "reached", "to reach", "ratio", "")]
    cells += [(row.what, row.reached, row.reach, _ratio(row), _verdict(row)) for row in rows]
    widths = [max(len(line[column]) for line in cells) for column in range(5)]
    lines = []
    for number, line in enumerate(cells):
        texts = [
            text.rjust(width) if column == 3 else text.ljust(width)
            for column, (text, width) in enumerate(zip(line, widths, strict=True))
        ]
        lines.append("  ".join(texts).rstrip())
        if number == 0:
            lines.append("─" * (sum(widths) + 8))
    return "\n".join(lines)


def as_markdown(rows: Sequence[Row]) -> str:
    """Set rows as a Markdown table, remarks below."""
    lines = ["| what | reached | to reach | ratio | |", "|---|---|---|---:|---|"]
    lines += [
        f"| {row.what} | {row.reached} | {row.reach} | {_ratio(row)} | {_verdict(row)} |"
        for row in rows
    ]
    remarks = dict.fromkeys(f"- {row.what}: {row.remark}." for row in rows if row.remark)
    return "\n".join([*lines, "", *remarks])


def _verdict(row: Row) -> str:
    return "reached" if row.is_reached else "not reached"


def _ratio(row: Row) -> str:
    return f"{row.ratio:.3g}" if row.ratio < 1000 else f"{row.ratio:.0f}"
