"""Verdicts in the words of the bench: how sure, and what to do now."""

from __future__ import annotations

from runstrue.quantity import Quantity, number_text
from runstrue.result import Result
from runstrue.verdict.models import DecisionRule, Limit, Outcome, Verdict
from runstrue.verdict.settle import what_would_settle

LEAVE = "leave it alone"

# The order of remedies that service manuals give: clean the rubber first, then springs, then
# renew parts (common practice).
FLUTTER_ADVICE = "worth work: clean capstan, pinch roller and belts first, then measure again"

# A speed that meets its limit but lies farther off than this is offered for adjustment all the
# same: service practice sets cassette speed within ±0.5 % (a service manual of a two-speed
# cassette deck; common practice).
WORTH_SETTING_PERCENT = 0.5


def outcome_words(outcome: Outcome, chance: float) -> str:
    """Say an outcome with its chance: 'meets, more than 99 % sure'."""
    if outcome == "meets":
        return f"meets, {chance_text(chance)} sure"
    if outcome == "does not meet":
        return f"does not meet, {chance_text(1 - chance)} sure"
    return f"{outcome} ({chance_text(chance)} that it meets)"


def join(*parts: str) -> str:
    """Join the parts that are there with colons."""
    return ": ".join(part.rstrip(".") for part in parts if part)


def changed(verdict: Verdict, **changes: object) -> Verdict:
    """Return a verdict with some fields changed."""
    parts = {name: getattr(verdict, name) for name in verdict.__struct_fields__}
    return Verdict(**{**parts, **changes})


def advice(
    limit: Limit, reading: Result, quantity: Quantity, outcome: Outcome, rule: DecisionRule
) -> str:
    """Say what to do now.

    Parameters
    ----------
    limit, reading, rule
        What was judged, and by which rule.
    quantity : Quantity
        The figure as it was judged.
    outcome : str
        Of the judgement.
    """
    settle = ""
    if outcome == "too close to call":
        starts = int(float(reading.conditions.get("starts", 1.0)))
        settle = _settle(limit, reading, quantity, rule, starts)
    if reading.id == "speed.deviation":
        return _speed_advice(reading, quantity, outcome, settle)
    if outcome == "meets":
        return LEAVE
    if outcome == "too close to call":
        return settle
    if reading.id.startswith("flutter."):
        return _flutter_advice(reading)
    return _how_far_out(limit, quantity)


def speed_advice(reading: Result) -> str:
    """Say whether a speed is worth adjusting where no sheet gives a limit; may be empty."""
    if reading.quantity is None or reading.conditions.get("tone_undecided"):
        return ""
    far = abs(reading.quantity.value) - reading.quantity.expanded() > WORTH_SETTING_PERCENT
    return f"worth adjusting: {_correction(reading, reading.quantity)}" if far else LEAVE


def _settle(
    limit: Limit, reading: Result, quantity: Quantity, rule: DecisionRule, starts: int
) -> str:
    if reading.id == "flutter.indicated_peak":
        return "record the tone and let two-sigma decide"
    if reading.method.startswith("typed/"):
        return "read it again, several times and with a finer scale"
    if not reading.budget.contributions:
        return "record longer, or make several starts"
    return what_would_settle(quantity.value, reading.budget, limit, rule, max(starts, 1))


def _speed_advice(reading: Result, quantity: Quantity, outcome: Outcome, settle: str) -> str:
    clear = abs(quantity.value) > quantity.expanded()
    far = abs(quantity.value) - quantity.expanded() > WORTH_SETTING_PERCENT
    if outcome == "meets":
        if far:
            return f"could be set nearer: {_correction(reading, quantity)}"
        return LEAVE
    if outcome == "does not meet" and clear:
        return f"worth adjusting: {_correction(reading, quantity)}"
    if outcome == "too close to call" and far:
        return f"{settle}; worth adjusting in any case: {_correction(reading, quantity)}"
    return settle or "measure again with a better test tape before adjusting"


def _correction(reading: Result, quantity: Quantity) -> str:
    """How much and which way to turn: '0.87 % slower (27 Hz at 3150 Hz)'."""
    way = "slower" if quantity.value > 0 else "faster"
    decimals = min(quantity.decimals(), 2)
    amount = f"{number_text(abs(quantity.value), decimals)} % {way}"
    tone_hz = reading.conditions.get("tone_hz")
    if isinstance(tone_hz, float | int) and not isinstance(tone_hz, bool) and tone_hz > 0:
        shift_hz = abs(quantity.value) / 100 * tone_hz
        decimals_hz = 0 if shift_hz >= 10 else 1
        amount += f" ({number_text(shift_hz, decimals_hz)} Hz at {tone_hz:g} Hz)"
    return amount


def _flutter_advice(reading: Result) -> str:
    if not reading.lines:
        return FLUTTER_ADVICE
    strongest = max(reading.lines, key=lambda line: line.weighted_peak_percent)
    return (
        f"{FLUTTER_ADVICE}; its strongest line is at {strongest.rate_hz:.2f} Hz "
        f"({strongest.peak_percent:.2f} %)"
    )


def _how_far_out(limit: Limit, quantity: Quantity) -> str:
    decimals = quantity.decimals()
    if limit.high is not None and quantity.value > limit.high:
        return f"{number_text(quantity.value - limit.high, decimals)} {quantity.unit} too much"
    if limit.low is not None and quantity.value < limit.low:
        return f"{number_text(limit.low - quantity.value, decimals)} {quantity.unit} too little"
    return ""


def chance_text(chance: float) -> str:
    """Print a chance in whole percent, without saying 100 or 0; near the usual 95 finer.

    Examples
    --------
    >>> chance_text(0.283), chance_text(0.9465), chance_text(0.9996), chance_text(0.0001)
    ('28 %', '94.7 %', 'more than 99 %', 'less than 1 %')
    """
    if chance > 0.99:
        return "more than 99 %"
    if chance < 0.01:
        return "less than 1 %"
    if round(100 * chance) in (5, 95) and abs(100 * chance - round(100 * chance)) > 0.05:
        return f"{100 * chance:.1f} %"
    return f"{round(100 * chance)} %"
