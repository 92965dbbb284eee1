"""What the logbook knows of a sound card besides its clock, and voltages as people type them."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from runstrue.cli.plan import number_of
from runstrue.errors import DescriptionError, RunstrueError

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.measure.card import CardFigures
    from runstrue.measure.levels import Calibration


@dataclass(frozen=True, slots=True)
class CardFacts:
    """What is known of a sound card besides its clock."""

    input: Calibration | None
    output: Calibration | None
    figures: CardFigures


def card_facts(bench: Bench, name: str) -> CardFacts:
    """Return what the logbook knows of a sound card: its voltages, and what it adds to readings."""
    from runstrue.measure.card import ANY_CARD, CardFigures
    from runstrue.measure.conditions import SoundCard as Measuring
    from runstrue.measure.levels import Calibration

    try:
        book = bench.open_if_there()
    except RunstrueError:
        book = None  # told when the clock was looked up
    if book is None:
        return CardFacts(None, None, ANY_CARD)
    with book:
        known = book.sound_card("" if name == Measuring().name else name)
    if known is None:
        return CardFacts(None, None, ANY_CARD)

    def side(full_scale_dbv: float | None, u_db: float) -> Calibration | None:
        return None if full_scale_dbv is None else Calibration(full_scale_dbv, u_db, known.name)

    figures = replace(ANY_CARD, name=known.name)
    if known.loop_back:
        figures = CardFigures(known.name, measured=True, **known.loop_back)
    return CardFacts(
        side(known.full_scale_dbv, known.u_full_scale_db),
        side(known.output_full_scale_dbv, known.u_output_full_scale_db),
        figures,
    )


MOST_VOLTS = 30.0
"""No sound card gives or takes more: +24 dBu is 12.3 V."""

_LEVEL = re.compile(
    r"\s*(?P<value>[+−-]?[\d.,]+)\s*(?P<unit>mV|V|dBV|dBu|dB\s?FS)\s*", re.IGNORECASE
)


def read_output(text: str, calibration: Calibration | None) -> float:
    """Read what line out gives, as a level in the recording, in dB FS.

    Raises
    ------
    DescriptionError
        When it is no level, or in volts although the sound card's input is not calibrated.
    """
    found = _LEVEL.fullmatch(text)
    try:
        if found is None:
            raise ValueError
        value, unit = number_of(found["value"]), found["unit"].lower().replace(" ", "")
        if unit == "dbfs":
            return value
        if unit in ("mv", "v"):
            value = 20 * math.log10(value / (1000 if unit == "mv" else 1))
        elif unit == "dbu":
            value += 10 * math.log10(0.6)  # 0 dBu is √0.6 V
    except ValueError:
        raise DescriptionError(
            f"An output of '{text}' was given",
            "a level such as '580 mV', '0.58 V', '-4.7 dBV' or '-12 dBFS' is needed",
        ) from None
    if calibration is None:
        raise DescriptionError(
            f"An output of '{text}' was given, and the sound card's input is not calibrated",
            "its full scale in volts is needed",
            "calibrate it (runstrue card calibrate), or give the level in dBFS",
        )
    return value - calibration.full_scale_dbv


def read_volts(text: str) -> tuple[float, float]:
    """Read '0.5±0.005' or '500 mV ± 5 mV' as volts; without an uncertainty 1 % is taken.

    Raises
    ------
    DescriptionError
        When it is no voltage.
    """
    found = _VOLTS.fullmatch(text)
    try:
        if found is None:
            raise ValueError
        # '350±4 mV' names the unit of both at its end, '0.35 V ± 4 mV' of each
        u_unit = (found["u_unit"] or found["unit"] or "V").lower()
        unit = (found["unit"] or found["u_unit"] or "V").lower()
        value = (1e-3 if unit == "mv" else 1.0) * number_of(found["value"])
        u = (1e-3 if u_unit == "mv" else 1.0) * number_of(found["u"]) if found["u"] else value / 100
        if not value < MOST_VOLTS:
            raise ValueError
    except ValueError:
        raise DescriptionError(
            f"A voltage of '{text}' was given",
            f"volts below {MOST_VOLTS:g} such as '0.5±0.005' or '500 mV' are needed",
        ) from None
    return value, u


_VOLTS = re.compile(
    r"\s*(?P<value>[\d.,]+)\s*(?P<unit>m?V)?\s*"
    r"(?:(?:±|\+/?-)\s*(?P<u>[\d.,]+)\s*(?P<u_unit>m?V)?)?\s*",
    re.IGNORECASE,
)
