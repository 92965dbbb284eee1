"""The plain types of fault-finding: what is known, what was seen.

What is known:

    Knowledge ──┬── Symptom     what a person notices, with the causes that can bring it
                ├── Cause       what is wrong, its remedy, and what the work takes
                ├── Check       what to look at; each of its outcomes raises or lowers causes
                ├── Caution     what can hurt, shown before the step
                ├── Tool
                └── synonyms    words of the bench that mean the same, for the search

and `Evidence`, one thing seen on one deck: a symptom, or an outcome of a check.
"""

from __future__ import annotations

from typing import Literal

import msgspec

Likelihood = Literal["common", "occasional", "rare"]
RiskWord = Literal["none", "low", "medium", "high"]
Hazard = Literal["electrical", "chemical", "mechanical", "media", "adjust"]
Area = Literal[
    "power", "drive", "mechanism", "tape", "head", "signal", "record", "meter", "logic", "build"
]
Power = Literal[
    "off, unplugged",
    "on, covers closed",
    "on, open, low-voltage side only",
    "on, open, mains side reachable",
]


class _Known(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Shared by all pieces of knowledge: a stable id, and a name for people."""

    id: str
    name: str


class Risk(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How much can go wrong, to the person and to the deck."""

    electrical: RiskWord = "none"
    mechanical: RiskWord = "none"


class Tool(_Known, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Something needed at the bench."""


class Caution(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What can hurt (a person, the deck, a tape, its adjustment), and what is usual against it."""

    id: str
    kind: Hazard
    text: str
    basis: tuple[str, ...] = ()


class Link(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A cause that can bring a symptom, and how readily (judgement, not a measured rate)."""

    cause: str
    likelihood: Likelihood


class Symptom(_Known, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What a person notices.

    Parameters
    ----------
    said : tuple of str
        How owners say it; searched along with the name.
    area : str
        Where it is noticed: one of `Area`.
    causes : tuple of Link
    checks : tuple of str
        Worth doing for this symptom, in a bench's usual order.
    cold_checks_before_power : tuple of str
        To be done unplugged before any mains is applied.
    playing : {'', 'impossible'}
        Whether it says that no tape plays: checks that need that are left out.
    cautions : tuple of str
    basis : tuple of str
        What stands behind its figures, where it names one: keys of the knowledge's sources.
    """

    said: tuple[str, ...] = ()
    area: Area
    causes: tuple[Link, ...]
    checks: tuple[str, ...] = ()
    cold_checks_before_power: tuple[str, ...] = ()
    playing: Literal["", "impossible"] = ""
    cautions: tuple[str, ...] = ()
    basis: tuple[str, ...] = ()


class Cause(_Known, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is wrong, and what mends it.

    Parameters
    ----------
    area : str
    prior_group : str
        The row of the open repair counts that its prior chance comes from; empty where none
        speaks.
    likelihood : {'common', 'occasional', 'rare'}
        Judgement of how often it is met among old decks: the prior where no count speaks, and
        its share within a count's group.
    remedy : str
    parts : tuple of str
    tools : tuple of str
    effort_min : (float, float)
        Minutes at the bench, parts to hand, from judgement.
    risk : Risk
    cautions : tuple of str
    basis : tuple of str
        What stands behind it: keys of the knowledge's sources.
    """

    area: Area
    prior_group: str = ""
    likelihood: Likelihood = "occasional"
    remedy: str
    parts: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    effort_min: tuple[float, float]
    risk: Risk = Risk()
    cautions: tuple[str, ...] = ()
    basis: tuple[str, ...] = ("practice",)


class Outcome(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One thing that a check can show.

    Parameters
    ----------
    id : str
        Stable within its check.
    see : str
    points_to, makes_unlikely : tuple of str
        Causes that it raises, and lowers.
    """

    id: str
    see: str
    points_to: tuple[str, ...] = ()
    makes_unlikely: tuple[str, ...] = ()


class Check(_Known, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Something to look at, with the outcomes that it can have.

    Parameters
    ----------
    how : str
    tools : tuple of str
    minutes : float
    power : str
        The state in which the deck must be.
    playing : {'', 'needed'}
        Whether the deck must play a tape, or record one.
    risk : Risk
    outcomes : tuple of Outcome
    cautions : tuple of str
    measures : str
        For a check that Runstrue itself answers from a recording or a typed reading: what to
        measure, as a command ('runstrue measure'); empty for the hands and eyes.
    area : str
        Where it is done: one of `Area`; empty for a check across all of them.
    basis : tuple of str
        What stands behind its figures, where it names one: keys of the knowledge's sources.
    """

    how: str
    tools: tuple[str, ...] = ()
    minutes: float
    power: Power
    playing: Literal["", "needed"] = ""
    risk: Risk = Risk()
    outcomes: tuple[Outcome, ...]
    cautions: tuple[str, ...] = ()
    measures: str = ""
    area: Area | Literal[""] = ""
    basis: tuple[str, ...] = ()


class Knowledge(msgspec.Struct, frozen=True, kw_only=True):
    """All that is known, by id, checked for dangling ids when it was read."""

    symptoms: dict[str, Symptom]
    causes: dict[str, Cause]
    checks: dict[str, Check]
    cautions: dict[str, Caution]
    tools: dict[str, Tool]
    sources: dict[str, str]
    synonyms: tuple[tuple[str, ...], ...] = ()
    empty_words: tuple[str, ...] = ()


class Evidence(msgspec.Struct, frozen=True, kw_only=True):
    """One thing seen on one deck.

    Parameters
    ----------
    kind : {'symptom', 'check'}
    key : str
        Id of the symptom or the check.
    answer : str
        'present' or 'absent' for a symptom; an outcome's id for a check; 'unknown' where the
        person could not tell (kept, so that it is not asked again; it moves no chance).
    because : str
        Which reading it came from, in plain words; empty where a person said it.
    reading_id : int or None
        That reading in the logbook.
    """

    kind: Literal["symptom", "check"]
    key: str
    answer: str
    because: str = ""
    reading_id: int | None = None
