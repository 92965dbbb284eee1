"""How a tape's flux must fall with frequency, and what a replay chain does about it.

IEC 60094-1:1981 clause 15 defines the recorded flux by two time constants, treble t1 and bass t2
(second-hand; the formula is from memory and agrees with the naming of JIS S 8604-1993):

    flux(f) = 10 lg[1 + 1/(2π f t2)²] − 10 lg[1 + (2π f t1)²]   dB

A correct replay chain makes that flat again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from runstrue.errors import InputError


@dataclass(frozen=True, slots=True)
class Equalisation:
    """Time constants of a tape speed and type.

    Parameters
    ----------
    key : str
        '120', '70' for cassettes; 'IEC1 19', 'NAB 38' and the like for open reel.
    name : str
    treble_us : float
    bass_us : float or None
        None: no bass constant.
    source : str
    """

    key: str
    name: str
    treble_us: float
    bass_us: float | None
    source: str


_JIS = "JIS S 8604-1993 Table 1"
_IASA = "IASA-TC 04, 5.4.10 (second-hand)"

# fmt: off
EQUALISATIONS: dict[str, Equalisation] = {
    one.key: one
    for one in (
        Equalisation("120", "cassette, type I", 120.0, 3180.0, _JIS),
        Equalisation("70", "cassette, types II and IV", 70.0, 3180.0, _JIS),
        Equalisation("120 old", "cassette, ferric, to about 1974", 120.0, 1590.0, "from memory"),
        Equalisation("9.5", "9.5 cm/s, IEC2 and NAB", 90.0, 3180.0, _IASA),
        Equalisation("IEC1 19", "19 cm/s, IEC1 (CCIR, DIN studio)", 70.0, None, _IASA),
        Equalisation("NAB 19", "19 cm/s, IEC2 (NAB, DIN home)", 50.0, 3180.0, _IASA),
        Equalisation("IEC1 38", "38 cm/s, IEC1 (CCIR, DIN)", 35.0, None, _IASA),
        Equalisation("NAB 38", "38 cm/s, NAB", 50.0, 3180.0, _IASA),
        Equalisation("AES 76", "76 cm/s, IEC2 (AES)", 17.5, None, _IASA),
    )
}
# fmt: on


def equalisation(key: str) -> Equalisation:
    """Return the equalisation of this name.

    Raises
    ------
    InputError
        When there is none.
    """
    try:
        return EQUALISATIONS[key]
    except KeyError:
        raise InputError(
            f"There is no equalisation '{key}'", f"one of {', '.join(EQUALISATIONS)} is needed"
        ) from None


def flux_db(frequency_hz: float, treble_us: float, bass_us: float | None) -> float:
    """Recorded flux at one frequency in dB, against the flat part between both corners.

    Examples
    --------
    >>> round(flux_db(10_000, 120, 3180) - flux_db(315, 120, 3180), 2)
    -17.49
    """
    bass = 0.0 if bass_us is None else 1 / (2 * math.pi * frequency_hz * bass_us * 1e-6) ** 2
    treble = (2 * math.pi * frequency_hz * treble_us * 1e-6) ** 2
    return 10 * math.log10(1 + bass) - 10 * math.log10(1 + treble)


def shelf_db(frequency_hz: float, made_us: float, played_us: float) -> float:
    """What a tape made with one treble constant gains when played with another, in dB.

    Parameters
    ----------
    frequency_hz : float
    made_us, played_us : float
        Treble time constants in µs; the gain is 0 at the lowest frequencies.

    Examples
    --------
    >>> round(shelf_db(10_000, 70, 120), 2), round(shelf_db(10_000, 120, 70), 2)
    (4.54, -4.54)
    """
    return flux_db(frequency_hz, made_us, None) - flux_db(frequency_hz, played_us, None)
