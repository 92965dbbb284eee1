"""Sizes as people write them, held against exact definitions of inch and minute."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runstrue.errors import InputError
from runstrue.transport.sizes import (
    AS_WRITTEN,
    CALIPER,
    MAINS,
    SLEEVE,
    Dimension,
    read_size,
)

# Tape speeds and the names that the trade gives them; 1 in = 2.54 cm exactly.
SPEEDS = [
    ("15/16 in/s", 23.8125), ("2.38 cm/s", 23.8125), ("2.4 cm/s", 23.8125),
    ("1 7/8 in/s", 47.625), ("1.875 ips", 47.625), ("4.76 cm/s", 47.625), ("4,76 cm/s", 47.625),
    ("4.8 cm/s", 47.625), ("4.7625 cm/s", 47.625),
    ("3 3/4 in/s", 95.25), ("9.53 cm/s", 95.25), ("9.5 cm/s", 95.25), ("9.525 cm/s", 95.25),
    ("7 1/2 in/s", 190.5), ("7.5 ips", 190.5), ("19.05 cm/s", 190.5), ("19 cm/s", 190.5),
    ("15 in/s", 381.0), ("38.1 cm/s", 381.0), ("38 cm/s", 381.0),
    ("30 ips", 762.0), ("76.2 cm/s", 762.0), ("76 cm/s", 762.0),
]  # fmt: skip


@pytest.mark.parametrize(("written", "mm_s"), SPEEDS)
def test_a_nominal_speed_is_exact_however_it_is_rounded(written: str, mm_s: float) -> None:
    size = read_size(written, "speed")
    assert size.value == mm_s
    assert size.u == 0


@pytest.mark.parametrize("written", ["4.7 cm/s", "5 cm/s", "4.76±0.01 cm/s", "10 cm/s"])
def test_a_speed_that_is_no_nominal_one_stays_what_it_is(written: str) -> None:
    size = read_size(written, "speed")
    assert size.u > 0
    assert size.value == pytest.approx(10 * float(written.split("±")[0].split()[0]), rel=1e-12)


@pytest.mark.parametrize(
    ("written", "dimension", "value"),
    [
        ("2.40 mm", "length", 2.4), ("2,40 mm", "length", 2.4), ("0.24 cm", "length", 2.4),
        ("3/32 in", "length", 2.38125), ('3/32"', "length", 2.38125), ("3/32″", "length", 2.38125),
        ("1 1/2 in", "length", 38.1), ("0.5 mil", "length", 0.0127), ("12 µm", "length", 0.012),
        ("12 um", "length", 0.012), ("12 μm", "length", 0.012), ("135 m", "length", 135_000),
        ("1800 ft", "length", 548_640), ("2400 rpm", "rate", 40.0), ("2400 1/min", "rate", 40.0),
        ("2400/min", "rate", 40.0), ("40 Hz", "rate", 40.0), ("40 rev/s", "rate", 40.0),
        ("2 %", "share", 2.0), ("  2.40\u00a0mm ", "length", 2.4), ("+2.4 mm", "length", 2.4),
    ],
)  # fmt: skip
def test_units_are_converted_exactly(written: str, dimension: Dimension, value: float) -> None:
    assert read_size(written, dimension).value == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("written", "u"),
    [
        # what it surely lies within, as a rectangle: half-width over √3 (GUM 4.3.7)
        ("2.40±0.02 mm", 0.02 / math.sqrt(3)),
        ("2.40 mm ± 0.02 mm", 0.02 / math.sqrt(3)),
        ("2.40 +/- 0.02 mm", 0.02 / math.sqrt(3)),
        ("2.40 mm ± 1 %", 0.024 / math.sqrt(3)),
        ("1 in ± 1/64 in", 25.4 / 64 / math.sqrt(3)),
        ("2.40 mm (u 0.01 mm)", 0.01),
    ],
)
def test_an_uncertainty_that_is_written_is_taken(written: str, u: float) -> None:
    assert read_size(written, "length", CALIPER).u == pytest.approx(u, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "instrument", "half_widths"),
    [
        ("2.40 mm", AS_WRITTEN, [0.005]),
        ("2.4 mm", AS_WRITTEN, [0.05]),
        ("60 mm", CALIPER, [0.5, 0.05]),
        ("3/32 in", AS_WRITTEN, [25.4 / 64]),
        ("135 m", SLEEVE, [500.0, 5400.0]),
    ],
)
def test_without_one_the_last_digit_and_the_instrument_count(
    written: str, instrument: object, half_widths: list[float]
) -> None:
    size = read_size(written, "length", instrument)  # type: ignore[arg-type]
    expected = math.sqrt(sum(half**2 / 3 for half in half_widths))
    assert size.u == pytest.approx(expected, rel=1e-12)


def test_the_mains_frequency_is_a_name_whose_digits_say_nothing() -> None:
    assert read_size("50 Hz", "rate", MAINS).u == pytest.approx(0.1 / math.sqrt(3), rel=1e-12)


def test_a_bare_number_needs_its_unit_said_elsewhere() -> None:
    assert read_size(12.5, "length", bare_unit="mm").value == 12.5
    assert read_size("12.5", "length", bare_unit="in").value == pytest.approx(317.5)
    for bare in (12.5, "12.5", "12,5"):
        with pytest.raises(InputError, match="has no unit"):
            read_size(bare, "length")


@pytest.mark.parametrize(
    ("written", "dimension", "words"),
    [
        ("2.4 kg", "length", "has the unit 'kg'"), ("2.4 mm", "rate", "has the unit 'mm'"),
        ("0 mm", "length", "above zero"), ("-3 mm", "length", "above zero"),
        ("−3 mm", "length", "above zero"), ("1/0 in", "length", "holds no number"),
        ("nan mm", "length", "was read as"), (math.nan, "length", "was read as"),
        (math.inf, "length", "was read as"), ("1e3 mm", "length", "was read as"),
        ("mm", "length", "was read as"), ("", "length", "was read as"),
        ("2 mm 3 in", "length", "was read as"), ("2 mm ± 0.1 in", "length", "two units"),
        ("about 2 mm", "length", "was read as"), ("2.4.1 mm", "length", "was read as"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_in_one_sentence(
    written: str | float, dimension: Dimension, words: str
) -> None:
    with pytest.raises(InputError, match=words) as error:
        read_size(written, dimension, bare_unit="mm")
    assert str(error.value).endswith("needed.")


@given(st.text(max_size=20), st.sampled_from(["length", "speed", "rate", "share"]))
def test_any_text_is_read_or_refused(text: str, dimension: Dimension) -> None:
    try:
        size = read_size(text, dimension)
    except InputError:
        return
    assert size.value > 0
    assert size.u >= 0


@given(st.integers(1, 99_999), st.integers(0, 4), st.sampled_from(["mm", "cm", "in"]))
def test_a_plain_decimal_is_read_as_python_reads_it(digits: int, places: int, unit: str) -> None:
    number = f"{digits / 10**places:.{places}f}"
    factor = {"mm": 1.0, "cm": 10.0, "in": 25.4}[unit]
    assert read_size(f"{number} {unit}", "length").value == pytest.approx(
        float(number) * factor, rel=1e-15
    )
