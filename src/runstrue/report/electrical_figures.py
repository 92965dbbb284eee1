"""Which curves the electrical readings of captures give: response, distortion, hum, azimuth."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from runstrue.report.figure_curves import Allowed, Axis, Curve, Mark, draw_curves
from runstrue.report.style import Caption, Role, Shape
from runstrue.result import Result
from runstrue.verdict.models import Limit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0


@dataclass(frozen=True, slots=True)
class Told:
    """The results of one capture, and how its curves are told apart."""

    results: Sequence[Result]
    role: Role
    stage: str


@dataclass(frozen=True, slots=True)
class Plate:
    """One figure: its key, what it shows in words, and how it is drawn.

    Parameters
    ----------
    key, told : str
    title : str
    curves : tuple of Curve
    x, y : Axis
    allowed : Allowed or None
    marks : tuple of Mark
    """

    key: str
    told: str
    title: str
    curves: tuple[Curve, ...]
    x: Axis
    y: Axis
    allowed: Allowed | None = None
    marks: tuple[Mark, ...] = field(default=())

    def draw(self, caption: Caption, shape: Shape) -> Figure:
        """Draw it."""
        return draw_curves(
            self.title, self.curves, caption, self.x, self.y, allowed=self.allowed,
            marks=self.marks, shape=shape,
        )  # fmt: skip


def plates_of(captures: Sequence[Told], limits: Sequence[Limit] = ()) -> list[Plate]:
    """Return the figures that these captures give; found lies under left."""
    makers: tuple[Callable[[Sequence[Told], Sequence[Limit]], Plate | None], ...] = (
        _response, _distortion, _hum, _azimuth, _level, _control,
    )  # fmt: skip
    made = [maker(captures, limits) for maker in makers]
    return [plate for plate in made if plate is not None]


def _response(captures: Sequence[Told], limits: Sequence[Limit]) -> Plate | None:
    curves = []
    for told in captures:
        for channel in ("left", "right", "mono"):
            gain = _softest(told.results, channel)
            if gain is not None and gain.table is not None:
                level = gain.conditions.get("level, dB", 0.0)
                curves.append(
                    Curve(
                        np.array(gain.table.x), np.array(gain.table.y), told.role,
                        f"{told.stage}, {channel} ({level:g} dB)".replace("-", "−"),
                        np.array(gain.table.u), channel == "right",
                    )
                )  # fmt: skip
    if not curves:
        return None
    lowest = min(float(curve.y.min()) for curve in curves)
    highest = max(float(curve.y.max()) for curve in curves)
    return Plate(
        "response", "Gain in dB over frequency in Hz, against the reference frequency.",
        "Frequency response", tuple(curves),
        Axis("frequency, Hz", log=True, low=LOWEST_HZ, high=HIGHEST_HZ),
        Axis("gain, dB", low=min(lowest - 1, -6), high=max(highest + 1, 6)),
        allowed=_allowed(limits),
    )  # fmt: skip


def _allowed(limits: Sequence[Limit]) -> Allowed | None:
    for limit in limits:
        low, high = limit.tolerance_low_db, limit.tolerance_high_db
        if limit.ids == ("response.band",) and low is not None and high is not None:
            return Allowed(
                limit.band_low_hz or LOWEST_HZ, limit.band_high_hz or HIGHEST_HZ, low, high
            )
    return None


def _softest(results: Sequence[Result], channel: str) -> Result | None:
    gains = [one for one in results if one.id == "response.gain" and one.channel == channel]
    return min(
        gains,
        key=lambda one: (float(one.conditions.get("level, dB", 0.0)), "tones" not in one.method),
        default=None,
    )


def _distortion(captures: Sequence[Told], limits: Sequence[Limit]) -> Plate | None:
    curves = []
    for told in captures:
        for one in _first_of(told.results, "level.mol"):
            if one.table is not None:
                x, y = np.array(one.table.x), np.array(one.table.y)
                seen = y > 4 * np.array(one.table.u)
                if seen.any():
                    label = f"{told.stage}, {one.channel}"
                    curves.append(Curve(x[seen], y[seen], told.role, label,
                                        thin=one.channel == "right"))  # fmt: skip
    if not curves:
        return None
    against = next(
        (str(one.conditions["against"]) for told in captures for one in told.results
         if one.id == "level.mol" and "against" in one.conditions), "the reference",
    )  # fmt: skip
    return Plate(
        "distortion", "Third harmonic in per cent over the level of the tone in dB.",
        "Third harmonic over level", tuple(curves), Axis(f"level, dB against {against}"),
        Axis("third harmonic, %", log=True), marks=(Mark(3.0, "3 %: maximum output level"),),
    )  # fmt: skip


def _hum(captures: Sequence[Told], limits: Sequence[Limit]) -> Plate | None:
    curves = list(_traced(captures, "hum.total", "hum spectrum"))
    if not curves:
        return None
    return Plate(
        "hum", "Level of the silence in dB over frequency, where the lines of the mains stand out.",
        "Hum", tuple(curves),
        Axis("frequency, Hz", low=0.0, high=1100.0), Axis("level, dB against the reference"),
    )  # fmt: skip


def _azimuth(captures: Sequence[Told], limits: Sequence[Limit]) -> Plate | None:
    curves = list(_traced(captures, "azimuth.angle", "azimuth"))
    if not curves:
        return None
    return Plate(
        "azimuth", "Tilt between the channels in minutes of arc over time.", "Azimuth over time",
        tuple(curves), Axis("time, s"), Axis("angle, ′"),
    )  # fmt: skip


def _level(captures: Sequence[Told], limits: Sequence[Limit]) -> Plate | None:
    curves = list(_traced(captures, "dropout.count", "level"))
    if not curves:
        return None
    return Plate(
        "dropouts", "Level of a steady tone in dB over time; dropouts reach down.", "Dropouts",
        tuple(curves), Axis("time, s"), Axis("level, dB", low=-32.0, high=2.0),
        marks=(Mark(-6.0, "counted from here for 10 ms and more"),),
    )  # fmt: skip


def _control(captures: Sequence[Told], limits: Sequence[Limit]) -> Plate | None:
    curves = list(_traced(captures, "control.crackle", "level through the control"))
    if not curves:
        return None
    return Plate(
        "control", "Level of a tone in dB over time while a control is worked.",
        "A control worked", tuple(curves), Axis("time, s"), Axis("level, dB", low=-65.0, high=5.0),
    )  # fmt: skip


def _traced(captures: Sequence[Told], quantity_id: str, name: str) -> Iterator[Curve]:
    for told in captures:
        for one in _first_of(told.results, quantity_id):
            for trace in one.traces:
                if trace.name == name:
                    label = ", ".join(part for part in (told.stage, one.channel) if part)
                    yield Curve(
                        np.asarray(trace.x, dtype=np.float64),
                        np.asarray(trace.y, dtype=np.float64), told.role, label,
                        thin=one.channel == "right",
                    )  # fmt: skip


def _first_of(results: Sequence[Result], quantity_id: str) -> Iterator[Result]:
    """The first result of a kind in each channel."""
    seen: set[str] = set()
    for one in results:
        if one.id == quantity_id and one.channel not in seen:
            seen.add(one.channel)
            yield one
