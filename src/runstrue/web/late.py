"""The live bench, made when it is first asked for: what measures takes a moment to load."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.web.live_bench import LiveBench


class Late:
    """The live side of a server, not made before its time.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._live: LiveBench | None = None
        self._lock = threading.Lock()

    def get(self) -> LiveBench:
        """Return the live bench."""
        from runstrue.web.live_bench import LiveBench

        with self._lock:
            if self._live is None:
                self._live = LiveBench(self._bench)
            return self._live

    def close(self) -> None:
        """End it, if it was ever made."""
        if self._live is not None:
            self._live.close()
