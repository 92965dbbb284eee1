"""The recordings kept: files named by the SHA-256 of their bytes, complete or not there at all.

A recording is written under a temporary name, brought to the disk, and only then given its
name. One that is there already is not kept twice. Reading one back checks its hash.
"""

from __future__ import annotations

import hashlib
import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import FileError, LogbookError
from runstrue.logbook.database import disk_error, disk_full, sync
from runstrue.samples import Signal

BLOCK_BYTES = 1 << 20
BLOCK_FRAMES = 1 << 16

# What libsndfile's FLAC takes: 8 channels, whole rates up to 655 350 Hz (RFC 9639, 9.1).
FLAC_CHANNELS = 8
FLAC_RATE_HZ = 655_350
FULL_SCALE_24 = 2**23

# A temporary file this old belongs to a process that was killed, in s. Own choice.
STALE_AFTER_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Incoming:
    """A recording that is on the disk but has no name yet.

    Parameters
    ----------
    part : Path
        Where it is now.
    sha256 : str
    size_bytes : int
    stored_name : str
        The name it is to get.
    file_name : str
        What it was called where it came from.
    """

    part: Path
    sha256: str
    size_bytes: int
    stored_name: str
    file_name: str


class Recordings:
    """The folder `captures/` of a bench.

    Parameters
    ----------
    bench : Path
        The bench folder.
    """

    def __init__(self, bench: Path) -> None:
        self.bench = bench
        self.folder = bench / "captures"

    @contextmanager
    def incoming_file(self, file: Path, sha256: str = "") -> Iterator[Incoming]:
        """Copy a file's bytes in; what was not kept by the end is taken away.

        Parameters
        ----------
        file : Path
        sha256 : str
            Of the bytes that were measured; empty to take the file as it is.

        Raises
        ------
        FileError
            When the file cannot be read, or is no longer the one that was measured.
        LogbookError
            When the bench folder cannot be written.
        """
        with self._part(_suffix(file)) as part:
            digest, size = self._copy(file, part)
            if sha256 and digest != sha256.lower():
                raise FileError(
                    f"'{file}' has changed since it was measured",
                    "the bytes that were measured are needed",
                    "measure it again",
                )
            yield Incoming(part, digest, size, digest + part.suffix, file.name)

    @contextmanager
    def incoming_signal(self, signal: Signal) -> Iterator[Incoming]:
        """Write a signal without a file, as FLAC of 24 bit where that can hold it.

        FLAC holds samples from −1 to 1 − 2⁻²³ in steps of 2⁻²³; anything beyond (a driver
        that gives more than full scale) would be clipped, so that is kept as WAV of 32 bit
        float. What was written is read back and compared.

        Raises
        ------
        LogbookError
            When the rate is not whole, or the bench folder cannot be written.
        """
        if signal.rate_hz != round(signal.rate_hz):
            raise LogbookError(
                f"The recording '{signal.origin.name}' has a rate of {signal.rate_hz} Hz",
                "a whole number of Hz is needed to keep it",
                "keep the file it came from instead",
            )
        as_flac = (
            signal.channels <= FLAC_CHANNELS
            and signal.rate_hz <= FLAC_RATE_HZ
            and bool(np.all(signal.samples >= -1.0))
            and bool(np.all(signal.samples <= 1.0 - 1.0 / FULL_SCALE_24))
        )
        with self._part(".flac" if as_flac else ".wav") as part:
            self._write_signal(signal, part, as_flac)
            digest, size = hash_of(part)
            yield Incoming(part, digest, size, digest + part.suffix, signal.origin.name)

    def keep(self, incoming: Incoming) -> bool:
        """Give a recording its name; return whether it is new.

        Call it only while no other process can write the logbook.
        """
        final = self.folder / incoming.stored_name
        try:
            known = final.exists()
            if not known or hash_of(final)[0] != incoming.sha256:
                incoming.part.replace(final)  # new, or mending one that was damaged
                sync(self.folder)
        except OSError as error:
            raise disk_error(self.bench, error) from error
        return not known

    def drop(self, incoming: Incoming) -> None:
        """Take back what `keep` named, when the logbook could not write it down."""
        with suppress(OSError):
            (self.folder / incoming.stored_name).unlink(missing_ok=True)

    def verified(self, stored_name: str, sha256: str) -> Path:
        """Return the path of a recording whose bytes are still what was stored.

        Raises
        ------
        LogbookError
            When it is missing, changed or cannot be read.
        """
        path = self.folder / stored_name
        try:
            digest, _ = hash_of(path)
        except OSError as error:
            raise LogbookError(
                f"The recording '{path}' cannot be read ({error.strerror or error})",
                "the file that was stored is needed",
                "put it back from a copy of the bench folder",
            ) from error
        if digest != sha256:
            raise LogbookError(
                f"The recording '{path}' is no longer what was stored (its hash is another)",
                "the bytes that were stored are needed",
                "put it back from a copy of the bench folder",
            )
        return path

    def clear_stale(self) -> None:
        """Remove temporary files that a killed process left long ago."""
        with suppress(OSError):
            for part in self.folder.glob(".*.part*"):
                if time.time() - part.stat().st_mtime > STALE_AFTER_S:
                    part.unlink(missing_ok=True)

    @contextmanager
    def _part(self, suffix: str) -> Iterator[Path]:
        part = self.folder / f".{uuid4().hex}.part{suffix}"
        try:
            try:
                self.folder.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise disk_error(self.bench, error) from error
            yield part
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)

    def _copy(self, file: Path, part: Path) -> tuple[str, int]:
        digest, size = hashlib.sha256(), 0
        try:
            source = file.open("rb")
        except OSError as error:
            raise _unreadable(file, error) from error
        with source:
            try:
                with part.open("xb") as target:
                    while block := _read(source.read, file):
                        digest.update(block)
                        size += len(block)
                        target.write(block)
                    target.flush()
                    os.fsync(target.fileno())
            except OSError as error:
                raise disk_error(self.bench, error) from error
        return digest.hexdigest(), size

    def _write_signal(self, signal: Signal, part: Path, as_flac: bool) -> None:
        import soundfile  # takes a moment to load, and most captures come as files

        rate, channels = int(signal.rate_hz), signal.channels
        # RF64 is WAV without its end at 4 GB (EBU Tech 3306).
        large = signal.samples.size * 4 > 2**32 - 2**16
        container = "FLAC" if as_flac else "RF64" if large else "WAV"
        coding = "PCM_24" if as_flac else "FLOAT"
        try:
            with soundfile.SoundFile(part, "w", rate, channels, coding, format=container) as target:
                for block in _blocks(signal, as_flac):
                    target.write(block)
            sync(part)
            # A full disk shows only here: libsndfile keeps silent about it when it closes.
            with soundfile.SoundFile(part) as written:
                dtype = "int32" if as_flac else "float32"
                for block in _blocks(signal, as_flac):
                    back = written.read(len(block), dtype=dtype, always_2d=True)
                    if not np.array_equal(back, block, equal_nan=not as_flac):
                        raise disk_full(self.bench)
        except soundfile.SoundFileError as error:
            raise disk_full(self.bench) from error
        except OSError as error:
            raise disk_error(self.bench, error) from error


