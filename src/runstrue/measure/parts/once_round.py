"""What the tape speed does in one turn of a part."""

from __future__ import annotations

from collections.abc import Sequence

from runstrue.measure.parts.model import OnceRound
from runstrue.result import Deviation
from runstrue.transport.turning import Turning


def once_round(
    deviation: Deviation,
    turnings: Sequence[Turning],
    part_id: str,
    *,
    played_s: float | None = None,
) -> OnceRound:
    """Fold a record at a part's true rate.

    Raises
    ------
    InputError
        When there is no such part.
    SignalError
        When no 10 s of unbroken tone are there.
    """
    raise NotImplementedError
