"""Which window is read anew when, beside the sound."""

from __future__ import annotations

import threading

from runstrue.errors import SignalError
from runstrue.live.listening import Listening
from runstrue.live.models import SpectrumLine, Window
from runstrue.live.now import Now
from runstrue.live.running_spectrum import lines_of, running_spectrum
from runstrue.live.windows import EVERY_S, WINDOWS_S, latest_window
from runstrue.measure.gate import gate
from runstrue.measure.tape_tone import TonePlan

SPECTRUM_EVERY_S = 0.5
REASON_EVERY_S, REASON_OVER_S = 1.0, 3.0

Shown = tuple[float, float, tuple[float, ...], tuple[float, ...], tuple[SpectrumLine, ...]]
"""Of a spectrum: its end and its length in s, rates, peaks, lines."""


class Rolling:
    """The windows, the spectrum, and why there are none.

    Parameters
    ----------
    listening : Listening
    plan : TonePlan
    now : Now

    Attributes
    ----------
    why : SignalError or None
        What is heard in place of a tone.
    doubts : tuple of str
        From the longest window.
    """

    def __init__(self, listening: Listening, plan: TonePlan, now: Now) -> None:
        self._listening, self._plan, self._now = listening, plan, now
        self._windows = {name_s: Window(name_s, 0.0, 0, 0) for name_s in WINDOWS_S}
        self._due_s = dict.fromkeys(WINDOWS_S, 0.0)
        self._spectrum_due_s = self._reason_due_s = 0.0
        self._lines: tuple[SpectrumLine, ...] = ()
        self.why: SignalError | None = None
        self.doubts: tuple[str, ...] = ()
        self._news = threading.Event()

    def windows(self) -> tuple[Window, ...]:
        """The newest of each."""
        return tuple(self._windows.values())

    def wake(self) -> None:
        """Say that there is new sound."""
        self._news.set()

    def wait(self) -> None:
        """Wait for new sound."""
        self._news.wait()
        self._news.clear()

    def step(self) -> Shown | None:
        """Read at most one window, and the spectrum if it is due."""
        time_s = self._listening.frames / self._listening.rate_hz
        name_s = min(WINDOWS_S, key=lambda one: self._due_s[one])  # a slow machine starves none
        if time_s >= self._due_s[name_s]:
            self._due_s[name_s] = time_s + EVERY_S[WINDOWS_S.index(name_s)]
            self._read(name_s)
        if time_s < self._spectrum_due_s:
            return None
        self._spectrum_due_s = time_s + SPECTRUM_EVERY_S
        percent, rate_hz = self._now.unbroken(), self._listening.value_rate_hz
        rates, peaks = running_spectrum(percent, rate_hz)
        over_s = percent.shape[1] / rate_hz if rates else 0.0
        return time_s, over_s, rates, peaks, self._lines if rates else ()

    def _read(self, name_s: float) -> None:
        reading = latest_window(self._listening, name_s, self._plan)
        self._windows[name_s] = reading.window
        if name_s == WINDOWS_S[0] and reading.measured is None:
            self.why = reading.why
            self._look_for_reason()
        if name_s != WINDOWS_S[-1]:
            return
        self.doubts = reading.doubts
        peak = reading.measured.find("flutter.weighted_peak") if reading.measured else None
        self._lines = lines_of(peak.lines) if peak else ()

    def _look_for_reason(self) -> None:
        """What the last seconds hold, where they hold no tone."""
        stretch = self._listening.stretch(REASON_OVER_S)
        if stretch is None:
            return
        try:
            gate(stretch.track, REASON_OVER_S / 2)
            self.why = None
        except SignalError as error:
            self.why = error
