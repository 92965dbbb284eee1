"""What a quasi-peak needle shows: the meter that old sheets were written with.

The standards describe the meter by what it must show, not by a circuit (AES6-1982; IEC 60386
before its amendment 1): half of peak-to-peak, normalised on a steady 4 Hz sine, and given
readings for one-way pulses that come once a second. This model is our own: for each polarity
two holds in a row,

    q follows the deviation,   attack 16 ms,   never falling faster than by e in 140 ms
    h follows q,               attack 117 ms,  never falling faster than by e in 0.81 s

and the needle shows (h above + h below) / 2, divided by what that is for a 4 Hz sine of peak
1. In differential form dq/dt = max((x − q)/attack, −q/fall), and the same for h. Every step
is of degree one, so percentages do not depend on the level. The four times were fitted
(`docs/derivations/needle_times.py`) to the pulse figures with the pulses going **through the
weighting**, as a real test does that shifts the frequency of the tone. All five figures are
met with nearly half their tolerance to spare, and a steady sine of 1 to 63 Hz reads within
0.25 dB of its peak. No source says whether the pulses enter before or after the weighting.
`pulse_table` states the readings for both; entering after it, the two figures with a source
are met as well; of the remembered ones 10 ms reads 33 % and 100 ms 104 %.

On noise such a needle reads less than two-sigma: its middle is about 1.4 times the r.m.s.
of Gaussian flutter, where two-sigma is 1.96 times. On a sine the two agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.weighting import REFERENCE_HZ, Weighting
from runstrue.errors import InputError, SignalError
from runstrue.result import Spread

FIRST_ATTACK_S, FIRST_FALL_S = 0.016, 0.140
SECOND_ATTACK_S, SECOND_FALL_S = 0.117, 0.81
"""Times of the two holds; recipe: `docs/derivations/needle_times.py`."""

SETTLING_S = 3.0
"""From rest to within 1 % of a steady reading, for sines of 0.8 Hz and above; a larger
reading from before has then fallen to exp(−3/0.81) = 2.5 % (own reckoning)."""

FORGETTING_S = 20.0
"""Both holds are maxima of two shrinking lines, so two starts of the needle draw nearer by
at least e in 0.81 s; after 20 s they differ by 2e-11 of the level (own reckoning)."""

LOWEST_RATE_HZ = 250.0
"""Below that the first attack is hardly four samples long (own choice)."""


class Needle:
    """A quasi-peak needle on the weighted deviation.

    Parameters
    ----------
    rate_hz : float
        Samples of the weighted deviation per second, at least 250.

    Raises
    ------
    InputError
        When the rate is too low.

    Notes
    -----
    The needle starts at rest; `SETTLING_S` is to be discarded after the start. A steady
    input makes the needle swing a little once a cycle; its *reading* is the highest point of
    that swing, which is also what the normalisation on 4 Hz uses. A sine that fits a whole,
    small number of times into the rate (100 or 125 Hz at 500 Hz) is met at few points of its
    cycle, and its reading is up to 1 dB off; below 50 Hz that stays under 0.05 dB.

    Blocks of many minutes are followed several times faster than blocks of seconds (0.2 s
    against 0.8 s for 45 minutes of stereo at 500 Hz); what is shown is the same.

    References
    ----------
    AES6-1982 (public abstract); IEC 60386:1972.

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(5000) / 500
    >>> shown = Needle(500.0).process(0.1 * np.sin(2 * np.pi * 4 * time_s))
    >>> float(shown[-500:].max().round(4))
    0.1
    """

    def __init__(self, rate_hz: float) -> None:
        self.rate_hz = rate_hz
        self._law = _Law.at(rate_hz)
        self._scale = 1 / (2 * _reference(rate_hz))
        self._state: NDArray[np.float64] | None = None

    def process(self, weighted_percent: NDArray[np.floating]) -> NDArray[np.float64]:
        """Follow the next block.

        Parameters
        ----------
        weighted_percent : ndarray of float, shape (channel, sample) or (sample,)
            The same number of channels in every block; any length.

        Returns
        -------
        ndarray of float64, same shape
            What the needle shows at each sample, in % (to be printed with ±).

        Raises
        ------
        SignalError
            When a value is not finite, or the number of channels changes.
        """
        given = np.asarray(weighted_percent, dtype=np.float64)
        block = np.atleast_2d(given)
        if not np.isfinite(block).all():
            raise SignalError(
                "The deviation for the needle holds values that are not numbers",
                "gaps must be left out before the needle",
            )
        if self._state is None:
            self._state = np.zeros((4, len(block)))
        if self._state.shape[1] != len(block):
            raise SignalError(
                f"A block of {len(block)} channels followed one of {self._state.shape[1]}",
                "the channels must stay the same",
            )
        return (self._scale * _follow(self._law, block, self._state)).reshape(given.shape)

    def reset(self) -> None:
        """Put the needle at rest."""
        self._state = None


def wander(
    indication_percent: NDArray[np.floating], rate_hz: float, discard_s: float = SETTLING_S
) -> Spread:
    """Lowest, middle and highest that a person reports who watches the needle.

    Parameters
    ----------
    indication_percent : ndarray of float, shape (sample,)
        What the needle showed on one channel, in %.
    rate_hz : float
        Samples per second.
    discard_s : float
        Start of the record that is left out; 0 where the needle had settled before.

    Returns
    -------
    Spread
        The needle is below `low` for a twentieth of the time and above `high` for another,
        and half of the time on either side of `middle`. Someone who writes 'between 0.12
        and 0.18' means where the needle plays, not the single jerk; and the bare extremes
        would drift apart the longer one watches, so that two records of unequal length
        could not be compared. (Own definition; no source gives one.)

    Raises
    ------
    SignalError
        When less than a second is left to watch.
    """
    shown = np.asarray(indication_percent, dtype=np.float64)
    settled = shown[..., int(np.ceil(discard_s * rate_hz)) :]
    if settled.ndim != 1 or settled.size < rate_hz:
        raise SignalError(
            f"The needle was seen for {shown.shape[-1] / rate_hz:.1f} s",
            f"at least {discard_s + 1:g} s of one channel are needed for its wandering",
            "record longer",
        )
    low, middle, high = np.quantile(settled, [0.05, 0.5, 0.95])
    return Spread(float(low), float(middle), float(high))


@dataclass(frozen=True, slots=True)
class PulseFigure:
    """One figure that the standards ask of the needle, and what this needle does.

    Parameters
    ----------
    words : str
        '60 ms pulse', 'fall between 100 ms pulses'.
    required_percent, tolerance_percent : float
        Of the reading of a 4 Hz sine whose peak-to-peak equals the pulse.
    standing : str
        Where the figure and its tolerance are known from.
    through_weighting_percent, straight_percent : float
        Readings with the pulse before and after the weighting.
    """

    words: str
    required_percent: float
    tolerance_percent: float
    standing: str
    through_weighting_percent: float
    straight_percent: float


_PULSES = {
    0.010: (21.0, 3.0, "from memory, fairly sure"),
    0.030: (62.0, 6.0, "from memory, fairly sure"),
    0.060: (90.0, 6.0, "AES6-1982, public abstract; tolerance from memory"),
    0.100: (100.0, 4.0, "from memory, fairly sure"),
}
"""Length in s: required reading and tolerance in %, and where they are known from."""

_FALL = (40.0, 4.0, "AES6-1982, public abstract; tolerance from memory, unsure")


def pulse_table(rate_hz: float = 500.0) -> tuple[PulseFigure, ...]:
    """Required against reached: the needle's answer to one-way pulses once a second."""
    lengths = list(_PULSES)
    through, straight = (
        _pulse_readings(rate_hz, lengths, weighted=weighted) for weighted in (True, False)
    )
    figures = [
        PulseFigure(f"{length * 1000:.0f} ms pulse", *asked, there[0], here[0])
        for (length, asked), there, here in zip(_PULSES.items(), through, straight, strict=True)
    ]
    fall = PulseFigure("fall between 100 ms pulses", *_FALL, through[-1][1], straight[-1][1])
    return (*figures, fall)