def hash_of(path: Path) -> tuple[str, int]:
    """Return the SHA-256 of a file, in hexadecimal digits, and its size in bytes."""
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as file:
        while block := file.read(BLOCK_BYTES):
            digest.update(block)
            size += len(block)
    return digest.hexdigest(), size


def _blocks(signal: Signal, as_flac: bool) -> Iterator[NDArray[np.int32] | NDArray[np.float32]]:
    """Yield what is written, in blocks of shape (frame, channel)."""
    for start in range(0, signal.frames, BLOCK_FRAMES):
        block = signal.samples[:, start : start + BLOCK_FRAMES].T
        if as_flac:
            steps = np.rint(block.astype(np.float64) * FULL_SCALE_24).astype(np.int32)
            yield np.ascontiguousarray(steps << 8)
        else:
            yield np.ascontiguousarray(block.astype(np.float32))


def _suffix(file: Path) -> str:
    """Return the file's ending where it is a plain one, so that programs know what it is."""
    suffix = file.suffix.lower()
    return suffix if re.fullmatch(r"\.[a-z0-9]{1,8}", suffix) else ".bin"


def _read(read: object, file: Path) -> bytes:
    try:
        block = read(BLOCK_BYTES)  # type: ignore[operator]
    except OSError as error:
        raise _unreadable(file, error) from error
    return bytes(block)


def _unreadable(file: Path, error: OSError) -> FileError:
    return FileError(
        f"'{file}' cannot be read ({error.strerror or error})",
        "a file that may be read is needed",
        "check its name and rights",
    )
