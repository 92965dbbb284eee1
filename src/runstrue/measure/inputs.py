"""An input of the deck: how much gives its 0 dB, and from where on it distorts.

The sound card plays a ramp into the input and records the line output while the deck stands in
record pause. With both sides of the card calibrated, every moment of the ramp is an input in
millivolts and an output in dBV. The input that gives the output of the deck's 0 dB is its
sensitivity; the input at which second and third harmonic together reach 1 % is its overload
(common practice, no source: sheets rarely say at which distortion).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from runstrue.dsp.band_power import level_db
from runstrue.errors import SignalError
from runstrue.measure.distortion import harmonics_of
from runstrue.measure.levels import Calibration
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result, Table

Array = NDArray[np.float64]

OVERLOAD_PERCENT = 1.0
FRAME_S = 0.25
MOST_FRAMES = 240


def measure_input(
    stretch: Stretch,
    channels: Sequence[str],
    programme_dbfs: float,
    output: Calibration | None,
    zero_dbfs: float | None,
    name: str = "",
) -> tuple[Result, ...]:
    """Sensitivity and overload of an input, from one ramp.

    Parameters
    ----------
    stretch : Stretch
        The ramp as it came out of the deck.
    channels : sequence of str
    programme_dbfs : float
        Level of the programme's reference in the file that was played, in dB FS.
    output : Calibration or None
        Of the sound card's output; without it inputs are in dB FS of what was played.
    zero_dbfs : float or None
        Level in the recording that the deck's 0 dB gives; None where nobody said.
    name : str
        Which input: 'microphone', 'line'.

    Returns
    -------
    tuple of Result
        By channel `input.sensitivity` and `input.overload` in mV (in dB FS where the card's
        output is not calibrated), with the distortion over the input as a table.
    """
    results: list[Result] = []
    for index, channel in enumerate(channels):
        played_dbfs, out_dbfs, percent = _along(stretch, index, programme_dbfs)
        conditions: dict[str, Condition] = {"tone": f"{stretch.section.frequencies_hz[0]:g} Hz"}
        if name:
            conditions["input"] = name
        if zero_dbfs is None:
            sensitivity = None
            why = "What line out gives at the deck's 0 dB was not said (--zero-output)."
        else:
            sensitivity = _where(out_dbfs, played_dbfs, zero_dbfs)
            why = "The ramp did not reach the deck's 0 dB: turn the record level up."
        overload = _where(percent, played_dbfs, OVERLOAD_PERCENT, last=True)
        table = Table(
            tuple(played_dbfs.tolist()), tuple(percent.tolist()), tuple(0.0 for _ in percent),
            "dB FS played", "%",
        )  # fmt: skip
        results.append(
            _result("input.sensitivity", channel, sensitivity, output, conditions, why, None)
        )
        results.append(
            _result(
                "input.overload", channel, overload, output, conditions,
                f"It stays below {OVERLOAD_PERCENT:g} % to the end of the ramp "
                f"({percent[-1]:.2g} %).", table,
            )
        )  # fmt: skip
    return tuple(results)


def _along(stretch: Stretch, index: int, programme_dbfs: float) -> tuple[Array, Array, Array]:
    """Level played, level recorded and distortion along the ramp."""
    section, rate_hz = stretch.section, stretch.rate_hz
    tone_hz = section.frequencies_hz[0] * stretch.found.speed_ratio
    samples = stretch.samples[index]
    frame = round(FRAME_S * rate_hz)
    hop = max(frame // 2, (samples.size - frame) // MOST_FRAMES)
    lost_s = section.lasts_s / stretch.found.speed_ratio - stretch.duration_s
    rise_db = (section.level_to_db or 0.0) - section.level_db
    rows = []
    for first in range(0, samples.size - frame + 1, hop):
        found = harmonics_of(samples[first : first + frame], rate_hz, tone_hz, 3)
        if found.fundamental.power <= 0:
            continue
        middle_s = (first + frame / 2) / rate_hz + lost_s / 2
        share = middle_s * stretch.found.speed_ratio / section.lasts_s
        percent, u = found.percent()
        rows.append(
            (
                programme_dbfs + section.level_db + share * rise_db,
                level_db(found.fundamental.power),
                percent if percent > 2 * u else 0.0,
            )
        )
    if len(rows) < 10:
        raise SignalError(
            "The ramp through the input could not be read", "a tone above the noise is needed",
            "turn the record level up",
        )  # fmt: skip
    played, out, percent_over = (np.array(column) for column in zip(*rows, strict=True))
    return played, out, percent_over


def _where(rising: Array, place: Array, wanted: float, *, last: bool = False) -> float | None:
    """Place at which a rising curve passes a value, straight between the frames."""
    above = rising >= wanted
    if not above.any() or above[0]:
        return None
    if last:  # the last time that it was below: noise may pass it once early on
        first = int(np.flatnonzero(~above)[-1]) + 1
        if first >= rising.size:
            return None
    else:
        first = int(np.flatnonzero(above)[0])
    share = (wanted - rising[first - 1]) / (rising[first] - rising[first - 1])
    return float(place[first - 1] + share * (place[first] - place[first - 1]))


def _result(
    quantity_id: str,
    channel: str,
    played_dbfs: float | None,
    output: Calibration | None,
    conditions: dict[str, Condition],
    why: str,
    table: Table | None,
) -> Result:
    if played_dbfs is None:
        return Result(quantity_id, "input-ramp/1", channel, None, table=table,
                      conditions=conditions, doubts=(why,))  # fmt: skip
    # frames stand a quarter of a decibel apart; a line between two of them is good to a tenth
    u_db = 0.1
    if output is None:
        budget = Budget((Contribution("steps of the ramp", u_db, "random"),))
        return Result(
            quantity_id, "input-ramp/1", channel, budget.quantity(played_dbfs, "dB FS"), budget,
            table=table, conditions=conditions,
            doubts=("The sound card's output is not calibrated: the input is against its full "
                    "scale, not in millivolts.",),
        )  # fmt: skip
    millivolts = 1000 * 10 ** ((played_dbfs + output.full_scale_dbv) / 20)
    share = millivolts * math.log(10) / 20
    budget = Budget(
        (
            Contribution("steps of the ramp", u_db * share, "random"),
            Contribution("calibrated voltage", output.u_db * share, "shared", output.source),
        )
    )
    return Result(quantity_id, "input-ramp/1", channel, budget.quantity(millivolts, "mV"), budget,
                  table=table, conditions=conditions)  # fmt: skip
