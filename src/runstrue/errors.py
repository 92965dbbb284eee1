"""The errors of Runstrue, and how each becomes one sentence.

    RunstrueError            anything the user can be told in one sentence
    ├── InputError           something handed in cannot be used
    │   ├── FileError        a file cannot be read or written
    │   ├── SignalError      the recording holds nothing that can be measured
    │   ├── SheetError       the words of a spec sheet cannot be used
    │   └── DescriptionError a description that people write (tape, transport) is wrong
    ├── LogbookError         the logbook cannot be opened, read or written
    └── Stopped              the user stopped the work

Every one of them says what was seen, what was needed and what to do next. One place
(`runstrue.cli.main`, later also the web door) turns them into words and exit codes.
This module imports nothing.
"""

from __future__ import annotations


class RunstrueError(Exception):
    """An error that is told to the user in one sentence.

    Parameters
    ----------
    seen : str
        What was found, beginning with a capital letter: 'Only 3.2 s of tone were found'.
    needed : str, optional
        What would have been needed: '10 s are needed'.
    next_step : str, optional
        What to do now: 'record longer'.

    Examples
    --------
    >>> str(RunstrueError("Only 3.2 s of tone were found", "10 s are needed", "record longer"))
    'Only 3.2 s of tone were found; 10 s are needed; record longer.'
    """

    def __init__(self, seen: str, needed: str = "", next_step: str = "") -> None:
        self.seen = seen
        self.needed = needed
        self.next_step = next_step
        super().__init__("; ".join(part for part in (seen, needed, next_step) if part) + ".")

    def __reduce__(self) -> tuple[type[RunstrueError], tuple[str, str, str]]:
        """Travel whole between processes, since the message is made of three parts."""
        return type(self), (self.seen, self.needed, self.next_step)


class InputError(RunstrueError):
    """Something that was handed in cannot be used."""


class FileError(InputError):
    """A file cannot be read or written."""


class SignalError(InputError):
    """The recording holds nothing that can be measured."""


class SheetError(InputError):
    """The words of a spec sheet cannot be used."""


class DescriptionError(InputError):
    """A description that people write (a test tape, a transport) is wrong."""


class LogbookError(RunstrueError):
    """The logbook cannot be opened, read or written."""


class Stopped(RunstrueError):  # noqa: N818  stopping is no error of anybody's
    """The user stopped the work."""

    def __init__(
        self,
        seen: str = "Stopped",
        needed: str = "nothing was left half-written",
        next_step: str = "",
    ) -> None:
        super().__init__(seen, needed, next_step)
