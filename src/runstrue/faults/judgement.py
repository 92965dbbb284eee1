"""The words of the knowledge as numbers: all of them here, and all of them judgement.

No published count tells how often a dry bearing makes a deck run slow. The words *common*,
*occasional* and *rare* were written down by people; this table says what is reckoned for them.
Every number may be off by a factor of three in its odds, and the tests play that through.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from runstrue.faults.models import Likelihood, RiskWord

CAUSE_CHANCE: Final[Mapping[Likelihood, float]] = {
    "common": 0.04,
    "occasional": 0.015,
    "rare": 0.005,
}
"""Chance that a deck on the bench has it; within a counted group only their ratio speaks."""

LINK_CHANCE: Final[Mapping[Likelihood, float]] = {
    "common": 0.6,
    "occasional": 0.25,
    "rare": 0.06,
}
"""Chance that a cause by itself brings a symptom; the leak is not in it (it stands outside)."""

UNLISTED: Final = 0.1
"""Of all decks with a symptom, the part whose cause is not on the symptom's list: its leak."""

CLEAR: Final = 0.8
"""Chance that a check shows one of its clear outcomes where none of its causes is there."""

POINTS: Final = 25.0
"""How much a cause raises the weight of an outcome that points to it."""

UNLIKELY: Final = 0.1
"""How much a cause lowers the weight of an outcome that makes it unlikely."""

COUNTS_WORTH: Final = 30.0
"""What the open counts are worth, in decks of one's own: a tenth of the 310 texts.

They are of home portables for the most part, and labelled by words in short texts.
"""

JUDGEMENT_WORTH: Final = 20.0
"""What a word of judgement is worth, in decks of one's own."""

RISK_MINUTES: Final[Mapping[str, Mapping[RiskWord, float]]] = {
    "electrical": {"none": 0.0, "low": 2.0, "medium": 8.0, "high": 20.0},
    "mechanical": {"none": 0.0, "low": 1.0, "medium": 4.0, "high": 10.0},
}
"""What a risk costs, in minutes: how much longer a check may take that does without it."""

UNNAMED: Final = 2.0
"""How many times its cost a check counts that no complaint's own list of checks names.

It may be impossible with this complaint.
"""

SURE: Final = 0.8
"""From this chance on a cause is worth beginning with, and the search is taken as over."""

SETTLED: Final = 0.5
"""How much of what is open after that still counts, when the next check is chosen."""
