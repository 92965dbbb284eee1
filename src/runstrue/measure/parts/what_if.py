"""The flutter that would remain if parts were put right."""

from __future__ import annotations

from collections.abc import Sequence

from runstrue.measure.parts.model import WhatIf
from runstrue.result import Deviation, Result
from runstrue.transport.turning import Turning


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
    without : sequence of str
        Ids of turnings.
    measured : sequence of Result
        The readings of the same record, whose uncertainties (tape, hiss, length) are taken over.

    Raises
    ------
    InputError
        When there is no such part.
    SignalError
        When no 10 s of unbroken tone are there.
    """
    raise NotImplementedError
