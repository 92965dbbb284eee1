"""The truth about a recording, in plain figures with their units in the names."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from runstrue import __version__
from runstrue.virtualdeck.deck import Dropout, VirtualDeck
from runstrue.virtualdeck.sheet_truth import TrueFigure, sheet_of

if TYPE_CHECKING:
    from runstrue.virtualdeck.play import Performance

FORMAT = "runstrue-truth/1"


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true about one recording.

    Times are in seconds as a reader of the recording counts them: frame number over rate.

    Parameters
    ----------
    deck : VirtualDeck
        Everything that was put in.
    seed : int
    stimulus : str
    tone_hz : float or None
        At nominal speed.
    rate_hz : float
    channels, frames : int
    steady_from_s, steady_to_s : float
        Between them the transport runs at full speed.
    mean_deviation_percent : float
        Of the tape speed over that stretch, exact.
    apparent_mean_deviation_percent : float
        The same as it looks through the sound card's clock: what a perfect meter reads.
    carrier_to_noise_density_db_hz : tuple of float or None
        C/N₀ of each channel at the tone as played, in steady running, with wobble and dropouts
        left out; None where there is no tone, no noise, or the channel is dead.
    hub_rates_hz : tuple of tuple of float
        For each hub, its rate at the start and the end of that stretch.
    dropouts : tuple of Dropout
        All of them, those placed at random too.
    sheet : tuple of TrueFigure
        What a perfect sheet would say of a programme on a deck with a chain; else empty.
    """

    deck: VirtualDeck
    seed: int
    stimulus: str
    tone_hz: float | None
    rate_hz: float
    channels: int
    frames: int
    steady_from_s: float
    steady_to_s: float
    mean_deviation_percent: float
    apparent_mean_deviation_percent: float
    carrier_to_noise_density_db_hz: tuple[float | None, ...]
    hub_rates_hz: tuple[tuple[float, float], ...]
    dropouts: tuple[Dropout, ...]
    sheet: tuple[TrueFigure, ...] = ()

    def to_plain(self) -> dict[str, Any]:
        """Return it for JSON: numbers, texts, lists and objects only."""
        return {"format": FORMAT, "program_version": __version__, **asdict(self)}


def tell(performance: Performance) -> Truth:
    """Return the truth about a performance."""
    deck, stimulus, motion = performance.deck, performance.stimulus, performance.motion
    from_s, to_s = performance.steady_s
    mean = motion.mean_deviation_percent(from_s, to_s)
    lost_s = (performance.schedule.start_s, performance.schedule.run_up_s)
    running_s = np.array([from_s, to_s]) - lost_s[0] - lost_s[1] / 2
    return Truth(
        deck=deck,
        seed=performance.seed,
        stimulus=stimulus.name,
        tone_hz=stimulus.tone_hz,
        rate_hz=performance.rate_hz,
        channels=performance.channels,
        frames=performance.frames,
        steady_from_s=performance.record_time_s(from_s),
        steady_to_s=performance.record_time_s(to_s),
        mean_deviation_percent=mean,
        apparent_mean_deviation_percent=float(performance.apparent(np.array(mean))),
        carrier_to_noise_density_db_hz=_carrier_to_noise(performance, mean),
        hub_rates_hz=tuple(
            (float(first), float(last))
            for first, last in (pack.rate_hz(running_s) for pack in motion.packs)
        ),
        dropouts=tuple(
            Dropout(performance.record_time_s(one.at_s), one.length_s, one.depth_db, one.channel)
            for one in performance.levels.dropouts
        ),
        sheet=sheet_of(performance),
    )


def _carrier_to_noise(
    performance: Performance, mean_deviation_percent: float
) -> tuple[float | None, ...]:
    hiss, tone_hz = performance.hiss(), performance.stimulus.tone_hz
    if hiss is None or tone_hz is None:
        return (None,) * performance.channels
    density = hiss.density_per_hz(tone_hz * (1 + mean_deviation_percent / 100))
    return tuple(
        10 * math.log10((performance.stimulus.rms * gain) ** 2 / density) if gain else None
        for gain in performance.levels.steady
    )
