"""Faults for a page: the words of the terminal, apart from its lines."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from runstrue.faults.models import Knowledge


@dataclass(frozen=True, slots=True)
class CautionWords:
    """One caution: what it is about, and what it says."""

    about: str
    text: str


def cautions_of(
    ids: Iterable[str], knowledge: Knowledge, told: set[str]
) -> tuple[CautionWords, ...]:
    """Return cautions in full; those told on this page already by their first words.

    Parameters
    ----------
    ids : iterable of str
    knowledge : Knowledge
    told : set of str
        Ids that were told; those told now are added.
    """
    from runstrue.cli.fault_show import HAZARDS, first_words

    found = []
    for key in dict.fromkeys(ids):
        caution = knowledge.cautions[key]
        text = first_words(caution.text) if key in told else caution.text
        told.add(key)
        found.append(CautionWords(HAZARDS[caution.kind], text))
    return tuple(found)
