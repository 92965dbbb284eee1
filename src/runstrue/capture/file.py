"""A recording in a file, read block by block.

Reading and hashing run in threads of their own, ahead of whoever takes the blocks, so that
decoding a long file and listening to it take two cores.
"""

from __future__ import annotations

import hashlib
import queue
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from runstrue.capture.marks import from_comment
from runstrue.errors import FileError, SignalError
from runstrue.samples import Origin

BLOCK_S = 2.0
BLOCKS_AHEAD = 3
PIECE_FRAMES = 1 << 17  # a few seconds: each piece waits for its turn among the threads
RECORDING_ENDINGS = frozenset(
    {
        ".wav",
        ".flac",
        ".aif",
        ".aiff",
        ".ogg",
        ".oga",
        ".opus",
        ".mp3",
        ".w64",
        ".rf64",
        ".caf",
        ".au",
    }
)
LOSSY = frozenset({"VORBIS", "OPUS", "MPEG_LAYER_I", "MPEG_LAYER_II", "MPEG_LAYER_III"})


class FileSource:
    """A sound file as a source of blocks.

    Parameters
    ----------
    path : Path
    most_channels : int
        More channels than this are refused.
    hashed : bool
        Whether the file's bytes are hashed for `origin`.

    Attributes
    ----------
    rate_hz : float
    channels : int
    frames : int
        As the file's head says; the file may end before.
    doubts : list of str
        Sentences about the file that came up while it was read.

    Raises
    ------
    FileError
        When the file is not there, not readable or no sound file.
    SignalError
        When it has more channels than a tape deck's two.
    """

    def __init__(self, path: Path, most_channels: int = 2, *, hashed: bool = True) -> None:
        self.path = path
        self.doubts: list[str] = []
        with _open(path) as sound:
            self.rate_hz = float(sound.samplerate)
            self.channels = int(sound.channels)
            self.frames = int(sound.frames)
            self.subtype = str(sound.subtype)
            self.doubts += from_comment(str(sound.comment))
        if self.channels > most_channels:
            raise SignalError(
                f"'{path.name}' has {self.channels} channels",
                "one or two are needed",
                "export left and right as a file of their own",
            )
        if self.subtype in LOSSY:
            self.doubts.append(
                f"The file is lossy ({self.subtype.replace('_', ' ').lower()}): speed and "
                "flutter survive that, levels may not."
            )
        missing = _missing_bytes(path)
        if missing:
            self.doubts.append(
                f"The file is {missing:,} bytes shorter than its header says: it is cut short."
            )
        self._hash = _Hash(path) if hashed else None

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Yield blocks of shape (channel, frame) until the file ends.

        Raises
        ------
        FileError
            When nothing can be decoded, or a block cannot.
        """
        seen = 0
        for block in _ahead(self._decoded()):
            seen += block.shape[1]
            yield block
        if seen == 0 and self.frames:
            raise FileError(
                f"'{self.path.name}' announces {self.frames / self.rate_hz:.1f} s, but nothing in "
                "it can be decoded",
                "a whole file is needed",
                "it was cut short or is damaged: copy or record it again",
            )
        if seen == 0:
            raise FileError(
                f"'{self.path.name}' holds no sound", "a recording is needed", "record it again"
            )
        if seen < self.frames:
            self.doubts.append(
                f"The file ends after {seen / self.rate_hz:.1f} s although it announces "
                f"{self.frames / self.rate_hz:.1f} s: it is cut short or damaged."
            )

    def read(self, first_frame: int, frames: int) -> NDArray[np.float32]:
        """Return a stretch from any place, shape (channel, frame); shorter where the file ends.

        Raises
        ------
        FileError
            When the stretch cannot be decoded.
        """
        first = min(max(first_frame, 0), self.frames)
        wanted = min(max(frames, 0), self.frames - first)
        out = np.empty((self.channels, wanted), dtype=np.float32)
        piece = np.empty((min(PIECE_FRAMES, wanted), self.channels), dtype=np.float32)
        filled = 0
        with _open(self.path) as sound:
            try:
                sound.seek(first)
                while filled < wanted:  # in pieces: a long stretch is not held twice
                    read = sound.read(out=piece[: wanted - filled])
                    if not len(read):
                        break
                    out[:, filled : filled + len(read)] = read.T
                    filled += len(read)
            except soundfile.SoundFileError:
                raise FileError(
                    f"'{self.path.name}' cannot be decoded from "
                    f"{first_frame / self.rate_hz:.1f} s on",
                    "a whole file is needed",
                    "it was cut short or is damaged: copy or record it again",
                ) from None
        return out if filled == wanted else out[:, :filled].copy()

    def origin(self) -> Origin:
        """Return where this came from, with the hash of the file's bytes."""
        return Origin("file", self.path.name, self._hash.result() if self._hash else "")

    def _decoded(self) -> Iterator[NDArray[np.float32]]:
        with _open(self.path) as sound:
            frames = max(round(self.rate_hz * BLOCK_S), 1)
            while True:
                try:
                    block = sound.read(frames, dtype="float32", always_2d=True)
                except soundfile.SoundFileError:
                    return  # a damaged tail: what was read before it counts
                if not len(block):
                    return
                yield block.T