def _pulse_readings(
    rate_hz: float, lengths_s: list[float], *, weighted: bool
) -> list[tuple[float, float]]:
    """Highest and lowest point of the needle between settled pulses, in % of the reference."""
    samples = np.arange(int(30 * rate_hz))
    second = np.mod((samples + 0.5) / rate_hz, 1.0)
    pulses = np.array([second < length for length in lengths_s], dtype=np.float64)
    shown = Needle(rate_hz).process(Weighting(rate_hz).process(pulses) if weighted else pulses)
    settled = shown[:, int(25 * rate_hz) :]
    # a pulse of height 1 has the peak-to-peak of a sine of peak 1/2, which reads 1/2
    return [(200 * float(row.max()), 200 * float(row.min())) for row in settled]


@dataclass(frozen=True, slots=True)
class _Law:
    """One sample of both holds: keep and take of the attack, keep of the fall.

    Exact for an input that stays the same from one sample to the next.
    """

    keep_1: float
    take_1: float
    fall_1: float
    keep_2: float
    take_2: float
    fall_2: float
    memory: int

    @classmethod
    def at(cls, rate_hz: float) -> _Law:
        if not LOWEST_RATE_HZ <= rate_hz < np.inf:
            raise InputError(
                f"A needle was to be fed {rate_hz:g} times a second",
                f"at least {LOWEST_RATE_HZ:g} times are needed",
            )
        times = np.array([FIRST_ATTACK_S, FIRST_FALL_S, SECOND_ATTACK_S, SECOND_FALL_S])
        keep_1, fall_1, keep_2, fall_2 = np.exp(-1 / (rate_hz * times)).tolist()
        memory = int(np.ceil(FORGETTING_S * rate_hz))
        return cls(keep_1, 1 - keep_1, fall_1, keep_2, 1 - keep_2, fall_2, memory)


