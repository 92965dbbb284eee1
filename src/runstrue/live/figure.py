"""From a quantity to a figure in a message: the digits that the terminal prints."""

from __future__ import annotations

from runstrue.catalogue import KINDS
from runstrue.live.models import Figure
from runstrue.quantity import Quantity, number_text
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
    within = quantity.expanded()
    return Figure(
        value=quantity.value,
        u=quantity.u,
        unit=quantity.unit,
        text=before + quantity.value_text(signed=signed),
        u_text=number_text(quantity.u, decimals),
        within=within,
        within_text=f"±{number_text(within, decimals)}",
    )


def figure_of(result: Result | None) -> Figure | None:
    """Print a result's quantity, or None where there is none."""
    if result is None or result.quantity is None:
        return None
    return figure(result.quantity, result.id)
