"""A test tape made at home: a tone recorded on a deck that has been measured well.

The deck's speed error stretches the tone on the tape. Recorded at 1 + s times the nominal speed
by a sound card whose clock runs at 1 + c, and played at exactly nominal speed, a tone of f comes
out at f·(1 + c)/(1 + s). What is known about the deck's speed is so known about the tape, and
the deck's flutter in one pass is the tape's own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from runstrue.errors import InputError
from runstrue.measure.conditions import SoundCard
from runstrue.quantity import Quantity, coverage_factor
from runstrue.result import Measured, Result
from runstrue.stimulus.testtape import CAUTIOUS, TestTape


def home_tape(
    measured: Measured,
    *,
    name: str,
    card: SoundCard | None = None,
    tone_hz: float | None = None,
    side_min: float | None = None,
    batch: str = "",
    remark: str = "",
) -> TestTape:
    """Describe a tape that was recorded on a deck just measured.

    Parameters
    ----------
    measured : Measured
        What a test tape said about the deck.
    name : str
        Of the new tape.
    card : SoundCard, optional
        The sound card that made the tone; else any, with its cautious tolerance.
    tone_hz : float, optional
        The tone that was recorded; else the one that the deck was measured with.
    side_min : float, optional
        Length of the recording, in minutes; else that of the reading. The deck is taken to have
        drifted over it as it did in the reading.
    batch, remark : str
        Told with the tape.

    Returns
    -------
    TestTape
        Of kind 'home'. Its speed's standard uncertainty holds that of the deck's speed, that of
        the clock that made the tone, and the drift over the side.

    Raises
    ------
    InputError
        When the reading cannot give a speed: the tone was recorded on the same deck, or it is
        not decided which tone the tape held.

    Notes
    -----
    The speed's own uncertainty enters whole, widened for its degrees of freedom to what has the
    same 95 % interval in a normal distribution, since a tape's description holds none (JCGM
    100:2008 G.3.2). If the card that makes the tone also measured the deck, its clock's error
    cancels; that is not relied on.

    The recording is taken to begin where the reading began. Over `side_min` the speed then
    moves away from the reading's mean by at most (|drift| + u)·(side − half the reading); that
    is taken as the half-width of a rectangular distribution (JCGM 100:2008 4.3.7).
    """
    card = card or SoundCard()
    speed, quantity = _speed(measured)
    flutter = measured.find("flutter.weighted_peak", speed.channel)
    if flutter is None or flutter.quantity is None:
        raise InputError(
            "The deck's reading holds no wow and flutter", "the tape's own flutter is needed",
            "measure the deck again",
        )  # fmt: skip
    recorded = 1 + quantity.value / 100
    known_percent = 100 * ((1 + card.clock_ppm * 1e-6) / recorded - 1)
    widened = quantity.expanded() / coverage_factor(0.95)
    u_percent = math.hypot(
        widened / recorded**2,
        card.u_clock_ppm * 1e-4,
        drift_half_width(measured, speed, side_min) / math.sqrt(3),
    )
    return TestTape(
        name=name,
        kind="home",
        tone_hz=tone_hz if tone_hz is not None else _tone_hz(speed),
        speed_tolerance_percent=CAUTIOUS.speed_tolerance_percent,
        speed_known_percent=_rounded(known_percent),
        speed_known_u_percent=_rounded_up(u_percent),
        own_flutter_percent=_rounded(flutter.quantity.value),
        own_flutter_u_percent=_rounded_up(flutter.quantity.u),
        batch=batch,
        remark=remark,
    )


def drift_half_width(measured: Measured, speed: Result, side_min: float | None = None) -> float:
    """How far the speed can move from the reading's mean over the recording, in %."""
    read_min = _length_min(speed)
    side = read_min if side_min is None else side_min
    if not (math.isfinite(side) and side >= 0):
        raise InputError(f"A recording of {side} min was given", "a length of 0 or more is needed")
    drift = _first(
        result
        for result in measured.results
        if result.id == "speed.drift" and result.channel == speed.channel
    )
    if drift is None or drift.quantity is None:
        return 0.0
    farthest_min = max(side - read_min / 2, min(side, read_min / 2))
    return (abs(drift.quantity.value) + drift.quantity.u) * farthest_min


def _speed(measured: Measured) -> tuple[Result, Quantity]:
    speed = measured.find("speed.deviation")
    if speed is None:
        raise InputError(
            "The deck's reading holds no speed", "a reading with a test tape is needed",
            "measure the deck with a test tape",
        )  # fmt: skip
    if measured.conditions.get("self_recorded") or speed.conditions.get("self_recorded"):
        raise InputError(
            "The deck was measured with a tone that it recorded itself",
            "its speed cancels there; a reading with somebody else's tape is needed",
            "borrow a test tape for one reading",
        )
    if speed.conditions.get("tone_undecided"):
        raise InputError(
            "It is not decided which tone the deck was measured with",
            "a reading with a named tone is needed",
            "measure it again with --tone",
        )
    if speed.quantity is None:
        raise InputError(
            "The deck's speed is not known", "a reading with a test tape is needed",
            "measure the deck with a test tape",
        )  # fmt: skip
    return speed, speed.quantity


def _tone_hz(speed: Result) -> float:
    return float(speed.conditions["tone_hz"])


def _length_min(speed: Result) -> float:
    start, stop = speed.conditions.get("from_s", 0.0), speed.conditions.get("to_s", 0.0)
    return (float(stop) - float(start)) / 60


def _first(results: Iterable[Result]) -> Result | None:
    return next(iter(results), None)


def _rounded(percent: float) -> float:
    """Six decimals: a hundredth of a ppm, far below every uncertainty here."""
    return round(percent, 6)


def _rounded_up(u_percent: float) -> float:
    return math.ceil(u_percent * 1e6) / 1e6
