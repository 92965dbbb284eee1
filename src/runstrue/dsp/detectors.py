"""Detectors: from a deviation that moves to the one figure that a method calls its reading.

- two-sigma: the threshold that the size of the deviation exceeds for 5 % of the time. IEC
  60386 A1:1988 method 1 (times above a threshold are added up); that the share is 5 % and not
  4.55 % is from memory, fairly sure. On a sine it is sin(0.475 π) = 0.99692 of the peak, on
  Gaussian flutter 1.960 times the r.m.s.
- r.m.s.
- average: what a meter shows that responds to the mean of the size and is scaled to read the
  r.m.s. of a sine, π/(2√2) times the mean of the size (NAB 1965 practice, from memory). On
  Gaussian flutter it reads 0.886 of the r.m.s.

A record comes in blocks of any size and may be long: sums are kept for each of at most 32
stretches of it, and the sizes as counts, in fine bins for the whole and in coarse bins for
each stretch, so memory does not grow. Any stretch can be left out of a reading, which is what
a delete-a-block jackknife needs to say how far the reading would have moved with another
piece of tape.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError, SignalError

SHARE_ABOVE = 0.05
"""Share of the time above the two-sigma threshold; see the module's first paragraph."""

MOST_STRETCHES = 32
"""Enough for a jackknife (own choice); beyond it stretches are joined in pairs."""

EXACT_SAMPLES = 2**17
"""Up to here every value is kept and two-sigma is exact; beyond, the bins are used."""

FINE_BITS = 14
"""Fine bins to the octave, as a power of two: each is at most 6.1e-5 of its value wide."""

COARSE_BITS = 9
"""Coarse bins likewise, at most 0.2 % wide. With a stretch left out, its counts are taken to
lie within a coarse bin as those of the whole record do; what that can shift the threshold is
the stretch's share of the record times the bin, about 1e-4 of the reading at the very most."""

SMALLEST_PERCENT, LARGEST_PERCENT = 2.0**-24, 2.0**14
"""The bins' range: from 6e-8 %, far below any residual, to 16 384 %."""


class Detectors:
    """All detectors on one channel.

    Parameters
    ----------
    stretch_samples : int
        Samples in each stretch at first, at least 1; it doubles whenever the record has
        filled 32 stretches.
    thresholds : bool
        Whether two-sigma will be asked for; the sums alone need next to no memory.

    Raises
    ------
    InputError
        When the stretch is shorter than a sample.

    Notes
    -----
    A threshold is found among samples, so the deviation should be sampled well above the
    rates in it: at 500 Hz a steady 100 Hz is met at five points of its cycle and may read
    5 % low. `runstrue.dsp.finer.Finer` puts points between; with four times as many it is 1 %
    at most.

    Examples
    --------
    >>> import numpy as np
    >>> detectors = Detectors(1000)
    >>> detectors.add(np.sin(2 * np.pi * np.arange(100_000) / 997))
    >>> round(detectors.two_sigma(), 3), round(detectors.rms(), 3), round(detectors.average(), 3)
    (0.997, 0.707, 0.707)
    """

    def __init__(self, stretch_samples: int, *, thresholds: bool = True) -> None:
        if stretch_samples < 1:
            raise InputError(
                f"Stretches of {stretch_samples} samples were asked for", "at least 1 is needed"
            )
        self.stretch_samples = stretch_samples
        self._stretches: list[_Stretch] = []
        self._open = _Stretch()
        self._counts = np.zeros(_OCTAVES << FINE_BITS if thresholds else 0, dtype=np.uint32)
        self._counts_before = self._counts.copy()
        self._exact: list[NDArray[np.float64]] | None = [] if thresholds else None

    @property
    def samples(self) -> int:
        """Samples taken in so far."""
        return sum(stretch.samples for stretch in self._all())

    @property
    def stretches(self) -> tuple[int, ...]:
        """Samples in each stretch that can be left out; the last may be shorter."""
        return tuple(stretch.samples for stretch in self._all())

    def add(self, deviation_percent: NDArray[np.floating]) -> None:
        """Take in the next block.

        Parameters
        ----------
        deviation_percent : ndarray of float, shape (sample,)
            Deviation in %, settled and without gaps; any length.

        Raises
        ------
        SignalError
            When a value is not finite or larger than any deviation can be.
        """
        size = np.abs(np.asarray(deviation_percent, dtype=np.float64))
        if size.ndim != 1:
            raise SignalError(
                f"A deviation of shape {size.shape} was handed to the detectors",
                "one channel is needed",
            )
        if not (size < LARGEST_PERCENT).all():
            raise SignalError(
                "The deviation holds values that are not numbers, or are beyond all measure",
                f"values below {LARGEST_PERCENT:.0f} % are needed",
            )
        if self._exact is not None:
            if self.samples + len(size) <= EXACT_SAMPLES:
                self._exact.append(size.copy())
            else:
                self._exact = None
        while len(size):
            if self._open.samples == self.stretch_samples:
                self._close()
            part = size[: self.stretch_samples - self._open.samples]
            size = size[len(part) :]
            self._open.samples += len(part)
            self._open.counts = _NO_COUNTS
            self._open.sum_of_squares += float(np.dot(part, part))
            self._open.sum_of_sizes += float(np.sum(part))
            if self._counts.size:
                np.add.at(self._counts, _bin_of(part), np.uint32(1))

    def two_sigma(self, leave_out: int | None = None) -> float:
        """Threshold in % that the size exceeds for 5 % of the time.

        Parameters
        ----------
        leave_out : int, optional
            Stretch to leave out, from 0.

        Raises
        ------
        SignalError
            When nothing is left to read.
        """
        kept = self._kept(leave_out)
        if not self._counts.size:
            raise InputError("Two-sigma was asked of sums", "detectors with thresholds are needed")
        if self._exact is not None:
            sizes = np.concatenate(self._exact)
            if leave_out is not None:
                start = sum(self.stretches[:leave_out])
                sizes = np.delete(sizes, slice(start, start + self.stretches[leave_out]))
            return float(np.quantile(sizes, 1 - SHARE_ABOVE))
        coarse = sum(
            (self._open_counts() if stretch is self._open else stretch.counts for stretch in kept),
            np.zeros(_OCTAVES << COARSE_BITS, dtype=np.int64),
        )
        return _quantile(coarse, self._counts, 1 - SHARE_ABOVE)

    def rms(self, leave_out: int | None = None) -> float:
        """Root mean square in %."""
        kept = self._kept(leave_out)
        squares = sum(stretch.sum_of_squares for stretch in kept)
        return float(np.sqrt(squares / sum(stretch.samples for stretch in kept)))

    def average(self, leave_out: int | None = None) -> float:
        """Mean size in %, scaled to read the r.m.s. of a sine."""
        kept = self._kept(leave_out)
        sizes = sum(stretch.sum_of_sizes for stretch in kept)
        return float(np.pi / (2 * np.sqrt(2)) * sizes / sum(stretch.samples for stretch in kept))

    def _all(self) -> list[_Stretch]:
        return self._stretches + [self._open] * (self._open.samples > 0)

    def _kept(self, leave_out: int | None) -> list[_Stretch]:
        stretches = self._all()
        if leave_out is not None:
            if not 0 <= leave_out < len(stretches):
                raise InputError(
                    f"Stretch {leave_out} was to be left out",
                    f"there are {len(stretches)}, counted from 0",
                )
            del stretches[leave_out]
        if not stretches:
            raise SignalError("There is nothing to read", "a longer record is needed")
        return stretches

    def _close(self) -> None:
        """Put the full open stretch with the others, and join pairs when there are too many."""
        if self._counts.size:
            self._open_counts()
            np.copyto(self._counts_before, self._counts)
        self._stretches.append(self._open)
        self._open = _Stretch()
        if len(self._stretches) == MOST_STRETCHES:
            pairs = zip(self._stretches[::2], self._stretches[1::2], strict=True)
            self._stretches = [_joined(first, second) for first, second in pairs]
            self.stretch_samples *= 2

    def _open_counts(self) -> NDArray[np.int64]:
        """Coarse counts of the open stretch, reckoned once after each block."""
        if not self._open.counts.size:
            self._open.counts = _coarse(self._counts - self._counts_before)
        return self._open.counts


