"""Which programme a recording holds: every one that is known is looked for, the best found wins.

The recording is listened to once; looking for a programme in what was kept takes a moment. A
programme counts where at least a third of its sounding sections are found, three or more; of two,
the one with the larger share found, and then the longer one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from runstrue.measure.finding import find_in
from runstrue.measure.finding_features import features_of
from runstrue.measure.sections import Finding, Source
from runstrue.stimulus.programme import Programme

LEAST_SHARE, LEAST_SECTIONS = 1 / 3, 3


def recognise(
    source: Source,
    programmes: Sequence[Programme],
    *,
    progress: Callable[[float], None] | None = None,
) -> Finding | None:
    """Find which of these programmes a recording holds.

    Returns
    -------
    Finding or None
        Of the programme that was recognised; None where none was, as with a lone tone.
    """
    features = features_of(source.blocks(), source.rate_hz, source.channels, progress)
    found = [find_in(features, one) for one in programmes]
    likely = [one for one in found if one.trusted and _counts(one)]
    return max(likely, key=lambda one: (_share(one), one.programme.lasts_s), default=None)


def _sounding(finding: Finding) -> int:
    return sum(one.section.kind != "silence" for one in finding.found)


def _share(finding: Finding) -> float:
    return _sounding(finding) / sum(one.kind != "silence" for one in finding.programme.sections)


def _counts(finding: Finding) -> bool:
    return _sounding(finding) >= LEAST_SECTIONS and _share(finding) >= LEAST_SHARE
