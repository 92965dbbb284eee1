"""Sizes as people write them: '2.40±0.02 mm', '3/32 in', '1 7/8 in/s', '2400 rpm'.

A size without a unit is refused unless the file says once which unit it means. A size without
an uncertainty gets a cautious one: half a step of the last digit that was written, and the error
of the instrument such a size is usually taken with. Both are limits and count as rectangular,
half-width over √3 (JCGM 100:2008, 4.3.7), and so does whatever stands after ±.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from runstrue.errors import InputError
from runstrue.quantity import MINUS, Quantity

Dimension = Literal["length", "speed", "rate", "share"]
Sign = Literal["above zero", "zero or above", "any"]

# The inch is exactly 25.4 mm (international yard and pound agreement of 1959).
UNITS: dict[Dimension, dict[str, Fraction]] = {
    "length": {
        "mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000), "µm": Fraction(1, 1000),
        "um": Fraction(1, 1000), "in": Fraction(254, 10), "inch": Fraction(254, 10),
        "inches": Fraction(254, 10), '"': Fraction(254, 10), "″": Fraction(254, 10),
        "mil": Fraction(254, 10_000), "thou": Fraction(254, 10_000), "ft": Fraction(3048, 10),
    },
    "speed": {
        "mm/s": Fraction(1), "cm/s": Fraction(10), "m/s": Fraction(1000),
        "in/s": Fraction(254, 10), "ips": Fraction(254, 10),
    },
    "rate": {
        "hz": Fraction(1), "rpm": Fraction(1, 60), "r/min": Fraction(1, 60),
        "rev/min": Fraction(1, 60), "1/min": Fraction(1, 60), "/min": Fraction(1, 60),
        "rev/s": Fraction(1), "r/s": Fraction(1), "1/s": Fraction(1), "/s": Fraction(1),
    },
    "share": {"%": Fraction(1)},
}  # fmt: skip
BASE: dict[Dimension, str] = {"length": "mm", "speed": "mm/s", "rate": "Hz", "share": "%"}
SAMPLES: dict[Dimension, str] = {
    "length": "'2.40 mm', '2.40±0.02 mm' or '3/32 in'",
    "speed": "'4.76 cm/s' or '1 7/8 in/s'",
    "rate": "'2400 rpm' or '40 Hz'",
    "share": "'2 %' or '2±1 %'",
}
_KINDS: dict[Dimension, str] = {
    "length": "a length", "speed": "a tape speed", "rate": "a rate of turning",
    "share": "a percentage",
}  # fmt: skip

NOMINAL_SPEEDS: tuple[Fraction, ...] = tuple(
    Fraction(15 * 254, 16 * 10) * 2**step for step in range(6)
)
"""15/16 to 30 in/s, each twice the one before, exactly, in mm/s."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """What a size is usually taken with, where nobody says how well it is known.

    Parameters
    ----------
    words : str
    limit : float
        Largest error, in the base unit of the dimension.
    limit_percent : float
        Largest error in % of the size; it adds to the other.
    nominal : bool
        The figure is a name, such as 50 Hz: its last digit says nothing.
    """

    words: str
    limit: float = 0.0
    limit_percent: float = 0.0
    nominal: bool = False


# Limits of error are those of common practice, no source, but for the caliper: vernier calipers
# of 0.05 mm are held to 0.05 mm (DIN 862, from memory).
CALIPER = Instrument("a caliper, ±0.05 mm", 0.05)
RULER = Instrument("a ruler, ±0.5 mm", 0.5)
STRING = Instrument("a string and a ruler, ±1 mm", 1.0)
SLEEVE = Instrument("the tape's sleeve or sheet, ±4 %", 0.0, 4.0)
PLATE = Instrument("a motor's plate or data, ±2 %", 0.0, 2.0)
COUNTED = Instrument("a rate counted or read off a strobe, ±0.5 %", 0.0, 0.5)
MAINS = Instrument("the mains, ±0.2 %", 0.0, 0.2, nominal=True)
AS_WRITTEN = Instrument("the last digit alone")


def read_size(
    written: str | float,
    dimension: Dimension,
    instrument: Instrument = AS_WRITTEN,
    *,
    bare_unit: str = "",
    sign: Sign = "above zero",
) -> Quantity:
    """Read one size.

    Parameters
    ----------
    written : str or float
        '2.40 mm', '2.40±0.02 mm', '300 mm ± 1 %', '2.40 mm (u 0.01 mm)', '3/32 in', '1 7/8 in/s',
        or a bare number where `bare_unit` says what it means. Point or comma.
    dimension : {'length', 'speed', 'rate', 'share'}
    instrument : Instrument
        Taken into account where no uncertainty is written.
    bare_unit : str
        Unit of numbers without one; empty: they are refused.
    sign : {'above zero', 'zero or above', 'any'}
        Zero for what may be absent, such as slip; any for places.

    Returns
    -------
    Quantity
        In mm, mm/s, Hz or %.

    Raises
    ------
    InputError
        When it cannot be understood, has no unit, a unit of something else, or the wrong sign.

    Examples
    --------
    >>> str(read_size("2.40±0.02 mm", "length")), str(read_size("1 7/8 in/s", "speed"))
    ('2.400 mm (u 0.012 mm)', '47.625 mm/s (u 0.000 mm/s)')
    """
    text = _as_text(written)
    found = _FORM.fullmatch(text)
    if not found:
        raise _not_understood(text, dimension)
    unit = found["unit"] or found["unit_first"] or bare_unit
    if not unit:
        raise InputError(
            f"'{text}' has no unit", f"{_KINDS[dimension]} such as {SAMPLES[dimension]} is needed"
        )
    if found["unit"] and found["unit_first"] and found["unit"].lower() not in (
        "%", found["unit_first"].lower(),
    ):  # fmt: skip
        raise InputError(
            f"'{text}' has two units", f"{_KINDS[dimension]} such as {SAMPLES[dimension]} is needed"
        )
    size_unit = found["unit_first"] or unit
    factor = _factor(size_unit, dimension, text)
    number, step = _number(found["number"], text)
    value = number * factor
    if (value < 0 and sign != "any") or (value == 0 and sign == "above zero"):
        raise InputError(f"'{text}' was given", f"{_KINDS[dimension]} {sign} is needed")
    if found["plus_minus"] is not None:
        half = _half_width(found, factor, value, dimension, text)
        u = float(half) / math.sqrt(3)
    elif found["u"] is not None:
        u = float(_number(found["u"], text)[0] * _factor(found["u_unit"], dimension, text))
    elif dimension == "speed" and (nominal := _nominal_speed(value, step * factor)) is not None:
        return Quantity(float(nominal), BASE[dimension], 0.0)
    else:
        u = cautious_u(float(value), float(step * factor), instrument)
    return Quantity(float(value), BASE[dimension], u)


def cautious_u(value: float, step: float, instrument: Instrument) -> float:
    """Standard uncertainty of a size that nobody gave one to.

    Parameters
    ----------
    value : float
    step : float
        Of the last digit written.
    instrument : Instrument

    Returns
    -------
    float
        Half a step, the instrument's limit and its share of the value, each rectangular.
    """
    share = abs(value) * instrument.limit_percent / 100
    half_step = 0.0 if instrument.nominal else step / 2
    return math.sqrt((half_step**2 + instrument.limit**2 + share**2) / 3)


_UNSIGNED = r"\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?|[.,]\d+"
_UNIT = r"""[a-zA-Zµμ%"″'’/][a-zA-Zµμ%"″'’/1]*|1/(?:min|s)"""
_FORM = re.compile(
    rf"""(?P<number>[-+−]?\s*(?:{_UNSIGNED}))\s*
    (?:(?P<unit_first>{_UNIT})\s*(?=±|\(|\+))?
    (?:(?:±|\+/?[-−])\s*(?P<plus_minus>{_UNSIGNED})\s*)?
    (?P<unit>{_UNIT})?\s*
    (?:\(\s*u\s*(?P<u>{_UNSIGNED})\s*(?P<u_unit>{_UNIT})\s*\))?""",
    re.VERBOSE,
)


def _as_text(written: str | float) -> str:
    if isinstance(written, str):
        return " ".join(written.replace("\u00a0", " ").replace("μ", "µ").split())
    return repr(written)


def _number(text: str, whole: str) -> tuple[Fraction, Fraction]:
    """Return the number and the step of its last digit (of a fraction: one part)."""
    plain = text.replace(",", ".").replace(MINUS, "-").replace(" ", "\u00a0").strip("\u00a0")
    sign = -1 if plain.startswith("-") else 1
    parts = plain.lstrip("+-").strip("\u00a0").split("\u00a0")
    parts = [part for part in parts if part]
    try:
        value = sum((Fraction(part) for part in parts), Fraction(0))
    except (ValueError, ZeroDivisionError):
        raise InputError(
            f"'{whole}' holds no number", "one such as 2.4, 3/32 or 1 7/8 is needed"
        ) from None
    last = parts[-1]
    if "/" in last:
        step = Fraction(1, int(last.partition("/")[2]))
    else:
        step = Fraction(1, 10 ** len(last.partition(".")[2]))
    return sign * value, step


def _factor(unit: str, dimension: Dimension, whole: str) -> Fraction:
    known = UNITS[dimension]
    for key in (unit, unit.lower().replace("''", '"').replace("’’", '"')):
        if key in known:
            return known[key]
    raise InputError(
        f"'{whole}' has the unit '{unit}'",
        f"{_KINDS[dimension]} such as {SAMPLES[dimension]} is needed",
    )


def _half_width(
    found: re.Match[str], factor: Fraction, value: Fraction, dimension: Dimension, text: str
) -> Fraction:
    """Return what stands after ±, in the base unit; '%' there means of the size."""
    number, _ = _number(found["plus_minus"], text)
    if dimension != "share" and found["unit_first"] and found["unit"] == "%":
        return number * value / 100
    return number * factor


def _nominal_speed(value: Fraction, step: Fraction) -> Fraction | None:
    """Return the exact nominal speed of which this is the rounded name: 4.76 cm/s is 1 7/8 in/s."""
    for nominal in NOMINAL_SPEEDS:
        if abs(value - nominal) <= min(step / 2, nominal / 100):
            return nominal
    return None


def _not_understood(text: str, dimension: Dimension) -> InputError:
    return InputError(
        f"'{text}' was read as {_KINDS[dimension]}",
        f"a size such as {SAMPLES[dimension]} is needed",
    )
