"""A streamed FIR filter that also changes the rate by a fraction, done as matrix products.

An output at time t is Σⱼ x[j]·K(t − tⱼ) with a kernel K of finite length. When `up` outputs
fall on every `down` inputs, the kernel's samples repeat with that period, so whole blocks of
outputs are one product of the inputs, laid out in rows, with a fixed matrix. A row touches its
own outputs and those of the row before it, hence a matrix twice as wide and one carried row.
The products run in the linear-algebra library at its full speed, and the arithmetic of an
output does not depend on how the input was cut into blocks.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Kernel = Callable[[NDArray[np.float64]], NDArray[Any]]


class BlockFilter:
    """Filter streamed rows of samples with one kernel while changing the rate.

    Parameters
    ----------
    kernel : callable
        Kernel value at offsets given in input samples; real or complex; taken as zero beyond
        ±`reach`.
    reach : int
        Half-length of the kernel in input samples.
    up, down : int
        `up` outputs for every `down` inputs.
    channels : int
    offset : float
        Position of output 0 in input samples (−0.5 … 0.5).
    unity : bool
        Scale the taps of every output so that a constant comes through exactly; for low-pass
        kernels, whose ripple would else give a constant a small error.

    Notes
    -----
    Output k stands at input position ``offset + k·down/up``; input before the first and after
    the last sample counts as zero.
    """

    def __init__(
        self,
        kernel: Kernel,
        reach: int,
        up: int,
        down: int,
        channels: int,
        *,
        offset: float = 0.0,
        unity: bool = False,
    ) -> None:
        periods = -(-(2 * reach + 2) // down)
        self._row = periods * down
        self._outputs = periods * up
        self._lead = reach + 1
        self._up, self._down = up, down
        self._matrix, self._complex = self._make_matrix(kernel, reach, offset, unity)
        self._begin(channels)

    def fresh(self) -> BlockFilter:
        """Return the same filter as it was before its first input."""
        anew = copy.copy(self)
        anew._begin(self._rest.shape[0])
        return anew

    def _begin(self, channels: int) -> None:
        self._rest = np.zeros((channels, self._lead))
        self._carry: NDArray[np.float64] | None = None
        self._seen = 0
        self._given = 0

    def process(self, samples: NDArray[np.floating]) -> NDArray[Any]:
        """Take more input of shape (channel, frame) and return the outputs that are complete."""
        self._seen += samples.shape[1]
        return self._advance(samples)

    def finish(self) -> NDArray[Any]:
        """Return the outputs still owed, up to the one at the last input."""
        owed = -(-self._seen * self._up // self._down) - self._given
        channels = self._rest.shape[0]
        tail = self._advance(np.zeros((channels, 2 * self._row)))
        return tail[:, : max(owed, 0)]

    def _advance(self, samples: NDArray[np.floating]) -> NDArray[Any]:
        channels, kept = self._rest.shape
        total = kept + samples.shape[1]
        rows = total // self._row
        if rows == 0:
            self._rest = np.concatenate((self._rest, samples), axis=1)
            return self._shaped(np.zeros((channels, 0)))
        whole = rows * self._row
        joined = np.empty((channels, whole))
        joined[:, :kept] = self._rest
        joined[:, kept:] = samples[:, : whole - kept]
        self._rest = np.array(samples[:, whole - kept :], dtype=np.float64)
        product = (joined.reshape(channels * rows, self._row) @ self._matrix).reshape(
            channels, rows, -1
        )
        width = product.shape[2] // 2
        own, before = product[:, :, :width], product[:, :, width:]
        done = np.empty((channels, rows, width))
        done[:, 1:] = own[:, :-1] + before[:, 1:]
        if self._carry is None:
            done = done[:, 1:]
        else:
            done[:, 0] = self._carry + before[:, 0]
        self._carry = own[:, -1].copy()
        outputs = self._shaped(np.ascontiguousarray(done.reshape(channels, -1)))
        self._given += outputs.shape[1]
        return outputs

    def _shaped(self, outputs: NDArray[np.float64]) -> NDArray[Any]:
        return outputs.view(np.complex128) if self._complex else outputs

    def _make_matrix(
        self, kernel: Kernel, reach: int, offset: float, unity: bool
    ) -> tuple[NDArray[np.float64], bool]:
        """Kernel values for the two rows of input that a row of outputs stands on."""
        outputs = (
            np.arange(self._outputs, dtype=np.float64) * (self._down / self._up)
            + offset
            + self._lead
        )
        inputs = np.arange(2 * self._row)
        distance = np.asarray(outputs[None, :] - inputs[:, None], dtype=np.float64)
        values = np.where(np.abs(distance) <= reach, kernel(distance), 0)
        if unity:
            values = values / values.sum(axis=0)
        halves = np.concatenate((values[: self._row], values[self._row :]), axis=1)
        if np.iscomplexobj(halves):
            pairs = np.stack((halves.real, halves.imag), axis=-1)
            return np.ascontiguousarray(pairs.reshape(self._row, -1)), True
        return np.ascontiguousarray(halves, dtype=np.float64), False
