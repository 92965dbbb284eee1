"""A number that never travels alone: value, unit, standard uncertainty.

`Quantity` rounds and prints itself by its uncertainty and can be read back. `Budget` holds
the named contributions to that uncertainty, each marked random (it differs from start to
start) or shared (the same for all readings with that tape or that sound card, so it cancels
in a difference).

Source of the rules: JCGM 100:2008 (GUM): combination 5.1.2, effective degrees of freedom
G.4.1 (Welch-Satterthwaite), coverage factor G.3.2, rounding to two figures 7.2.6.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from runstrue.errors import InputError

MINUS = "−"

ContributionKind = Literal["random", "shared"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured value with its unit and standard uncertainty.

    Parameters
    ----------
    value : float
        Finite.
    unit : str
        As printed: '%', '%/min', 'dB', 'Hz', 'g·cm'.
    u : float
        Standard uncertainty, same unit, finite, at least 0.
    degrees_of_freedom : float
        Effective degrees of freedom of `u`; infinite when `u` is known.

    Raises
    ------
    InputError
        When value or u is not finite, or u is negative.

    Notes
    -----
    There is no ``<``: only the verdict compares.
    """

    value: float
    unit: str
    u: float
    degrees_of_freedom: float = math.inf

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0):
            raise InputError(
                f"The figure {self.value} {self.unit} with uncertainty {self.u} was met",
                "a finite value and an uncertainty of zero or more are needed",
            )

    def expanded(self, probability: float = 0.95) -> float:
        """Half-width of the interval that holds the value with this probability."""
        return coverage_factor(probability, self.degrees_of_freedom) * self.u

    def decimals(self) -> int:
        """Decimals to print, so that the standard uncertainty keeps two figures."""
        return _decimals_for(self.u if self.u > 0 else abs(self.value) * 1e-4)

    def value_text(self, *, signed: bool = False, decimals: int | None = None) -> str:
        """Print the value alone, rounded, with a true minus sign."""
        return number_text(
            self.value, self.decimals() if decimals is None else decimals, signed=signed
        )

    def __str__(self) -> str:
        """Print so that `parse` reads it back: '0.147 % (u 0.012 %)'."""
        decimals = self.decimals()
        u_text = number_text(self.u, decimals)
        return f"{self.value_text()} {self.unit} (u {u_text} {self.unit})"

    @classmethod
    def parse(cls, text: str) -> Quantity:
        """Read back what ``str`` printed.

        Raises
        ------
        InputError
            When the text has another form.
        """
        found = _PRINTED.fullmatch(text.strip())
        if not found or found["unit"] != found["u_unit"]:
            raise InputError(
                f"'{text}' was read as a quantity",
                "a text such as '0.147 % (u 0.012 %)' is needed",
            )
        return cls(float(found["value"].replace(MINUS, "-")), found["unit"], float(found["u"]))


@dataclass(frozen=True, slots=True)
class Contribution:
    """One named part of an uncertainty.

    Parameters
    ----------
    name : str
        In plain words: 'tolerance of the test tape', 'hiss', 'finite length'.
    u : float
        Standard uncertainty it brings, in the unit of the reading.
    kind : {'random', 'shared'}
        Random parts differ from start to start and shrink when starts are averaged; shared
        parts do not.
    source : str
        For shared parts, what it belongs to (a tape with its batch, a sound card): equal
        sources cancel in a difference. Empty: cancels with nothing.
    degrees_of_freedom : float
        Infinite when `u` is known rather than estimated.
    """

    name: str
    u: float
    kind: ContributionKind
    source: str = ""
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True, slots=True)
class Budget:
    """The contributions to one standard uncertainty."""

    contributions: tuple[Contribution, ...] = ()

    def __iter__(self) -> Iterator[Contribution]:
        return iter(self.contributions)

    @property
    def u(self) -> float:
        """Combined standard uncertainty (root of the sum of squares)."""
        return _root_sum_square(part.u for part in self)

    @property
    def random_u(self) -> float:
        """Combined random part."""
        return _root_sum_square(part.u for part in self if part.kind == "random")

    @property
    def shared_u(self) -> float:
        """Combined shared part."""
        return _root_sum_square(part.u for part in self if part.kind == "shared")

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom by Welch-Satterthwaite."""
        lower = sum(part.u**4 / part.degrees_of_freedom for part in self)
        return self.u**4 / lower if lower > 0 else math.inf

    def largest(self) -> Contribution | None:
        """Return the contribution that matters most, or None in an empty budget."""
        return max(self, key=lambda part: part.u, default=None)

    def quantity(self, value: float, unit: str) -> Quantity:
        """Return this value with the budget's uncertainty."""
        return Quantity(value, unit, self.u, self.degrees_of_freedom)


