"""Every error is one sentence: what was seen, what was needed, what to do next."""

from __future__ import annotations

import pickle

import pytest

from runstrue import errors
from runstrue.errors import InputError, RunstrueError, SignalError, Stopped


def test_three_parts_become_one_sentence() -> None:
    error = SignalError("Only 3.2 s of tone were found", "10 s are needed", "record longer")
    assert str(error) == "Only 3.2 s of tone were found; 10 s are needed; record longer."
    assert str(InputError("Nothing was found")) == "Nothing was found."
    assert (error.seen, error.needed, error.next_step) == (
        "Only 3.2 s of tone were found", "10 s are needed", "record longer",
    )  # fmt: skip


@pytest.mark.parametrize(
    "kind",
    [one for one in vars(errors).values() if isinstance(one, type)
     and issubclass(one, RunstrueError)],
)  # fmt: skip
def test_every_error_travels_between_processes_with_its_parts(kind: type[RunstrueError]) -> None:
    error = kind("Seen", "needed", "next")
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is kind
    assert (str(again), again.seen, again.needed, again.next_step) == (
        str(error), "Seen", "needed", "next",
    )  # fmt: skip


def test_being_stopped_says_that_nothing_is_half_written() -> None:
    assert str(Stopped()) == "Stopped; nothing was left half-written."


def test_one_clause_catches_all_that_was_handed_in() -> None:
    kinds = (errors.FileError, errors.SignalError, errors.SheetError, errors.DescriptionError)
    assert all(issubclass(kind, InputError) for kind in kinds)
    assert not issubclass(errors.LogbookError, InputError)
