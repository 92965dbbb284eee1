"""A virtual deck as a live source, with sliders for its faults."""

from __future__ import annotations

from collections.abc import Iterator

from runstrue.capture.blocks import BLOCK_S, LiveBlock
from runstrue.capture.paced import Pace
from runstrue.samples import SourceKind
from runstrue.virtualdeck.live import LiveDeck


class VirtualSource:
    """A virtual deck that plays in real time.

    Parameters
    ----------
    deck : LiveDeck, optional
    times : float
        How much faster than real time.
    """

    kind: SourceKind = "virtual"
    name = "virtual deck"
    channels = 2

    def __init__(self, deck: LiveDeck | None = None, times: float = 1.0) -> None:
        self.deck = deck or LiveDeck()
        self.rate_hz = self.deck.rate_hz
        self._pace = Pace(self.rate_hz, times)

    def settings(self) -> dict[str, float]:
        """Where the sliders stand."""
        return self.deck.settings()

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield what it plays, until `stop`."""
        frames = round(BLOCK_S * self.rate_hz)
        while self._pace.wait_for(frames):
            yield LiveBlock(self.deck.next(frames))

    def stop(self) -> None:
        """End `blocks`."""
        self._pace.stop()