LANES_FROM = 20
"""From so many memories on, lanes are quicker than a plain loop (measured)."""


def _follow(
    law: _Law, block: NDArray[np.float64], state: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Sum of both second holds, shape of `block`; `state` (4, channel) is carried on.

    A long block is cut into pieces as long as the memory, which run side by side: once from
    rest, only to learn how each piece ends, and once more from the end of the one before.
    """
    shown = np.empty_like(block)
    pieces = block.shape[1] // law.memory
    done = 0
    if pieces >= LANES_FROM:
        done = pieces * law.memory
        lanes = block[:, :done].reshape(len(block), pieces, law.memory)
        starts = np.zeros((4, len(block), pieces))
        starts[:, :, 0] = state
        ends = _run_lanes(law, lanes, starts, None)
        starts[:, :, 1:] = ends[:, :, :-1]
        out = shown[:, :done].reshape(lanes.shape)
        state[:] = _run_lanes(law, lanes, starts, out)[:, :, -1]
        shown[:, :done] = out.reshape(len(block), done)
    for channel, row in enumerate(block[:, done:]):
        shown[channel, done:], state[:, channel] = _run_plain(
            law, row.tolist(), *state[:, channel].tolist()
        )
    return shown


def _run_plain(
    law: _Law, values: list[float], q_up: float, q_down: float, h_up: float, h_down: float
) -> tuple[list[float], tuple[float, float, float, float]]:
    keep_1, take_1, fall_1 = law.keep_1, law.take_1, law.fall_1
    keep_2, take_2, fall_2 = law.keep_2, law.take_2, law.fall_2
    shown: list[float] = []
    append = shown.append
    for value in values:
        # written out without max(), which would cost more than all the rest
        share = take_1 * value
        attack, fall = keep_1 * q_up + share, fall_1 * q_up
        q_up = attack if attack > fall else fall
        attack, fall = keep_1 * q_down - share, fall_1 * q_down
        q_down = attack if attack > fall else fall
        attack, fall = keep_2 * h_up + take_2 * q_up, fall_2 * h_up
        h_up = attack if attack > fall else fall
        attack, fall = keep_2 * h_down + take_2 * q_down, fall_2 * h_down
        h_down = attack if attack > fall else fall
        append(h_up + h_down)
    return shown, (q_up, q_down, h_up, h_down)


def _run_lanes(
    law: _Law,
    lanes: NDArray[np.float64],
    starts: NDArray[np.float64],
    shown: NDArray[np.float64] | None,
) -> NDArray[np.float64]:
    """Run all lanes (channel, lane, sample) at once; return their ends (4, channel, lane)."""
    first, second = starts[:2].copy(), starts[2:].copy()
    share, fall = np.empty_like(first), np.empty_like(first)
    for sample in range(lanes.shape[-1]):
        np.multiply(lanes[:, :, sample], law.take_1, out=share[0])
        np.negative(share[0], out=share[1])
        np.multiply(first, law.fall_1, out=fall)
        np.multiply(first, law.keep_1, out=first)
        np.add(first, share, out=first)
        np.maximum(first, fall, out=first)
        np.multiply(first, law.take_2, out=share)
        np.multiply(second, law.fall_2, out=fall)
        np.multiply(second, law.keep_2, out=second)
        np.add(second, share, out=second)
        np.maximum(second, fall, out=second)
        if shown is not None:
            np.add(second[0], second[1], out=shown[:, :, sample])
    return np.concatenate([first, second])


@lru_cache(maxsize=8)
def _reference(rate_hz: float) -> float:
    """Half the sum of the holds for a 4 Hz sine of peak 1: the highest of its settled swing."""
    time_s = np.arange(int(FORGETTING_S * rate_hz)) / rate_hz
    sine = np.sin(2 * np.pi * REFERENCE_HZ * time_s)
    shown, _ = _run_plain(_Law.at(rate_hz), sine.tolist(), 0.0, 0.0, 0.0, 0.0)
    return max(shown[-int(2 * rate_hz) :]) / 2
