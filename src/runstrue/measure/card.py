"""What the sound card itself does to a reading, and when it and not the deck is the limit.

A loop-back (output into input, the programme 'loop-back') tells what a card adds: its response,
noise, distortion and crosstalk. Where none was made, cautious figures stand in for it. Either
goes into the uncertainty of every reading that it can spoil; where the card is as bad as the
reading, the reading says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from runstrue.quantity import Budget, Contribution
from runstrue.result import Result, Table

LIMIT_SHARE = 0.5
"""From half of a reading on, the card is said to be its limit."""


@dataclass(frozen=True, slots=True)
class CardFigures:
    """What a sound card adds.

    Parameters
    ----------
    name : str
        Readings with the same card share its error.
    response_db : float
        How far its gain wanders over 20 Hz to 16 kHz from that at 1 kHz, ±.
    match_db : float
        How far its two channels differ, ±.
    noise_dbfs : float
        Unweighted, 20 Hz to 20 kHz, of its input, against a full-scale sine.
    distortion_percent : float
        Total harmonics of a tone well below full scale.
    crosstalk_db : float
        How far one channel stays out of the other, positive.
    measured : bool
        False for figures that stand in for a loop-back.
    """

    name: str = "sound card"
    response_db: float = 0.3
    match_db: float = 0.1
    noise_dbfs: float = -85.0
    distortion_percent: float = 0.01
    crosstalk_db: float = 75.0
    measured: bool = False


ANY_CARD = CardFigures()
"""Cautious for built-in and small USB cards: from memory, unsure."""


def figures_of_loop_back(results: Sequence[Result], name: str) -> CardFigures:
    """Read a card's figures off the results of its own loop-back.

    Parameters
    ----------
    results : sequence of Result
        Of the programme 'loop-back', played from the card's output into its input.
    name : str

    Notes
    -----
    What the output adds cannot be parted from what the input adds: the figures are those of both
    and therefore cautious.
    """

    def worst(quantity_id: str, *, highest: bool) -> float | None:
        values = [
            one.quantity.value for one in results
            if one.id == quantity_id and one.quantity is not None
            and one.conditions.get("hum") != "left out"
        ]  # fmt: skip
        return (max if highest else min)(values, default=None)

    gains = [
        max(abs(y) for x, y in zip(one.table.x, one.table.y, strict=True) if 20 <= x <= 16_000)
        for one in results if one.id == "response.gain" and one.table is not None
    ]  # fmt: skip
    level = worst("level.output", highest=True)
    noise = worst("noise.unweighted", highest=False)
    balance = worst("level.balance", highest=True)
    crosstalk = worst("separation.channels", highest=False)
    distortion = worst("distortion.total", highest=True)
    return CardFigures(
        name,
        max(gains, default=ANY_CARD.response_db),
        ANY_CARD.match_db if balance is None else abs(balance),
        ANY_CARD.noise_dbfs if noise is None or level is None else level - noise,
        ANY_CARD.distortion_percent if distortion is None else distortion,
        ANY_CARD.crosstalk_db if crosstalk is None else crosstalk,
        measured=True,
    )


def with_card(results: Sequence[Result], card: CardFigures) -> tuple[Result, ...]:
    """Add what the card can have done to every reading that it can spoil."""
    level_dbfs = {
        one.channel: one.quantity.value for one in results
        if one.id == "level.output" and one.quantity is not None and one.quantity.unit == "dB FS"
    }  # fmt: skip
    return tuple(_with_card(one, card, level_dbfs) for one in results)


def _with_card(result: Result, card: CardFigures, level_dbfs: dict[str, float]) -> Result:
    if result.id == "response.gain":
        return _with_response(result, card)
    if result.quantity is None or result.conditions.get("at least"):
        return result
    u, doubt = _spoiled(result, card, level_dbfs)
    if u <= 0:
        return result
    budget = Budget((*result.budget, _contribution(u, card)))
    quantity = budget.quantity(result.quantity.value, result.quantity.unit)
    doubts = (*result.doubts, doubt) if doubt else result.doubts
    return replace(result, quantity=quantity, budget=budget, doubts=doubts)


def _contribution(u: float, card: CardFigures) -> Contribution:
    return Contribution("sound card", u, "shared", card.name)


def _with_response(result: Result, card: CardFigures) -> Result:
    u_db = card.response_db / math.sqrt(3)
    table = result.table
    assert table is not None
    wider = Table(
        table.x, table.y, tuple(math.hypot(u, u_db) for u in table.u), table.x_unit, table.y_unit
    )
    budget = Budget((*result.budget, _contribution(math.sqrt(2) * u_db, card)))
    quantity = budget.quantity(result.quantity.value, "dB") if result.quantity else None
    return replace(result, quantity=quantity, budget=budget, table=wider)


def _spoiled(result: Result, card: CardFigures, level_dbfs: dict[str, float]) -> tuple[float, str]:
    """Standard uncertainty that the card brings to a reading, and a doubt where it is its limit."""
    assert result.quantity is not None
    value = result.quantity.value
    if result.id == "level.balance":
        return card.match_db / math.sqrt(3), ""
    if result.id in ("level.sol", "response.shape") or result.quantity.unit in ("dBV", "mV"):
        share = math.log(10) / 20 * value if result.quantity.unit == "mV" else 1.0
        return share * card.response_db / math.sqrt(3), ""
    if result.id.startswith("distortion."):
        limit = card.distortion_percent > LIMIT_SHARE * value
        return card.distortion_percent / math.sqrt(3), _limit_words(card, limit)
    if result.id.startswith(("separation.", "erasure.")):
        # a leak of the card adds to the deck's, in phase or against it
        leak = 10 ** (-card.crosstalk_db / 20) if result.id == "separation.channels" else 0.0
        share = leak / 10 ** (-value / 20)
        return 20 / math.log(10) * min(share, 1.0) / math.sqrt(3), _limit_words(
            card, share > LIMIT_SHARE
        )
    if result.id.startswith("noise.") and result.conditions.get("against") is not None:
        reference = level_dbfs.get(result.channel)
        if reference is None:
            return 0.0, ""
        power = 10 ** (
            (card.noise_dbfs - reference + value) / 10
        )  # card's noise over the reading's
        return 10 / math.log(10) * min(power, 1.0) / math.sqrt(3), _limit_words(
            card, power > LIMIT_SHARE
        )
    return 0.0, ""


def _limit_words(card: CardFigures, limit: bool) -> str:
    if not limit:
        return ""
    own = "" if card.measured else " as far as is known (no loop-back of it was made)"
    return f"The sound card, not the deck, may be the limit here{own}."