def coverage_factor(probability: float, degrees_of_freedom: float = math.inf) -> float:
    """Factor k with which ±k·u holds the value with this probability.

    Parameters
    ----------
    probability : float
        Between 0 and 1, both excluded.
    degrees_of_freedom : float
        More than 0; infinite gives the normal distribution.

    Returns
    -------
    float
        Two-sided quantile of Student's t.

    References
    ----------
    JCGM 100:2008 G.3.2 and table G.2.

    Examples
    --------
    >>> round(coverage_factor(0.99, 16), 2)
    2.92
    """
    normal = NormalDist().inv_cdf(0.5 + probability / 2)
    if degrees_of_freedom > 1e6:
        return normal
    low, high = 0.0, normal
    while _t_inside(high, degrees_of_freedom) < probability:
        low, high = high, 2 * high
    found = (low + high) / 2
    for _ in range(80):  # Newton's steps, or halves where these would leave the bracket
        missed = _t_inside(found, degrees_of_freedom) - probability
        if missed < 0:
            low = found
        else:
            high = found
        step = missed / (2 * _t_density(found, degrees_of_freedom))
        after = found - step if low < found - step < high else (low + high) / 2
        if abs(after - found) <= 1e-14 * found:
            return after
        found = after
    return found


def t_chance_below(t: float, degrees_of_freedom: float = math.inf) -> float:
    """Chance that Student's t with these degrees of freedom lies below `t`."""
    if degrees_of_freedom > 1e6:
        return NormalDist().cdf(t)
    half = _t_inside(abs(t), degrees_of_freedom) / 2
    return 0.5 + half if t >= 0 else 0.5 - half


def number_text(value: float, decimals: int, *, signed: bool = False) -> str:
    """Print a number with a true minus sign and, if asked, a plus sign.

    Examples
    --------
    >>> number_text(-0.0184, 2), number_text(0.3, 1, signed=True)
    ('−0.02', '+0.3')
    """
    rounded = round(value, decimals)
    text = f"{abs(rounded):.{max(decimals, 0)}f}"
    if rounded < 0:
        return MINUS + text
    return "+" + text if signed and rounded > 0 else text


_PRINTED = re.compile(r"(?P<value>[−-]?[\d.]+) (?P<unit>.*?) \(u (?P<u>[\d.]+) (?P<u_unit>.*)\)")


def _decimals_for(u: float) -> int:
    """Decimals that leave two figures of u (GUM 7.2.6); never fewer than none."""
    if u <= 0:
        return 3
    decimals = 1 - math.floor(math.log10(u))
    if round(u, decimals) >= 10.0 ** (2 - decimals):  # 0.0996 rounds up to 0.100
        decimals -= 1
    return min(max(decimals, 0), 9)


def _root_sum_square(parts: Iterable[float]) -> float:
    return math.sqrt(sum(part**2 for part in parts))


def _t_inside(t: float, degrees_of_freedom: float) -> float:
    """Chance that |Student's t| stays below t: 1 − I_x(ν/2, 1/2) with x = ν/(ν + t²)."""
    x = degrees_of_freedom / (degrees_of_freedom + t * t)
    return 1.0 - _incomplete_beta(x, degrees_of_freedom / 2, 0.5)


def _t_density(t: float, degrees_of_freedom: float) -> float:
    half = degrees_of_freedom / 2
    log = math.lgamma(half + 0.5) - math.lgamma(half) - 0.5 * math.log(2 * math.pi * half)
    return math.exp(log - (half + 0.5) * math.log1p(t * t / degrees_of_freedom))


def _incomplete_beta(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function (continued fraction, DLMF 8.17.22)."""
    if x <= 0 or x >= 1:
        return float(x >= 1)
    if x > (a + 1) / (a + b + 2):
        return 1.0 - _incomplete_beta(1 - x, b, a)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    fraction, c, d = 1.0, 1.0, 0.0
    for step in range(400):
        m = step // 2
        if step == 0:
            numerator = 1.0
        elif step % 2 == 0:
            numerator = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        else:
            numerator = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        d = 1.0 / _away_from_zero(1.0 + numerator * d)
        c = _away_from_zero(1.0 + numerator / c)
        fraction *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return front * (fraction - 1.0) / a


def _away_from_zero(value: float) -> float:
    return value if abs(value) > 1e-300 else 1e-300
