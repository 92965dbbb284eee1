"""Pairs as people write them, and as they mistype them."""

from __future__ import annotations

from pathlib import Path

import pytest

from runstrue.errors import FileError, InputError
from runstrue.quantity import Quantity
from runstrue.transport.counter import Pair
from runstrue.transport.counter_pairs import (
    clock_text,
    clock_within,
    read_count,
    read_pair,
    read_pairs,
    read_time_s,
)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("4:58", 298), ("0:07.5", 7.5), ("1:04:10", 3850), ("95:10", 5710), ("298 s", 298),
     ("298s", 298), ("4.9 min", 294), ("4,9 min", 294), (" 4:58 ", 298)],
)  # fmt: skip
def test_times_are_read(text: str, seconds: float) -> None:
    assert read_time_s(text) == pytest.approx(seconds)


@pytest.mark.parametrize(
    "text", ["", "298", "4:5", "4:60", "1:60:00", "-4:58", "4:58:", "nan", "4 58", "4;58", "4 m"]
)
def test_other_times_are_refused(text: str) -> None:
    with pytest.raises(InputError, match="minutes:seconds such as 4:58"):
        read_time_s(text)


@pytest.mark.parametrize("text", ["", "4:58", "100@", "@4:58", "100 4:58"])
def test_half_a_pair_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=f"'{text}' was read as a pair"):
        read_pair(text)


def test_counters_are_read_with_point_comma_and_either_minus() -> None:
    assert [read_count(one) for one in ("456", "45.5", "45,5", "-1", "−1", "007")] == [
        456, 45.5, 45.5, -1, -1, 7,
    ]  # fmt: skip
    for bad in ("", "4x", "1e3", "inf", "4.5.6", "12345678"):
        with pytest.raises(InputError, match="read as a counter"):
            read_count(bad)


def test_a_list_is_read_with_headings_in_any_order_or_with_none(tmp_path: Path) -> None:
    wanted = [Pair(100, 298), Pair(200, 631)]
    for text in (
        "counter,time\n100,4:58\n200,10:31\n",
        "time;remark;counter\n4:58;first;100\n10:31;;200\n",
        "100\t4:58\n\n200\t10:31\n",
        "\ufeffCount, Time\n100, 4:58\n200, 631 s\n",
    ):
        file = tmp_path / "pairs.csv"
        file.write_text(text, encoding="utf-8")
        assert read_pairs(file) == wanted


def test_a_list_that_is_not_clear_is_refused_with_its_line(tmp_path: Path) -> None:
    file = tmp_path / "pairs.csv"
    for text, words in (
        ("", "is empty"),
        ("count,counter,time\n1,2,3:00\n", "one 'counter' and one 'time'"),
        ("counter,played it\n1,3:00\n", "has the columns 'counter', 'played it'"),
        ("counter,time\n100,4:58\n200\n", "line 3 holds one column"),
        ("counter,time\n100,4:58\n200,later\n", "line 3: 'later' was read as a time"),
    ):
        file.write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match=words):
            read_pairs(file)
    file.write_bytes(b"\xff\xfe1\x00")
    with pytest.raises(InputError, match="no text in UTF-8"):
        read_pairs(file)
    with pytest.raises(FileError, match="no such file"):
        read_pairs(tmp_path / "none.csv")


def test_times_are_told_no_finer_than_they_are_known() -> None:
    assert [clock_text(one) for one in (0, 59.6, 3599.4, 3599.6, -61)] == [
        "0:00", "1:00", "59:59", "1:00:00", "−1:01",
    ]  # fmt: skip
    assert clock_within(Quantity(631.2, "s", 1.4)) == "10:31 ±3 s"
    assert clock_within(Quantity(631.2, "s", 0.01)) == "10:31 ±1 s"
    assert clock_within(Quantity(2771.6, "s", 43.0)) == "46.2 ±1.4 min"
    assert clock_within(Quantity(2771.6, "s", 400.0)) == "46 ±13 min"
