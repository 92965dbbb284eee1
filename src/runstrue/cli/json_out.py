"""What scripts read: one JSON document for all recordings (format runstrue/1)."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from runstrue.result import to_plain

if TYPE_CHECKING:
    from runstrue.cli.measured import Done
    from runstrue.verdict.models import Verdict

FORMAT = "runstrue/1"


def document(done: Sequence[Done], combined: Done | None = None) -> str:
    """Return the document: one entry for each recording, in the order given.

    Parameters
    ----------
    done : sequence of Done
    combined : Done, optional
        All of them as starts of one reading, told as 'combined'.
    """
    plain: dict[str, Any] = {"format": FORMAT, "captures": [_entry(one) for one in done]}
    if combined is not None:
        plain["combined"] = _entry(combined)
    return json.dumps(_finite(plain), ensure_ascii=False, indent=1, allow_nan=False)


def _entry(done: Done) -> dict[str, Any]:
    """One recording; fields that do not apply are null."""
    measured, origin = done.measured, done.origin
    entry: dict[str, Any] = {
        "file": done.given,
        "sha256": origin.sha256 if origin and origin.sha256 else None,
        "readings": [to_plain(result) for result in measured.results] if measured else [],
        "verdicts": [_verdict(verdict) for verdict in done.verdicts],
        "error": str(done.error) if done.error else None,
        "summary": measured.summary if measured else None,
        "conditions": dict(measured.conditions) if measured else None,
        "doubts": list(measured.doubts) if measured else [],
        "stored": done.stored,
    }
    return entry


def _verdict(verdict: Verdict) -> dict[str, Any]:
    """One verdict: `words` are the sheet's own, by which a script finds its line again."""
    return {
        **msgspec.to_builtins(verdict),
        "words": verdict.limit.words,
        "says": verdict.words,
    }


def _finite(value: Any) -> Any:
    """Replace what is no finite number by null: JSON knows no other."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _finite(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(part) for part in value]
    return value
