"""How often community repairs name each part: counts to start a guess from.

The table is Open Repair Data of the Open Repair Alliance and its data partners, counted by part;
`open_repair_counts.md` beside it tells its licence, what was changed, and how weak it is. Shares
are of the texts on tape machines alone that name any part, and one text can name several: they
do not add up to one.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from runstrue.errors import InputError

ITEMS = "tape_only"
COUNTED = "cause_part_named_of_texts_naming_any(multi-label)"
MENDED = "fixed_share_by_cause_part"

WORDS = {
    "drive_belt_or_band": "drive belt or band",
    "dirt_cleaned": "dirt, cleaned",
    "switch_or_button_contact": "switch or key contact",
    "motor": "motor",
    "jammed_or_seized_mechanism": "jammed or seized mechanism",
    "door_lid_or_eject": "door, lid or eject",
    "connector_cable_or_solder": "cable, connector or joint",
    "potentiometer": "potentiometer",
    "battery_or_contact_corrosion": "battery contacts, corrosion",
    "mains_supply_fuse_adapter": "mains, supply, fuse or adapter",
    "gear_or_broken_plastic": "gear or broken plastic",
    "lubrication": "lubrication",
    "spring_or_lever_out_of_place": "spring or lever",
    "idler_pinch_clutch_wheel": "idler, roller or clutch",
    "head_dirty_worn_or_out_of_line": "head",
    "semiconductor_relay_board": "chip, transistor, relay or board",
    "capacitor": "capacitor",
}
_TOO_LOW = "counted too low: home portables outweigh decks, and nobody looks at it there"
DOUBTS = {
    "motor": "about a third of these only say that the motor runs",
    "idler_pinch_clutch_wheel": _TOO_LOW,
    "head_dirty_worn_or_out_of_line": _TOO_LOW,
}


@dataclass(frozen=True, slots=True)
class Share:
    """How many of the texts name a part.

    Parameters
    ----------
    group : str
    words : str
        The part in plain words.
    n, base : int
        Texts that name this part, of the texts that name any.
    low, high : float
        Wilson interval of n / base, 95 %.
    doubt : str
        What is known against the label; empty where nothing is.
    """

    group: str
    words: str
    n: int
    base: int
    low: float
    high: float
    doubt: str = ""

    @property
    def share(self) -> float:
        """The part of the texts that name it, a fraction."""
        return self.n / self.base


def group_share(group: str) -> Share:
    """Return how often a part is named.

    Raises
    ------
    InputError
        When no such part is counted.

    Examples
    --------
    >>> belt = group_share("drive_belt_or_band")
    >>> (belt.n, belt.base)
    (140, 310)
    """
    try:
        return _shares()[group]
    except KeyError:
        raise InputError(
            f"No repairs are counted under '{group}'", f"one of {', '.join(groups())} is needed"
        ) from None


def groups() -> tuple[str, ...]:
    """Return the parts that are counted, the most often named first."""
    return tuple(_shares())


def mended_share(group: str) -> Share | None:
    """Return how often it was mended on the day it was named, or None where that is not told."""
    group_share(group)
    row = _rows().get((MENDED, group))
    return None if row is None else _share(row)


@cache
def _shares() -> dict[str, Share]:
    found = [_share(row) for (dimension, _), row in _rows().items() if dimension == COUNTED]
    return {one.group: one for one in sorted(found, key=lambda one: (-one.n, one.group))}


@cache
def _rows() -> dict[tuple[str, str], dict[str, str]]:
    path = files("runstrue.faults") / "open_repair_counts.csv"
    rows = csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    return {(row["dimension"], row["value"]): row for row in rows if row["group"] == ITEMS}


def _share(row: dict[str, str]) -> Share:
    group = row["value"]
    return Share(
        group=group,
        words=WORDS[group],
        n=int(row["n"]),
        base=int(row["base"]),
        low=float(row["ci95_low"]),
        high=float(row["ci95_high"]),
        doubt=DOUBTS.get(group, ""),
    )
