"""Parts and their shares of the flutter, as the attribution's results tell them.

One result for each part: `flutter.part_weighted`, its weighted flutter in % as the peak of a sine
of the same power; conditions name the part (`part`, `name`, `kind`, for a hub its `side`) and may
tell its `pattern`. A result whose part is 'unexplained' holds what is nobody's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from runstrue.quantity import Quantity
from runstrue.result import Result

PART_SHARE = "flutter.part_weighted"
UNEXPLAINED = "unexplained"


@dataclass(frozen=True, slots=True)
class PartShare:
    """How much of the flutter one part makes.

    Parameters
    ----------
    id, name : str
        Of the transport's description.
    kind : str
        One of `runstrue.faults.rules.KINDS_OF_PART`.
    peak : Quantity
        Its weighted flutter, as the peak of a sine of the same power, in %.
    pattern : {'plain', 'twice', 'pulses'}
        Most of it at the part's own rate; at twice it; spread over many multiples.
    results : tuple of Result
    """

    id: str
    name: str
    kind: str
    peak: Quantity
    pattern: str
    results: tuple[Result, ...] = ()


@dataclass(frozen=True, slots=True)
class PartsSeen:
    """All parts, and the weighted flutter that is nobody's, in %."""

    shares: tuple[PartShare, ...]
    unexplained_percent: float = 0.0

    def of_kinds(self, kinds: Sequence[str]) -> tuple[PartShare, ...]:
        """Return the parts of these kinds, the largest first; of all kinds where none is named."""
        chosen = [one for one in self.shares if not kinds or one.kind in kinds]
        return tuple(sorted(chosen, key=lambda one: -one.peak.value))


def see_parts(results: Sequence[Result]) -> PartsSeen | None:
    """Return the parts that an attribution told, or None where there was none."""
    told = [one for one in results if one.id == PART_SHARE and one.quantity is not None]
    if not told:
        return None
    shares, nobodys = [], 0.0
    for one in told:
        assert one.quantity is not None
        part = str(one.conditions.get("part", ""))
        if part == UNEXPLAINED:
            nobodys = one.quantity.value
            continue
        kind = str(one.conditions.get("kind", ""))
        if kind == "hub":
            kind = f"{one.conditions.get('side', 'take-up')} hub"
        shares.append(
            PartShare(
                part, str(one.conditions.get("name", part)), kind, one.quantity,
                str(one.conditions.get("pattern", "plain")), (one,),
            )
        )  # fmt: skip
    return PartsSeen(tuple(shares), nobodys)
