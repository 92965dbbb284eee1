"""Drawings for pages: one at a time, since what draws them knows no threads."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from starlette.responses import Response

if TYPE_CHECKING:
    from matplotlib.figure import Figure

POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""For a drawing alone, whose colours stand in it; nothing else is loaded by it."""
_one_at_a_time = threading.Lock()


def drawn(make: Callable[[], Figure]) -> Response:
    """Draw, and answer with the SVG."""
    from runstrue.report.figures import svg_of

    with _one_at_a_time:
        content = svg_of(make())
    return Response(
        content, media_type="image/svg+xml", headers={"content-security-policy": POLICY}
    )
