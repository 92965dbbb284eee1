"""A file that is held while the program lives: the system lets go of it when the program ends."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import IO


def hold(path: Path) -> IO[bytes]:
    """Take a lock file and hold it until it is closed.

    Raises
    ------
    BlockingIOError
        When another program holds it.
    """
    file = path.open("ab")
    try:
        _take(file)
    except OSError as error:
        file.close()
        raise BlockingIOError(error.errno, "held by another program") from None
    return file


def is_free(path: Path) -> bool:
    """Whether no program holds this lock file."""
    try:
        hold(path).close()
    except OSError:
        return False
    return True


if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[bytes]) -> None:
        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _take(file: IO[bytes]) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
