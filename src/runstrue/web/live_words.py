"""One live message in words and figures: worded once here, shown alike on every page.

The pages put texts where they belong and draw raw numbers; they round nothing and word nothing,
so that a live figure reads to the digit as the terminal prints it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from runstrue.live.models import Figure, Level, Spectrum, Strip, Update, Window
from runstrue.quantity import number_text
from runstrue.web.live_parts import PartNames

ARROWS = {"rising": "↗", "steady": "→", "falling": "↘"}
TURNS = {"rising": "getting faster", "steady": "steady", "falling": "getting slower"}
NEEDLE_DECIMALS = 3
"""A needle is read from a scale; the third decimal shows that it moves."""

SMALLEST_CENTS = 0.05
"""Below half of the last place shown, a speed is neither fast nor slow."""


def update_document(update: Update) -> dict[str, Any]:
    """Return a message for the pages.

    Parameters
    ----------
    update : Update

    Returns
    -------
    dict
        'figures' and 'texts' by the name of their field, and the numbers that are drawn.
    """
    figures = _speed(update) | _flutter(update) | _channels(update)
    texts = {"state": update.words, "time": clock(update.time_s), **_texts(update)}
    return {
        "session": update.session,
        "number": update.number,
        "made": update.made_at,
        "state": update.state,
        "figures": figures,
        "texts": texts,
        "speed": None if update.speed is None else drawn(update.speed.percent),
        "needle": update.needle_percent,
        "flutter": {f"{one.name_s:g}": drawn(one.flutter) for one in update.windows},
        "levels": [_level(one) for one in update.levels],
        "strip": strip_document(update.strip),
        "status": _status(update),
    }


def strip_document(strip: Strip) -> dict[str, Any]:
    """Return the new points of the strip chart: from which second, how many a second."""
    return {
        "from": strip.first / strip.rate_hz,
        "rate": strip.rate_hz,
        "speed": [_short(one) for one in strip.percent],
        "flutter": [_short(one) for one in strip.weighted_percent],
    }


def spectrum_document(spectrum: Spectrum, names: PartNames, speed_percent: float) -> dict[str, Any]:
    """Return a spectrum with the parts' names at its lines.

    Parameters
    ----------
    spectrum : Spectrum
    names : PartNames
        Of the deck's transport; none where it is not known.
    speed_percent : float
        Deviation of the tape speed now: rates go with it.
    """
    return {
        "session": spectrum.session,
        "over": f"over the last {spectrum.over_s:.0f} s",
        "rates": [float(f"{one:.4g}") for one in spectrum.rates_hz],
        "peaks": [float(f"{one:.3g}") for one in spectrum.peak_percent],
        "lines": [
            {
                "rate": float(f"{one.rate_hz:.5g}"),
                "peak": float(f"{one.peak_percent:.3g}"),
                "name": names.of(one.rate_hz, one.u_rate_hz, speed_percent),
                "text": f"{_rate(one.rate_hz)} Hz",
                "words": _line_words(one.peak_percent, one.u_peak_percent),
            }
            for one in spectrum.lines
        ],
    }


def drawn(figure: Figure | None) -> dict[str, float] | None:
    """Return what is drawn of a figure: its value and the half-width of its 95 % interval."""
    if figure is None:
        return None
    return {"raw": figure.value, "within": figure.within}


def clock(seconds: float) -> str:
    """Print a time as a counter does: '2:05', '1:02:05'."""
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def _speed(update: Update) -> dict[str, str]:
    speed = update.speed
    if speed is None:
        return _both(dict.fromkeys(("speed", "cents", "hz", "drift")))
    return _both(
        {
            "speed": speed.percent,
            "cents": speed.cents,
            "hz": speed.hz,
            "drift": speed.percent_per_min,
        }
    )


def _flutter(update: Update) -> dict[str, str]:
    needle = update.needle_percent
    fields = {f"flutter{one.name_s:g}": one.flutter for one in update.windows}
    longest = longest_window(update.windows)
    for what in ("weighted_rms", "unweighted_peak", "wow", "flutter_rms", "balance"):
        fields[what] = getattr(longest, what) if longest is not None else None
    return {
        **_both(fields),
        "needle.value": "" if needle is None else f"±{number_text(needle, NEEDLE_DECIMALS)}",
    }


def _channels(update: Update) -> dict[str, str]:
    phase = update.phase
    figures = _both(
        {
            "degrees": None if phase is None else phase.degrees,
            "microseconds": None if phase is None else phase.microseconds,
        }
    )
    figures["sway.value"] = "" if phase is None else number_text(phase.sway_microseconds, 1)
    figures["dropouts.value"] = str(update.dropouts.count)
    rate = update.dropouts.per_minute
    figures["dropout_rate.value"] = "" if rate is None else number_text(rate, 1)
    for level in update.levels:
        loud = level.rms_db
        figures[f"level_{level.channel}.value"] = "" if loud is None else number_text(loud, 1)
    return figures


def _both(fields: Mapping[str, Figure | None]) -> dict[str, str]:
    """Each figure as printed and the 95 % within which it lies; empty where it is not known."""
    told = {}
    for name, figure in fields.items():
        told[f"{name}.value"] = "" if figure is None else figure.text
        told[f"{name}.within"] = "" if figure is None else figure.within_text
    return told


def longest_window(windows: tuple[Window, ...]) -> Window | None:
    """Return the longest window that has its flutter, None where none has."""
    full = [one for one in windows if one.flutter is not None]
    return max(full, key=lambda one: one.name_s, default=None)


def _texts(update: Update) -> dict[str, str]:
    speed = update.speed
    texts = {
        "turn": "", "turn.words": "", "way": "", "tone": "", "doubts": " ".join(update.doubts),
        "longest": "", "dropouts.latest": "",
    }  # fmt: skip
    if update.tone_hz is not None:
        texts["tone"] = f"{update.tone_hz:g} Hz"
    if speed is not None:
        texts["turn"], texts["turn.words"] = ARROWS[speed.turn], TURNS[speed.turn]
        texts["way"] = _way(speed.cents.value)
    longest = longest_window(update.windows)
    if longest is not None:
        texts["longest"] = f"over the last {longest.name_s:g} s"
    if update.dropouts.latest:
        last = update.dropouts.latest[0]
        where = "" if last.channel == "mono" else f", {last.channel}"
        texts["dropouts.latest"] = (
            f"last at {clock(last.at_s)}, {1000 * last.length_s:.0f} ms long{where}"
        )
    return texts


def _way(cents: float) -> str:
    if abs(cents) < SMALLEST_CENTS:
        return "true"
    return "fast" if cents > 0 else "slow"


def _level(level: Level) -> dict[str, Any]:
    return {
        "name": level.channel,
        "rms": level.rms_db,
        "peak": level.peak_db,
        "held": level.held_peak_db,
        "clipped": level.clipped,
    }


def _status(update: Update) -> dict[str, Any]:
    status = update.status
    recording = status.recording
    words = ""
    if recording is not None:
        words = f"Recording: {recording.length_s:.0f} s"
        if recording.asked_s is not None:
            words = (
                f"Recording: {recording.length_s:.0f} of {recording.asked_s:.0f} s, "
                f"{max(recording.asked_s - recording.length_s, 0):.0f} s to go"
            )
    safe = (
        f"{clock(status.held_s)} safe on disk"
        if status.on_disk
        else "NOT written to disk: only what is on screen can be kept"
    )
    return {
        "source": status.source,
        "recording": words,
        "finished": status.finished,
        "held": status.held_s,
        "safe": safe if status.held_s >= 1 or not status.on_disk else "",
        "onDisk": status.on_disk,
        "losses": _losses(status.overflows, status.lost_s),
        "happenings": [f"{clock(one.at_s)}  {one.words}" for one in status.happenings],
    }


def _losses(overflows: int, lost_s: float) -> str:
    if not overflows:
        return "none lost"
    places = "1 place" if overflows == 1 else f"{overflows} places"
    length = f", {lost_s:.2f} s" if lost_s else ""
    return f"lost at {places}{length}"


def _line_words(peak: float, u: float) -> str:
    decimals = max(0, min(4, len(f"{u:.2g}".partition(".")[2]))) if u > 0 else 3
    return f"±{number_text(peak, decimals)} %"


def _rate(rate_hz: float) -> str:
    return number_text(rate_hz, 2 if rate_hz < 10 else 1 if rate_hz < 100 else 0)


def _short(value: float | None) -> float | None:
    """Four decimals of a per cent: finer than any line on a screen."""
    return None if value is None else round(value, 4)
