"""What is told about a record: the summary and the doubts, in whole sentences."""

from __future__ import annotations

import math

from runstrue.measure.gate import ONE_TONE_FLICKER, Gate, Loss
from runstrue.measure.listen import ToneTrack
from runstrue.measure.tone import ToneChoice

FLICKER_DOUBT = 0.03
"""A second tone this much (30 dB) below adds 0.15 % unweighted at 150 Hz; tape alone flickers by
1 % (own reckoning)."""
CLIPPED_DOUBT = 1e-4  # a sine that just touches full scale stands still for fewer samples
LOUD_HISS_DB = 30.0
"""From here hiss alone reads 0.0013 % weighted, a hundredth of a usual sheet (FM noise law)."""
LOSSES_TOLD = 4  # one by one; more are a list that nobody reads


def gate_words(track: ToneTrack, gate: Gate, choice: ToneChoice, used_s: float) -> str:
    """One sentence: which tone, on which channels, how much of the record was used."""
    tones = " or ".join(f"{tone:.0f}" for tone in choice.candidates_hz)
    carried = [track.channels[index] for index in gate.tracks]
    if len(track.channels) == 1:
        where = "in the one channel"
    elif len(carried) == len(track.channels):
        where = "on both channels"
    else:
        where = f"on the {carried[0]} channel only"
    inside = [loss for loss in gate.losses if loss.channel in carried]
    why = [part for part in (_ends_words(track, gate), _losses_words(inside)) if part]
    left_out = f" ({'; '.join(why)} left out)" if why else ""
    return f"Tone of {tones} Hz {where}; {used_s:.1f} s used of {track.duration_s:.1f} s{left_out}."


def loss_doubts(gate: Gate) -> tuple[str, ...]:
    """A sentence for each loss, or one for many."""
    if len(gate.losses) > LOSSES_TOLD:
        total_s = sum(loss.length_s for loss in gate.losses)
        longest = max(gate.losses, key=lambda loss: loss.length_s)
        return (
            f"The tone was lost {len(gate.losses)} times, {total_s:.2f} s in all, the "
            f"longest for {longest.length_s:.2f} s ({longest.channel}): dropouts, worn tape or "
            "bad contact.",
        )
    return tuple(
        f"{the_channel(loss.channel)} was lost for {loss.length_s:.2f} s at {loss.start_s:.1f} s."
        for loss in gate.losses
    )


def health_doubts(track: ToneTrack, gate: Gate, noise_per_hz: float) -> tuple[str, ...]:
    """What the sound itself gives reason to doubt."""
    doubts = []
    for index, name in enumerate(track.channels):
        if index not in gate.tracks:
            doubts.append(_missing_words(track, gate, index))
        if track.health.clipped_share[index] > CLIPPED_DOUBT:
            doubts.append(
                f"{the_channel(name)} is clipped at the sound card: speed and flutter survive, "
                "levels do not; turn the input down."
            )
    flicker = max(gate.flicker[index] for index in gate.tracks)
    if FLICKER_DOUBT < flicker <= ONE_TONE_FLICKER:
        doubts.append(
            f"The level flickers quickly by {100 * flicker:.0f} %: a second tone, other sound or a "
            "very noisy tape is mixed in, and flutter reads high."
        )
    hiss_db = -10 * math.log10(max(noise_per_hz * 20_000.0, 1e-20))
    if hiss_db < LOUD_HISS_DB:
        doubts.append(
            f"The tone stands only {hiss_db:.0f} dB above the hiss; clean the head, raise the "
            "level or take a better tape."
        )
    return tuple(doubts)


def the_channel(name: str) -> str:
    """'The left channel', or 'The channel' where it is alone."""
    return "The channel" if name == "mono" else f"The {name} channel"


def _missing_words(track: ToneTrack, gate: Gate, index: int) -> str:
    name = track.channels[index]
    strongest = max(level for level in gate.level_db if math.isfinite(level))
    level = gate.level_db[index]
    if not math.isfinite(level):
        return f"The {name} channel carries no tone."
    below = strongest - level
    if below > 1:
        return f"The {name} channel carries the tone only {below:.0f} dB below the other one."
    return f"The {name} channel carries too little unbroken tone to be read."


def _ends_words(track: ToneTrack, gate: Gate) -> str:
    spans = gate.any_track().spans
    before_s = spans[0][0] / track.rate_hz
    after_s = track.duration_s - spans[-1][1] / track.rate_hz
    places = [
        word for word, length_s in (("beginning", before_s), ("end", after_s)) if length_s > 0.5
    ]
    return " and ".join(places)


def _losses_words(losses: list[Loss]) -> str:
    if not losses:
        return ""
    return "one dropout" if len(losses) == 1 else f"{len(losses)} dropouts"
