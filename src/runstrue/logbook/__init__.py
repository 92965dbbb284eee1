"""The record that outlives the program: decks, visits, captures, readings, verdicts.

`Logbook.open(folder)` opens it; the types it hands out are in `runstrue.logbook.models`.
"""

from runstrue.logbook.book import Logbook

__all__ = ["Logbook"]
