"""The truth about a practice recording, told once it has been measured."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

NAMES = {"response.gain": "response"}


def truth_lines(path: Path) -> Iterator[str]:
    """Yield what was wrong with the deck, and what a perfect sheet would say.

    Raises
    ------
    FileError
        When there is no truth beside the recording.
    """
    from runstrue.cli.layout import bold, wrapped
    from runstrue.cli.practice import deck_named
    from runstrue.virtualdeck.write import read_truth, truth_path

    truth = read_truth(path if path.name.endswith(".truth.json") else truth_path(path))
    deck = truth["deck"]
    yield bold(f"{deck['name']}: {truth['stimulus']}")
    if deck.get("preset"):
        yield from wrapped(f"Fault: {deck_named(deck['preset']).part}.", "  ", first="  ")
    if "mean_deviation_percent" in truth:
        said = f"{truth['mean_deviation_percent']:+.3f} %".replace("-", "−")
        yield from wrapped(f"Tape speed on the mean: {said}.", "  ", first="  ")
    figures = truth.get("sheet") or []
    yield from _sheet(figures) if figures else _components(deck)


def _components(deck: Mapping[str, Any]) -> Iterator[str]:
    """Say what turns, how fast and how much."""
    from runstrue.cli.layout import table

    rows = [
        (one["part"], f"{one['rate_hz']:.2f} Hz", f"±{one['peak_percent']:g} %")
        for one in deck.get("components", [])
    ]
    if rows:
        yield ""
        yield from table([("part", "rate", "peak"), *rows], "<>>", indent="  ")


def _sheet(figures: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """A row for each quantity and place; left and right beside each other."""
    from runstrue.cli.layout import table
    from runstrue.report.words import name_of

    found: dict[tuple[str, str], dict[str, str]] = {}
    for one in figures:
        decimals = 3 if one["unit"] == "%" else 2
        value = f"{one['value']:.{decimals}f}".replace("-", "−")
        found.setdefault((one["id"], one["at"].replace("-", "−")), {})[one["channel"]] = value
    units = {one["id"]: one["unit"] for one in figures}
    several = {
        one for one, count in Counter(quantity for quantity, _ in found).items() if count > 1
    }
    rows, last = [("true value", "left", "right", "both")], ""
    for (quantity, at), values in found.items():
        name = f"{NAMES.get(quantity) or name_of(quantity)} ({units[quantity]})"
        shown = [values.get(channel, "") for channel in ("left", "right", "both")]
        if quantity in several and quantity != last:
            rows.append((name, "", "", ""))
        label = f"  {at}" if quantity in several else ", ".join(part for part in (name, at) if part)
        rows.append((label, shown[0], shown[1], shown[2]))
        last = quantity
    yield ""
    yield from table(rows, "<>>>", indent="  ")
