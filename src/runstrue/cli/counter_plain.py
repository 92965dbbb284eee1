"""What a counter tells, as one JSON document."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

from runstrue.cli.counter_input import Known
from runstrue.quantity import Quantity
from runstrue.transport.counter_constants import Constants, Reeled
from runstrue.transport.counter_law import Law

FORMAT = "runstrue-counter/1"


def document(**parts: Any) -> str:
    """Return one JSON document."""
    return json.dumps({"format": FORMAT, **parts}, indent=2, ensure_ascii=False)


def fit_plain(known: Known) -> dict[str, Any]:
    """Return a law as plain values."""
    fit, law, constants = known.fit, known.fit.law, known.constants
    return {
        "deck": known.name or None,
        "law": {
            "offset_s": law.terms[0],
            "seconds_per_count": law.terms[1],
            "seconds_per_count_squared": law.terms[2],
            "covariance": law.covariance[:3, :3].tolist(),
            "degrees_of_freedom": _finite(law.degrees_of_freedom),
            "reel": law.reel,
        },
        "plays_s": quantity_plain(law.whole),
        "pairs": [
            {"count": pair.count, "time_s": pair.time_s, "off_s": off, "u_s": u}
            for pair, off, u in zip(fit.pairs, fit.off_s, fit.u_s, strict=True)
        ],
        "chi_square": fit.chi_square,
        "spare_pairs": fit.spare,
        "pairs_fit": fit.fits,
        "constants": None if constants is None else _constants_plain(constants),
        "no_constants_because": str(known.why_not) if known.why_not else None,
    }


def times_plain(
    known: Known, counts: Sequence[float], tapes: Sequence[Reeled], asked_s: Sequence[float]
) -> list[dict[str, Any]]:
    """Return readings and times as plain values."""
    named: list[tuple[str | None, Law]] = [(one.name, known.law_for(one)) for one in tapes]
    if not named:
        named = [(known.tape.name if known.tape else None, known.law)]
    found: list[dict[str, Any]] = [
        {"count": count, "tape": name, "played_s": quantity_plain(law.played(count)),
         "left_s": quantity_plain(law.left(count))}
        for count in counts for name, law in named
    ]  # fmt: skip
    found += [
        {"played_s": asked, "tape": name, "count": quantity_plain(law.count_at(asked))}
        for asked in asked_s
        for name, law in named
    ]
    return found


def quantity_plain(quantity: Quantity | None) -> dict[str, Any] | None:
    """Return value, u and degrees of freedom."""
    if quantity is None:
        return None
    return {
        "value": quantity.value,
        "u": quantity.u,
        "degrees_of_freedom": _finite(quantity.degrees_of_freedom),
    }


def _constants_plain(constants: Constants) -> dict[str, Any]:
    return {
        "hub_diameter_mm": quantity_plain(constants.hub_diameter),
        "tape_thickness_um": quantity_plain(constants.thickness),
        "turns_a_count": quantity_plain(constants.turns_a_count),
        "agree": constants.agree,
    }


def _finite(number: float) -> float | None:
    return number if math.isfinite(number) else None
