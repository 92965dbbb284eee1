"""Live messages to try the pages with, made by hand."""

from __future__ import annotations

from runstrue.live.figure import figure
from runstrue.live.models import (
    Dropouts,
    Figure,
    Happening,
    Level,
    Lost,
    Phase,
    Recording,
    SpeedNow,
    Status,
    Strip,
    Update,
    Window,
)
from runstrue.quantity import Quantity


def percent(value: float, u: float, quantity_id: str, unit: str = "%") -> Figure:
    """A figure as the engine makes it."""
    return figure(Quantity(value, unit, u), quantity_id)


def window(name_s: float, flutter: float | None = 0.283) -> Window:
    """A window that is full, or one that is not yet."""
    if flutter is None:
        return Window(name_s, 1.0, 0, 48_000)
    return Window(
        name_s,
        name_s,
        0,
        480_000,
        flutter=percent(flutter, 0.014, "flutter.weighted_peak"),
        needle=percent(0.19, 0.01, "flutter.indicated_peak"),
        needle_low=0.12,
        needle_high=0.32,
        weighted_rms=percent(0.1455, 0.0075, "flutter.weighted_rms"),
        balance=percent(0.4, 0.29, "level.balance", "dB"),
    )


def update(
    number: int = 1,
    *,
    speed: float | None = -1.98,
    flutter: float | None = 0.283,
    session: str = "one",
    points: tuple[float | None, ...] = (-1.9, None, -2.0),
    recording: Recording | None = None,
) -> Update:
    """A message such as the engine sends."""
    now = None
    if speed is not None:
        now = SpeedNow(
            percent(speed, 0.17, "speed.deviation"),
            figure(Quantity(-34.9, "cents", 3.0), signed=True),
            figure(Quantity(3087.1, "Hz", 5.4)),
            3.0,
            "falling",
            percent(-0.134, 0.1, "speed.drift", "%/min"),
        )
    return Update(
        session=session,
        number=number,
        time_s=125.0,
        made_at=1e9,
        state="reading",
        words="Reading a tone of 3150 Hz.",
        tone_hz=3150.0,
        speed=now,
        needle_percent=0.2126,
        windows=(window(5.0, flutter), window(10.0, flutter), window(30.0, None)),
        levels=(
            Level("left", -12.1, -9.0, -8.9, -12.2, clipped=False),
            Level("right", None, None, None, None, clipped=True),
        ),
        phase=Phase(
            figure(Quantity(13.6, "°", 0.6), signed=True),
            figure(Quantity(12.1, "µs", 0.5), signed=True),
            1.44,
        ),
        dropouts=Dropouts(2, 1.3, (Lost("right", 42.0, 0.066),)),
        strip=Strip(len(points) * (number - 1), 100.0, points, points),
        doubts=(),
        status=Status(
            "virtual deck",
            "virtual",
            48_000.0,
            2,
            recording,
            0,
            65.0,
            on_disk=True,
            overflows=1,
            lost_s=0.2,
            happenings=(Happening(5.0, "The sound card lost 0.2 s of sound."),),
        ),
    )
