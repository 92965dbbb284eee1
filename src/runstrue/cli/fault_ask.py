"""Asking a person with dirty hands: one number, one letter, and nothing lost by a slip."""

from __future__ import annotations

import sys

from runstrue.cli.layout import out


def asking() -> bool:
    """Whether there is a person at the keyboard."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stdout.isatty()


class Asking:
    """Reads answers line by line; the end of the input is a wish to stop."""

    def word(self, hint: str) -> str:
        """Return what was typed, in small letters without spaces around it; empty at the end."""
        typed = self.words(hint)
        return "" if typed is None else (typed.lower() or "?")

    def words(self, hint: str) -> str | None:
        """Return what was typed as it stands; None at the end of the input."""
        sys.stdout.write(f"[{hint}] > ")
        sys.stdout.flush()
        line = sys.stdin.readline()
        if not line:
            out("")
            return None
        if not sys.stdin.isatty():
            out(line.rstrip("\n"))  # so that what was answered can be read in the record
        return line.strip()

    def number(self, word: str, highest: int) -> int | None:
        """Return the number that was typed; None, with a sentence, where it is none of these."""
        if word.isdecimal() and 1 <= int(word) <= highest:
            return int(word)
        if word != "?":
            out(f"'{word}' is none of the numbers 1 to {highest}.")
        return None
