"""Units of dials against published conversion factors."""

from __future__ import annotations

import pytest

from runstrue.catalogue import KINDS
from runstrue.cli.enter import kind_named, typed_result
from runstrue.cli.plan import number_of
from runstrue.cli.units import FACTORS, factor_to, units_for
from runstrue.errors import InputError


@pytest.mark.parametrize(
    ("quantity", "unit", "factor"),
    [
        # NIST Special Publication 811 (2008), appendix B.8 (from memory, sure): ounce-force inch
        # to N·m 7.061 552 E−03; kilogram-force to N 9.806 65; ounce-force to N 2.780 139 E−01
        ("torque.take_up", "oz·in", 7.061552),
        ("torque.take_up", "oz-in", 7.061552),
        ("force.pinch", "kgf", 9.80665),
        ("force.pinch", "oz", 0.2780139),
        # 1 g·cm = 0.980665 N·mm/10: a gram-force, 9.80665 mN, at a hundredth of a metre
        ("torque.rewind", "g·cm", 0.0980665),
        ("torque.rewind", "gf.cm", 0.0980665),
        ("torque.rewind", "g/cm", 0.0980665),
        ("torque.rewind", "g cm", 0.0980665),
        ("torque.rewind", "N·cm", 10.0),
        ("force.pinch", "g", 9.80665e-3),
        ("force.capstan_pull", "cN", 0.01),
        ("voltage.point", "mV", 0.001),
        ("output.voltage", "V", 1000.0),
        ("time.wind", "min", 60.0),
        ("play.capstan_end", "µm", 0.001),
        ("flutter.indicated_peak", "%", 1.0),
    ],
)
def test_a_unit_is_converted_by_the_published_factor(
    quantity: str, unit: str, factor: float
) -> None:
    # seven figures are published
    assert factor_to(KINDS[quantity], unit) == pytest.approx(factor, rel=2e-7)


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.id)
def test_every_kind_takes_its_own_unit_and_those_it_offers(kind) -> None:
    assert kind.unit in FACTORS
    assert factor_to(kind, kind.unit) == 1.0
    for unit in units_for(kind):
        assert factor_to(kind, unit) > 0


@pytest.mark.parametrize(
    ("quantity", "unit"), [("torque.take_up", "V"), ("force.pinch", "dB"), ("time.wind", "")]
)
def test_a_unit_of_something_else_is_refused(quantity: str, unit: str) -> None:
    with pytest.raises(InputError, match="that belongs to it is needed"):
        factor_to(KINDS[quantity], unit)


def test_a_typed_reading_carries_its_uncertainty_and_what_was_typed() -> None:
    result = typed_result(KINDS["torque.take_up"], "42±3", "g·cm", None)
    assert result.quantity is not None
    assert result.quantity.value == pytest.approx(4.118793)  # 42 × 0.0980665
    assert result.quantity.u == pytest.approx(0.2941995)  # 3 × 0.0980665
    assert result.conditions["entered"] == "42 g·cm"


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "words"),
    [
        ("0.19", None, None, None, "has no uncertainty"),
        ("0.19±0.01", "0.01", None, None, "one uncertainty is needed"),
        ("much", "0.01", None, None, "a number such as 42"),
        ("0.19", "0.01", "0.16", None, "--low and --high are needed"),
        ("0.30", "0.01", "0.16", "0.23", "between its lowest and its highest"),
        ("0.19", "-0.01", None, None, "zero or more is needed"),
        ("nan", "0.01", None, None, "a number such as 42"),
        ("1e999", "0.01", None, None, "a number such as 42"),
    ],
)
def test_a_reading_that_is_typed_wrongly_is_refused(
    value: str, u: str | None, low: str | None, high: str | None, words: str
) -> None:
    with pytest.raises(InputError, match=words):
        typed_result(KINDS["flutter.indicated_peak"], value, "%", u, low=low, high=high)


@pytest.mark.parametrize(
    ("typed", "quantity_id"),
    [
        ("torque.take_up", "torque.take_up"),
        ("take-up", "torque.take_up"),
        ("Take-up torque in play", "torque.take_up"),
        ("pinch", "force.pinch"),
        ("needle", "flutter.indicated_peak"),
        ("winding time", "time.wind"),
        ("voltage at a point", "voltage.point"),
    ],
)
def test_a_quantity_is_found_by_id_or_part_of_its_name(typed: str, quantity_id: str) -> None:
    assert kind_named(typed).id == quantity_id


def test_a_name_that_fits_several_or_none_is_asked_back() -> None:
    with pytest.raises(InputError, match=r"torque\.take_up, torque\.back_tension"):
        kind_named("torque")
    with pytest.raises(InputError, match=r"perhaps force\.pinch"):
        kind_named("pinch forse")


@pytest.mark.parametrize(
    ("text", "value"),
    [("0,19", 0.19), ("−0.3", -0.3), ("-0.3", -0.3), ("+2", 2.0), ("1e3", 1000.0), (".5", 0.5)],
)
def test_numbers_are_read_as_people_write_them(text: str, value: float) -> None:
    assert number_of(text) == value


@pytest.mark.parametrize("text", ["", "1,000.5", "inf", "nan", "0x10", "1_000", "--1", "1e999"])
def test_what_is_no_plain_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011  the text itself is the message
        number_of(text)
