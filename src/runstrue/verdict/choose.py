"""Which readings a limit is held against: kind, method, channel and conditions alike."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from runstrue.result import Result
from runstrue.verdict.models import Limit
from runstrue.verdict.numerals import NUMBER, read_numeral
from runstrue.verdict.occasion import meant_by

# A sheet older than the two-sigma method meant a needle: where only a needle was read (typed
# in, mostly), it stands for the weighted peak (AES6-2008 calls the two technically identical;
# abstract). A sheet's hum is all of it.
_STANDS_FOR = {
    "flutter.weighted_peak": ("flutter.indicated_peak",),
    "hum.line": ("hum.total",),
}

# DIN 45 500 sheet 4 averages the speed over 30 s; all others leave the time open.
_SPEED_WHOLE, _SPEED_30_S = "bell-mean/1", "bell-mean-30s/1"

# Conditions that must agree where both the sheet and the pass name them.
_MUST_AGREE = ("speed", "noise reduction", "mode")

# Nominal speeds are printed as 4.75 or 4.76 cm/s and 1 7/8 ips (4.7625 cm/s): 1 % joins them
# and keeps all nominal speeds, which lie a factor of two apart, from each other.
_SAME_SPEED = 0.01


def readings_for(limit: Limit, quantity_id: str, results: Sequence[Result]) -> list[Result]:
    """Return the readings of one kind that a limit is judged by, one a channel.

    'both' goes alone where it is there, since it rests on both tracks; else every channel,
    and the worst counts. A limit for one channel takes that one.
    """
    alike = [result for result in results if result.id == quantity_id]
    for other in _STANDS_FOR.get(quantity_id, ()):
        alike = alike or [result for result in results if result.id == other]
    alike = meant_by(limit, _by_method(limit, quantity_id, alike)) if alike else alike
    wanted = limit.conditions.get("channel", "")
    if wanted in ("left", "right"):
        of_channel = [result for result in alike if result.channel == wanted]
        if of_channel:
            return of_channel[:1]
    both = [result for result in alike if result.channel == "both"]
    if both and wanted != "each":
        return both[:1]
    chosen: dict[str, Result] = {}
    for result in alike:
        if result.channel != "both" or not chosen:
            chosen.setdefault(result.channel, result)
    if len(chosen) > 1:
        chosen.pop("both", None)
    return list(chosen.values())


def _by_method(limit: Limit, quantity_id: str, alike: list[Result]) -> list[Result]:
    if quantity_id != "speed.deviation":
        return alike
    over_30_s = "30 s" in limit.conditions.get("duration", "") or any(
        "DIN" in note.upper() or "45" in note for note in (*limit.notes, limit.source)
    )
    first, second = (_SPEED_30_S, _SPEED_WHOLE) if over_30_s else (_SPEED_WHOLE, _SPEED_30_S)
    for method in (first, second):
        chosen = [result for result in alike if result.method == method]
        if chosen:
            return chosen
    return alike


def differing_condition(limit: Limit, conditions: Mapping[str, str]) -> str:
    """Say which condition of the sheet's figure is not that of the pass; empty if none."""
    for name in _MUST_AGREE:
        stated, present = limit.conditions.get(name), conditions.get(name)
        if stated and present and not _same(name, stated, present):
            return f"the sheet's figure holds for {name} {stated}, the pass was made with {present}"
    return ""


def _same(name: str, stated: str, present: str) -> bool:
    if name != "speed":
        return stated.casefold() == present.casefold()
    own = _speed_cm_s(present)
    # '4.76 cm/s, 1 7/8 ips' says the same speed twice
    speeds = [_speed_cm_s(part) for part in re.split(r",\s+", stated)]
    known = [speed for speed in speeds if speed]
    if not own or not known:
        return True
    return any(abs(speed / own - 1) < _SAME_SPEED for speed in known)


def _speed_cm_s(text: str) -> float:
    found = NUMBER.search(text)
    if not found:
        return 0.0
    inches = re.search(r"ips|in[./]", text, re.IGNORECASE)
    return read_numeral(found).value * (2.54 if inches else 1.0)
