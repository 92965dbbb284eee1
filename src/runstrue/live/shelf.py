"""Stretches that were kept, as files, until they stand in the logbook.

Each lies beside a small file of facts. What still lies here when the program starts was kept
before it was cut off, and is offered again.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from runstrue.capture.marks import to_comment
from runstrue.errors import FileError
from runstrue.live.kept import Kept

DEPTH = "PCM_24"


class Shelf:
    """The folder of kept stretches.

    Parameters
    ----------
    folder : Path
        Made when something is put there.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def put(
        self,
        pieces: Iterator[NDArray[np.int32]],
        rate_hz: float,
        channels: int,
        first_frame: int,
        source: str,
        began_s: float,
        doubts: tuple[str, ...],
    ) -> Kept:
        """Write a stretch, whole or not at all.

        Parameters
        ----------
        pieces : iterator of ndarray of int32, shape (frame, channel)
            Full scale ±2³¹.
        began_s : float
            Seconds since 1970 of its first frame.

        Raises
        ------
        FileError
            When it cannot be written.
        """
        began = time.localtime(began_s)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            path = self._free_name(time.strftime("live %Y-%m-%d %H-%M-%S", began))
            temporary = path.with_name(".part-" + path.name)
            try:
                frames = _write(temporary, pieces, round(rate_hz), channels, to_comment(doubts))
                kept = Kept(
                    path, rate_hz, first_frame, frames, source,
                    time.strftime("%Y-%m-%dT%H:%M:%S%z", began), doubts,
                )  # fmt: skip
                facts = {**asdict(kept), "path": path.name}
                _facts(path).write_text(json.dumps(facts, indent=1), encoding="utf-8")
                os.replace(temporary, path)
            except BaseException:
                temporary.unlink(missing_ok=True)
                _facts(path).unlink(missing_ok=True)
                raise
        except (OSError, soundfile.SoundFileError) as error:
            raise FileError(
                f"The stretch could not be written to '{self.folder}' ({error})",
                "room on the disk is needed",
                "free some space and keep it again: the sound is still held",
            ) from None
        return kept

    def waiting(self) -> tuple[Kept, ...]:
        """Stretches that nobody has taken away yet, oldest first."""
        found = []
        for path in sorted(self.folder.glob("live *.flac")):
            try:
                facts = json.loads(_facts(path).read_text(encoding="utf-8"))
                kept = Kept(**{**facts, "path": path, "doubts": tuple(facts["doubts"])})
            except (OSError, ValueError, TypeError, KeyError):
                kept = _by_itself(path)
            found.append(kept)
        return tuple(found)

    def remove(self, kept: Kept) -> None:
        """Delete a stretch that is safe elsewhere, or not wanted."""
        if kept.path.parent == self.folder:
            kept.path.unlink(missing_ok=True)
            _facts(kept.path).unlink(missing_ok=True)

    def _free_name(self, stem: str) -> Path:
        path, number = self.folder / f"{stem}.flac", 2
        while path.exists():
            path, number = self.folder / f"{stem} ({number}).flac", number + 1
        return path


def _facts(path: Path) -> Path:
    return path.with_suffix(".json")


def _by_itself(path: Path) -> Kept:
    """What can be told of a file whose facts are gone."""
    info = soundfile.info(path)
    began = time.strftime("%Y-%m-%dT%H:%M:%S%z", time.localtime(path.stat().st_mtime))
    return Kept(path, float(info.samplerate), 0, int(info.frames), "live sound", began)


def _write(
    path: Path, pieces: Iterator[NDArray[np.int32]], rate_hz: int, channels: int, comment: str
) -> int:
    """Write pieces and make sure that they arrived; return the number of frames."""
    frames = 0
    with soundfile.SoundFile(path, "w", rate_hz, channels, DEPTH, format="FLAC") as file:
        if comment:
            file.comment = comment
        for piece in pieces:
            file.write(piece)
            frames += len(piece)
    with path.open("rb+") as raw:
        os.fsync(raw.fileno())
    if soundfile.info(path).frames != frames:
        raise OSError(28, "No space left on device")
    return frames
