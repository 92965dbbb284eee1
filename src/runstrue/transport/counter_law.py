"""What a counter's law tells: time played and left at a reading, and the reading at a time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError
from runstrue.quantity import Quantity

Array = NDArray[np.float64]
Reel = Literal["take-up", "supply", "neither"]

COUNT_LIMIT = 0.5  # of a counter that is read in whole counts


@dataclass(frozen=True, slots=True, eq=False)
class Law:
    """Playing time as a function of the counter.

    Parameters
    ----------
    terms : ndarray, shape (4,)
        t₀ in s, a in s per count, b in s per count², and how long the whole tape plays in s (not
        a number where nobody knows).
    covariance : ndarray, shape (4, 4)
    last_count : float
        Up to where it was fitted; 0 where it was worked out from the deck's constants.
    degrees_of_freedom : float
        Of the part of the covariance that was taken from the scatter of the pairs.
    scattered : ndarray, shape (4, 4), or None
        That part; None where it is all of it.
    count_limit : float
        How far a reading of the counter can be off.
    """

    terms: Array
    covariance: Array
    last_count: float = 0.0
    degrees_of_freedom: float = math.inf
    count_limit: float = COUNT_LIMIT
    scattered: Array | None = None

    @property
    def offset(self) -> Quantity:
        """The term t₀ in s: what the law gives where the counter shows 0."""
        return self._quantity(np.array([1.0, 0.0, 0.0, 0.0]), "s")

    @property
    def per_count(self) -> Quantity:
        """The term a, in s per count."""
        return self._quantity(np.array([0.0, 1.0, 0.0, 0.0]), "s")

    @property
    def per_count_squared(self) -> Quantity:
        """The term b, in s per count²."""
        return self._quantity(np.array([0.0, 0.0, 1.0, 0.0]), "s")

    @property
    def whole(self) -> Quantity | None:
        """How long the tape plays in s; None where its length is not known."""
        if math.isnan(self.terms[3]):
            return None
        return self._quantity(np.array([0.0, 0.0, 0.0, 1.0]), "s")

    @property
    def reel(self) -> Reel:
        """Which reel the counter goes by; neither where no bend can be seen."""
        bend = self.per_count_squared
        if abs(bend.value) <= bend.expanded():
            return "neither"
        return "take-up" if bend.value > 0 else "supply"

    def seconds_a_count(self, count: float) -> float:
        """Return how much tape one count is, in s of playing."""
        return float(self.terms[1] + 2 * self.terms[2] * count)

    def played(self, count: float, *, read: bool = True) -> Quantity:
        """How long the tape has played at a reading of the counter, in s.

        Parameters
        ----------
        count : float
        read : bool
            Whether the reading itself is uncertain, as at the bench, or meant exactly.

        Raises
        ------
        InputError
            When the counter cannot get there with this tape.
        """
        self._refuse_beyond(count)
        played = self._quantity(np.array([1.0, count, count**2, 0.0]), "s", count, read)
        if played.value < -3 * max(played.u, 1.0):
            raise InputError(
                f"A reading of {count:g} was given", "that is before the tape's beginning",
                "give what the counter shows, counting on past 999",
            )  # fmt: skip
        return played

    def left(self, count: float, *, read: bool = True) -> Quantity | None:
        """How long the tape will still play, in s; None where its length is not known."""
        if math.isnan(self.terms[3]):
            return None
        self._refuse_beyond(count)
        return self._quantity(np.array([-1.0, -count, -(count**2), 1.0]), "s", count, read)

    def count_at(self, time_s: float) -> Quantity:
        """What the counter shows when the tape has played so long.

        Raises
        ------
        InputError
            When the tape does not play so long, or the time is below zero.
        """
        whole = float(self.terms[3])
        too_long = not math.isnan(whole) and time_s > whole + 2 * math.sqrt(self.covariance[3, 3])
        count = self._reading_at(time_s)
        if time_s < 0 or count is None or too_long:
            raise InputError(
                f"The reading after {time_s / 60:.3g} min of playing was asked for",
                "a time from zero to the end of the tape is needed",
            )
        played = self._quantity(np.array([1.0, count, count**2, 0.0]), "s")
        u = played.u / self.seconds_a_count(count)
        return Quantity(count, "", u, played.degrees_of_freedom)

    def _refuse_beyond(self, count: float) -> None:
        last = self.end_count()
        if not math.isfinite(count) or (last is not None and count > last + 3 * self.count_limit):
            raise InputError(
                f"A reading of {count:g} was given",
                f"a whole tape takes it to about {last:.0f} only"
                if last is not None
                else "a number is needed",
                "see that it was set to 0 at the tape's beginning, and which tape is meant",
            )

    def from_zero(self) -> Law:
        """Return the law of a counter that is set to 0 at the tape's beginning.

        Notes
        -----
        There one count is √(a² − 4 b t₀) seconds; the bend stays.
        """
        offset, a, b, whole = self.terms.tolist()
        if offset == 0 and not self.covariance[0].any():
            return self
        start_s = math.sqrt(a * a - 4 * b * offset)
        slopes = np.zeros((4, 4))
        slopes[1, :3] = -2 * b / start_s, a / start_s, -2 * offset / start_s
        slopes[2, 2] = slopes[3, 3] = 1.0
        return Law(
            np.array([0.0, start_s, b, whole]),
            slopes @ self.covariance @ slopes.T,
            self.last_count - self.start_count,
            self.degrees_of_freedom,
            self.count_limit,
            None if self.scattered is None else slopes @ self.scattered @ slopes.T,
        )

    @property
    def start_count(self) -> float:
        """What the counter shows at the tape's beginning."""
        return self._reading_at(0.0) or 0.0

    def middle_end(self) -> float | None:
        """Return the reading at the end of the tape, or None where nobody knows its length."""
        return None if math.isnan(self.terms[3]) else self._reading_at(float(self.terms[3]))

    def end_count(self) -> float | None:
        """Return the highest reading that this tape can lead to, or None where nobody knows."""
        _, a, b, whole = self.terms.tolist()
        furthest = None
        if not math.isnan(whole):
            furthest = self._reading_at(whole + 2 * math.sqrt(max(self.covariance[3, 3], 0.0)))
        return -a / (2 * b) if furthest is None and b < 0 else furthest

    def _reading_at(self, time_s: float) -> float | None:
        """Return the reading at a time, None where the shrinking reel would be empty before."""
        offset, a, b, _ = self.terms.tolist()
        inside = a * a + 4 * b * (time_s - offset)
        return None if inside <= 0 else float(2 * (time_s - offset) / (a + math.sqrt(inside)))

    def _quantity(
        self, gradient: Array, unit: str, count: float = 0.0, read: bool = False
    ) -> Quantity:
        used = gradient != 0  # a length that is not known must not spoil what does not need it
        value = float(gradient[used] @ self.terms[used])
        block, part = np.ix_(used, used), gradient[used]
        variance = float(part @ self.covariance[block] @ part)
        scattered = variance
        if self.scattered is not None:
            scattered = float(part @ self.scattered[block] @ part)
        if read:
            variance += (self.seconds_a_count(count) * self.count_limit) ** 2 / 3
        freedom = effective_freedom(variance, scattered, self.degrees_of_freedom)
        return Quantity(value, unit, math.sqrt(max(variance, 0.0)), freedom)


def effective_freedom(variance: float, scattered: float, degrees_of_freedom: float) -> float:
    """Degrees of freedom where only a part of a variance is estimated (JCGM 100:2008, G.4.1)."""
    if math.isinf(degrees_of_freedom) or scattered <= 1e-9 * variance:
        return math.inf
    return degrees_of_freedom * (variance / scattered) ** 2
