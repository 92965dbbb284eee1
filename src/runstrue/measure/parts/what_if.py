"""The flutter that would remain if parts were put right.

The lines of the parts are taken out of the record as they ran along it, and what is left goes
through the same filters and detectors as the record itself. The uncertainty of a reading is that
of the record's own (tape, hiss, length), and what the sizes of the lines may be off on top.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError
from runstrue.measure.flutter import Figures, read_flutter
from runstrue.measure.parts.model import WhatIf
from runstrue.measure.parts.reading import Reading, read_parts
from runstrue.measure.parts.removal import over_time, tracks_without
from runstrue.measure.parts.travel import common_percent
from runstrue.measure.pieces import Pieces
from runstrue.quantity import Budget, Contribution
from runstrue.result import Deviation, Result
from runstrue.transport.turning import Turning

Array = NDArray[np.float64]

METHODS = {
    "weighted_peak": "two-sigma/1",
    "weighted_rms": "weighted-rms/1",
    "unweighted_peak": "flat-two-sigma/1",
    "unweighted_rms": "flat-rms/1",
    "unweighted_average": "flat-average/1",
    "wow_rms": "wow-rms/1",
    "flutter_rms": "flutter-rms/1",
}


def what_if(
    deviation: Deviation,
    turnings: Sequence[Turning],
    without: Sequence[str],
    *,
    measured: Sequence[Result] = (),
    played_s: float | None = None,
) -> WhatIf:
    """Take parts' flutter out of a record and read what is left.

    Parameters
    ----------
    deviation : Deviation
    turnings : sequence of Turning
    without : sequence of str
        Ids of turnings.
    measured : sequence of Result
        The readings of the same record, whose uncertainties (tape, hiss, length) are taken over.
    played_s : float or None
        Of the tape at the beginning of the record, in s at nominal speed.

    Raises
    ------
    InputError
        When there is no such part.
    SignalError
        When no 10 s of unbroken tone are there.
    """
    names = {one.id: one.name for one in turnings}
    strange = [one for one in without if one not in names]
    if strange:
        raise InputError(
            f"The transport has no part '{strange[0]}'",
            f"one of {', '.join(names)} is needed",
        )
    reading = read_parts(deviation, turnings, played_s)
    tracks = tracks_without(reading, without)
    percent = common_percent(deviation)
    made = over_time(reading, tracks, percent.size, deviation.rate_hz)
    percent[~np.isfinite(made)] = np.nan  # between the stretches nobody knows what the parts did
    usable = Pieces.of(np.asarray(np.isfinite(percent)))
    before = _figures(percent, usable, deviation.rate_hz)
    after = _figures(percent - np.nan_to_num(made), usable, deviation.rate_hz)
    taken = math.hypot(*(reading.tracks[one].u_peak for one in tracks))
    told = tuple(names[one] for one in without)
    return WhatIf(
        tuple(without),
        told,
        tuple(_results(after, before, measured, taken, " and ".join(told))),
        tuple(_results(before, before, measured, 0.0, "")),
        tuple(_doubts(without, tracks, reading, names)),
    )


def _figures(percent: Array, usable: Pieces, rate_hz: float) -> Figures:
    mean = float(np.mean(percent[usable.mask(0, percent.size)]))
    return read_flutter(np.nan_to_num(percent)[None], usable, mean, rate_hz).figures


def _results(
    figures: Figures, before: Figures, measured: Sequence[Result], taken: float, without: str
) -> Iterator[Result]:
    own = {(one.id, one.method): one for one in measured if one.channel in ("both", "mono")}
    for field in fields(figures):
        value = float(getattr(figures, field.name))
        quantity_id, method = f"flutter.{field.name}", METHODS[field.name]
        told = own.get((quantity_id, method))
        parts = tuple(told.budget) if told is not None else ()
        if taken:
            parts = (*parts, Contribution("sizes of the lines", taken, "random"))
        budget = Budget(parts)
        if told is not None and told.quantity is not None and not without:
            value = told.quantity.value  # the record's own reading, over all that it used
        elif told is not None and told.quantity is not None:
            # over the same time and from the same starting point as the reading itself
            value *= told.quantity.value / max(float(getattr(before, field.name)), 1e-12)
        yield Result(
            quantity_id, method, "both", budget.quantity(value, "%"), budget,
            conditions={"without": without} if without else {},
        )  # fmt: skip


def _doubts(
    without: Sequence[str], tracks: Sequence[int], reading: Reading, names: dict[str, str]
) -> Iterator[str]:
    if not tracks:
        yield f"Nothing of the {' or '.join(names[one] for one in without)} was found: no change."
    for group in reading.groups:
        ids = [reading.parts.parts[number].turning.id for number in group.members]
        others = [one for one in ids if one not in without]
        if len(others) < len(ids) and others:
            listed = " or ".join(names[one] for one in others)
            yield f"What may be the {listed} instead is taken out as well."
