"""What befell a recording, written into the file itself so that it stays with it.

A comment in the file: a first line that says whose it is, then one sentence a line. Whoever
measures the file later tells them as doubts.
"""

from __future__ import annotations

from collections.abc import Sequence

FIRST_LINE = "Runstrue, while this was recorded:"
MOST = 50
"""Sentences; a recording with more is told to be bad by the first fifty."""


def to_comment(words: Sequence[str]) -> str:
    """Return the comment that holds these sentences; empty for none."""
    told = [" ".join(one.split()) for one in words[:MOST]]
    return "\n".join((FIRST_LINE, *told)) if told else ""


def from_comment(comment: str) -> tuple[str, ...]:
    """Return the sentences of such a comment; none from a comment of another kind.

    Examples
    --------
    >>> from_comment(to_comment(["The sound card lost 0.2 s at 3.1 s."]))
    ('The sound card lost 0.2 s at 3.1 s.',)
    >>> from_comment("Side A, 1979")
    ()
    """
    first, *rest = comment.splitlines() or [""]
    if first != FIRST_LINE:
        return ()
    told = ("".join(one for one in line if one.isprintable()).strip() for line in rest[:MOST])
    return tuple(line for line in told if line)
