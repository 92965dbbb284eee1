"""From a quantity to a figure in a message: the digits that the terminal prints."""

from __future__ import annotations

import math
from functools import lru_cache

from runstrue.catalogue import KINDS
from runstrue.live.models import Figure
from runstrue.quantity import Quantity, coverage_factor, number_text
from runstrue.result import Result


def figure(quantity: Quantity, quantity_id: str = "", *, signed: bool = False) -> Figure:
    """Print a quantity by its own uncertainty.

    Parameters
    ----------
    quantity : Quantity
    quantity_id : str
        A key of `runstrue.catalogue.KINDS`: decides about '±' and '+'.
    signed : bool
        Print a plus sign for what has no id.

    Examples
    --------
    >>> figure(Quantity(0.1468, "%", 0.0121), "flutter.weighted_peak").text
    '±0.147'
    """
    kind = KINDS.get(quantity_id)
    signed = signed or (kind is not None and kind.wanted == "near zero")
    decimals = quantity.decimals()
    before = "±" if kind is not None and kind.plus_minus else ""
    within = _factor(_few(quantity.degrees_of_freedom)) * quantity.u
    return Figure(
        value=quantity.value,
        u=quantity.u,
        unit=quantity.unit,
        text=before + quantity.value_text(signed=signed),
        u_text=number_text(quantity.u, decimals),
        within=within,
        within_text=f"±{number_text(within, decimals)}",
    )


def _few(freedom: float) -> float:
    """Degrees of freedom in two figures, never more than there are.

    They change a little with every update; t changes by less than a hundredth of itself with that,
    and need not be worked out a hundred times a second.
    """
    if not math.isfinite(freedom) or freedom <= 0:
        return math.inf
    step = 10.0 ** (math.floor(math.log10(freedom)) - 1)
    return math.floor(freedom / step) * step


@lru_cache(maxsize=4096)
def _factor(freedom: float) -> float:
    return coverage_factor(0.95, freedom)


def figure_of(result: Result | None) -> Figure | None:
    """Print a result's quantity, or None where there is none."""
    if result is None or result.quantity is None:
        return None
    return figure(result.quantity, result.id)