def recordings_in(folder: Path) -> list[Path]:
    """Recordings in a folder, by name.

    Raises
    ------
    FileError
        When there are none, or the folder cannot be read.
    """
    try:
        found = sorted(
            path for path in folder.iterdir() if path.suffix.lower() in RECORDING_ENDINGS
        )
    except OSError as error:
        raise FileError(
            f"The folder '{folder}' cannot be read ({_reason(error)})",
            "",
            "check its name and permissions",
        ) from None
    if not found:
        raise FileError(
            f"The folder '{folder}' holds no recordings",
            "files such as side-a.flac or side-a.wav are needed",
            "name another folder or a file",
        )
    return found


def length_s(path: Path) -> float:
    """Length that a recording announces, in seconds; refuses like `FileSource`."""
    with _open(path) as sound:
        return float(sound.frames / sound.samplerate)


def _open(path: Path) -> soundfile.SoundFile:
    """Open a sound file, or say in one sentence why not."""
    try:
        with path.open("rb") as raw:
            empty = not raw.read(1)
    except IsADirectoryError:
        raise FileError(
            f"'{path}' is a folder", "a recording is needed", "name a file in it"
        ) from None
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be read ({_reason(error)})", "", "check the name and permissions"
        ) from None
    if empty:
        raise FileError(f"'{path.name}' is empty", "a recording is needed", "record it again")
    try:
        return soundfile.SoundFile(path)
    except (soundfile.SoundFileError, TypeError):
        raise FileError(
            f"'{path.name}' cannot be read as sound",
            "a WAV, FLAC, AIFF, Ogg or MP3 file is needed",
            "export the recording as WAV or FLAC",
        ) from None


def _missing_bytes(path: Path) -> int:
    """How much shorter a WAV file is than its own header says.

    References
    ----------
    Multimedia Programming Interface and Data Specifications 1.0, 1991: the RIFF chunk's size
    counts what follows its first 8 bytes. Recorders that do not know the length leave 0 or
    2³² − 1 there (common practice).
    """
    with path.open("rb") as raw:
        head = raw.read(12)
    if head[:4] != b"RIFF" or head[8:] != b"WAVE":
        return 0
    said = int.from_bytes(head[4:8], "little")
    # a recorder that stopped early may leave any multiple of 2³¹ there, or count no padding byte
    if said == 0 or said >= 2**31:
        return 0
    return max(said + 7 - path.stat().st_size, 0)


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()


def _ahead(items: Iterator[NDArray[np.float32]]) -> Iterator[NDArray[np.float32]]:
    """Yield the same items while a thread already fetches the next ones."""
    ready: queue.Queue[NDArray[np.float32] | BaseException | None] = queue.Queue(BLOCKS_AHEAD)
    stopped = threading.Event()

    def fetch() -> None:
        end: BaseException | None = None
        try:
            for item in items:
                while not stopped.is_set():
                    try:
                        ready.put(item, timeout=0.1)
                        break
                    except queue.Full:
                        continue
                if stopped.is_set():
                    return
        except BaseException as error:  # handed on to the thread that takes the blocks
            end = error
        while not stopped.is_set():
            try:
                ready.put(end, timeout=0.1)
                return
            except queue.Full:
                continue

    thread = threading.Thread(target=fetch, daemon=True)
    thread.start()
    try:
        while True:
            item = ready.get()
            if item is None:
                return
            if isinstance(item, BaseException):
                raise item
            yield item
    finally:
        stopped.set()
        thread.join()


class _Hash:
    """SHA-256 of a file, reckoned in the background."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._digest = ""
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def result(self) -> str:
        self._thread.join()
        return self._digest

    def _work(self) -> None:
        try:
            with self._path.open("rb") as raw:
                self._digest = hashlib.file_digest(raw, "sha256").hexdigest()
        except OSError:
            self._digest = ""
