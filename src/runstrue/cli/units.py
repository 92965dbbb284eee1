"""Units that dials and scales are marked in, and their factors to the catalogue's."""

from __future__ import annotations

from runstrue.catalogue import Kind
from runstrue.errors import InputError

# Exact: the standard acceleration of free fall, ISO 80000-4:2019 (gf = 9.806 65 mN).
GRAM_FORCE_N = 9.80665e-3
# Exact: the avoirdupois ounce and the inch, international yard and pound agreement of 1959.
OUNCE_FORCE_N = 28.349523125 * GRAM_FORCE_N
INCH_M = 0.0254

# catalogue's unit: {unit as typed, in small letters and without signs: factor}
FACTORS: dict[str, dict[str, float]] = {
    "mN·m": {
        "mnm": 1.0, "nm": 1e3, "ncm": 10.0, "mncm": 0.01, "cncm": 0.1,
        # 'g/cm' on some dials means g·cm (service manuals of cassette decks)
        "gcm": 10 * GRAM_FORCE_N, "gfcm": 10 * GRAM_FORCE_N, "pcm": 10 * GRAM_FORCE_N,
        "kgcm": 1e4 * GRAM_FORCE_N, "kgfcm": 1e4 * GRAM_FORCE_N,
        "ozin": 1e3 * OUNCE_FORCE_N * INCH_M, "inoz": 1e3 * OUNCE_FORCE_N * INCH_M,
        "ozfin": 1e3 * OUNCE_FORCE_N * INCH_M,
    },
    "N": {
        "n": 1.0, "mn": 1e-3, "cn": 1e-2, "g": GRAM_FORCE_N, "gf": GRAM_FORCE_N, "p": GRAM_FORCE_N,
        "kg": 1e3 * GRAM_FORCE_N, "kgf": 1e3 * GRAM_FORCE_N, "kp": 1e3 * GRAM_FORCE_N,
        "oz": OUNCE_FORCE_N, "ozf": OUNCE_FORCE_N,
    },
    "V": {"v": 1.0, "mv": 1e-3, "kv": 1e3, "uv": 1e-6},
    "mV": {"mv": 1.0, "v": 1e3, "uv": 1e-3},
    "s": {"s": 1.0, "sec": 1.0, "seconds": 1.0, "min": 60.0, "minutes": 60.0},
    "mm": {"mm": 1.0, "um": 1e-3, "cm": 10.0, "in": 25.4, "mil": 0.0254},
    "µm": {"um": 1.0, "mm": 1e3, "mil": 25.4, "in": 25_400.0},
    "%": {"%": 1.0, "percent": 1.0, "‰": 0.1},
    "%/min": {"%/min": 1.0},
    "dB": {"db": 1.0},
    "dBV": {"dbv": 1.0},
    "Hz": {"hz": 1.0, "khz": 1e3},
    "µs": {"us": 1.0, "ms": 1e3},
    "′": {"'": 1.0, "′": 1.0, "minutes": 1.0, "°": 60.0, "degrees": 60.0},
    "°": {"°": 1.0, "degrees": 1.0},
    "per minute": {"perminute": 1.0, "/min": 1.0},
}  # fmt: skip


def factor_to(kind: Kind, unit: str) -> float:
    """Return by what a figure in this unit is multiplied for the catalogue's unit.

    Raises
    ------
    InputError
        When the unit does not belong to this kind of reading.

    Examples
    --------
    >>> from runstrue.catalogue import KINDS
    >>> round(factor_to(KINDS["torque.take_up"], "g·cm"), 7)
    0.0980665
    """
    known = FACTORS.get(kind.unit, {})
    plain = _plain(unit)
    for written in (plain, _without_signs(plain)):
        if written in known:
            return known[written]
    raise InputError(
        f"The unit '{unit}' was given for {kind.name}",
        f"{kind.unit} or one that belongs to it is needed ({', '.join(units_for(kind))})",
    )


def units_for(kind: Kind) -> tuple[str, ...]:
    """Return usual units of a kind, as they are typed."""
    return _SHOWN.get(kind.unit, (kind.unit,))


_SHOWN = {
    "mN·m": ("mN·m", "g·cm", "gf·cm", "oz·in", "N·cm"),
    "N": ("N", "mN", "cN", "gf", "g", "kgf", "oz"),
    "V": ("V", "mV"),
    "mV": ("mV", "V"),
    "s": ("s", "min"),
    "mm": ("mm", "µm", "in"),
    "µm": ("µm", "mm"),
}


def _plain(unit: str) -> str:
    return "".join(unit.lower().replace("µ", "u").replace("μ", "u").split())


def _without_signs(unit: str) -> str:
    return "".join(one for one in unit if one not in "·⋅.*-/x×")
