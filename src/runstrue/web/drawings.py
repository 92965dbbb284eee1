"""Drawings for pages: one at a time, since what draws them knows no threads."""

from __future__ import annotations

import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING

from starlette.responses import Response

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from runstrue.logbook.models import DeckRecord

POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""For a drawing alone, whose colours stand in it; nothing else is loaded by it."""
_one_at_a_time = threading.Lock()
_FINE = re.compile(rb"(\d\.\d\d)\d+")
"""Places finer than a hundredth of a point: nobody sees them, and they are half of a drawing."""


MOST_KEPT = 64


_kept: OrderedDict[Hashable, bytes] = OrderedDict()


def drawn(of: Hashable, make: Callable[[], Figure]) -> Response:
    """Draw, or take what was drawn of the same, and answer with the SVG.

    Parameters
    ----------
    of : hashable
        All that the drawing depends on.
    make : callable
    """
    from runstrue.report.figures import svg_of

    with _one_at_a_time:
        if of not in _kept:
            _kept[of] = _FINE.sub(rb"\1", svg_of(make()))
            while len(_kept) > MOST_KEPT:
                _kept.popitem(last=False)
        content = _kept[of]
    return Response(
        content, media_type="image/svg+xml", headers={"content-security-policy": POLICY}
    )


def state_of(record: DeckRecord) -> Hashable:
    """What a deck's drawings depend on: its facts, its sheet, what counts of its readings."""
    return (
        record.deck,
        record.sheet.id if record.sheet else 0,
        len(record.transports),
        tuple(
            (one.id, one.facts, max((reading.id for reading in one.readings), default=0))
            for one in record.captures
        ),
    )
