"""Fit the analogue prototype of the weighting filter to the table of the standard.

Run it with `python docs/derivations/weighting_prototype.py`; it prints the constants of
`runstrue.dsp.weighting.PROTOTYPE`, found anew (no random start, numpy 2 and scipy 1.13 or
later), and the error at each point of the table.

What is minimised: the worst error over the 17 points, in dB, with 0 dB forced at 4 Hz.
Two conditions keep the curve sensible:

- nowhere more than 0.03 dB above the value at 4 Hz, which is the top of the standard's curve;
- at 200 Hz the error stays below 0.17 dB, since the digital filter at 500 Hz adds 0.02 dB.

Why three zeros at zero rate: the table falls by 17.4 dB in its lowest octave, third order.
Why six poles: with five (and one zero less) the worst point is 0.28 dB off, with seven (and
one zero more) 0.18 dB; the kink of the table at 63 Hz sets the floor.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from runstrue.dsp.weighting import PROTOTYPE, Prototype, prototype_gain, weighting_table

TOP_DB = 0.03
EDGE_DB = 0.17
START = Prototype((8.0, 90.0), (1.6, 6.0, 15.0, 110.0), 0.44, 0.67)
"""Corners read off a sketch of the table's asymptotes; the result does not hang on them."""


def fit_prototype(start: Prototype = START) -> tuple[Prototype, float]:
    """Return the best prototype and its worst error in dB."""
    table_hz, table_db = weighting_table()
    near_top = np.geomspace(1.0, 16.0, 200)

    def error_db(unknown: NDArray[np.float64]) -> NDArray[np.float64]:
        return 20 * np.log10(prototype_gain(table_hz, _unpack(unknown))) - table_db

    def room(unknown: NDArray[np.float64]) -> NDArray[np.float64]:
        error = error_db(unknown)
        top = 20 * np.log10(prototype_gain(near_top, _unpack(unknown)))
        edge = EDGE_DB - error[-1:]
        return np.concatenate([unknown[-1] - error, unknown[-1] + error, TOP_DB - top, edge])

    best = optimize.minimize(
        lambda unknown: unknown[-1],
        np.append(_pack(start), 0.3),
        constraints=[{"type": "ineq", "fun": room}],
        method="SLSQP",
        options={"maxiter": 1000, "ftol": 1e-10},
    )
    if not best.success:
        raise SystemExit(f"The fit did not end: {best.message}.")
    return _unpack(best.x), float(np.max(np.abs(error_db(best.x))))


def _pack(prototype: Prototype) -> NDArray[np.float64]:
    return np.log(
        [
            *prototype.zeros_hz,
            *prototype.poles_hz,
            prototype.pair_hz,
            prototype.pair_quality,
        ]
    )


def _unpack(unknown: NDArray[np.float64]) -> Prototype:
    plain = [float(value) for value in np.exp(unknown[:8])]
    return Prototype(tuple(plain[:2]), tuple(plain[2:6]), plain[6], plain[7])


if __name__ == "__main__":
    found, worst = fit_prototype()
    print(found)
    print(f"worst point {worst:.4f} dB; in the program: {PROTOTYPE}")
    rates, weights = weighting_table()
    for rate, weight in zip(rates, weights, strict=True):
        gain = 20 * np.log10(prototype_gain(np.array([rate]), found))[0]
        print(f"{rate:8g} Hz {weight:7.1f} dB {gain - weight:+8.3f} dB")
