"""YAML with line numbers: pieces of a file that know where they stand.

A person who edits a file of knowledge is told the file and the line of a slip. So the text is
only parsed to nodes (PyYAML's `compose`), and every scalar is taken as the words that stand
there: `no`, `on` and `0123` are words, not values of YAML.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

import yaml

from runstrue.errors import DescriptionError, FileError

LARGEST_BYTES = 4_000_000
"""Ten times all that is known here: a larger file is something else."""

_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(frozen=True, slots=True)
class Piece:
    """One value of a file: a mapping, a list or some words.

    Parameters
    ----------
    node : yaml.Node
    file : str
        Name for people.
    """

    node: yaml.Node
    file: str

    @property
    def line(self) -> int:
        """Line at which it starts, from 1."""
        return int(self.node.start_mark.line) + 1

    def refused(self, seen: str, needed: str = "", next_step: str = "") -> DescriptionError:
        """Return the error that tells what is wrong here."""
        return DescriptionError(f"{self.file}, line {self.line}: {seen}", needed, next_step)

    def entries(self, what: str, allowed: Collection[str] | None) -> dict[str, Piece]:
        """Return the entries of a mapping.

        Parameters
        ----------
        what : str
            What it is, for the error: 'a cause'.
        allowed : collection of str or None
            The only keys there may be; None for any.
        """
        if not isinstance(self.node, yaml.MappingNode):
            raise self.refused(f"{what} should stand here as 'key: value' lines")
        found: dict[str, Piece] = {}
        for key_node, value in self.node.value:
            key = Piece(key_node, self.file)
            word = key.text("a key")
            if word in found:
                raise key.refused(f"'{word}' is written twice", "once is enough", "remove one")
            if allowed is not None and word not in allowed:
                raise key.refused(
                    f"{what} has no '{word}'", f"it can have {', '.join(allowed)}",
                    near(word, allowed),
                )  # fmt: skip
            found[word] = Piece(value, self.file)
        return found

    def items(self, what: str) -> Iterator[Piece]:
        """Yield the items of a list."""
        if not isinstance(self.node, yaml.SequenceNode):
            raise self.refused(f"{what} should be a list", "'- item' lines or [item, item]")
        for item in self.node.value:
            yield Piece(item, self.file)

    def text(self, what: str) -> str:
        """Return the words that stand here; there has to be at least one."""
        if not isinstance(self.node, yaml.ScalarNode):
            raise self.refused(f"{what} should be plain words", "neither a list nor keys")
        words = " ".join(str(self.node.value).split())
        if not words:
            raise self.refused(f"{what} is empty", "some words are needed")
        return words

    def number(self, what: str) -> float:
        """Return a number above zero."""
        words = self.text(what)
        try:
            value = float(words)
        except ValueError:
            value = math.nan
        if not 0 < value < math.inf:
            raise self.refused(f"{what} is '{words}'", "a number above zero is needed")
        return value

    def one_of(self, what: str, words: Collection[str]) -> str:
        """Return the word that stands here, which has to be one of these."""
        word = self.text(what)
        if word not in words:
            raise self.refused(
                f"{what} is '{word}'", f"one of {'; '.join(words)} is needed", near(word, words)
            )
        return word


def read_lines(text: str, file: str) -> Piece | None:
    """Parse one file of YAML.

    Returns
    -------
    Piece or None
        None where there is nothing but remarks.

    Raises
    ------
    DescriptionError
        With file and line, where it is no YAML.
    """
    try:
        node = yaml.compose(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = f", line {mark.line + 1}" if mark else ""
        raise DescriptionError(
            f"{file}{line}: This is not YAML ({error.problem or error.context})",
            "indented 'key: value' lines are needed",
            "look at the line before, too",
        ) from None
    except (yaml.YAMLError, RecursionError):
        raise DescriptionError(f"{file}: This is not YAML") from None
    return None if node is None else Piece(node, file)


def text_of(path: Path) -> str:
    """Return the text of a file.

    Raises
    ------
    FileError
        Where it cannot be read, is no text, or is far too large.
    """
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise FileError(
                f"'{path.name}' is larger than {LARGEST_BYTES // 1_000_000} MB",
                "a file of fault knowledge is needed",
            )
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be read ({error.strerror or error})", "a readable file is needed"
        ) from None
    except UnicodeDecodeError:
        raise FileError(
            f"'{path.name}' is not text in UTF-8", "a YAML file is needed", "save it as UTF-8"
        ) from None


def near(word: str, words: Collection[str]) -> str:
    """Return 'did you mean …' for a slip of the pen, or nothing."""
    close = difflib.get_close_matches(word, list(words), n=1, cutoff=0.6)
    return f"did you mean '{close[0]}'" if close else ""
