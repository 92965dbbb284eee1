"""Plan, capture, measure, judge: one recording or many, with progress and a way to stop.

Storage is handed in by the caller; nothing here knows the logbook.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from runstrue.capture.file import FileSource
from runstrue.errors import RunstrueError, Stopped
from runstrue.measure.listen import Progress
from runstrue.measure.recognise import recognise
from runstrue.measure.starts import combine_starts
from runstrue.measure.tape_tone import TonePlan, measure_tone
from runstrue.measure.whole_sheet import ProgrammePlan, measure_programme
from runstrue.result import Measured
from runstrue.samples import Origin
from runstrue.verdict.judge import judge
from runstrue.verdict.models import Limit, Verdict


@dataclass(frozen=True, slots=True)
class AnyPlan:
    """Whatever a recording holds: one of these programmes, or else a tone.

    Parameters
    ----------
    programmes : tuple of ProgrammePlan
    tone : TonePlan
    """

    programmes: tuple[ProgrammePlan, ...]
    tone: TonePlan


Plan = TonePlan | ProgrammePlan | AnyPlan
"""What a recording is taken to hold."""


@dataclass(frozen=True, slots=True)
class Judging:
    """By which limits recordings are judged, and under which conditions they were made.

    Parameters
    ----------
    limits : tuple of Limit
        Of the deck's sheet.
    conditions : mapping of str to str
        Such as the tape speed chosen; limits for others cannot be compared.
    """

    limits: tuple[Limit, ...] = ()
    conditions: Mapping[str, str] = field(default_factory=dict)

    def of(self, measured: Measured) -> tuple[Verdict, ...]:
        """Judge what one recording said."""
        return judge(self.limits, measured.results, conditions=self.conditions)


UNJUDGED = Judging()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one recording.

    Parameters
    ----------
    path : Path
    origin : Origin or None
        None when the file could not be opened.
    measured : Measured or None
        None when it could not be used; `error` then says why.
    verdicts : tuple of Verdict
    error : RunstrueError or None
    """

    path: Path
    origin: Origin | None
    measured: Measured | None
    verdicts: tuple[Verdict, ...]
    error: RunstrueError | None


def measure_file(
    path: Path, plan: Plan, judging: Judging = UNJUDGED, progress: Progress | None = None
) -> Outcome:
    """Measure one recording and judge it.

    Parameters
    ----------
    path : Path
    plan : TonePlan or ProgrammePlan
    judging : Judging
    progress : callable, optional
        Called with the seconds done; an exception it raises stops the work.

    Returns
    -------
    Outcome
        With `error` set, rather than raising, when this recording cannot be used.
    """
    try:
        source = FileSource(path)
        measured = _measured(source, plan, progress)
        if source.doubts:
            measured = _with_doubts(measured, source.doubts)
        return Outcome(path, source.origin(), measured, judging.of(measured), None)
    except Stopped:
        raise
    except RunstrueError as error:
        return Outcome(path, None, None, (), error)


def _measured(source: FileSource, plan: Plan, progress: Progress | None) -> Measured:
    if isinstance(plan, ProgrammePlan):
        return measure_programme(source, plan, progress=progress)
    if isinstance(plan, AnyPlan):
        finding = recognise(source, [one.programme for one in plan.programmes], progress=progress)
        if finding is not None:
            own = next(one for one in plan.programmes if one.programme is finding.programme)
            return measure_programme(source, own, finding=finding, progress=progress)
        plan = plan.tone
    return measure_tone(
        source.blocks(),
        source.rate_hz,
        source.channels,
        plan,
        expected_frames=source.frames,
        progress=progress,
    )


def measure_files(
    paths: Sequence[Path],
    plan: Plan,
    judging: Judging = UNJUDGED,
    jobs: int | None = None,
) -> Iterator[Outcome]:
    """Measure many recordings, several at a time; outcomes come in the order given."""
    workers = min(jobs or os.cpu_count() or 1, len(paths))
    if workers <= 1:
        yield from (measure_file(path, plan, judging) for path in paths)
        return
    from joblib import Parallel, delayed  # a tenth of a second that one file need not wait for

    with Parallel(n_jobs=workers, return_as="generator") as pool:
        with _children_deaf_to_ctrl_c():
            outcomes = pool(delayed(measure_file)(path, plan, judging) for path in paths)
        yield from outcomes


@contextmanager
def _children_deaf_to_ctrl_c() -> Iterator[None]:
    """Let processes that are started here leave Ctrl-C to this one, which ends them itself.

    A terminal sends it to all of them, and each would print a traceback of its own. They inherit
    what is ignored when they start (POSIX, exec).
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def judge_starts(outcomes: Iterable[Outcome], judging: Judging = UNJUDGED) -> Outcome:
    """Put the starts of one reading together and judge them as one.

    Raises
    ------
    RunstrueError
        When one of the starts could not be used, or they do not belong together.
    """
    starts = list(outcomes)
    for start in starts:
        if start.error is not None:
            raise start.error
    measured = combine_starts([start.measured for start in starts if start.measured is not None])
    return Outcome(starts[0].path, starts[0].origin, measured, judging.of(measured), None)


def _with_doubts(measured: Measured, doubts: Sequence[str]) -> Measured:
    return Measured(
        measured.summary,
        measured.results,
        measured.deviation,
        measured.traces,
        measured.conditions,
        (*measured.doubts, *doubts),
    )
