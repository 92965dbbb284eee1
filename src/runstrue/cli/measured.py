"""Recordings named on the command line, measured one by one or several at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runstrue.errors import RunstrueError

if TYPE_CHECKING:
    from runstrue.cli.parts_work import Looked
    from runstrue.result import Measured
    from runstrue.runner import Judging, Outcome, Plan
    from runstrue.samples import Origin
    from runstrue.verdict.models import Verdict

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Job:
    """One recording to measure, or why there is none.

    Parameters
    ----------
    given : str
        As it was named on the command line.
    path : Path
    error : RunstrueError or None
        A folder without recordings has nothing to measure.
    """

    given: str
    path: Path
    error: RunstrueError | None = None


@dataclass(slots=True)
class Done:
    """What became of one job.

    Parameters
    ----------
    given, path
        As in `Job`.
    measured : Measured or None
        None when it could not be used; `error` then says why.
    stored : dict or None
        Deck, stage, and number of the capture in the logbook.
    parts : Looked or None
        Which part makes the flutter, where it is known what turns.
    """

    given: str
    path: Path
    origin: Origin | None = None
    measured: Measured | None = None
    verdicts: tuple[Verdict, ...] = ()
    error: RunstrueError | None = None
    stored: dict[str, Any] | None = None
    parts: Looked | None = None


def jobs_of(names: Sequence[str]) -> list[Job]:
    """Return the recordings of these files and folders, in order."""
    from runstrue.capture.file import recordings_in

    jobs = []
    for name in names:
        path = Path(name)
        if not path.is_dir():
            jobs.append(Job(name, path))
            continue
        try:
            jobs += [Job(str(found), found) for found in recordings_in(path)]
        except RunstrueError as error:
            jobs.append(Job(name, path, error))
    return jobs


def measure_jobs(
    jobs: Sequence[Job],
    plan: Plan,
    judging: Judging,
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Iterator[Done]:
    """Measure all of them; what is done comes in the order given.

    Parameters
    ----------
    workers : int, optional
        How many at a time; else one for each core.
    progress : callable, optional
        Called with the seconds listened to, where there is a single recording.
    """
    import warnings

    from runstrue.runner import measure_file, measure_files

    # a stop (Ctrl-C) cancels what is under way on purpose; joblib would call that a waste
    warnings.filterwarnings("ignore", ".*tasks which were still being processed", UserWarning)
    paths = [job.path for job in jobs if job.error is None]
    if len(paths) == 1:
        outcomes = iter([measure_file(paths[0], plan, judging, progress)])
    else:
        outcomes = iter(measure_files(paths, plan, judging, workers)) if paths else iter(())
    for job in jobs:
        if job.error is not None:
            yield Done(job.given, job.path, error=job.error)
        else:
            yield done_of(job.given, next(outcomes))


def done_of(given: str, outcome: Outcome) -> Done:
    """Say what became of a job."""
    return Done(
        given, outcome.path, outcome.origin, outcome.measured, outcome.verdicts, outcome.error
    )


def combine(done: Sequence[Done], judging: Judging) -> Done | None:
    """Put those that could be used together as starts of one reading; None where too few."""
    from runstrue.runner import Outcome, judge_starts

    starts = [
        Outcome(one.path, one.origin, one.measured, (), None)
        for one in done
        if one.measured is not None
    ]
    if len(starts) < 2:
        return None
    return done_of("starts of one reading", judge_starts(starts, judging))
