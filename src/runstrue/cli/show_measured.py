"""The full view of one measured recording: readings, spectrum, verdicts, doubts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from runstrue.cli.layout import bold, columns, faint, wrapped
from runstrue.cli.show_parts import parts_of_lines, short_lines
from runstrue.cli.show_programme_readings import BESIDE_SPEED, programme_reading_lines
from runstrue.cli.show_spectrum import spectrum_lines
from runstrue.cli.show_verdicts import comparison_lines, verdict_lines
from runstrue.quantity import Quantity, number_text
from runstrue.report.words import figure_of, is_signed, name_of, within_of

if TYPE_CHECKING:
    from runstrue.cli.parts_work import Looked
    from runstrue.measure.conditions import SoundCard
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.result import Measured, Result
    from runstrue.stimulus.testtape import TestTape
    from runstrue.verdict.models import Verdict

SPEED, SPEED_30_S, DRIFT = "bell-mean/1", "bell-mean-30s/1", "bell-slope/1"
WIDTHS, ALIGNED = (25, 14, 13, 9, 9), "<>>>>"
FAMILY = "wow and flutter"
ALMOST_ALL = 0.5
"""Share of the variance from which one contribution is said to be most of the uncertainty."""


def measured_lines(
    measured: Measured,
    verdicts: Sequence[Verdict] | None,
    unread: Sequence[str] = (),
    plan: TonePlan | None = None,
    parts: Looked | None = None,
) -> Iterator[str]:
    """Everything that a recording said, for a person.

    Parameters
    ----------
    measured : Measured
    verdicts : sequence of Verdict or None
        None where there is no sheet; then a standard is offered for comparison.
    unread : sequence of str
        Pieces of the sheet that were not understood.
    plan : TonePlan, optional
        For what the readings rest on.
    parts : Looked, optional
        Which part makes the flutter.
    """
    yield from wrapped(measured.summary)
    if any(one.id.startswith(("speed.", "flutter.")) for one in measured.results):
        yield ""
        yield from _reading_lines(measured)
        yield from _channel_lines(measured)
    yield from programme_reading_lines(measured)
    peak = measured.find("flutter.weighted_peak", main_channel(measured))
    if peak is not None:
        yield from spectrum_lines(peak, parts_of_lines(peak, parts))
    if parts is not None:
        yield from short_lines(parts)
    if verdicts is None:
        yield from comparison_lines(measured)
    else:
        yield from verdict_lines(verdicts, unread)
    yield from _doubt_lines(measured)
    yield ""
    for line in wrapped(
        _rests_on(measured, plan.tape if plan else None, plan.card if plan else None)
    ):
        yield faint(line)


def main_channel(measured: Measured) -> str:
    """Return the channel that is shown first: 'both', or the only one."""
    names = [result.channel for result in measured.results if result.method not in BESIDE_SPEED]
    return "both" if "both" in names or not names else names[0]


def speed_words(result: Result) -> str:
    """How fast or slow in cents and Hz: '5.4 cents fast, 9.8 Hz above 3150 Hz'."""
    quantity = result.quantity
    if quantity is None:
        return ""
    tone_hz = float(result.conditions["tone_hz"])
    cents = _of_same_share(quantity, float(result.conditions["cents"]))
    shift = _of_same_share(quantity, float(result.conditions["offset_hz"]))
    way, side = ("fast", "above") if quantity.value > 0 else ("slow", "below")
    if _size(cents).strip("0.") == "" and _size(shift).strip("0.") == "":
        return f"as good as true to {tone_hz:g} Hz"
    words = f"{_size(cents)} cents {way}, {_size(shift)} Hz {side} {tone_hz:g} Hz"
    hidden = abs(quantity.value) < quantity.expanded()
    return words + (", no more than its uncertainty" if hidden else "")


def mostly_words(result: Result) -> str:
    """Name the contribution that is most of the uncertainty; empty where none is."""
    largest = result.budget.largest()
    if largest is None or largest.u**2 <= ALMOST_ALL * result.budget.u**2:
        return ""
    return largest.name


def _of_same_share(quantity: Quantity, value: float) -> Quantity:
    """Give a figure in another unit the same relative uncertainty."""
    share = abs(value / quantity.value) if quantity.value else 0.0
    return Quantity(value, "", quantity.u * share)


def _size(quantity: Quantity) -> str:
    """Print a size to two figures of its uncertainty, but no finer than a tenth."""
    return number_text(abs(quantity.value), min(quantity.decimals(), 1))


def _reading_lines(measured: Measured) -> Iterator[str]:
    main = main_channel(measured)
    alone = [name for name in ("left", "right") if name != main and _has(measured, name)]
    heading = ["", main if alone else "reading", "95 % within", *alone]
    yield bold(_row([*heading, *[""] * (5 - len(heading))]))
    shown = [result for result in measured.results if result.channel == main]
    speeds = [result for result in shown if result.method == SPEED]
    for result in speeds:
        yield from _speed_rows(measured, result, alone, several=len(speeds) > 1)
    drift = next((result for result in shown if result.method == DRIFT), None)
    if drift is not None:
        yield _reading_row("drift", measured, drift, alone)
        yield from _note(_drift_words(drift))
    flutter = [
        result
        for result in shown
        if result.id.startswith("flutter.") and not result.id.startswith("flutter.part_")
    ]
    if not flutter:
        return
    yield FAMILY
    for result in flutter:
        name = name_of(result.id).removeprefix(FAMILY + ", ")
        yield _reading_row(f"  {name}", measured, result, alone)
        if result.id == "flutter.weighted_peak":
            yield from _note(_starts_words(result))
    mostly = mostly_words(flutter[0])
    if mostly:
        yield from _note(f"most of the uncertainty comes from the {mostly}")
    needle = next((one.spread for one in flutter if one.id == "flutter.indicated_peak"), None)
    several = "starts" in flutter[0].conditions  # then the range is that of the starts
    if needle is not None and not several:
        yield ""
        decimals = min(max(0, 1 - math.floor(math.log10(max(needle.high, 1e-6)))), 4)
        low, high = (number_text(value, decimals) for value in (needle.low, needle.high))
        way = (
            f"would have wandered between {low} and {high} %"
            if low != high
            else f"would have stood still at {low} %"
        )
        yield from wrapped(
            f"A needle {way}; the "
            "two-sigma figure is what the weighted deviation stays inside for 95 % of the time."
        )


def _channel_lines(measured: Measured) -> Iterator[str]:
    """Left against right, and losses of the tone, in one sentence."""
    beside = [one for one in measured.results if one.method in BESIDE_SPEED]
    said = []
    for one in beside:
        if one.id == "level.balance" and one.quantity is not None:
            within = within_of(one.quantity)
            said.append(f"left over right {figure_of(one.quantity, one.id)} (95 % within {within})")
    counts = {one.channel: one.quantity for one in beside if one.id == "dropout.count"}
    lost = [
        f"{quantity.value:.0f} a minute" + (f" on the {name}" if len(counts) > 1 else "")
        for name, quantity in counts.items()
        if quantity is not None and quantity.value >= 0.5
    ]
    if lost:
        said.append("losses of 12 dB and more: " + ", ".join(lost))
    if said:
        yield ""
        words = "; ".join(said)
        yield from wrapped(f"Level: {words}.")


def _speed_rows(
    measured: Measured, result: Result, alone: Sequence[str], *, several: bool
) -> Iterator[str]:
    tone_hz = result.conditions.get("tone_hz")
    name = f"speed, if {tone_hz:g} Hz" if several else "speed"
    yield _reading_row(name, measured, result, alone)
    mostly = mostly_words(result)
    yield from _note(
        speed_words(result)
        + (f"; most of the uncertainty comes from the {mostly}" if mostly else "")
    )
    if several:
        return
    calm = _same(measured, result.channel, result.id, SPEED_30_S, tone_hz)
    if calm is not None and calm.quantity is not None:
        yield _reading_row("  over its steadiest 30 s", measured, calm, alone)


def _reading_row(name: str, measured: Measured, result: Result, alone: Sequence[str]) -> str:
    quantity = result.quantity
    if quantity is None:
        return _row([name, "not known", "", "", ""])
    decimals = quantity.decimals()
    cells = [name, figure_of(quantity, result.id), within_of(quantity)]
    for channel in alone:
        other = _same(measured, channel, result.id, result.method, result.conditions.get("tone_hz"))
        text = ""
        if other is not None and other.quantity is not None:
            text = number_text(other.quantity.value, decimals, signed=_signed(result.id))
        cells.append(text)
    return _row([*cells, *[""] * (5 - len(cells))])


def _row(cells: Sequence[str]) -> str:
    return columns(cells, WIDTHS, ALIGNED)


def _note(text: str) -> Iterator[str]:
    if text:
        for line in wrapped(text, "    "):
            yield faint(line)


def _signed(quantity_id: str) -> bool:
    from runstrue.catalogue import KINDS

    return is_signed(KINDS.get(quantity_id))


def _same(
    measured: Measured, channel: str, quantity_id: str, method: str, tone_hz: object
) -> Result | None:
    for result in measured.results:
        key = (result.channel, result.id, result.method, result.conditions.get("tone_hz"))
        if key == (channel, quantity_id, method, tone_hz):
            return result
    return None


def _has(measured: Measured, channel: str) -> bool:
    return any(result.channel == channel for result in measured.results)


def _drift_words(drift: Result) -> str:
    """Start, middle and end of the record, where the drift can be told from none."""
    quantity = drift.quantity
    if quantity is None or abs(quantity.value) < 2 * quantity.u:
        return ""
    parts = [
        drift.conditions.get(f"{third}_third_percent") for third in ("first", "middle", "last")
    ]
    told = [number_text(part, 2, signed=True) for part in parts if isinstance(part, float)]
    return (
        f"{' % in the first third, '.join(told[:2])} % in the middle, {told[2]} % in the last"
        if len(told) == 3
        else ""
    )


def _starts_words(result: Result) -> str:
    starts = result.conditions.get("starts")
    spread = result.spread
    if not isinstance(starts, float) or spread is None or result.quantity is None:
        return ""
    decimals = result.quantity.decimals()
    low, middle, high = (
        number_text(value, decimals) for value in (spread.low, spread.middle, spread.high)
    )
    return f"{starts:.0f} starts read from {low} to {high} %, {middle} % on average"


def _doubt_lines(measured: Measured) -> Iterator[str]:
    doubts = list(measured.doubts)
    undecided = [one for one in measured.results if one.conditions.get("tone_undecided")]
    if undecided:
        tones = sorted({float(one.conditions["tone_hz"]) for one in undecided})
        doubts.insert(0, (
            f"The tone is not decided ({undecided[0].conditions.get('tone_reason', '')}), so both "
            "speeds are shown and neither is judged: "
            + " or ".join(f"--tone {tone:g}" for tone in tones) + " settles it."
        ))  # fmt: skip
    for result in measured.results:
        bounded = {"at least", "at most"} & result.conditions.keys()  # printed with ≥ or ≤
        if result not in undecided and not bounded:
            doubts += result.doubts
    for number, doubt in enumerate(dict.fromkeys(doubts)):
        if number == 0:
            yield ""
            yield bold("Doubts")
        yield from wrapped(doubt, "    ", first="  - ")


def _rests_on(measured: Measured, tape: TestTape | None, card: SoundCard | None) -> str:
    """What the readings rest on, with the figures that were allowed for."""
    parts = []
    if measured.conditions.get("self_recorded"):
        parts.append("the deck's own recording (no test tape allowed for)")
    elif tape is not None:
        parts.append(tape_words(tape))
    if card is not None:
        parts.append(_card_words(card))
    hiss = measured.conditions.get("tone_to_hiss_db")
    if isinstance(hiss, float):
        parts.append(f"the tone stands {hiss:.0f} dB above the hiss")
    return "Rests on: " + "; ".join(parts) + "." if parts else ""


def tape_words(tape: TestTape) -> str:
    """Say how good a test tape is taken to be."""
    from runstrue.stimulus.testtape import CAUTIOUS

    if tape.speed_known_percent is None:
        speed = f"speed within ±{tape.speed_tolerance_percent:g} %"
    else:
        known = Quantity(tape.speed_known_percent, "%", tape.speed_u_percent)
        speed = f"speed off by {known.value_text(signed=True)} %, u {known.u:.2g} %"
    figures = f"{speed}, flutter of its own ±{tape.own_flutter_percent:.2g} %"
    if tape == CAUTIOUS:
        return f"a tape that was not named ({figures}; runstrue tape new describes yours)"
    batch = f", batch {tape.batch}" if tape.batch else ""
    return f"{tape.name}{batch} ({figures})"


def _card_words(card: SoundCard) -> str:
    from runstrue.measure.conditions import DEFAULT_CLOCK_TOLERANCE_PPM, SoundCard

    if card == SoundCard():
        return f"any sound card (clock within ±{DEFAULT_CLOCK_TOLERANCE_PPM:g} ppm)"
    clock = Quantity(card.clock_ppm, "ppm", card.u_clock_ppm)
    return f"{card.name} (clock {clock.value_text(signed=True)} ppm, u {clock.u:.2g} ppm)"
