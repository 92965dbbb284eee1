"""What all tests share: programs from Debian, and the folder for things to look at."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip, or in CI fail, a test whose program from Debian is missing."""
    for mark in item.iter_markers("debian"):
        for program in mark.args:
            if shutil.which(program):
                continue
            reason = f"needs the program '{program}' (Debian package), which is not installed"
            if os.environ.get("RUNSTRUE_NO_SKIPS"):
                pytest.fail(reason, pytrace=False)
            pytest.skip(reason)


@pytest.fixture(scope="session")
def output_folder() -> Path:
    """Return the folder where tests leave pictures and papers for a person to look at."""
    folder = Path(__file__).parent / "output"
    folder.mkdir(exist_ok=True)
    return folder
