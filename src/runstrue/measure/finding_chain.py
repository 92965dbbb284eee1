"""Which run of a recording is which section: the chain that fits best.

First every pair of a run and a tone votes for the speed that would make it one; then, at each of
the speeds with most votes, the best chain of pairs is found that goes forward in the recording and
in the programme (dynamic programming). A pair counts for more when its length, its channels and its
level are right, and a step from one pair to the next costs when the time between them is not that
of the programme: voice, a leader or a pause in between costs once and no more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runstrue.measure.finding_runs import Run
from runstrue.stimulus.programme import Programme, Section

Array = NDArray[np.float64]

FASTEST = 2.4  # a programme played at double speed is recognised as that
VOTE_STEP = 0.003
SPEEDS_TRIED = 8
SAME_TONE = 0.012  # what a deck's speed may wander within one recording
SHORTEST_SHARE = 0.3
WRONG_CHANNEL, WRONG_LEVEL, SWAPPED = 0.5, 0.6, 0.5
BALANCED_DB, APART_DB, DEAD_DB, HEARD_DB = 8.0, 40.0, 35.0, 45.0
PASSED_OVER = 0.03
"""Cost of a tone of the programme that is passed over; many may be inaudible."""


@dataclass(frozen=True, slots=True)
class Chain:
    """Pairs of a section and a run, in order.

    Parameters
    ----------
    pairs : tuple of (int, int)
        Number of the section in the programme, number of the run.
    speed_ratio : float
        Played over nominal, about.
    score : float
        About the number of sections that fit.
    """

    pairs: tuple[tuple[int, int], ...]
    speed_ratio: float
    score: float


NO_CHAIN = Chain((), 1.0, 0.0)
_SIDES = {"both": -1, "left": 0, "right": 1}


def has_a_tone(section: Section) -> bool:
    """Whether a section is one steady tone, so that a run may be it."""
    return section.kind in ("tone", "ramp")


def best_chain(
    programme: Programme, runs: Sequence[Run], within: tuple[float, float] | None = None
) -> Chain:
    """Return the best chain over all speeds, or one without pairs.

    Parameters
    ----------
    programme : Programme
    runs : sequence of Run
        In order of time.
    within : (float, float), optional
        Lowest and highest speed ratio; else from a third of nominal speed to more than double.
    """
    numbers = [number for number, one in enumerate(programme.sections) if has_a_tone(one)]
    if not numbers or not runs:
        return NO_CHAIN
    pairing = _Pairing(programme, numbers, runs)
    best = NO_CHAIN
    for speed in pairing.likely_speeds(within):
        chain = pairing.chain(speed, None)
        if len(chain.pairs) >= 3:
            chain = pairing.chain(pairing.speed_of(chain), pairing.gains_db(chain))
        if chain.score > best.score:
            best = chain
    return best


class _Pairing:
    def __init__(self, programme: Programme, numbers: list[int], runs: Sequence[Run]) -> None:
        sections = [programme.sections[number] for number in numbers]
        self.numbers = np.array(numbers)
        self.exact = programme.kind == "made"
        self.hz = np.array([one.frequencies_hz[0] for one in sections])
        self.starts_s = np.array([one.starts_s for one in sections])
        self.lasts_s = np.array([one.lasts_s for one in sections])
        self.level_db = np.array([one.highest_db for one in sections])
        self.channel = np.array([_SIDES[one.channels] for one in sections])
        self.steady = np.array([one.kind == "tone" for one in sections])
        self.run_hz = np.array([run.hz for run in runs])
        self.run_starts_s = np.array([run.starts_s for run in runs])
        self.run_lasts_s = np.array([run.lasts_s for run in runs])
        self.run_level_db = np.array([run.level_db for run in runs])

    def likely_speeds(self, within: tuple[float, float] | None) -> list[float]:
        """Speeds that most of the sound votes for, the best first."""
        low, high = within or (1 / FASTEST, FASTEST)
        ratio = np.log(self.run_hz[None, :] / self.hz[:, None])
        length = self.run_lasts_s[None, :] * np.exp(ratio) / self.lasts_s[:, None]
        # a run of about the right length says most
        weight = np.clip(np.minimum(length, 1 / np.maximum(length, 1e-9)), 0, 1) ** 2
        # several sections of one frequency must not make a run count several times
        edges = np.arange(np.log(low) - VOTE_STEP, np.log(high) + 2 * VOTE_STEP, VOTE_STEP)
        place = np.clip(np.digitize(ratio, edges) - 1, -1, edges.size)
        votes = np.zeros(edges.size)
        for run in range(ratio.shape[1]):
            inside = (place[:, run] >= 0) & (place[:, run] < edges.size)
            most = np.zeros(edges.size)
            np.maximum.at(most, place[inside, run], weight[inside, run])
            votes += most
        smooth = np.convolve(votes, [0.25, 0.5, 1.0, 0.5, 0.25], mode="same")
        found: list[float] = []
        for at in np.argsort(-smooth):
            speed = float(np.exp(edges[at] + VOTE_STEP / 2))
            if smooth[at] <= 0 or len(found) >= SPEEDS_TRIED:
                break
            if low <= speed <= high and all(abs(speed / one - 1) > 0.01 for one in found):
                found.append(speed)
        return found

    def chain(self, speed: float, gains_db: Array | None) -> Chain:
        """Return the best chain at one speed."""
        off = self.run_hz[None, :] / (self.hz[:, None] * speed) - 1
        near = np.abs(off) < SAME_TONE + 0.5 / self.hz[:, None]  # half a hertz at the low end
        worth = np.where(near, self._worth(speed, gains_db), 0.0)
        rows, columns = np.nonzero(worth > 0.05)
        if not rows.size:
            return NO_CHAIN
        order = np.lexsort((rows, columns))
        rows, columns = rows[order], columns[order]
        value = worth[rows, columns]
        total, before = value.copy(), np.full(rows.size, -1)
        for node in range(1, rows.size):
            earlier = (columns[:node] < columns[node]) & (rows[:node] < rows[node])
            if not earlier.any():
                continue
            others = np.flatnonzero(earlier)
            reached = total[others] - self._cost(
                rows[others], columns[others], rows[node], columns[node], speed
            )
            top = int(reached.argmax())
            if reached[top] > 0:
                total[node] += reached[top]
                before[node] = others[top]
        node = int(total.argmax())
        score = float(total[node])
        pairs: list[tuple[int, int]] = []
        while node >= 0:
            pairs.append((int(self.numbers[rows[node]]), int(columns[node])))
            node = int(before[node])
        return Chain(tuple(reversed(pairs)), speed, score)

    def speed_of(self, chain: Chain) -> float:
        """Median speed of the pairs of a chain."""
        rows, columns = self._rows_and_columns(chain)
        return float(np.median(self.run_hz[columns] / self.hz[rows]))

    def gains_db(self, chain: Chain) -> Array:
        """Level of the recording against the programme, per channel, below the treble."""
        rows, columns = self._rows_and_columns(chain)
        low = self.hz[rows] < 4000
        rows, columns = (rows[low], columns[low]) if low.any() else (rows, columns)
        gains = np.full(self.run_level_db.shape[1], -200.0)
        for channel in range(gains.size):
            sounds = (self.channel[rows] < 0) | (self.channel[rows] == channel)
            if sounds.any():
                level_db = self.run_level_db[columns[sounds], channel]
                gains[channel] = np.median(level_db - self.level_db[rows[sounds]])
        return gains

    def _rows_and_columns(self, chain: Chain) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        rows = np.searchsorted(self.numbers, [number for number, _ in chain.pairs])
        return rows, np.array([column for _, column in chain.pairs], dtype=np.intp)

    def _worth(self, speed: float, gains_db: Array | None) -> Array:
        """How well each run would be each section, from 0 to 1."""
        share = self.run_lasts_s[None, :] * speed / self.lasts_s[:, None]
        loose = 0.15 if self.exact else 0.35
        worth = np.where(share > 1, np.clip(1 - 2 * (share - 1 - loose), 0.1, 1), share / 0.9)
        worth = np.where(share < SHORTEST_SHARE, 0.0, np.clip(worth, 0, 1))
        if self.run_level_db.shape[1] == 2:
            worth = worth - WRONG_CHANNEL * self._wrong_channel()
        if gains_db is not None:
            loudest = (self.run_level_db - gains_db).max(axis=1)
            off_db = loudest[None, :] - self.level_db[:, None]
            # worn heads lose treble, and a ramp's middle is below its top
            short_db = np.where((self.hz > 2000) | ~self.steady, 30.0, 8.0)[:, None]
            wrong = np.clip((off_db - 6) / 8, 0, 1) + np.clip((-off_db - short_db) / 8, 0, 1)
            worth = worth - WRONG_LEVEL * np.minimum(wrong, 1)
        return np.asarray(np.clip(worth, 0, 1))

    def _wrong_channel(self) -> Array:
        """1 where a run sounds on other channels than a section, 0 where on the same."""
        level_db = np.maximum(self.run_level_db, -120.0)
        apart_db = np.clip(level_db[:, 0] - level_db[:, 1], -APART_DB, APART_DB)
        balance_db = self._balance_db(apart_db)
        if abs(balance_db) > DEAD_DB:  # one channel is dead: only what is for it alone is wrong
            dead = 1 if balance_db > 0 else 0
            return np.repeat((self.channel == dead)[:, None], apart_db.size, axis=1).astype(float)
        apart_db -= balance_db
        side = np.where(np.abs(apart_db) < BALANCED_DB, -1, np.where(apart_db > 0, 0, 1))
        wrong = np.asarray(side[None, :] != self.channel[:, None], dtype=np.float64)
        # swapped plugs: less wrong than a tone on both channels would be
        lone = (side[None, :] >= 0) & (self.channel[:, None] >= 0)
        return np.asarray(np.where(lone, SWAPPED * wrong, wrong))

    def _balance_db(self, apart_db: Array) -> float:
        """Left over right: most sections are on both channels, so the middle run tells it.

        Long and loud runs count for more; hum between the sections does not count.
        """
        level_db = self.run_level_db.max(axis=1)
        weight = self.run_lasts_s * np.maximum(level_db - level_db.max() + HEARD_DB, 0.0)
        order = np.argsort(apart_db)
        middle = np.searchsorted(np.cumsum(weight[order]), weight.sum() / 2)
        return float(apart_db[order[min(int(middle), order.size - 1)]])

    def _cost(
        self,
        rows: NDArray[np.intp],
        columns: NDArray[np.intp],
        row: np.intp,
        column: np.intp,
        speed: float,
    ) -> Array:
        """What a step from pairs to another pair costs."""
        nominal_s = (self.starts_s[row] - self.starts_s[rows]) / speed
        seen_s = self.run_starts_s[column] - self.run_starts_s[columns]
        by_ends_s = (
            self.run_lasts_s[column] - self.run_lasts_s[columns]
            - (self.lasts_s[row] - self.lasts_s[rows]) / speed
        )  # fmt: skip
        # where a beginning was cut off, the ends still fit
        off_s = np.minimum(np.abs(seen_s - nominal_s), np.abs(seen_s + by_ends_s - nominal_s))
        if self.exact:
            allowed_s = 0.12 + 0.004 * nominal_s
            beyond = off_s - allowed_s
            less = seen_s < nominal_s  # a cut is rarer than something put in
            # a stop or a voice costs little, but what is half a minute off is in another playing
            cost = np.where(
                beyond > 0,
                np.minimum(0.2 + 0.05 * beyond, np.where(less, 1.2, 0.45))
                + np.clip(0.02 * (beyond - 30), 0, 1.5),
                0.1 * off_s / allowed_s,
            )
        else:
            allowed_s = 3.0 + 0.15 * nominal_s
            cost = np.clip(0.08 * (off_s - allowed_s), 0, 1.0) + 0.01 * np.minimum(off_s, 10)
        return np.asarray(cost + PASSED_OVER * (row - rows - 1))
