"""When a part is called guilty: surely there, and large enough to matter.

Every part of a healthy deck moves the tape a little, and a record of a minute shows it. That is no
reason to open the deck. A part is guilty when

- it makes a line of the record with a chance of at least 95 %, coinciding rates and lines of
  nobody counted;
- its weighted flutter, as the peak of a sine of the same power, is at least 0.02 % at the lower end
  of its 95 % interval: a tenth of the ±0.2 % that DIN 45 500 allows a tape deck for the home
  (clause and figure from memory);
- it makes at least 1 % of the power of the record's weighted flutter: without it the reading would
  fall by 0.5 % of itself.

The last two are own choices.
"""

from __future__ import annotations

from runstrue.quantity import Quantity

LEAST_CHANCE = 0.95
LEAST_WEIGHTED_PERCENT = 0.02
LEAST_SHARE_PERCENT = 1.0


def is_guilty(chance: float, weighted: Quantity, share: Quantity) -> bool:
    """Apply the rule.

    Parameters
    ----------
    chance : float
        0 to 1.
    weighted : Quantity
        In %, as the peak of a sine of the same power.
    share : Quantity
        Of the power of the weighted flutter, in %.
    """
    lowest = weighted.value - weighted.expanded()
    return (
        chance >= LEAST_CHANCE
        and lowest >= LEAST_WEIGHTED_PERCENT
        and share.value >= LEAST_SHARE_PERCENT
    )
