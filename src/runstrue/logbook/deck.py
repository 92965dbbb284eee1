"""Who is on the bench: the deck, its sheet, its visits, and the sound card that listens."""

from __future__ import annotations

from typing import Literal, get_args

import msgspec

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.verdict.models import Limit, Sheet

DeckKind = Literal["cassette", "open reel"]


class Deck(msgspec.Struct, frozen=True, kw_only=True):
    """A deck, as its owner or the bench knows it.

    Parameters
    ----------
    id : int
        Given by the logbook; 0 until then.
    name : str
        The short name that is typed, unique in a logbook whatever its capitals.
    maker, model, serial : str
    year : int or None
        Of making, 1930 to 2100.
    kind : {'cassette', 'open reel'}
    speeds_cm_s : tuple of float
        Tape speeds in cm/s, each above 0.
    heads, wells : int or None
        How many of them; 1 or more.
    mains : str
        As set on the deck when it came: '230 V, 50 Hz'.
    notes : str
    created_at : str
    hidden : bool
        Hidden decks stay in the logbook and can be shown again.

    Raises
    ------
    InputError
        When a fact is outside what is stated here.
    """

    name: str
    id: int = 0
    maker: str = ""
    model: str = ""
    serial: str = ""
    year: int | None = None
    kind: DeckKind = "cassette"
    speeds_cm_s: tuple[float, ...] = ()
    heads: int | None = None
    wells: int | None = None
    mains: str = ""
    notes: str = ""
    created_at: str = ""
    hidden: bool = False

    def __post_init__(self) -> None:
        if not self.name.strip() or self.name != self.name.strip() or "\n" in self.name:
            raise InputError(
                f"The name '{self.name}' was given to a deck",
                "one line that neither is empty nor begins or ends with a space is needed",
            )
        if self.kind not in get_args(DeckKind):
            raise not_one_of("kind of deck", self.kind, get_args(DeckKind))
        if self.year is not None and not 1930 <= self.year <= 2100:
            raise InputError(
                f"The year {self.year} was given for deck '{self.name}'",
                "a year of making from 1930 to 2100 is needed",
                "leave it out where it is not known",
            )
        for what, count in (("heads", self.heads), ("wells", self.wells)):
            if count is not None and count < 1:
                raise InputError(
                    f"{count} {what} were given for deck '{self.name}'",
                    "1 or more are needed",
                    "leave it out where it is not known",
                )
        if not all(0 < speed < 1000 for speed in self.speeds_cm_s):
            raise InputError(
                f"The speeds {list(self.speeds_cm_s)} cm/s were given for deck '{self.name}'",
                "each must be above 0 and below 1000 cm/s",
            )

    @property
    def title(self) -> str:
        """Maker and model where they are known, else the short name."""
        return " ".join(part for part in (self.maker, self.model) if part) or self.name


class DeckChange(msgspec.Struct, frozen=True, kw_only=True):
    """A correction of a deck's own facts: what stood there before."""

    changed_at: str
    before: Deck
    program_version: str


class SheetEntry(msgspec.Struct, frozen=True, kw_only=True):
    """What a deck is promised to do, as pasted and as understood at the time.

    Parameters
    ----------
    id, deck_id : int
    sheet : Sheet
        The raw text, the limits understood in it, and what was not understood.
    source : str
        Where the words come from: 'owner's manual, page 27'.
    entered_at, program_version : str
    superseded : bool
        True once a later one was entered; it stays for good.
    """

    id: int
    deck_id: int
    sheet: Sheet
    source: str
    entered_at: str
    program_version: str
    superseded: bool = False

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The limits as understood."""
        return self.sheet.limits


class Visit(msgspec.Struct, frozen=True, kw_only=True):
    """One stay of a deck on the bench.

    Parameters
    ----------
    id, deck_id : int
    begun_at : str
    ended_at : str
        Empty while the deck is still here.
    reason : str
        Why it came, in the owner's words.
    notes : str
        What was done.
    """

    id: int
    deck_id: int
    begun_at: str
    ended_at: str = ""
    reason: str = ""
    notes: str = ""


UNKNOWN_CLOCK_U_PPM = 100 / 3**0.5
"""A clock that nobody looked at: ±100 ppm, rectangular (sound cards are off by tens of ppm, from
memory, sure)."""


class SoundCard(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of a sound card: its clock, its voltage, and what it adds to readings.

    Parameters
    ----------
    name : str
    clock_ppm : float
        How much faster (+) than nominal it runs, in parts per million.
    u_ppm : float
        Standard uncertainty of that, 0 or more.
    remark : str
        How it was found out.
    determined_at : str
        When it came into the logbook.
    full_scale_dbv : float or None
        Level of the sine that just reaches full scale of its input, in dBV; None where no known
        voltage was read.
    u_full_scale_db : float
        Standard uncertainty of that.
    output_full_scale_dbv, u_output_full_scale_db : float or None, float
        Likewise of its output.
    loop_back : dict of str to float
        What a loop-back showed, by the names of `runstrue.measure.card.CardFigures`; empty where
        none was made.
    """

    name: str
    clock_ppm: float = 0.0
    u_ppm: float = UNKNOWN_CLOCK_U_PPM
    remark: str = ""
    determined_at: str = ""
    full_scale_dbv: float | None = None
    u_full_scale_db: float = 0.0
    output_full_scale_dbv: float | None = None
    u_output_full_scale_db: float = 0.0
    loop_back: dict[str, float] = msgspec.field(default_factory=dict)

    def __post_init__(self) -> None:
        Quantity(self.clock_ppm, "ppm", self.u_ppm)  # raises where either is no figure


def not_one_of(what: str, seen: object, wanted: tuple[str, ...]) -> InputError:
    """Return the refusal of a word that is not in a fixed set."""
    return InputError(f"The {what} '{seen}' was given", f"one of these is needed: {_list(wanted)}")


def _list(words: tuple[str, ...]) -> str:
    return ", ".join(f"'{word}'" for word in words)
