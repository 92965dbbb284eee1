"""The one context of the printed sheet: plain words, ready to be set, nothing to compute.

`runstrue.report.context` fills it from a logbook record and `sheet.typ` sets it. The template
names its variables after these classes (a `Cell` is `cell`), and a test holds the two against
each other, so that no field is missing on either side. Every field is text, a list of one of
these classes, or a list of text; text that does not apply is empty.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what it says: 'serial number', '0042'."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Stay:
    """One visit: dates, why it came, what was done."""

    dates: str
    reason: str
    done: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One reading as it stands in a table.

    Parameters
    ----------
    figure : str
        Rounded by its own uncertainty, with unit: '±0.147 %'.
    within : str
        '±0.024 %', the half-width of the 95 % interval; empty where there is none.
    more : str
        The needle's range, earlier readings, why there is no figure.
    mark : str
        '✔', '✘', '≈' or '–'; empty where nothing was judged.
    outcome : str
        'meets'.
    chance : str
        That the deck meets it: 'more than 99 %'; empty where it cannot be compared.
    """

    figure: str = ""
    within: str = ""
    more: str = ""
    mark: str = ""
    outcome: str = ""
    chance: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """One figure of the sheet against what was read.

    Parameters
    ----------
    name : str
        Quantity in plain words, with the place where there are several.
    allowed : str
        '≤ 0.14 %', in the unit of the reading.
    printed : str
        The sheet's own words.
    found, left : Cell
    words : str
        Verdict and advice in bench words.
    """

    name: str
    allowed: str
    printed: str
    found: Cell
    left: Cell
    words: str


@dataclass(frozen=True, slots=True)
class Reading:
    """One quantity by one method on one channel, as found and as left.

    Parameters
    ----------
    name, how, where : str
        Quantity; method in short; channel and place.
    found, left : Cell
    change, within, sure : str
        The difference; its 95 % half-width; what it means.
    """

    name: str
    how: str
    where: str
    found: Cell
    left: Cell
    change: str
    within: str
    sure: str


@dataclass(frozen=True, slots=True)
class Peak:
    """One line of the flutter spectrum: stage, rate and sizes as text with unit."""

    stage: str
    rate: str
    size: str
    weighted: str


@dataclass(frozen=True, slots=True)
class Culprit:
    """One part's share of the flutter, found and left, and what would do it."""

    name: str
    found: Cell
    left: Cell
    cause: str


@dataclass(frozen=True, slots=True)
class Picture:
    """One figure: `key` finds its drawing, `told` says in words what it shows."""

    key: str
    told: str


@dataclass(frozen=True, slots=True)
class Pass:
    """One capture: what was played where and when, and the hash of what was kept."""

    stage: str
    when: str
    where: str
    said: str
    conditions: str
    kept: str


@dataclass(frozen=True, slots=True)
class Way:
    """One method used: short words and source."""

    words: str
    source: str


@dataclass(frozen=True, slots=True)
class Share:
    """One uncertainty budget: which reading, its parts, and all of them together."""

    reading: str
    parts: str
    together: str


@dataclass(frozen=True, slots=True)
class Paper:
    """All that the printed sheet says.

    Parameters
    ----------
    title, deck, running, made, program : str
        Heading; name of the deck; the same in short, for the top of later pages; when the
        record was read; program and version.
    facts : list of Fact
        About the deck.
    summary : list of str
        What matters most, in one to three sentences.
    stays : list of Stay
    judged : list of Judged
        The sheet's figures.
    sheet_source : str
        Where the sheet's words come from, or that there is none.
    rule : str
        Decision rule of the verdicts.
    unread : list of str
        What of the sheet was not understood, verbatim.
    readings : list of Reading
    peaks : list of Peak
    culprits : list of Culprit
        Which part makes how much of the flutter.
    repairs : list of str
        What to repair first, and what would then remain; one sentence or two each.
    pictures : list of Picture
    passes : list of Pass
    equipment : list of Fact
        Test tapes and sound card.
    quotes : list of Fact
        Which paper of the deck, and the words of it that are quoted.
    ways : list of Way
    shares : list of Share
    doubts, cautions : list of str
        Whole sentences.
    lost : str
        Says that characters could not be printed; empty where none was.
    """

    title: str
    deck: str
    running: str
    made: str
    program: str
    facts: list[Fact]
    summary: list[str]
    stays: list[Stay]
    judged: list[Judged]
    sheet_source: str
    rule: str
    unread: list[str]
    readings: list[Reading]
    peaks: list[Peak]
    culprits: list[Culprit]
    repairs: list[str]
    pictures: list[Picture]
    passes: list[Pass]
    equipment: list[Fact]
    quotes: list[Fact]
    ways: list[Way]
    shares: list[Share]
    doubts: list[str]
    cautions: list[str]
    lost: str
