"""What scripts read of an attribution: one JSON document (format runstrue-parts/1)."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from runstrue.quantity import Quantity

if TYPE_CHECKING:
    from runstrue.cli.parts_work import Looked, Remedy
    from runstrue.measure.parts.model import Harmonic, OnceRound, PartShare
    from runstrue.result import Result

FORMAT = "runstrue-parts/1"


def parts_document(seen: Sequence[Looked]) -> str:
    """Return the document: one entry for each recording, before and after in this order."""
    plain = {"format": FORMAT, "recordings": [_entry(one) for one in seen]}
    return json.dumps(plain, ensure_ascii=False, indent=1, allow_nan=False)


def _entry(looked: Looked) -> dict[str, Any]:
    told = looked.attribution
    return {
        "name": looked.heard.name,
        "capture": looked.heard.record.id if looked.heard.record else None,
        "transport": looked.drive.transport.name,
        "speed_name": looked.drive.speed_name or None,
        "used_s": told.used_s,
        "speed_percent": told.speed_percent,
        "weighted": _plain(told.weighted),
        "whole": _plain(told.whole),
        "parts": [_share(one) for one in told.shares],
        "unexplained": _plain(told.unexplained),
        "unexplained_share": _plain(told.unexplained_share),
        "stray_lines": [
            {"rate": _plain(one.rate), "peak": _plain(one.peak), "words": one.words}
            for one in told.strays
        ],
        "remedies": [_remedy(one) for one in looked.remedies],
        "once_round": [_once(one) for one in looked.rounds],
        "doubts": list(told.doubts),
    }


def _share(share: PartShare) -> dict[str, Any]:
    return {
        "ids": list(share.ids),
        "names": list(share.names),
        "kinds": list(share.kinds),
        "rate": _plain(share.rate),
        "weighted": _plain(share.weighted),
        "peak": _plain(share.peak),
        "weighted_share": _plain(share.weighted_share),
        "share": _plain(share.share),
        "harmonics": [_harmonic(one) for one in share.harmonics],
        "pattern": share.pattern,
        "chance": share.chance,
        "matters": share.guilty,
        "runouts": [{"place": one.place, "size": _plain(one.size)} for one in share.runouts],
    }


def _harmonic(one: Harmonic) -> dict[str, Any]:
    return {
        "multiple": one.multiple,
        "rate": _plain(one.rate),
        "peak": _plain(one.peak),
        "weighted": _plain(one.weighted),
    }


def _remedy(remedy: Remedy) -> dict[str, Any]:
    return {
        "without": list(remedy.what_if.ids),
        "readings": [_reading(one) for one in remedy.what_if.results],
        "verdicts": [
            {**msgspec.to_builtins(one), "words": one.limit.words, "says": one.words}
            for one in remedy.verdicts
        ],
        "doubts": list(remedy.what_if.doubts),
    }


def _reading(one: Result) -> dict[str, Any]:
    quantity = _plain(one.quantity) if one.quantity is not None else None
    return {"id": one.id, "method": one.method, "channel": one.channel, "reading": quantity}


def _once(once: OnceRound) -> dict[str, Any]:
    return {
        "id": once.id,
        "rate": _plain(once.rate),
        "turns": once.turns,
        "turn": once.turn.tolist(),
        "percent": once.percent.tolist(),
        "within_percent": once.within_percent.tolist(),
    }


def _plain(one: Quantity) -> dict[str, Any]:
    return {"value": one.value, "u": one.u, "unit": one.unit}
