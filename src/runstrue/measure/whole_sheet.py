"""Everything that one recording of a programme says: the whole performance sheet in one go.

The sections are found in one pass over the recording; then each measurement reads the sections
that serve it, one after the other, and lets them go. What cannot be measured is said in a
sentence and keeps nothing else from being measured.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from runstrue.errors import RunstrueError, SignalError, Stopped
from runstrue.measure.azimuth import CASSETTE, Tracks, measure_azimuth
from runstrue.measure.card import ANY_CARD, CardFigures, with_card
from runstrue.measure.companding import measure_companding
from runstrue.measure.distortion import measure_distortion, measure_mol, measure_sol
from runstrue.measure.dropouts import ToneSlices, read_dropouts
from runstrue.measure.finding import find_sections
from runstrue.measure.hum import hum_lines_hz, measure_hum
from runstrue.measure.inputs import measure_input
from runstrue.measure.levels import Calibration, measure_levels, reference_of
from runstrue.measure.listen import Progress
from runstrue.measure.modulation_noise import measure_modulation_noise
from runstrue.measure.noise import Reference, measure_noise
from runstrue.measure.print_through import measure_print_through
from runstrue.measure.read_ahead import also, blocks_ahead, stretches_ahead
from runstrue.measure.response import measure_response
from runstrue.measure.response_shape import read_shape
from runstrue.measure.sections import Finding, Found, SeekSource, Stretch, read_stretch
from runstrue.measure.separation import measure_residue, measure_separation
from runstrue.measure.tape_tone import TonePlan, measure_tone
from runstrue.result import Condition, Measured, Result
from runstrue.stimulus.programme import Programme

ENOUGH_SILENCE_S = 20.0
"""Noise over 20 s is known to 0.02 dB; more costs time and tells nothing (own reckoning)."""
LEFT_RIGHT = ("left", "right")


@dataclass(frozen=True, slots=True)
class ProgrammePlan:
    """What was played, and what the readings rest on.

    Parameters
    ----------
    programme : Programme
    tone : TonePlan
        For the speed section: the sound card, and the tape where it was bought.
    calibration : Calibration or None
        Of the sound card's input.
    card : CardFigures
        What the sound card adds to readings.
    output : Calibration or None
        Of the sound card's output, for inputs.
    zero_dbfs : float or None
        What the deck's 0 dB gives in the recording, for inputs and for the flux of its 0 dB.
    input_name : str
    noise_reduction : {'on', 'off', ''}
        While playing.
    level_set_dbfs : float or None
        What 400 Hz at 200 nWb/m of a level tape gives in the recording.
    tracks : Tracks
        Geometry of the two channels on the tape, and the tape speed.
    treble_us : (float, float) or None
        Treble time constants that the deck's tape switch offers.
    """

    programme: Programme
    tone: TonePlan
    calibration: Calibration | None = None
    card: CardFigures = ANY_CARD
    output: Calibration | None = None
    zero_dbfs: float | None = None
    input_name: str = ""
    noise_reduction: str = ""
    level_set_dbfs: float | None = None
    tracks: Tracks = CASSETTE
    treble_us: tuple[float, float] | None = (120.0, 70.0)

    @property
    def path(self) -> str:
        """Whether the deck's own recording or a bought tape was played."""
        return "record and play" if self.programme.kind == "made" else "playback"


def measure_programme(
    source: SeekSource,
    plan: ProgrammePlan,
    *,
    finding: Finding | None = None,
    progress: Progress | None = None,
) -> Measured:
    """Measure every section of a programme that a recording holds.

    Parameters
    ----------
    source : SeekSource
        Read through once, and then section by section.
    plan : ProgrammePlan
    finding : Finding, optional
        Where it was already looked for the programme.
    progress : callable, optional
        Called with the seconds of the recording that were listened to or measured.

    Raises
    ------
    SignalError
        When the recording cannot be trusted as a whole, or nothing of the programme is in it.
    """
    if finding is None:
        finding = find_sections(source, plan.programme, progress=progress)
    if not finding.trusted or not finding.found:
        seen = finding.remarks[0].rstrip(".") if finding.remarks else (
            f"Nothing of the programme '{plan.programme.name}' was found"
        )  # fmt: skip
        raise SignalError(seen, next_step="play and record the programme from its beginning")
    return _Sheet(source, plan, finding, progress).measured()


COARSE_HZ, COARSE_S = 2000.0, 3.0
"""Tones that tell the whole turns of the azimuth of a finer one, and so much of each."""


