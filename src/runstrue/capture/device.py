"""A sound card as a live source: at its own rate, and what it loses is told.

Asking a device for another rate than its own has the system resample, which costs spurs some 80 dB
down; so the rate that the device names first is taken. Devices tell nothing of sound that was lost
on the way: what came is counted against the clock of the machine, which is some 0.01 % off at
most, and a gap that is larger than that shows.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from runstrue.capture.blocks import BLOCK_S, LiveBlock
from runstrue.errors import FileError, InputError
from runstrue.samples import SourceKind

USUAL_HZ = 48_000
HELD_BLOCKS = 600  # half a minute, should whoever listens be busy
AWAY_AFTER_S = 2.0
TRY_AGAIN_S = 1.0
LATE_S = 0.4
"""Sound that is so much behind the clock is missing: devices hand it on in pairs of blocks, a tenth
of a second each, and a busy system adds as much."""


@dataclass(frozen=True, slots=True)
class Device:
    """An input of this machine.

    Parameters
    ----------
    name : str
        As the system calls it.
    rate_hz : int
        Its own.
    channels : int
        It has; at most two are heard.
    """

    name: str
    rate_hz: int
    channels: int


def devices() -> tuple[Device, ...]:
    """List the inputs of this machine; none where there is no sound system."""
    return tuple(_described(one) for one in _listed())


class DeviceSource:
    """An input of a sound card as a live source.

    Parameters
    ----------
    name : str
        Of the device; empty for the system's own choice.

    Raises
    ------
    InputError
        When there is no such device.
    """

    kind: SourceKind = "device"

    def __init__(self, name: str = "") -> None:
        found = _find(name)
        self.device = _described(found)
        self.name = self.device.name
        self.rate_hz = float(self.device.rate_hz)
        self.channels = min(self.device.channels, 2)
        self._waiting: queue.Queue[np.ndarray[Any, np.dtype[np.float32]]] = queue.Queue()
        self._stopped = threading.Event()

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield what the device hears; a device that is gone is waited for.

        Raises
        ------
        FileError
            When it cannot be opened at all.
        """
        opened = self._open()
        came_at = time.monotonic()
        clock = _Clock(self.rate_hz)
        gone = False
        nothing = np.zeros((self.channels, 0), dtype=np.float32)
        try:
            while not self._stopped.is_set():
                try:
                    block = self._waiting.get(timeout=0.25)
                except queue.Empty:
                    silent_s = time.monotonic() - came_at
                    if silent_s < AWAY_AFTER_S:
                        continue
                    words = "" if gone else f"'{self.name}' gives no sound any more."
                    gone = True
                    yield LiveBlock(nothing, words=words, away=True)
                    opened = self._again(opened)
                    continue
                lost_s = time.monotonic() - came_at if gone else clock.missing_s(block.shape[1])
                came_at = time.monotonic()
                words = ""
                if gone:
                    words, gone = f"'{self.name}' is back after {lost_s:.0f} s.", False
                    clock = _Clock(self.rate_hz)
                elif lost_s:
                    words = f"The sound card lost {lost_s:.2f} s of sound."
                yield LiveBlock(block, bool(words), lost_s, words)
        finally:
            _close(opened)

    def stop(self) -> None:
        """End `blocks`."""
        self._stopped.set()

    def _open(self) -> Any:
        import miniaudio

        try:
            # looked up anew: its number may be another one after it was unplugged
            found = _find(self.name)
            device = miniaudio.CaptureDevice(
                input_format=miniaudio.SampleFormat.FLOAT32,
                nchannels=self.channels,
                sample_rate=round(self.rate_hz),
                buffersize_msec=round(1000 * BLOCK_S),
                device_id=found["id"],
                app_name="Runstrue",
            )
            listener = self._listener()
            next(listener)
            device.start(listener)
        except (miniaudio.MiniaudioError, InputError) as error:
            raise FileError(
                f"The input '{self.name}' cannot be opened ({error})".replace("..", "."),
                "an input that nothing else holds is needed",
                "plug it in, close what else may use it, and try again",
            ) from None
        return device

    def _again(self, opened: Any) -> Any:
        """Try to open the device anew; it may still be unplugged."""
        _close(opened)
        self._stopped.wait(TRY_AGAIN_S)
        if self._stopped.is_set():
            return None
        try:
            return self._open()
        except FileError:
            return None

    def _listener(self) -> Generator[None, bytes, None]:
        """Take what the device hands on, in its own thread."""
        while True:
            raw = yield
            samples = np.frombuffer(raw, dtype=np.float32).reshape(-1, self.channels).T.copy()
            if self._waiting.qsize() < HELD_BLOCKS:  # what is dropped here, the clock misses
                self._waiting.put(samples)


class _Clock:
    """Counts what came against the clock of the machine."""

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._began: float | None = None
        self._frames = 0

    def missing_s(self, frames: int) -> float:
        """Seconds of sound that should be here and are not; told once."""
        now = time.monotonic()
        self._frames += frames
        if self._began is None:
            self._began = now - frames / self._rate_hz
            return 0.0
        behind_s = now - self._began - self._frames / self._rate_hz
        if behind_s < 0:  # the first blocks came late: the count begins with the earliest
            self._began += behind_s
        if behind_s < LATE_S:
            return 0.0
        self._began += behind_s
        return behind_s


def _listed() -> list[dict[str, Any]]:
    import miniaudio

    try:
        return list(miniaudio.Devices().get_captures())
    except miniaudio.MiniaudioError:
        return []


def _find(name: str) -> dict[str, Any]:
    found = _listed()
    for one in found:
        if not name or one["name"] == name:
            return one
    if not found:
        raise InputError(
            "This machine has no sound input", "a sound card or line input is needed",
            "plug one in, or play a file or the virtual deck",
        )  # fmt: skip
    listed = ", ".join(f"'{one['name']}'" for one in found)
    raise InputError(f"There is no input '{name}'", f"one of {listed} is needed")


def _described(found: dict[str, Any]) -> Device:
    formats = [one for one in found.get("formats", []) if one["samplerate"]]
    first = formats[0] if formats else {"samplerate": USUAL_HZ, "channels": 2}
    return Device(found["name"], int(first["samplerate"]), max(int(first["channels"]), 1))


def _close(opened: Any) -> None:
    if opened is not None:
        opened.close()
