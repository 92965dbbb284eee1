"""Recordings of a programme side by side."""

from __future__ import annotations

from pathlib import Path

from runstrue.cli.layout import shown_width
from runstrue.cli.measured import Done
from runstrue.cli.side_by_side import side_by_side_lines
from runstrue.quantity import Quantity
from runstrue.result import Measured, Result


def done(name: str, *results: Result) -> Done:
    return Done(name, Path(name), measured=Measured("", results))


def noise(value: float, channel: str = "left") -> Result:
    return Result("noise.a", "noise/1", channel, Quantity(value, "dB", 0.05))


SPEED = Result("speed.deviation", "bell-mean/1", "both", Quantity(0.2, "%", 0.1))


def test_each_recording_has_its_column() -> None:
    lines = list(side_by_side_lines([
        done("normal.flac", noise(55.123), SPEED), done("chrome.flac", noise(59.4), SPEED),
    ]))  # fmt: skip
    assert "normal.flac" in lines[2]
    assert "chrome.flac" in lines[2]
    row = next(line for line in lines if "A-weighted" in line)
    assert row.split()[-4:] == ["55.12", "dB", "59.40", "dB"]
    assert not any("speed" in line for line in lines)
    assert all(shown_width(line) <= 80 for line in lines)


def test_what_only_one_of_them_holds_is_left_out() -> None:
    both = [done("a.flac", noise(50), noise(51, "right")), done("b.flac", noise(52))]
    assert not any("right" in line for line in side_by_side_lines(both))
    assert list(side_by_side_lines([done("a.flac", SPEED), done("b.flac", SPEED)])) == []


def test_many_go_on_below() -> None:
    many = [done(f"{number}.flac", noise(50 + number)) for number in range(5)]
    lines = list(side_by_side_lines(many))
    assert sum("A-weighted" in line for line in lines) == 2
    assert all(shown_width(line) <= 80 for line in lines)
