"""A figure that remembers which sizes its uncertainty came from.

Two rates that hang on the same capstan err together, so their ratio is better known than either.
First order, as JCGM 100:2008 5.1.2 and, for figures that share a part, 5.2.2.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from runstrue.quantity import Quantity


@dataclass(frozen=True, slots=True)
class Known:
    """A figure above zero.

    Parameters
    ----------
    value : float
        In the base unit of its kind: mm, mm/s, Hz.
    shares : mapping of str to float
        Relative change of the value when the named size is larger by its standard uncertainty.
    """

    value: float
    shares: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def of(cls, size: Quantity, name: str) -> Known:
        """Take a size under the name by which others will know its share."""
        return cls(size.value, {name: size.u / size.value} if size.u else {})

    @property
    def relative_u(self) -> float:
        """Standard uncertainty as a share of the value."""
        return math.sqrt(sum(share**2 for share in self.shares.values()))

    def quantity(self, unit: str) -> Quantity:
        """Return it with its unit and uncertainty."""
        return Quantity(self.value, unit, abs(self.value) * self.relative_u)

    def times(self, other: Known, power: int = 1) -> Known:
        """Multiply by a power of another figure."""
        return Known(
            self.value * other.value**power, _sum((1.0, self.shares), (power, other.shares))
        )

    def to_the(self, power: float) -> Known:
        """Return a power of it."""
        return Known(self.value**power, _sum((power, self.shares)))

    def plus(self, other: Known, sign: int = 1) -> Known:
        """Add, or with −1 subtract, another figure; the result must not be zero."""
        value = self.value + sign * other.value
        return Known(
            value,
            _sum((self.value / value, self.shares), (sign * other.value / value, other.shares)),
        )

    def with_share(self, name: str, share: float) -> Known:
        """Return it with one more thing that it may err by."""
        return Known(self.value, _sum((1.0, self.shares), (1.0, {name: share})))


ONE = Known(1.0)


def _sum(*weighted: tuple[float, Mapping[str, float]]) -> dict[str, float]:
    total: dict[str, float] = {}
    for weight, shares in weighted:
        for name, share in shares.items():
            total[name] = total.get(name, 0.0) + weight * share
    return {name: share for name, share in total.items() if share}
