"""Listen to a source once, block by block, and keep what the readings need.

What stays in memory grows only by the 500 Hz deviation and a few values per 20 ms; the sound
itself passes through. A file, a live input and the virtual deck all come in here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.demodulate import Band, Demodulated, Demodulator
from runstrue.errors import SignalError
from runstrue.samples import channel_name

Array = NDArray[np.float64]
Progress = Callable[[float], None]
"""Called with the seconds listened to so far; may raise `runstrue.errors.Stopped`."""

LOOKED_AT = 16_384  # frames of the loudest moment, to name a tone where none was sought
LONE_BINS, LONE_SHARE = 12, 0.9  # a tone with 1 % of flutter at 3 kHz fills ±10 bins at 48 kHz
CLIP_FROM = 0.98  # of full scale, or of a converter that gives up a little below


@dataclass(frozen=True, slots=True)
class Health:
    """What the sound itself is like, per channel.

    Parameters
    ----------
    peak : tuple of float
        Largest absolute sample, full scale 1.
    rms : tuple of float
        Root mean square about the mean.
    mean : tuple of float
        Constant part.
    clipped_share : tuple of float
        Share of samples that stand still at the top.
    lone_tone_hz : float
        Frequency of the one tone that the loudest moment of the recording is made of; 0 where
        it is not one tone.
    """

    peak: tuple[float, ...]
    rms: tuple[float, ...]
    mean: tuple[float, ...]
    clipped_share: tuple[float, ...]
    lone_tone_hz: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class ToneTrack:
    """The tone through a whole recording.

    Parameters
    ----------
    offset_hz : ndarray of float32, shape (channel, sample)
        Frequency less the centre of `band`; sample k stands at k / `rate_hz` seconds.
    level_db, flicker, jitter, noise_per_hz : ndarray of float32, shape (channel, cell)
        Per cell of `runstrue.dsp.demodulate.CELL_SAMPLES` samples: lowest level (dB re
        full-scale sine), fast change of level (relative), r.m.s. change of the angle (rad),
        noise-to-carrier density (1/Hz).
    """

    rate_hz: float
    band: Band
    offset_hz: NDArray[np.float32]
    level_db: NDArray[np.float32]
    flicker: NDArray[np.float32]
    jitter: NDArray[np.float32]
    noise_per_hz: NDArray[np.float32]
    duration_s: float
    channels: tuple[str, ...]
    health: Health

    def without_cells(self) -> ToneTrack:
        """The same without what is kept per cell, once the gate has looked at it."""
        none = self.level_db[:, :0].copy()
        return replace(self, level_db=none, flicker=none, jitter=none, noise_per_hz=none)


def listen(
    blocks: Iterable[NDArray[np.floating]],
    rate_hz: float,
    channels: int,
    band: Band,
    *,
    expected_frames: int = 0,
    progress: Progress | None = None,
) -> ToneTrack:
    """Follow the tone through all blocks.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channel, frame)
        Any block sizes; the outcome does not depend on them.
    rate_hz : float
        Sample rate.
    channels : int
    band : Band
        Where the tone may lie.
    expected_frames : int
        Saves copying when it is right.
    progress : callable, optional

    Raises
    ------
    SignalError
        When a sample is not a number, or the rate cannot carry the band.
    """
    listener = Listener(rate_hz, channels, band, expected_frames=expected_frames)
    for block in blocks:
        listener.add(block)
        if progress:
            progress(listener.duration_s)
    return listener.finish()


class Listener:
    """Follow the tone through sound that is handed over block by block.

    Parameters
    ----------
    rate_hz : float
        Sample rate.
    channels : int
    band : Band
        Where the tone may lie.
    expected_frames : int
        Saves copying when it is right.

    Raises
    ------
    SignalError
        When the rate cannot carry the band.
    """

    def __init__(
        self, rate_hz: float, channels: int, band: Band, *, expected_frames: int = 0
    ) -> None:
        self._rate_hz, self._channels, self._band = rate_hz, channels, band
        self._demodulator = Demodulator(rate_hz, channels, band)
        expected = int(expected_frames / rate_hz * self._demodulator.deviation_rate_hz) + 64
        self._offset = _Growing(channels, expected)
        self._cells = {name: _Growing(channels, expected // 10 + 8) for name in CELL_FIELDS}
        self._checks = HealthCheck(channels, rate_hz)

    @property
    def duration_s(self) -> float:
        """Seconds listened to so far."""
        return self._checks.frames / self._rate_hz

    def add(self, interleaved: NDArray[np.floating]) -> None:
        """Listen to the next block, shape (channel, frame).

        Raises
        ------
        SignalError
            When a sample is not a number.
        """
        block = np.ascontiguousarray(interleaved)  # channel by channel: read several times
        self._checks.add(block)
        self._keep(self._demodulator.process(block))

    def finish(self) -> ToneTrack:
        """Return the tone through everything; nothing may be added afterwards."""
        self._keep(self._demodulator.finish())
        return ToneTrack(
            rate_hz=self._demodulator.deviation_rate_hz,
            band=self._band,
            offset_hz=self._offset.values(),
            level_db=self._cells["level_db"].values(),
            flicker=self._cells["flicker"].values(),
            jitter=self._cells["jitter"].values(),
            noise_per_hz=self._cells["noise_per_hz"].values(),
            duration_s=self.duration_s,
            channels=channel_names(self._channels),
            health=self._checks.health(),
        )

    def _keep(self, part: Demodulated) -> None:
        self._offset.extend(part.offset_hz)
        for name, kept in self._cells.items():
            kept.extend(getattr(part, name))


def channel_names(channels: int) -> tuple[str, ...]:
    """Names of all channels of a recording."""
    return tuple(channel_name(index, channels) for index in range(channels))


CELL_FIELDS = ("level_db", "flicker", "jitter", "noise_per_hz")


class _Growing:
    """Rows of float32 that grow at the end."""

    def __init__(self, channels: int, expected: int) -> None:
        self._held = np.empty((channels, max(expected, 16)), dtype=np.float32)
        self._used = 0

    def extend(self, values: NDArray[np.floating]) -> None:
        needed = self._used + values.shape[1]
        if needed > self._held.shape[1]:
            larger = np.empty((self._held.shape[0], 2 * needed), dtype=np.float32)
            larger[:, : self._used] = self._held[:, : self._used]
            self._held = larger
        self._held[:, self._used : needed] = values
        self._used = needed

    def values(self) -> NDArray[np.float32]:
        return self._held[:, : self._used]


class HealthCheck:
    """Peak, power, constant part and clipping, gathered block by block."""

    def __init__(self, channels: int, rate_hz: float) -> None:
        self.frames = 0
        self._rate_hz = rate_hz
        self._peak = np.zeros(channels)
        self._square = np.zeros(channels)
        self._sum = np.zeros(channels)
        self._clipped = np.zeros(channels)
        self._loudest, self._loudest_power = np.zeros(0, dtype=np.float32), 0.0

    def add(self, block: NDArray[np.floating]) -> None:
        """Look at the next block, shape (channel, frame)."""
        for channel, row in enumerate(block):
            if not row.size:
                continue
            top = max(float(row.max()), -float(row.min()))
            if not np.isfinite(top):
                self._refuse(row, channel)
            square = float(row @ row)
            self._square[channel] += square
            if row.size >= LOOKED_AT and square / row.size > self._loudest_power:
                self._loudest, self._loudest_power = row[:LOOKED_AT].copy(), square / row.size
            self._sum[channel] += float(row.sum(dtype=np.float64))
            self._peak[channel] = max(self._peak[channel], top)
            if top >= CLIP_FROM:
                at_top = np.abs(row) >= 0.9999 * top
                self._clipped[channel] += np.count_nonzero(at_top[1:] & at_top[:-1])
        self.frames += block.shape[1]

    def health(self) -> Health:
        """What all of it was like."""
        frames = max(self.frames, 1)
        mean = self._sum / frames
        rms = np.sqrt(np.maximum(self._square / frames - mean**2, 0))
        return Health(
            tuple(self._peak.tolist()),
            tuple(rms.tolist()),
            tuple(mean.tolist()),
            tuple((self._clipped / frames).tolist()),
            self._lone_tone_hz(),
        )

    def _lone_tone_hz(self) -> float:
        """The tone that holds nearly all of the power of the loudest moment, or 0."""
        if not self._loudest.size:
            return 0.0
        power = np.abs(np.fft.rfft(self._loudest * np.hanning(LOOKED_AT))) ** 2
        power[:3] = 0.0  # a constant part is no tone
        peak = int(np.argmax(power))
        near = float(power[max(peak - LONE_BINS, 0) : peak + LONE_BINS + 1].sum())
        lone = near > LONE_SHARE * float(power.sum()) > 0.0
        return peak * self._rate_hz / LOOKED_AT if lone else 0.0

    def _refuse(self, row: NDArray[np.floating], channel: int) -> None:
        where = self.frames + int(np.flatnonzero(~np.isfinite(row))[0])
        raise SignalError(
            f"The sample at {where / self._rate_hz:.3f} s on the "
            f"{channel_name(channel, self._peak.size)} channel is not a number",
            "finite samples are needed",
            "export the recording again as 16 or 24 bit",
        )
