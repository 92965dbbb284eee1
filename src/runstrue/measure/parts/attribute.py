"""Which part makes which flutter of a record."""

from __future__ import annotations

from collections.abc import Sequence

from runstrue.measure.parts.model import Attribution
from runstrue.result import Deviation
from runstrue.transport.turning import Turning


def attribute(
    deviation: Deviation, turnings: Sequence[Turning], *, played_s: float | None = None
) -> Attribution:
    """Match the flutter of a record to the parts of a transport.

    Parameters
    ----------
    deviation : Deviation
        Kept with a capture, or of a pass just made.
    turnings : sequence of Turning
        What turns, at the nominal tape speed.
    played_s : float or None
        What had gone by of the tape at the beginning of the record, in s at nominal speed; None
        where it is not known.

    Raises
    ------
    SignalError
        When no 10 s of unbroken tone are there.
    """
    raise NotImplementedError
