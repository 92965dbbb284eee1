"""A tape recorded on a virtual deck, and decks started anew.

Who owns no test tape records one. What such a tape gives back holds the speed and the flutter
of the deck that recorded it: played on the same deck the speed cancels, and the flutter of
recording and playing adds up or cancels as the parts happen to stand.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from runstrue.stimulus.protocol import Positions, Samples
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.deck import VirtualDeck
from runstrue.virtualdeck.motion import Motion

# A thousand-millionth of a cycle of 15 kHz is 6.7e-14 s.
PLACED_WITHIN_S = 2e-14

KNOT_EVERY = 16


@dataclass(frozen=True, slots=True, eq=False)
class RecordedBy:
    """A tone as a deck recorded it: a stimulus for another playing.

    Only the transport of the recording deck counts: its speed, its components, hubs and unrest.
    The recording begins at the beginning of the tape, with the deck already at its speed.

    Parameters
    ----------
    deck : VirtualDeck
        The recording deck.
    tone : Tone
        What was fed to it.
    seed : int
        For what is random in the recording.

    Notes
    -----
    The tape place p got what was fed at the time t for which place(t) = p. That t is found by
    Newton's method, in exact arithmetic for the greater part and to 2·10⁻¹⁴ s for the rest.
    """

    deck: VirtualDeck
    tone: Tone
    seed: int = 0
    motion: Motion = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "motion", Motion(self.deck, self.seed))

    @property
    def name(self) -> str:
        """In plain words."""
        return f"{self.tone.name}, recorded on {self.deck.name}"

    @property
    def tracks(self) -> int:
        """All channels carry the same."""
        return 1

    @property
    def rms(self) -> float:
        """Root mean square where the tone sounds."""
        return self.tone.rms

    @property
    def tone_hz(self) -> float:
        """The tone that was fed; on the tape it is off by the deck's deviation, the other way."""
        return self.tone.frequency_hz

    def read(self, track: int, base_s: Fraction, offsets_s: Positions) -> Samples:
        """Read the tone as recorded; see `Stimulus.read`."""
        fed_base_s = self._time_near(base_s)
        steady = 1 + self.deck.speed_error_percent / 100
        if offsets_s.size > 4 * KNOT_EVERY and (np.diff(offsets_s) > 0).all():
            # a few places first: between them, straight lines are right to about 1e-9 s
            knots_s = np.append(offsets_s[::KNOT_EVERY], offsets_s[-1:])
            at_knots_s = self._solve(base_s, knots_s, fed_base_s, knots_s / steady)
            slopes = np.interp(offsets_s, knots_s, self._speed(fed_base_s, at_knots_s))
            guess_s = np.interp(offsets_s, knots_s, at_knots_s)
            fed_s = self._solve(base_s, offsets_s, fed_base_s, guess_s, slopes)
        else:
            fed_s = self._solve(base_s, offsets_s, fed_base_s, offsets_s / steady)
        return self.tone.read(track, fed_base_s, fed_s)

    def _solve(
        self,
        base_s: Fraction,
        offsets_s: Positions,
        fed_base_s: Fraction,
        fed_s: Positions,
        speeds: Positions | None = None,
    ) -> Positions:
        """Return the times for these places, by Newton's method or with given speeds."""
        for _ in range(12):
            place_s, rest_s = self.motion.place(fed_base_s, fed_s, None)
            miss_s = float(base_s - place_s) + offsets_s - rest_s
            if np.abs(miss_s).max() < PLACED_WITHIN_S:
                break
            fed_s = fed_s + miss_s / (self._speed(fed_base_s, fed_s) if speeds is None else speeds)
        return fed_s

    def _speed(self, base_s: Fraction, rest_s: Positions) -> Positions:
        """Return the speed of the tape in recording, 1 when nominal."""
        return 1 + self.motion.running_deviation_percent(float(base_s) + rest_s) / 100

    def _time_near(self, place_s: Fraction) -> Fraction:
        """Return a time at which the tape stood near this place, exact as a fraction."""
        speed = 1 + self.deck.speed_error_percent / 100
        bend_per_s = self.deck.drift_percent_per_min / 6000
        time_s = wanted_s = float(place_s)
        for _ in range(6):
            there_s = time_s * speed + bend_per_s * time_s**2 / 2
            time_s += (wanted_s - there_s) / (speed + bend_per_s * time_s)
        return Fraction(time_s)


def started_anew(deck: VirtualDeck, seed: int) -> VirtualDeck:
    """Return the same deck with its parts standing elsewhere, as after any other start.

    Parameters
    ----------
    deck : VirtualDeck
    seed : int
        At least 0.
    """
    draw = np.random.default_rng([seed, 5])
    return replace(
        deck,
        components=tuple(replace(one, phase_turns=draw.random()) for one in deck.components),
        hubs=tuple(replace(one, phase_turns=draw.random()) for one in deck.hubs),
        wobbles=tuple(replace(one, phase_turns=draw.random()) for one in deck.wobbles),
    )
