"""What scripts read of fault-finding (format runstrue/1)."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import msgspec

if TYPE_CHECKING:
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.faults.infer import CauseRow, Ranking
    from runstrue.faults.next_check import NextChecks


def document(held: FaultBench, **parts: Any) -> str:
    """Return the document of one deck: what is known, and the parts handed in."""
    return plain_document(
        deck=held.name, looked_over_before_power=held.passed_intake,
        known=[msgspec.to_builtins(one) for one in held.evidence], **parts,
    )  # fmt: skip


def plain_document(**parts: Any) -> str:
    """Return a document."""
    return json.dumps({"format": "runstrue/1", **parts}, ensure_ascii=False, indent=1)


def ranking_plain(ranking: Ranking) -> dict[str, Any]:
    """Return causes with chances, what they rest on, and what spoke for and against them."""
    return {
        "causes": [_row(row) for row in ranking.rows],
        "none_of_these": ranking.none_of_these,
        "conflicts": [one.words for one in ranking.conflicts],
    }


def checks_plain(found: NextChecks) -> dict[str, Any]:
    """Return the next best checks, and what was held back."""
    return {
        "checks": [
            {
                "check": msgspec.to_builtins(one.check), "information_bits": one.information_bits,
                "minutes": one.minutes, "why": one.why,
            }
            for one in found.suggestions
        ],
        "held_back": [
            {"check": one.check.id, "kind": one.kind, "reason": one.reason}
            for one in found.held_back
        ],
    }  # fmt: skip


def _row(row: CauseRow) -> dict[str, Any]:
    for_, against = (
        [msgspec.to_builtins(one.evidence) for one in spokes] for spokes in (row.for_, row.against)
    )
    return {
        "cause": row.cause.id, "name": row.cause.name, "suspected": row.is_suspect,
        "chance": row.chance, "low": row.low, "high": row.high, "basis": row.basis,
        "prior": {"chance": row.prior, "low": row.origin.low, "high": row.origin.high,
                  "says": row.origin.words},
        "for": for_, "against": against,
    }  # fmt: skip
