"""What an attribution says: the parts' shares of the flutter, one turn of a part, and what if.

Attribution            all of a record
├── PartShare          a part, or parts that the record cannot tell apart
│   ├── Harmonic       what it does at one multiple of its rate
│   └── Runout         the error of size that would do it, by place
└── Stray              a line that is nobody's
OnceRound              the mean turn of one part
WhatIf                 what would remain if parts were put right
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from runstrue.quantity import Quantity
from runstrue.result import Result

Array = NDArray[np.float64]
Pattern = Literal["plain", "twice", "pulses"]


@dataclass(frozen=True, slots=True)
class Harmonic:
    """What a part does at one multiple of its rate.

    Parameters
    ----------
    multiple : int
        1 for once a turn.
    rate : Quantity
        Rate of this line in Hz, as it was in the middle of the record.
    peak : Quantity
        Peak deviation of the tape speed in %.
    weighted : Quantity
        The same through the weighting curve, in %.
    """

    multiple: int
    rate: Quantity
    peak: Quantity
    weighted: Quantity


@dataclass(frozen=True, slots=True)
class Runout:
    """The error of size that would make a part's once-a-turn line, if it sat at this place.

    Parameters
    ----------
    place : str
        'capstan', 'flywheel rim', 'thickness of the main belt'.
    size : Quantity
        Runout (half of what a dial gauge swings over a turn), or half swing of a thickness, in µm.
    """

    place: str
    size: Quantity


@dataclass(frozen=True, slots=True)
class PartShare:
    """How much of the flutter one part makes, or parts that the record cannot tell apart.

    Parameters
    ----------
    ids, names, kinds : tuple of str
        Of the turnings. More than one: either of them, or several together.
    sides : tuple of str
        'take-up' or 'supply' for what turns with a pack, else empty; one for each member.
    rate : Quantity
        Turns a second in Hz in the middle of the record, of the first member; where the part is
        seen, as the record refines it.
    peak : Quantity
        All its lines together, as the peak of a sine of the same power, in %.
    weighted : Quantity
        The same through the weighting curve.
    share, weighted_share : Quantity
        Its part of the power of the record's flutter, in %, unweighted and weighted.
    harmonics : tuple of Harmonic
        Those that were seen, by multiple.
    pattern : {'plain', 'twice', 'pulses'}
        Most of it at the part's own rate; at twice it; spread over many multiples.
    chance : float
        That this part (one of these parts) makes lines of the record, 0 to 1.
    guilty : bool
        `chance` of at least 95 %, and large enough to matter: see `runstrue.measure.parts.rule`.
    runouts : tuple of Runout
        Where an error of size would do it. Empty where no once-a-turn line is seen, or where the
        transport's description leaves the sizes open.
    """

    ids: tuple[str, ...]
    names: tuple[str, ...]
    kinds: tuple[str, ...]
    sides: tuple[str, ...]
    rate: Quantity
    peak: Quantity
    weighted: Quantity
    share: Quantity
    weighted_share: Quantity
    harmonics: tuple[Harmonic, ...] = ()
    pattern: Pattern = "plain"
    chance: float = 0.0
    guilty: bool = False
    runouts: tuple[Runout, ...] = ()

    @property
    def name(self) -> str:
        """The name, or names joined by 'or'."""
        if len(self.names) < 3:
            return " or ".join(self.names)
        return f"{', '.join(self.names[:-1])} or {self.names[-1]}"


@dataclass(frozen=True, slots=True)
class Stray:
    """A line that no part explains.

    Parameters
    ----------
    rate, peak, weighted : Quantity
        In Hz and %.
    words : str
        What it may be, where there is something to say: 'main belt against capstan shaft' for a
        sideband; empty otherwise.
    """

    rate: Quantity
    peak: Quantity
    weighted: Quantity
    words: str = ""


@dataclass(frozen=True, slots=True)
class Attribution:
    """Which part makes which flutter of a record.

    Parameters
    ----------
    shares : tuple of PartShare
        The guilty first, then by falling weighted flutter. Every turning is in one of them.
    strays : tuple of Stray
        By falling weighted peak.
    unexplained : Quantity
        Weighted flutter that is nobody's (strays, unrest and hiss), as the peak of a sine of the
        same power, in %.
    unexplained_share : Quantity
        Its part of the power of the weighted flutter, in %.
    whole, weighted : Quantity
        All of the record's flutter, as the peak of a sine of the same power, in %.
    used_s : float
        Time that it rests on.
    speed_percent : float
        Mean deviation of the tape speed.
    results : tuple of Result
        `flutter.part_weighted`, one for each share and one for 'unexplained', for logbook,
        verdict and report.
    doubts : tuple of str
        Whole sentences.
    """

    shares: tuple[PartShare, ...]
    strays: tuple[Stray, ...]
    unexplained: Quantity
    unexplained_share: Quantity
    whole: Quantity
    weighted: Quantity
    used_s: float
    speed_percent: float
    results: tuple[Result, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def guilty(self) -> tuple[PartShare, ...]:
        """Shares whose part is surely there and matters."""
        return tuple(share for share in self.shares if share.guilty)

    def of(self, part_id: str) -> PartShare | None:
        """Return the share that this part is in."""
        return next((share for share in self.shares if part_id in share.ids), None)


@dataclass(frozen=True, slots=True, eq=False)
class OnceRound:
    """What the tape speed does in one turn of a part.

    Parameters
    ----------
    id, name : str
        Of the turning.
    turn : ndarray of float64, shape (point,)
        0 to 1, both ends included.
    percent : ndarray of float64, shape (point,)
        Mean deviation of the tape speed, without what other parts do, in %.
    within_percent : ndarray of float64, shape (point,)
        Half-width of its 95 % band.
    rate : Quantity
        Turns a second in the middle of the record, in Hz.
    turns : float
        How many turns were laid over each other.
    harmonics : tuple of Harmonic
    runouts : tuple of Runout
    doubts : tuple of str
    """

    id: str
    name: str
    turn: Array
    percent: Array
    within_percent: Array
    rate: Quantity
    turns: float
    harmonics: tuple[Harmonic, ...] = ()
    runouts: tuple[Runout, ...] = ()
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The flutter that would remain if some parts were put right.

    Parameters
    ----------
    ids, names : tuple of str
        Of the parts that are thought away (with those that cannot be told from them).
    results : tuple of Result
        `flutter.weighted_peak` by 'two-sigma/1' and the other figures of a reading, as they would
        be; each has the condition 'without'. For the verdict; not for the logbook.
    before : tuple of Result
        The same figures as they are, from the same record.
    doubts : tuple of str
    """

    ids: tuple[str, ...]
    names: tuple[str, ...]
    results: tuple[Result, ...]
    before: tuple[Result, ...]
    doubts: tuple[str, ...] = ()
