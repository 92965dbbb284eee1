"""Write a performance to a sound file with the truth beside it.

`side-a.flac` and `side-a.truth.json`: both are written under another name and renamed when they
are whole, so that a stop or a full disk leaves nothing half-written.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

import numpy as np
import soundfile
from numpy.typing import NDArray

from runstrue.errors import FileError, InputError
from runstrue.virtualdeck.play import Performance
from runstrue.virtualdeck.truth import FORMAT, Truth

Depth = Literal["16", "24", "float"]

FRAMES_PER_BLOCK = 65_536
CONTAINERS = {".wav": "WAV", ".flac": "FLAC"}
SUBTYPES = {"16": "PCM_16", "24": "PCM_24", "float": "FLOAT"}

# FLAC holds at most 655 350 Hz and needs a whole number of Hz (RFC 9639, 9.1.1); WAV headers
# hold whole numbers too.
HIGHEST_FLAC_HZ = 655_350


def write_recording(
    performance: Performance, path: str | os.PathLike[str], *, depth: Depth = "24"
) -> Path:
    """Write a performance, block by block, and its truth beside it.

    Parameters
    ----------
    performance : Performance
    path : path
        Ends in '.wav' or '.flac'.
    depth : {'16', '24', 'float'}
        Whole numbers of 16 or 24 bits, or 32-bit floating point (WAV only). At 16 bits,
        triangular dither of ±1 step, seeded, keeps the rounding error free of the signal; at
        24 bits the rounding is left as it is. The noise that this adds (at 16 bits 93 dB
        below a full sine, up to half the rate) is not counted in the truth's C/N₀.

    Returns
    -------
    Path
        Of the truth.

    Raises
    ------
    InputError
        When container, depth and rate do not go together, or the sound passes full scale.
    FileError
        When the file cannot be written.
    """
    path = Path(path)
    rate_hz = _check(performance, path, depth)
    draw = np.random.default_rng([performance.seed, 4])
    try:
        with _whole_or_not_at_all(path) as temporary:
            with soundfile.SoundFile(
                temporary, "w", rate_hz, performance.channels, SUBTYPES[depth],
                format=CONTAINERS[path.suffix.lower()],
            ) as file:  # fmt: skip
                for block in performance.blocks(FRAMES_PER_BLOCK):
                    file.write(_as_stored(block, depth, draw).T)
            if soundfile.info(temporary).frames != performance.frames:
                raise _cannot_write(path, "it came out short; perhaps the disk is full")
    except soundfile.LibsndfileError as error:
        raise _cannot_write(
            path, f"{error.error_string.rstrip('. ')}; perhaps the disk is full"
        ) from None
    return write_truth(performance.truth, truth_path(path))


def truth_path(path: str | os.PathLike[str]) -> Path:
    """Return where the truth of a recording lies: 'side-a.flac' → 'side-a.truth.json'."""
    return Path(path).with_suffix(".truth.json")


def write_truth(truth: Truth, path: str | os.PathLike[str]) -> Path:
    """Write a truth as JSON.

    Raises
    ------
    FileError
        When the file cannot be written.
    """
    path = Path(path)
    text = json.dumps(truth.to_plain(), ensure_ascii=False, indent=2, allow_nan=False)
    with _whole_or_not_at_all(path) as temporary:
        Path(temporary).write_text(text + "\n", encoding="utf-8")
    return path


def read_truth(path: str | os.PathLike[str]) -> dict[str, Any]:
    """Read a truth back as plain values.

    Raises
    ------
    FileError
        When the file cannot be read or holds something else.
    """
    try:
        plain = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be read ({error.strerror})", "the truth beside a recording"
        ) from None
    except ValueError:
        plain = None
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise FileError(f"'{path}' is not the truth of a recording", f"format {FORMAT} is needed")
    return plain


def _as_stored(
    block: NDArray[np.float64], depth: Depth, draw: np.random.Generator
) -> NDArray[np.float32] | NDArray[np.int32]:
    """Return frames as the file holds them: whole numbers stand in the upper bits of 32."""
    if depth == "float":
        return block.astype(np.float32)
    bits = int(depth)
    full = 2.0 ** (bits - 1)
    steps = block * full
    if depth == "16":
        steps += draw.random(block.shape) - draw.random(block.shape)
    steps = np.rint(steps)
    if steps.min() < -full or steps.max() > full - 1:
        peak = float(np.abs(block).max())
        raise InputError(
            f"The recording reaches {peak:.3f} of full scale, which {depth} bits cannot hold",
            "a peak below 1 is needed",
            "lower the level or write floating point",
        )
    return (steps.astype(np.int64) << (32 - bits)).astype(np.int32)


def _check(performance: Performance, path: Path, depth: str) -> int:
    suffix = path.suffix.lower()
    if suffix not in CONTAINERS:
        raise InputError(f"'{path.name}' was asked for", "a name in '.wav' or '.flac' is needed")
    if depth not in SUBTYPES or (suffix == ".flac" and depth == "float"):
        raise InputError(
            f"'{path.name}' with depth {depth} was asked for",
            "16 or 24 bits are needed, or float with '.wav'",
        )
    highest = HIGHEST_FLAC_HZ if suffix == ".flac" else 2**31 - 1
    rate_hz = performance.rate_hz
    if rate_hz != int(rate_hz) or not 1 <= rate_hz <= highest:
        raise InputError(
            f"A rate of {rate_hz:g} Hz was asked for",
            f"a whole number of Hz up to {highest} is needed for {suffix}",
        )
    highest_channels = 8 if suffix == ".flac" else 1024
    if performance.channels > highest_channels:
        raise InputError(
            f"{performance.channels} channels were asked for",
            f"at most {highest_channels} are possible in {suffix}",
        )
    return int(rate_hz)


@contextmanager
def _whole_or_not_at_all(path: Path) -> Iterator[str]:
    """Give a temporary name in the same folder; rename it when all went well, else remove it."""
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".part-", suffix=path.suffix)
        os.close(handle)
    except OSError as error:
        raise _cannot_write(path, error.strerror or str(error)) from None
    try:
        yield temporary
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except OSError as error:
        _remove(temporary)
        raise _cannot_write(path, error.strerror or str(error)) from None
    except BaseException:
        _remove(temporary)
        raise


def _remove(temporary: str) -> None:
    Path(temporary).unlink(missing_ok=True)


def _cannot_write(path: Path, why: str) -> FileError:
    return FileError(
        f"'{path}' cannot be written ({why.rstrip('. ')})",
        "a folder with room that can be written to is needed",
    )
