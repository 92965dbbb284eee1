"""Files that are either whole or not there: a temporary name, then a rename."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from runstrue.errors import FileError


def write_whole(path: Path, content: bytes) -> Path:
    """Write a file so that nobody ever sees half of it.

    Raises
    ------
    FileError
        When it cannot be written; what stood at this path is then as it was.
    """
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, path)
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        raise FileError(
            f"'{path}' could not be written ({error.strerror or error})",
            "a folder that exists, may be written to and has room is needed",
            "choose another place",
        ) from error
    except BaseException:  # Ctrl-C: nothing half-written stays behind
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        raise
    return path


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it.

    Raises
    ------
    FileError
        When it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(
            f"The folder '{folder}' could not be made ({error.strerror or error})",
            "a place that may be written to is needed",
            "choose another place",
        ) from error


def _umask() -> int:
    """Read the process's mask; it can only be read by setting it."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
