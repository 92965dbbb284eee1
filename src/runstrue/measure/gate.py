"""Where in a recording the tone can be trusted.

Leader, talk and silence before and after, the run-up and stop of the transport and dropouts
are told apart and left out; a loss is never bridged. Every lost place takes 0.1 s on either
side with it, which is longer than the demodulator's memory (own choice: its filters reach
0.07 s).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.demodulate import CELL_SAMPLES
from runstrue.errors import SignalError
from runstrue.measure.listen import ToneTrack
from runstrue.measure.pieces import Mask, Pieces
from runstrue.quantity import number_text

Array = NDArray[np.float64]

GUARD_S = 0.1
LOST_BELOW_DB = 12.0  # below the usual level: the noise of the frequency rises as much
MOST_JITTER_RAD = 0.4  # about 14 dB of tone over the noise in the listening band: FM threshold
MOST_AWAY = 0.08  # of the usual frequency: a slipping belt may give 5 %, more is another sound
SHORTEST_PIECE_S = 0.5  # shorter ones are a vowel that happens to lie in the band
RUN_UP_S = 3.0  # a transport that is not steady after this time drifts, and that is read
LEAST_TONE_S = 10.0  # 5 s for two-sigma (AES6-2008) and the settling of the weighting twice
FAINTEST_DB = -80.0  # re a full-scale sine: the last bits of a 16 bit recording
MOST_OTHER_DB = 40.0  # all that the recording holds, constant part and hum included, over the tone
WEAK_CHANNEL_DB = 25.0  # so far below the other channel, it is crosstalk and not a track
ONE_TONE_FLICKER = 0.25  # two tones 9 dB apart flicker so much, 0.35/√2; music and noise more


@dataclass(frozen=True, slots=True)
class Loss:
    """A place inside the record where the tone was lost."""

    channel: str
    start_s: float
    length_s: float


@dataclass(frozen=True, slots=True)
class Gate:
    """What may be used, per channel.

    Parameters
    ----------
    usable : tuple of Pieces
        In samples of `ToneTrack.offset_hz`.
    tracks : tuple of int
        Channels that carry the tone.
    losses : tuple of Loss
        Between the first and the last use, in time order.
    level_db, usual_hz : tuple of float
        Usual level and frequency of each channel's tone; not a number where there is none.
    flicker, noise_per_hz : tuple of float
        Usual quick change of level, and mean noise-to-carrier density, of the usable part.
    """

    usable: tuple[Pieces, ...]
    tracks: tuple[int, ...]
    losses: tuple[Loss, ...]
    level_db: tuple[float, ...]
    usual_hz: tuple[float, ...]
    flicker: tuple[float, ...]
    noise_per_hz: tuple[float, ...]

    def common(self, rows: Sequence[int]) -> Pieces:
        """Where all of these channels are usable."""
        return reduce(Pieces.meet, (self.usable[row] for row in rows))

    def any_track(self) -> Pieces:
        """Where any channel is usable."""
        return reduce(Pieces.join, self.usable)


def gate(track: ToneTrack, least_tone_s: float = LEAST_TONE_S) -> Gate:
    """Find the usable part of every channel.

    Parameters
    ----------
    track : ToneTrack
    least_tone_s : float
        A channel with less of the tone carries none.

    Raises
    ------
    SignalError
        When no channel carries enough of a single tone; the sentence says what was heard
        instead.
    """
    cells = track.level_db.shape[1]
    present = np.zeros((len(track.channels), cells), dtype=np.bool_)
    levels, usual_hz = np.full((2, len(track.channels)), np.nan)
    for channel in range(len(track.channels)):
        present[channel], levels[channel], usual_hz[channel] = _present(track, channel)
    strongest = np.nanmax(levels) if np.isfinite(levels).any() else np.nan
    usable = tuple(
        _pieces(track, channel, present[channel])
        if levels[channel] >= strongest - WEAK_CHANNEL_DB
        else Pieces()
        for channel in range(len(track.channels))
    )
    used_s = [pieces.samples / track.rate_hz for pieces in usable]
    tracks = tuple(row for row, length_s in enumerate(used_s) if length_s >= least_tone_s)
    if not tracks:
        raise _refusal(track, max(used_s, default=0.0), least_tone_s)
    whole = [_whole_cells(pieces, cells) for pieces in usable]
    return Gate(
        usable=usable,
        tracks=tracks,
        losses=_losses(track, usable),
        level_db=tuple(levels.tolist()),
        usual_hz=tuple(usual_hz.tolist()),
        flicker=tuple(
            float(np.median(row[held])) if held.any() else 0.0
            for row, held in zip(track.flicker, whole, strict=True)
        ),
        noise_per_hz=tuple(
            float(row[held].mean(dtype=np.float64)) if held.any() else np.nan
            for row, held in zip(track.noise_per_hz, whole, strict=True)
        ),
    )


def _losses(track: ToneTrack, usable: Sequence[Pieces]) -> tuple[Loss, ...]:
    """The gaps between pieces, less the guards."""
    guard = _guard(track)
    found = [
        Loss(name, (begin + guard) / track.rate_hz, (end - begin) / track.rate_hz - 2 * GUARD_S)
        for name, pieces in zip(track.channels, usable, strict=True)
        for begin, end in pieces.gaps()
    ]
    return tuple(sorted(found, key=lambda loss: loss.start_s))


def _whole_cells(pieces: Pieces, count: int) -> Mask:
    """Cells that are usable throughout."""
    inside = np.zeros(count, dtype=np.bool_)
    for begin, end in pieces.spans:
        inside[-(-begin // CELL_SAMPLES) : end // CELL_SAMPLES] = True
    return inside


def _present(track: ToneTrack, channel: int) -> tuple[Mask, float, float]:
    """Cells with the one tone at about its usual level, that level, and its usual frequency."""
    level = track.level_db[channel]
    frequency = track.band.centre_hz + _cell_means(track.offset_hz[channel], level.size)
    single = (track.jitter[channel] < MOST_JITTER_RAD) & (track.flicker[channel] < ONE_TONE_FLICKER)
    single &= level > _faintest_db(track, channel)
    if not single.any():
        return single, np.nan, np.nan
    usual_hz = float(np.median(frequency[single]))
    if not track.band.low_hz <= usual_hz <= track.band.high_hz:
        return np.zeros_like(single), np.nan, np.nan
    near = single & (np.abs(frequency - usual_hz) < MOST_AWAY * usual_hz)
    usual_db = float(np.median(level[near])) if near.any() else np.nan
    return near & (level > usual_db - LOST_BELOW_DB), usual_db, usual_hz


def _faintest_db(track: ToneTrack, channel: int) -> float:
    """Level below which a tone is a remnant of something else in the recording."""
    rms, mean = track.health.rms[channel], track.health.mean[channel]
    all_db = 10 * np.log10(max(2 * (rms**2 + mean**2), 1e-20))
    return max(FAINTEST_DB, float(all_db) - MOST_OTHER_DB)


def _cell_means(values: NDArray[np.floating], cells: int) -> Array:
    whole = values[: cells * CELL_SAMPLES].reshape(cells, CELL_SAMPLES)
    return np.asarray(whole.mean(axis=1), dtype=np.float64)


def _guard(track: ToneTrack) -> int:
    return int(np.ceil(GUARD_S * track.rate_hz))


def _pieces(track: ToneTrack, channel: int, present: Mask) -> Pieces:
    """Usable stretches: guards taken off, run-up and stop trimmed."""
    guard, shortest = _guard(track), int(SHORTEST_PIECE_S * track.rate_hz)
    samples = track.offset_hz.shape[1]
    spans = [
        (begin + guard, min(end, samples) - guard)
        for begin, end in Pieces.of(present, CELL_SAMPLES).spans
    ]
    spans = [(begin, end) for begin, end in spans if end - begin >= shortest]
    if not spans:
        return Pieces()
    offset = track.offset_hz[channel]
    spans[0] = (spans[0][0] + _unsteady(offset[slice(*spans[0])], track.rate_hz), spans[0][1])
    last = offset[slice(*spans[-1])][::-1]
    spans[-1] = (spans[-1][0], spans[-1][1] - _unsteady(last, track.rate_hz))
    return Pieces(tuple((begin, end) for begin, end in spans if end - begin >= shortest))


def _unsteady(offset_hz: NDArray[np.float32], rate_hz: float) -> int:
    """Samples at the beginning in which the transport is still running up.

    Steady is: no farther from the straight line through the ten seconds after than those ten
    seconds themselves go (and a fifth more, or 0.3 Hz), for three tenths of a second in a row.
    Only a beginning of at most `RUN_UP_S` is taken off.
    """
    window = int(0.1 * rate_hz)
    longest = int(RUN_UP_S * rate_hz) // window
    windows = min(offset_hz.size // window, longest + 100)
    means = offset_hz[: windows * window].reshape(windows, window).mean(axis=1)
    after = means[longest:]
    if after.size < longest:
        return 0
    slope, level = np.polyfit(np.arange(after.size), after, 1)
    away = np.abs(means - level - slope * (np.arange(windows) - longest))
    allowed = max(1.2 * float(away[longest:].max()), 0.3)
    steady = away[: longest + 3] <= allowed
    in_a_row = steady[:-2] & steady[1:-1] & steady[2:]
    begins = int(np.argmax(in_a_row)) if in_a_row.any() else 0
    return begins * window


def _tone_elsewhere_hz(track: ToneTrack) -> float:
    """Frequency of a single tone outside the band, or 0."""
    heard_hz = track.health.lone_tone_hz
    return 0.0 if track.band.low_hz <= heard_hz <= track.band.high_hz else heard_hz


def _refusal(track: ToneTrack, used_s: float, least_tone_s: float) -> SignalError:
    """Say in one sentence what was heard instead of a tone."""
    health = track.health
    loudest = max(health.rms)
    level_db = 20 * np.log10(max(loudest, 1e-10)) + 3.01
    needed = f"{least_tone_s:.0f} s of one steady tone are needed"
    if track.duration_s < least_tone_s:
        return SignalError(
            f"The recording is {track.duration_s:.1f} s long", needed, "record at least a minute"
        )
    constant = max(abs(mean) for mean in health.mean)
    # single precision leaves about a hundredth of a constant in the r.m.s. about the mean
    if constant > 1e-3 and loudest < 0.03 * constant:
        return SignalError(
            f"The recording holds a constant offset ({constant:.3f} of full scale) and no tone",
            needed,
            "check the cable and the input of the sound card",
        )
    if max(health.peak) < 1e-5 or level_db < -75:
        return SignalError(
            f"The recording is silent ({number_text(level_db, 0)} dB re full scale)",
            needed,
            "check the cable, the input and the record level",
        )
    elsewhere = _tone_elsewhere_hz(track)
    if elsewhere:
        return SignalError(
            f"A steady tone of about {elsewhere:,.0f} Hz was found",
            f"{track.band.low_hz:,.0f} to {track.band.high_hz:,.0f} Hz were listened to",
            f"if that is the tape's tone, name its frequency with --tone, such as --tone "
            f"{elsewhere:.0f}",
        )
    flicker = float(np.median(track.flicker))
    jitter = float(np.median(track.jitter))
    low, high = f"{track.band.low_hz:,.0f}", f"{track.band.high_hz:,.0f}"
    if used_s > 0:
        return SignalError(
            f"Only {used_s:.1f} s of tone were found in {track.duration_s:.0f} s",
            needed,
            "record longer",
        )
    if flicker > ONE_TONE_FLICKER or jitter > MOST_JITTER_RAD:
        return SignalError(
            f"No single tone between {low} and {high} Hz was found; what is there sounds like "
            "music, several tones or noise",
            needed,
            "play a test tape, or name its tone with --tone",
        )
    return SignalError(
        f"No steady tone between {low} and {high} Hz was found", needed, "name the tone with --tone"
    )
