"""What a programme said about a deck, for a person: a block a kind, left and right side by side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from runstrue.catalogue import KINDS
from runstrue.cli.layout import bold, columns, faint, wrapped
from runstrue.quantity import Quantity, number_text
from runstrue.report.words import is_signed, name_of
from runstrue.verdict.response import band_within, band_words, frequency_words

if TYPE_CHECKING:
    from runstrue.result import Measured, Result

# heading: ids in the order in which they are shown
BLOCKS: dict[str, tuple[str, ...]] = {
    "Levels": ("level.output", "output.voltage", "level.balance"),
    "Azimuth": ("azimuth.angle", "azimuth.delay", "azimuth.sway", "phase.polarity"),
    "Noise, below the reference": (
        "noise.unweighted", "noise.a", "noise.quasi_peak_468", "noise.average_468_2k",
        "noise.modulation",
    ),
    "Hum": ("hum.total", "hum.odd", "hum.even"),
    "Distortion": ("distortion.third", "distortion.total"),
    "Where the tape gives out": ("level.mol", "level.sol"),
    "Separation and erasure": (
        "separation.channels", "separation.sides", "erasure.depth", "print.through",
    ),
    "Dropouts": ("dropout.count",),
    "Noise reduction": ("companding.tracking", "companding.lift", "companding.level"),
    "Inputs": ("input.sensitivity", "input.overload"),
    "Controls": ("control.crackle", "control.dropouts", "control.tracking"),
    "Meters of the deck": (
        "meter.offset", "meter.gain", "meter.bend", "meter.ballistics", "meter.tracking",
    ),
}  # fmt: skip
WIDTHS, ALIGNED = (35, 13, 13, 13), "<>>>"
CONDITIONS = ("tone", "level", "hum")
BESIDE_SPEED = ("tone-cells/1", "dropouts-12db-20ms/1")
"""Methods of what comes along with speed and flutter and is told with them."""
RESPONSE_POINTS_HZ = (
    31.5, 40, 63, 125, 250, 500, 1000, 2000, 4000, 6300, 8000, 10_000, 12_500, 14_000, 16_000,
    18_000,
)  # fmt: skip


def programme_reading_lines(measured: Measured) -> Iterator[str]:
    """Everything but speed and flutter, which `show_measured` tells."""
    for heading, ids in BLOCKS.items():
        if heading == "Azimuth":
            yield from _response_lines(measured)
        rows = [row for quantity_id in ids for row in _rows(measured, quantity_id)]
        if rows:
            yield ""
            yield bold(columns([heading, "left", "right", "95 % within"], WIDTHS, ALIGNED))
            yield from rows
            yield from _hints(measured, ids)


def holds_programme(measured: Measured) -> bool:
    """Whether anything but speed and flutter was measured."""
    shown = {quantity_id for ids in BLOCKS.values() for quantity_id in ids} | {"response.gain"}
    return any(one.id in shown and one.method not in BESIDE_SPEED for one in measured.results)


def _rows(measured: Measured, quantity_id: str) -> Iterator[str]:
    """One row for each set of conditions, both channels in it."""
    groups: dict[tuple[str, ...], dict[str, Result]] = {}
    for one in measured.results:
        if one.id == quantity_id and one.method not in BESIDE_SPEED:
            key = tuple(_condition(one, name) for name in CONDITIONS)
            groups.setdefault(key, {}).setdefault(one.channel, one)
    told = [
        name for index, name in enumerate(CONDITIONS) if len({key[index] for key in groups}) > 1
    ]
    for key, by_channel in groups.items():
        words = [key[CONDITIONS.index(name)] for name in told]
        name = ", ".join([name_of(quantity_id), *(word for word in words if word)])
        yield from _row(name, by_channel)


def _row(name: str, by_channel: dict[str, Result]) -> Iterator[str]:
    first = next(iter(by_channel.values()))
    left = by_channel.get("left") or by_channel.get("both") or by_channel.get("mono")
    right = by_channel.get("right")
    known = [one.quantity for one in by_channel.values() if one.quantity is not None]
    within = max(known, key=lambda one: one.u, default=None)
    bounded = all({"at least", "at most"} & one.conditions.keys() for one in by_channel.values())
    cells = [_figure(left, within), _figure(right, within), "" if bounded else _within(within)]
    unit = f" ({within.unit})" if within is not None and first.id not in _PLAIN else ""
    label = f"  {name}{unit}"
    if len(label) > WIDTHS[0]:
        lines = wrapped(label.strip(), "    ", first="  ", width=WIDTHS[0])
        yield from lines[:-1]
        label = lines[-1]
    yield columns([label, *cells], WIDTHS, ALIGNED)


_PLAIN = frozenset({"phase.polarity"})


def _figure(result: Result | None, within: Quantity | None) -> str:
    if result is None:
        return ""
    if result.id == "phase.polarity":
        return str(result.conditions.get("polarity", ""))
    if result.quantity is None or within is None:
        return "none" if result.id.startswith("hum.") else "not known"
    most = result.conditions.get("at most")
    if isinstance(most, float | int):
        return f"≤ {most:.1g}"
    if result.conditions.get("at least"):
        return f"≥ {number_text(result.quantity.value, 0)}"
    return number_text(
        result.quantity.value, min(within.decimals(), 2), signed=is_signed(KINDS.get(result.id))
    )


def _within(quantity: Quantity | None) -> str:
    if quantity is None or quantity.u == 0:
        return ""
    return f"±{number_text(quantity.expanded(), min(quantity.decimals(), 2))}"


def _condition(result: Result, name: str) -> str:
    value = result.conditions.get(name, "")
    if name == "hum":
        return "without hum" if value == "left out" else ""
    if name == "level" and isinstance(value, float | int):
        return f"{number_text(float(value), 0)} dB"
    return str(value)


def _response_lines(measured: Measured) -> Iterator[str]:
    """The softest tones as a table, and the band within ±3 dB of every response."""
    gains = [one for one in measured.results if one.id == "response.gain" and one.table]
    if not gains:
        return
    yield ""
    yield bold(
        columns(["Frequency response (dB)", "left", "right", "95 % within"], WIDTHS, ALIGNED)
    )
    by_channel = {
        channel: min(
            (one for one in gains if one.channel == channel), key=_softest, default=None
        )
        for channel in ("left", "right", "mono")
    }  # fmt: skip
    left = by_channel["left"] or by_channel["mono"]
    right = by_channel["right"]
    for frequency_hz in RESPONSE_POINTS_HZ:
        values = [_at(one, frequency_hz) for one in (left, right)]
        known = [value for value in values if value is not None]
        if known:
            texts = [
                "" if value is None else number_text(value[0], 1, signed=True) for value in values
            ]
            within = max(known, key=lambda value: value[1])
            cells = [
                f"  {frequency_words(frequency_hz)}",
                *texts,
                f"±{number_text(2 * within[1], 1)}",
            ]
            yield columns(cells, WIDTHS, ALIGNED)
    yield from _band_lines(gains)
    for one in measured.results:
        if one.id == "response.shape" and one.conditions.get("pattern") != "flat":
            yield from wrapped(f"{one.channel}: {one.conditions['hint']}", "    ", first="  ")


def _band_lines(gains: Sequence[Result]) -> Iterator[str]:
    """How far each response stays within ±3 dB, all channels of it in one line."""
    groups: dict[str, list[str]] = {}
    for one in gains:
        band = band_within(one.table, -3.0, 3.0) if one.table is not None else None
        if band is not None:
            level = number_text(float(one.conditions.get("level, dB", 0.0)), 0)
            kind = one.method.removeprefix("response-").partition("/")[0]
            words = f"{one.channel} {band_words(band).removeprefix('from ')}"
            groups.setdefault(f"within ±3 dB, {kind} at {level} dB", []).append(words)
    for name, parts in groups.items():
        for line in wrapped(f"{name}: {'; '.join(parts)}", "    ", first="  "):
            yield faint(line)


def _softest(gain: Result) -> tuple[float, int]:
    level = gain.conditions.get("level, dB", 0.0)
    return (float(level), 0 if gain.method == "response-tones/1" else 1)


def _at(gain: Result | None, frequency_hz: float) -> tuple[float, float] | None:
    if gain is None or gain.table is None:
        return None
    for x, y, u in zip(gain.table.x, gain.table.y, gain.table.u, strict=True):
        if abs(x / frequency_hz - 1) < 0.03:
            return y, u
    return None


def _hints(measured: Measured, ids: Sequence[str]) -> Iterator[str]:
    """Say what figures of a block are set against, and what a pattern points to."""
    found = [one for one in measured.results if one.id in ids]
    against = {str(one.conditions["against"]) for one in found if "against" in one.conditions}
    for words in sorted(against):
        yield faint(f"  against {words}")
    for one in found:
        if one.id == "hum.total" and one.quantity is not None:
            mains, hint = one.conditions.get("mains", ""), one.conditions.get("hint", "")
            yield from wrapped(f"{one.channel}, mains {mains}: {hint}", "    ", first="  ")
        if one.id in ("meter.offset", "meter.ballistics"):
            yield from wrapped(f"{one.channel}: {one.conditions['hint']}", "    ", first="  ")
        largest = one.conditions.get("largest, dB")
        if one.id == "control.crackle" and isinstance(largest, float):
            yield faint(
                f"  {one.channel}: the largest click {number_text(largest, 0)} dB re the tone"
            )
        if one.id == "azimuth.angle" and one.quantity is not None:
            loss = one.conditions.get("16 kHz, dB")
            yield faint(f"  this tilt alone costs {loss} dB at 16 kHz")
