"""Write sound to a file, whole or not at all, and say how loud it came out."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from runstrue.errors import FileError, InputError

CONTAINERS = {".wav": "WAV", ".flac": "FLAC"}
DEPTHS = {"16": "PCM_16", "24": "PCM_24"}


@dataclass(frozen=True, slots=True)
class Written:
    """What was written.

    Parameters
    ----------
    frames : int
    peak_dbfs, rms_dbfs : tuple of float
        Per channel, against a sine that just reaches full scale (AES17).
    """

    frames: int
    peak_dbfs: tuple[float, ...]
    rms_dbfs: tuple[float, ...]


def write_sound(
    blocks: Iterable[NDArray[np.float64]], path: Path, rate_hz: int, *, depth: str = "24"
) -> Written:
    """Write blocks of shape (2, frame) to a file.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (2, frame)
        Full scale is ±1.
    path : Path
        Ends in '.wav' or '.flac'.
    rate_hz : int
    depth : {'16', '24'}
        Bits. At 16 bits triangular dither of ±1 step, seeded, keeps the rounding error free of
        the signal.

    Raises
    ------
    InputError
        When the name has another ending, or a sample would pass full scale.
    FileError
        When the file cannot be written.
    """
    if path.suffix.lower() not in CONTAINERS:
        raise InputError(f"'{path.name}' was asked for", "a name in '.wav' or '.flac' is needed")
    try:
        handle, temporary = tempfile.mkstemp(
            dir=path.parent, prefix=".part-", suffix=path.suffix.lower()
        )
        os.close(handle)
    except OSError as error:
        raise _cannot_write(path, error.strerror or str(error)) from None
    try:
        written = _write(blocks, temporary, path, rate_hz, depth)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except (OSError, soundfile.SoundFileError) as error:
        Path(temporary).unlink(missing_ok=True)
        raise _cannot_write(path, f"{error}; perhaps the disk is full") from None
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return written


def _write(
    blocks: Iterable[NDArray[np.float64]], temporary: str, path: Path, rate_hz: int, depth: str
) -> Written:
    draw = np.random.default_rng(16)
    step = 2.0**-15
    frames, peak, square = 0, np.zeros(2), np.zeros(2)
    with soundfile.SoundFile(
        temporary, "w", rate_hz, 2, DEPTHS[depth], format=CONTAINERS[path.suffix.lower()]
    ) as file:
        for block in blocks:
            peak = np.maximum(peak, np.abs(block).max(axis=1))
            square += np.square(block).sum(axis=1)
            frames += block.shape[1]
            if peak.max() >= 1:
                raise InputError(
                    f"The sound reaches {peak.max():.3f} of full scale", "less than 1 is needed"
                )
            if depth == "16":
                block = block + step * (draw.random(block.shape) - draw.random(block.shape))
            file.write(block.T)
    if soundfile.info(temporary).frames != frames:
        raise _cannot_write(path, "it came out short; perhaps the disk is full")
    rms = np.sqrt(square / max(frames, 1))
    return Written(
        frames,
        tuple(float(one) for one in 20 * np.log10(peak + 1e-12)),
        tuple(float(one) for one in 20 * np.log10(np.sqrt(2) * rms + 1e-12)),
    )


def _cannot_write(path: Path, why: str) -> FileError:
    return FileError(
        f"'{path}' cannot be written ({why.rstrip('. ').lower()})",
        "a folder with room that can be written to is needed",
    )
