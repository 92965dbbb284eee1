"""The one shape in which live sound arrives: blocks, each with what befell it on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from runstrue.samples import SourceKind

BLOCK_S = 0.05
"""Live sound is handed on 20 times a second: what the eye still takes for movement."""


@dataclass(frozen=True, slots=True, eq=False)
class LiveBlock:
    """A stretch of live sound.

    Parameters
    ----------
    samples : ndarray of float32, shape (channel, frame)
        Full scale is ±1. May hold no frame at all when only `lost` or `words` is to be told.
    lost : bool
        Whether sound is missing before this block.
    lost_s : float
        How much, as far as anybody knows; 0 where nobody does.
    words : str
        What happened, as a sentence: 'The sound card lost 0.2 s of sound.' Empty in plain
        running.
    away : bool
        Whether the source is gone for the moment and is being waited for.
    """

    samples: NDArray[np.float32]
    lost: bool = False
    lost_s: float = 0.0
    words: str = ""
    away: bool = False


class Source(Protocol):
    """Where live sound comes from.

    Attributes
    ----------
    kind : {'file', 'device', 'virtual'}
    name : str
        As told to people.
    rate_hz : float
        Native rate, known before the first block.
    channels : int
        One or two.
    """

    @property
    def kind(self) -> SourceKind:
        """What it is."""

    @property
    def name(self) -> str:
        """What people call it."""

    @property
    def rate_hz(self) -> float:
        """Frames a second."""

    @property
    def channels(self) -> int:
        """One or two."""

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield blocks as they arrive, of about `BLOCK_S`, until the sound ends or `stop`.

        At least one block a second is yielded even when no sound arrives, so that whoever
        waits can tell the time. Raises `runstrue.errors.RunstrueError` when nothing can be
        heard at all.
        """

    def stop(self) -> None:
        """End `blocks`, from any thread."""
