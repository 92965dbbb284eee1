"""The long recordings that are timed, made once by the virtual deck and kept in a cache."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.play import Performance
from runstrue.virtualdeck.presets import PRESETS
from runstrue.virtualdeck.write import write_recording

RATE_HZ = 48_000
RECIPE = "1"  # raise it when the recordings should change


def cache() -> Path:
    """Folder for the recordings, under the system's folder for temporary files."""
    folder = Path(tempfile.gettempdir()) / "runstrue-benchmarks"
    folder.mkdir(exist_ok=True)
    return folder


def long_recording(minutes: float) -> Path:
    """A stereo FLAC of 48 kHz and 24 bits of a healthy deck, made when it is not there yet."""
    path = cache() / f"healthy-{minutes:g}min-recipe{RECIPE}.flac"
    if not path.exists():
        deck = replace(PRESETS["healthy"].deck, hubs=())  # a tape as long as it takes
        performance = Performance(
            deck, Tone(3150), duration_s=60 * minutes, rate_hz=float(RATE_HZ), seed=45
        )
        write_recording(performance, path, depth="24")
    return path


def beginning_of(path: Path, minutes: float) -> Path:
    """The first minutes of a recording as a recording of its own."""
    shorter = path.with_name(f"first-{minutes:g}min-of-{path.name}")
    if not shorter.exists():
        partial = shorter.with_name(f".part-{shorter.name}")
        left = round(60 * minutes * RATE_HZ)
        with (
            soundfile.SoundFile(path) as source,
            soundfile.SoundFile(partial, "w", RATE_HZ, source.channels, "PCM_24") as target,
        ):
            while left > 0:
                block = source.read(min(left, 1 << 18), dtype="int32", always_2d=True)
                if not len(block):
                    break
                target.write(block)
                left -= len(block)
        partial.replace(shorter)
    return shorter


def warm(path: Path) -> None:
    """Read a file once, so that nobody after it waits for the disk."""
    with path.open("rb") as raw:
        while raw.read(1 << 24):
            pass


def twenty_four_bits(samples: np.ndarray) -> np.ndarray:
    """Round samples to 24 bits."""
    return np.asarray(np.round(samples * 2.0**23) / 2.0**23)
