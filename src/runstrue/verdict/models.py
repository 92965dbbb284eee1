"""The plain types of this part: a limit as understood, a sheet as read, a verdict.

All of them survive a round trip through JSON by msgspec, because the logbook keeps them so.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from runstrue.quantity import MINUS

Sure = Literal["clear", "likely", "ambiguous"]
Outcome = Literal["meets", "does not meet", "too close to call", "cannot be compared"]

# Why something 'cannot be compared'; empty for the other three outcomes.
Reason = Literal[
    "",
    "not measured",  # no reading with such an id was handed over
    "not known",  # there is a reading, but its value cannot be known (it has no figure)
    "method open",  # the sheet can be read in several ways that lead to different outcomes
    "no bound",  # the sheet gives a figure but not how far it may be off
    "tape not named",  # 3000 or 3150 Hz: not decided
    "self-recorded",  # recorded and played on the same deck
    "other conditions",  # the sheet's figure holds for another speed, tape or setting
    "unit",  # reading and sheet speak of different units
]


class Limit(msgspec.Struct, frozen=True, kw_only=True):
    """One figure of a spec sheet, as understood.

    Parameters
    ----------
    ids : tuple of str
        Candidate quantity ids of `runstrue.catalogue.KINDS`, the likeliest first; exactly one
        unless `sure` is 'ambiguous'.
    unit : str
        The catalogue's unit of these ids; `low`, `high` and `nominal` are in it.
    words : str
        The exact words that it came from.
    low, high : float or None
        What is allowed; None where that side is open. Of a peak figure such as ±0.14 % only
        `high` is given, since the reading itself is the half of peak to peak.
    nominal : float or None
        The figure the sheet names, where it gives no bound (then `low` and `high` are None) or
        a middle with a tolerance.
    sure : {'clear', 'likely', 'ambiguous'}
        'likely': one reading of the words is usual; `question` says what was assumed.
    question : str
        What settles an ambiguous limit, or what was assumed for a likely one.
    notes : tuple of str
        Methods and standards that the words name: 'DIN', 'WRMS'.
    conditions : dict of str to str
        Tape, noise reduction, speed, reference, channel, tone, stage of the path.
    band_low_hz, band_high_hz : float or None
        The band in which a frequency response is promised.
    tolerance_low_db, tolerance_high_db : float or None
        How far that response may lie from the reference, in dB (low is negative).
    tolerance_window_db : float or None
        Total window of a response that is given as such (DIN 45 500: 5 and 7 dB), in dB.
    left_over : tuple of str
        Words that stood with the figure and were not understood, as they stood.
    source : str
        Empty for the deck's own sheet; else the standard that is offered for comparison.
    """

    ids: tuple[str, ...]
    unit: str
    words: str
    low: float | None = None
    high: float | None = None
    nominal: float | None = None
    sure: Sure = "clear"
    question: str = ""
    notes: tuple[str, ...] = ()
    conditions: dict[str, str] = msgspec.field(default_factory=dict)
    band_low_hz: float | None = None
    band_high_hz: float | None = None
    tolerance_low_db: float | None = None
    tolerance_high_db: float | None = None
    tolerance_window_db: float | None = None
    left_over: tuple[str, ...] = ()
    source: str = ""

    @property
    def has_bound(self) -> bool:
        """Whether the limit can decide anything."""
        tolerances = (self.tolerance_low_db, self.tolerance_high_db, self.tolerance_window_db)
        if self.band_low_hz is not None or self.band_high_hz is not None:
            return any(tolerance is not None for tolerance in tolerances)
        return self.low is not None or self.high is not None

    def bound_text(self, *, plus_minus: bool = False) -> str:
        """Print what is allowed: '±1.5 %', '≤ 0.2 %', '≥ 56 dB', '40 to 12500 Hz (±3 dB)'.

        Parameters
        ----------
        plus_minus : bool
            Print a one-sided upper limit with ± (a peak figure) instead of ≤.
        """
        if self.band_low_hz is not None or self.band_high_hz is not None:
            return self._band_text()
        if self.low is None and self.high is None:
            return "" if self.nominal is None else f"{figure_text(self.nominal)} {self.unit}"
        if self.low is None and self.high is not None:
            return f"{'±' if plus_minus else '≤ '}{figure_text(self.high)} {self.unit}"
        if self.high is None and self.low is not None:
            return f"≥ {figure_text(self.low)} {self.unit}"
        assert self.low is not None
        assert self.high is not None
        if self.low == -self.high:
            return f"±{figure_text(self.high)} {self.unit}"
        plus = "+" if self.low < 0 < self.high else ""
        return f"{figure_text(self.low)} to {plus}{figure_text(self.high)} {self.unit}"

    def _band_text(self) -> str:
        low = "" if self.band_low_hz is None else figure_text(self.band_low_hz)
        high = "" if self.band_high_hz is None else figure_text(self.band_high_hz)
        band = (
            f"{low} to {high} Hz"
            if low and high
            else f"{'from ' + low if low else 'to ' + high} Hz"
        )
        if self.tolerance_window_db is not None:
            return f"{band} (within {figure_text(self.tolerance_window_db)} dB)"
        below, above = self.tolerance_low_db, self.tolerance_high_db
        if below is None and above is None:
            return band
        if below is not None and above is not None and below == -above:
            return f"{band} (±{figure_text(above)} dB)"
        parts = [f"+{figure_text(above)}"] if above is not None else []
        parts += [figure_text(below)] if below is not None else []
        return f"{band} ({'/'.join(parts)} dB)"


class Unread(msgspec.Struct, frozen=True, kw_only=True):
    """A piece of a sheet that was not understood, as it stood, and why."""

    words: str
    why: str


class Sheet(msgspec.Struct, frozen=True, kw_only=True):
    """A spec sheet as read: what was understood and what was not; nothing is guessed.

    Parameters
    ----------
    text : str
        As handed in.
    limits : tuple of Limit
        In the order of the text.
    unread : tuple of Unread
        Pieces that were not understood, verbatim.
    """

    text: str
    limits: tuple[Limit, ...] = ()
    unread: tuple[Unread, ...] = ()


class DecisionRule(msgspec.Struct, frozen=True, kw_only=True):
    """From which chance on a deck meets its limit, and below which it does not.

    Parameters
    ----------
    meets_from, fails_below : float
        Chances between 0 and 1, the second smaller.

    References
    ----------
    JCGM 106:2012 clause 8: the rule is chosen and stated before the verdict. 95 % on either
    side is the default of this project.
    """

    meets_from: float = 0.95
    fails_below: float = 0.05

    def outcome(self, chance: float) -> Outcome:
        """Return the outcome that a chance of conformity leads to."""
        if chance >= self.meets_from:
            return "meets"
        return "does not meet" if chance <= self.fails_below else "too close to call"

    @property
    def words(self) -> str:
        """The rule in words, as it is printed with every verdict."""
        return (
            f"meets from {figure_text(100 * self.meets_from)} %, "
            f"does not meet up to {figure_text(100 * self.fails_below)} %; JCGM 106:2012"
        )


class Candidate(msgspec.Struct, frozen=True, kw_only=True):
    """One of several ways in which an ambiguous limit could be meant, judged."""

    id: str
    method: str
    channel: str
    value: float
    unit: str
    u: float
    outcome: Outcome
    chance: float


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """Whether a reading meets a limit, and how sure that is.

    Parameters
    ----------
    id, method, channel : str
        Of the reading that was judged; for an ambiguous limit those of the likeliest
        candidate; `method` and `channel` are empty where nothing was measured.
    limit : Limit
    outcome : {'meets', 'does not meet', 'too close to call', 'cannot be compared'}
    reason : str
        Why it cannot be compared, as one of a fixed set; else empty.
    chance : float or None
        Chance that the deck meets the limit; None where it cannot be compared.
    rule : str
        The decision rule in words.
    words : str
        The verdict in bench words with what to do now, one line where possible: 'too close to
        call (28 % that it meets): about eight starts of this length would settle it'.
    advice : str
        The part of `words` that says what to do now, alone; may be empty.
    notes : tuple of str
        Whole sentences to be told with it: what was assumed, where a needle differs.
    value, unit, u : float, str, float or None
        What was judged.
    candidates : tuple of Candidate
        All readings of an ambiguous limit; empty for one that is clear or likely.
    """

    id: str
    limit: Limit
    outcome: Outcome
    rule: str
    words: str
    method: str = ""
    channel: str = ""
    reason: Reason = ""
    chance: float | None = None
    advice: str = ""
    notes: tuple[str, ...] = ()
    value: float | None = None
    unit: str = ""
    u: float | None = None
    candidates: tuple[Candidate, ...] = ()


def figure_text(value: float) -> str:
    """Print a figure of a sheet as short as it can be, without exponent.

    Examples
    --------
    >>> figure_text(0.2), figure_text(12500.0), figure_text(-1.5)
    ('0.2', '12500', '−1.5')
    """
    # Four significant figures are more than a sheet prints; a figure converted from another unit
    # has none beyond them. Whole numbers (a band's edge in Hz) are printed whole.
    digits = 7 if float(value).is_integer() else 4
    text = f"{float(f'{abs(value):.{digits}g}'):.9f}".rstrip("0").rstrip(".")
    return MINUS + text if value < 0 and text != "0" else text
