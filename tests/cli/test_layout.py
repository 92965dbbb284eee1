"""Lines for a terminal: wrapping, columns, progress, the small spectrum."""

from __future__ import annotations

import math

import pytest

from runstrue.cli.layout import columns, plainer, shown_width, table, wrapped
from runstrue.cli.progress import line_of
from runstrue.cli.show_spectrum import COLUMNS, INDENT, ROWS, drawn


def test_a_number_stays_with_its_unit_when_a_line_is_broken() -> None:
    for width in range(12, 60):
        lines = wrapped("the speed is 63 Hz below 3150 Hz and 0.14 % off", width=width)
        assert not any(line.strip().startswith(("Hz", "%")) for line in lines)


def test_marks_take_no_column_and_wide_characters_two() -> None:
    # Unicode Standard Annex 11: ideographs are wide; a combining mark takes no place
    assert shown_width("録音") == 4
    assert shown_width("e\u0301") == 1


def test_columns_line_up_whatever_the_characters() -> None:
    lines = table([["録音", "1"], ["recording", "22"]], "<>")
    assert len({shown_width(line) for line in lines}) == 1
    assert columns(["a", "b"], [3, 3], "<>") == "a      b"


def test_plain_terminals_get_plain_signs() -> None:
    assert plainer("−0.31 % ±0.2 ≤ 5 µs").isascii()


@pytest.mark.parametrize(
    ("done", "spent", "words"),
    [
        # 600 s of sound in 2 s: 300 times real time; 2100 s are left, 7 s at that pace
        (600.0, 2.0, "22 %  10:00 of 45:00  300 × real time  about 7 s left"),
        (2700.0, 9.0, "100 %  45:00 of 45:00  300 × real time  about 0 s left"),
    ],
)
def test_progress_tells_share_rate_and_time_left(done: float, spent: float, words: str) -> None:
    assert line_of("side-a.flac", done, 2700.0, spent, "s").endswith(words)


def test_progress_fits_a_line_whatever_the_name() -> None:
    name = "a very long name of a recording from a long tape, side B.flac"
    assert len(line_of(name, 5000.0, 360_000.0, 1.0, "s")) <= 79


@pytest.mark.parametrize("rate_hz", [0.15, 0.55, 4.0, 27.0, 150.0])
def test_a_lone_line_stands_above_its_rate_on_the_axis(rate_hz: float) -> None:
    rates = [0.1 * 2000 ** (step / 1999) for step in range(2000)]
    nearest = min(range(2000), key=lambda step: abs(math.log(rates[step] / rate_hz)))
    peaks = [0.001] * 2000
    peaks[nearest] = 0.1
    lines = drawn(rates, peaks, " #")
    place = lines[0].index("#") - INDENT
    # the axis runs over 0.1 to 200 Hz, a factor of 2000, in equal ratios
    expected = math.log(rate_hz / 0.1) / math.log(2000) * COLUMNS
    assert abs(place + 0.5 - expected) <= 1
    assert len(lines) == ROWS + 1


def test_heights_are_logarithmic() -> None:
    rates = [0.1 * 2000 ** (step / 199) for step in range(200)]
    peaks = [0.1 if rate < 1 else 0.01 for rate in rates]
    lines = drawn(rates, peaks, " #")
    heights = [sum(len(line) > INDENT + c and line[INDENT + c] == "#" for line in lines[:ROWS])
               for c in (2, COLUMNS - 2)]  # fmt: skip
    # the drawing spans two decades: a tenth stands half of it lower
    assert heights[0] - heights[1] == ROWS // 2


def test_nothing_at_all_is_drawn_as_words() -> None:
    assert "nothing above zero" in drawn([1.0, 2.0], [0.0, 0.0], " #")[0]
