"""What a size can be at all, so that an inch taken for a millimetre is noticed at once.

The bounds lie far outside of what decks have (usual sizes, from memory: capstans 1.5 to 14 mm,
flywheels 35 to 130 mm, pinch rollers 9 to 40 mm, hubs 21 to 115 mm).
"""

from __future__ import annotations

from dataclasses import dataclass

from runstrue.transport import sizes
from runstrue.transport.sizes import Instrument


@dataclass(frozen=True, slots=True)
class Range:
    """What a kind of size can be, and what it is usually taken with.

    Parameters
    ----------
    words : str
        'a capstan'.
    low, high : float
        In mm, mm/s, Hz or %.
    instrument : Instrument
    unit : str
        In which the bounds are told.
    factor : float
        From the base unit to that one.
    """

    words: str
    low: float
    high: float
    instrument: Instrument
    unit: str = "mm"
    factor: float = 1.0

    def told(self, value: float) -> str:
        """Print a bound."""
        return f"{value * self.factor:.4g} {self.unit}"


CAPSTAN = Range("a capstan", 0.5, 30, sizes.CALIPER)
WHEEL = Range("a wheel", 1, 400, sizes.CALIPER)
ROLLER = Range("a roller", 2, 80, sizes.CALIPER)
BELT = Range("the thickness of a belt", 0.1, 8, sizes.CALIPER)
BELT_WIDTH = Range("the width of a belt", 0.3, 30, sizes.CALIPER)
BELT_LENGTH = Range("the length of a belt", 20, 5000, sizes.STRING)
HUB = Range("a bare hub", 10, 200, sizes.CALIPER)
FULL_PACK = Range("a full pack", 20, 400, sizes.RULER)
TAPE_LENGTH = Range("a tape", 1e3, 5e6, sizes.SLEEVE, "m", 1e-3)
TAPE_THICKNESS = Range("a tape", 4e-3, 0.1, sizes.SLEEVE, "µm", 1e3)
TAPE_SPEED = Range("a tape speed", 5, 2000, sizes.AS_WRITTEN, "cm/s", 0.1)
RATE = Range("a rate of turning", 0.01, 500, sizes.COUNTED, "Hz")
MOTOR_RATE = Range("a motor", 0.1, 500, sizes.PLATE, "rpm", 60)
MAINS = Range("the mains", 15, 120, sizes.MAINS, "Hz")
SLIP = Range("a motor's slip", 0, 30, sizes.AS_WRITTEN, "%")
