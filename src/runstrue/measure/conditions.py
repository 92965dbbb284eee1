"""What a reading rests on besides the sound: the tape and the sound card."""

from __future__ import annotations

import math
from dataclasses import dataclass

from runstrue.errors import InputError

DEFAULT_CLOCK_TOLERANCE_PPM = 100.0
"""Sound cards are off by tens of ppm (from memory, sure); 100 is taken as a cautious bound."""


@dataclass(frozen=True, slots=True)
class SoundCard:
    """The clock of the sound card.

    Parameters
    ----------
    name : str
        Identifies the card; readings with the same one share its error.
    clock_ppm : float
        How much faster (+) its clock runs than it says.
    u_clock_ppm : float
        Standard uncertainty of that; by default a rectangular tolerance of ±100 ppm.

    Raises
    ------
    InputError
        When the uncertainty is negative or a figure is beyond 1 %.
    """

    name: str = "sound card"
    clock_ppm: float = 0.0
    u_clock_ppm: float = DEFAULT_CLOCK_TOLERANCE_PPM / math.sqrt(3)

    def __post_init__(self) -> None:
        if not (abs(self.clock_ppm) <= 10_000 and 0 <= self.u_clock_ppm <= 10_000):
            raise InputError(
                f"A clock error of {self.clock_ppm:g} ppm ± {self.u_clock_ppm:g} was given",
                "at most ±10,000 ppm are believable",
                "give it in parts per million, such as 12 or -35",
            )