class _Sheet:
    """The measurements of one recording, in the order of the job."""

    def __init__(
        self, source: SeekSource, plan: ProgrammePlan, finding: Finding, progress: Progress | None
    ) -> None:
        self.source, self.plan, self.finding = source, plan, finding
        self.progress = progress
        # stretches come in the programme's order, whichever way the plugs were in
        self.channels = LEFT_RIGHT if len(finding.channels) == 2 else finding.channels
        self.results: list[Result] = []
        self.doubts: list[str] = [*finding.remarks]
        self.reference: Reference | None = None
        self.speed: Measured | None = None
        self.silence: Stretch | None = None
        self.slices: tuple[Found, ToneSlices] | None = None  # of the tone that speed was read from

    def measured(self) -> Measured:
        """Measure all and put it together."""
        for what, work in (
            ("levels", self._levels),
            ("speed and flutter", self._speed),
            ("frequency response", self._response),
            ("azimuth", self._azimuth),
            ("noise and hum", self._noise),
            ("distortion", self._distortion),
            ("output limits", self._limits),
            ("separation", self._separation),
            ("erasure", self._erasure),
            ("dropouts", self._dropouts),
            ("modulation noise", self._modulation),
            ("print-through", self._print_through),
            ("noise reduction", self._companding),
            ("input", self._input),
        ):
            self._try(what, work)
        if not self.results and self.speed is None:
            raise SignalError(
                "Sections of the programme were found, but none could be measured",
                self.doubts[-1].rstrip(".") if self.doubts else "",
            )
        return self._together()

    def _try(self, what: str, work: Callable[[], Sequence[Result]]) -> None:
        try:
            self.results += work()
        except Stopped:
            raise
        except RunstrueError as error:
            said = str(error)
            self.doubts.append(f"No {what}: {said[:1].lower()}{said[1:]}")

    def _stretches(self, quantity_id: str, *kinds: str) -> Iterator[Stretch]:
        chosen = [
            found for found in self.finding.serving(quantity_id)
            if not kinds or found.section.kind in kinds
        ]  # fmt: skip
        for stretch in stretches_ahead(self.source, chosen):
            self._passed(stretch.found)
            yield stretch

    def _read(self, found: Found) -> Stretch:
        stretch = read_stretch(self.source, found)
        self._passed(found)
        return stretch

    def _passed(self, found: Found) -> None:
        if self.progress is not None:
            self.progress(found.starts_s + found.lasts_s)

    def _levels(self) -> Sequence[Result]:
        tones = [one for one in self.finding.serving("level.output") if one.section.kind == "tone"]
        if not any(one.section.channels == "both" for one in tones):
            return []
        return measure_levels(
            self._referring(), self.plan.programme, self.channels, self.plan.calibration,
            self.plan.zero_dbfs,
        )  # fmt: skip

    def _referring(self) -> Iterator[Stretch]:
        """The level tones; the first that both channels carry is what others are told against."""
        for stretch in self._stretches("level.output", "tone"):
            if self.reference is None and stretch.section.channels == "both":
                self.reference = reference_of(stretch, self.plan.programme)
            yield stretch

    def _speed(self) -> Sequence[Result]:
        longest = max(
            self.finding.serving("speed.deviation"), key=lambda one: one.lasts_s, default=None
        )
        if longest is None:
            return []
        own = self.plan.programme.kind == "made"
        tone = replace(self.plan.tone, tone_hz=longest.section.frequencies_hz[0], self_recorded=own)
        slices = self._new_slices(longest)
        self.speed = measure_tone(
            also(slices.add, blocks_ahead(self.source, longest)), self.source.rate_hz,
            self.source.channels, tone,
        )  # fmt: skip
        self.slices = longest, slices
        return [one for one in self.speed.results if one.id.startswith(("speed.", "flutter."))]

    def _new_slices(self, found: Found) -> ToneSlices:
        played_hz = found.section.frequencies_hz[0] * found.speed_ratio
        return ToneSlices(self.source.rate_hz, played_hz, self.source.channels)

    def _response(self) -> Sequence[Result]:
        if not self.finding.serving("response.gain"):
            return []
        gains = measure_response(
            self._stretches("response.gain"), self.plan.programme, self.channels,
            path=self.plan.path,
        )  # fmt: skip
        shapes = [
            read_shape(one, self.plan.tracks.speed_mm_per_s, self.plan.treble_us)
            for one in _lowest_level(gains)
        ]
        return [*gains, *(one for one in shapes if one is not None)]

    def _azimuth(self) -> Sequence[Result]:
        if not self.finding.serving("azimuth.delay"):
            return []
        found = list(self._stretches("azimuth.delay", "tone", "multitone"))
        coarser = [self._read(one) for one in self._coarse()]
        return measure_azimuth(found, self.plan.tracks, self.plan.programme.source, coarser=coarser)

    def _coarse(self) -> list[Found]:
        """Low tones and pulses that tell the whole turns of the azimuth, a few seconds of each."""
        lowest: dict[float, Found] = {}
        for one in self.finding.serving("level.output"):
            tones_hz = one.section.frequencies_hz
            low = one.section.kind == "tone" and tones_hz[0] <= COARSE_HZ
            if low and one.section.channels == "both":
                kept = lowest.get(tones_hz[0])
                lowest[tones_hz[0]] = one if kept is None or one.lasts_s < kept.lasts_s else kept
        return [
            *(replace(one, lasts_s=min(one.lasts_s, COARSE_S)) for one in lowest.values()),
            *self.finding.serving("phase.polarity")[:1],
        ]

    def _silence(self) -> Stretch | None:
        silences = [
            one for one in self.finding.serving("noise.unweighted") if one.section.kind == "silence"
        ]
        longest = max(silences, key=lambda one: one.lasts_s, default=None)
        if longest is None:
            return None
        if self.silence is None:
            middle_s = longest.starts_s + longest.lasts_s / 2
            lasts_s = min(longest.lasts_s, ENOUGH_SILENCE_S)
            self.silence = self._read(
                replace(longest, starts_s=middle_s - lasts_s / 2, lasts_s=lasts_s)
            )
        return self.silence

    def _noise(self) -> Sequence[Result]:
        silence = self._silence()
        if silence is None:
            return []
        hum = measure_hum(
            silence.samples, silence.rate_hz, self.channels, self.reference,
            self.finding.speed_ratio,
        )  # fmt: skip
        noise = measure_noise(
            silence.samples, silence.rate_hz, self.channels, self.reference, hum_lines_hz(hum)
        )
        return [*noise, *hum]

    def _distortion(self) -> Sequence[Result]:
        found = list(self._stretches("distortion.third", "tone"))
        return measure_distortion(found, self.channels) if found else []

    def _limits(self) -> Sequence[Result]:
        results: list[Result] = []
        for stretch in self._stretches("level.mol", "ramp"):
            results += measure_mol(stretch, self.channels, self.reference)
        for stretch in self._stretches("level.sol", "ramp"):
            results += measure_sol(stretch, self.channels, self.reference)
        return results

    def _separation(self) -> Sequence[Result]:
        found = list(self._stretches("separation.channels", "tone"))
        return measure_separation(found, self.channels) if found else []

    def _erasure(self) -> Sequence[Result]:
        found = list(self._stretches("erasure.depth", "tone"))
        if len(found) < 2:
            return []
        loud, rest = sorted(found, key=lambda one: -max(one.found.level_dbfs))[:2]
        return measure_residue("erasure.depth", loud, rest, self.channels)

    def _dropouts(self) -> Sequence[Result]:
        found = max(
            self.finding.serving("dropout.count"), key=lambda one: one.lasts_s, default=None
        )
        if found is None:
            return []
        if self.slices is not None and self.slices[0] is found:
            return read_dropouts(self.slices[1], self.channels)
        slices = self._new_slices(found)
        for block in blocks_ahead(self.source, found):
            slices.add(block)
        return read_dropouts(slices, self.channels)

    def _modulation(self) -> Sequence[Result]:
        tone = next(self._stretches("noise.modulation", "tone"), None)
        silence = self._silence() if tone else None
        if tone is None or silence is None:
            return []
        return measure_modulation_noise(tone, silence, self.channels)

    def _print_through(self) -> Sequence[Result]:
        loud = next(self._stretches("print.through", "tone"), None)
        if loud is None:
            return []
        after = list(self._stretches("print.through", "silence"))
        return measure_print_through(loud, after, self.channels)

    def _companding(self) -> Sequence[Result]:
        found = list(self._stretches("companding.tracking", "tone"))
        if not found:
            return []
        wanted = self.plan.level_set_dbfs
        return measure_companding(
            found, self.channels, played=self.plan.noise_reduction,
            level_set_dbfs=() if wanted is None else (wanted,) * len(self.channels),
        )  # fmt: skip

    def _input(self) -> Sequence[Result]:
        ramp = next(self._stretches("input.sensitivity", "ramp"), None)
        if ramp is None:
            return []
        return measure_input(
            ramp, self.channels, self.plan.programme.reference_dbfs, self.plan.output,
            self.plan.zero_dbfs, self.plan.input_name,
        )  # fmt: skip

    def _together(self) -> Measured:
        finding, programme = self.finding, self.plan.programme
        for one in finding.missing:
            if one.section.serves:
                self.doubts.append(f"Section '{one.section.id}' was not measured: {one.why}.")
        conditions: dict[str, Condition] = {
            "programme": programme.key,
            "path": self.plan.path,
            "speed ratio": round(finding.speed_ratio, 5),
        }
        if self.speed is not None:
            conditions = {**self.speed.conditions, **conditions}
            self.doubts += self.speed.doubts
        return Measured(
            f"Programme '{programme.name}': {len(finding.found)} of "
            f"{len(programme.sections)} sections found, "
            f"{len({one.id for one in self.results})} kinds of readings.",
            with_card(self.results, self.plan.card),
            self.speed.deviation if self.speed else None,
            self.speed.traces if self.speed else (),
            conditions,
            tuple(dict.fromkeys(self.doubts)),
        )


def _lowest_level(gains: Sequence[Result]) -> list[Result]:
    """The response of each channel that says most about the head: the softest one, tones first."""
    chosen: dict[str, Result] = {}
    for one in gains:
        assert one.table is not None
        known = chosen.get(one.channel)
        if known is None or _rank(one) < _rank(known):
            chosen[one.channel] = one
    return list(chosen.values())


def _rank(gain: Result) -> tuple[float, bool]:
    level = gain.conditions.get("level, dB", math.inf)
    return (
        float(level) if isinstance(level, float | int) else math.inf,
        gain.method != "response-tones/1",
    )