_NO_COUNTS: NDArray[np.int64] = np.zeros(0, dtype=np.int64)


@dataclass(slots=True)
class _Stretch:
    """Sums over one stretch, and its coarse counts once it is full."""

    samples: int = 0
    sum_of_squares: float = 0.0
    sum_of_sizes: float = 0.0
    counts: NDArray[np.int64] = field(default_factory=lambda: _NO_COUNTS)


def _joined(first: _Stretch, second: _Stretch) -> _Stretch:
    return _Stretch(
        first.samples + second.samples,
        first.sum_of_squares + second.sum_of_squares,
        first.sum_of_sizes + second.sum_of_sizes,
        first.counts + second.counts,
    )


_OCTAVES = round(np.log2(LARGEST_PERCENT / SMALLEST_PERCENT))
_SHIFT = np.uint32(23 - FINE_BITS)  # 23 bits of mantissa in single precision (IEEE 754)
_LOWEST = np.float32(SMALLEST_PERCENT)


def _bin_of(size: NDArray[np.float64]) -> NDArray[np.uint32]:
    """Fine bin of each size: the leading bits of its single-precision form, read as a number."""
    single = np.maximum(size.astype(np.float32), _LOWEST)
    return (single.view(np.uint32) - _LOWEST.view(np.uint32)) >> _SHIFT


def _edge_of(index: int) -> float:
    """Lower edge of a fine bin; the lowest one begins at 0."""
    octave, step = divmod(index, 2**FINE_BITS)
    return SMALLEST_PERCENT * 2.0**octave * (1 + step / 2**FINE_BITS) if index else 0.0


def _coarse(fine: NDArray[np.uint32]) -> NDArray[np.int64]:
    width = 2 ** (FINE_BITS - COARSE_BITS)
    return np.asarray(fine.reshape(-1, width).sum(axis=1), dtype=np.int64)


def _quantile(coarse: NDArray[np.int64], fine: NDArray[np.uint32], share: float) -> float:
    """Value below which this share of the coarse counts lies.

    Within its coarse bin it is found by the fine counts, within its fine bin by even spread.
    """
    below = np.cumsum(coarse)
    position = share * (below[-1] - 1) + 0.5
    index = int(np.searchsorted(below, position, side="right"))
    within = 1 - (below[index] - position) / coarse[index]
    width = 2 ** (FINE_BITS - COARSE_BITS)
    counts = fine[index * width : (index + 1) * width].astype(np.float64)
    upto = np.cumsum(counts) / np.sum(counts)
    step = int(np.searchsorted(upto, within, side="right"))
    inside = 1 - (upto[step] - within) * np.sum(counts) / counts[step]
    low, high = _edge_of(index * width + step), _edge_of(index * width + step + 1)
    return float(low + inside * (high - low))
