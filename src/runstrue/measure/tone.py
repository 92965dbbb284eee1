"""Which tone is on the tape: 3150 Hz, 3000 Hz, or the one that was named."""

from __future__ import annotations

from dataclasses import dataclass

from runstrue.dsp.demodulate import Band
from runstrue.errors import InputError

TEST_TONES_HZ = (3150.0, 3000.0)
"""IEC 60386 3.2 (JIS C 5569-1991): 3150 Hz; older Japanese and US practice: 3000 Hz."""

REACH = 0.12
SURE_WITHIN = 0.015
"""DIN 45 500 sheet 4: a deck runs within 1.5 %, so a tone this near is that tone."""

LOWEST_NAMED_HZ, HIGHEST_NAMED_HZ = 300.0, 15_000.0


@dataclass(frozen=True, slots=True)
class ToneChoice:
    """The tone at nominal speed.

    Parameters
    ----------
    candidates_hz : tuple of float
        One when it is decided; two when both fit.
    reason : str
        Why, as the end of a sentence: 'taken as 3150 Hz because …'.
    """

    candidates_hz: tuple[float, ...]
    reason: str

    @property
    def decided(self) -> bool:
        """Whether only one tone remains."""
        return len(self.candidates_hz) == 1

    @property
    def nominal_hz(self) -> float:
        """The tone, or the nearer of the two."""
        return self.candidates_hz[0]


def band_for(named_hz: float | None) -> Band:
    """Return the band in which a tape's tone may lie, at up to 12 % off speed.

    Raises
    ------
    InputError
        When the named tone is outside 300 Hz to 15 kHz.
    """
    if named_hz is None:
        return Band(min(TEST_TONES_HZ) * (1 - REACH), max(TEST_TONES_HZ) * (1 + REACH))
    if not LOWEST_NAMED_HZ <= named_hz <= HIGHEST_NAMED_HZ:
        raise InputError(
            f"A tone of {named_hz:g} Hz was named",
            f"{LOWEST_NAMED_HZ:.0f} to {HIGHEST_NAMED_HZ:.0f} Hz can be measured",
            "name the tone that is on the tape",
        )
    return Band(named_hz * (1 - REACH), named_hz * (1 + REACH))


def choose_tone(measured_hz: float, named_hz: float | None) -> ToneChoice:
    """Decide which tone a measured frequency belongs to.

    Parameters
    ----------
    measured_hz : float
        Mean frequency of the record.
    named_hz : float or None
        The tone that the user or the tape's description names.
    """
    if named_hz is not None:
        return ToneChoice((named_hz,), "as named")
    by_distance = sorted(TEST_TONES_HZ, key=lambda tone: abs(measured_hz / tone - 1))
    nearest = by_distance[0]
    if abs(measured_hz / nearest - 1) <= SURE_WITHIN:
        return ToneChoice(
            (nearest,), f"within {100 * SURE_WITHIN:.1f} % of it ({measured_hz:.1f} Hz measured)"
        )
    fitting = tuple(tone for tone in by_distance if abs(measured_hz / tone - 1) <= REACH)
    if len(fitting) < 2:
        return ToneChoice(
            (nearest,),
            f"the only test tone within {100 * REACH:.0f} % ({measured_hz:.1f} Hz measured)",
        )
    return ToneChoice(
        fitting,
        f"{measured_hz:.1f} Hz may be either test tone: name it with --tone",
    )
