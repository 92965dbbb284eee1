"""Long work behind a page: recordings that were dropped are measured here, and can be stopped."""

from __future__ import annotations

import secrets
import shutil
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from runstrue.errors import RunstrueError, Stopped

MOST_KEPT = 50


@dataclass(slots=True)
class Work:
    """One piece of work, and how far it is.

    Parameters
    ----------
    key : str
    what : str
        In words: 'before.flac'.
    folder : Path
        Of its files; deleted when it is over.
    """

    key: str
    what: str
    folder: Path
    seconds: float = 0.0
    of_seconds: float = 0.0
    is_over: bool = False
    captures: list[int] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    _stop: threading.Event = field(default_factory=threading.Event)

    def progress(self, seconds: float) -> None:
        """Say how far it is; raises `Stopped` where somebody wants it to stop."""
        if self._stop.is_set():
            raise Stopped("The measuring was stopped", "nothing was kept of this recording")
        self.seconds = seconds

    def stop(self) -> None:
        """Have it stop at the next opportunity."""
        self._stop.set()

    @property
    def is_stopping(self) -> bool:
        """Whether somebody wants it to stop."""
        return self._stop.is_set()


class Workshop:
    """All work of this server, one piece at a time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._all: dict[str, Work] = {}
        self._turn = threading.Lock()

    def place(self, what: str) -> Work:
        """Make room for a piece of work: a folder for its files."""
        key = secrets.token_urlsafe(9)
        folder = self.folder / key
        folder.mkdir(parents=True)
        work = Work(key, what, folder)
        self._all[key] = work
        over = [one for one, other in self._all.items() if other.is_over]
        for old in over[: max(len(self._all) - MOST_KEPT, 0)]:
            del self._all[old]
        return work

    def find(self, key: str) -> Work | None:
        """Return a piece of work."""
        return self._all.get(key)

    def begin(self, work: Work, act: Callable[[Work], None]) -> None:
        """Do it in a thread of its own, when what was begun earlier is over."""

        def run() -> None:
            with self._turn:
                try:
                    act(work)
                except Stopped as stopped:
                    work.refused.append(str(stopped))
                except RunstrueError as error:
                    work.refused.append(str(error))
                except Exception:
                    traceback.print_exc()
                    work.refused.append(
                        "The measuring fell over; the terminal of the bench says more."
                    )
                finally:
                    shutil.rmtree(work.folder, ignore_errors=True)
                    work.is_over = True

        threading.Thread(target=run, name=f"measuring {work.what}", daemon=True).start()

    def drop(self, work: Work) -> None:
        """Give up what was not begun."""
        shutil.rmtree(work.folder, ignore_errors=True)
        self._all.pop(work.key, None)
