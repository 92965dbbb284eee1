"""The terminal's own answer on a page, word for word: for what is worked out and not kept.

A command runs in a process of its own, without a shell. What was typed goes in as one value
behind its option's name, so that it can be nothing else.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from runstrue.errors import InputError

LONGEST_S = 60.0
CODE = "from runstrue.cli.main import run; run()"


def answer(words: Sequence[str], options: Sequence[tuple[str, str]], bench: Path) -> str:
    """Return what a command prints.

    Parameters
    ----------
    words : sequence of str
        The command: ('belt', 'size').
    options : sequence of (str, str)
        Name without its dashes, and value; empty values are left out.
    bench : Path

    Raises
    ------
    InputError
        With the command's own sentence, where it refuses.
    """
    given = [f"--{name}={value}" for name, value in options if value]
    environment = {
        **os.environ, "COLUMNS": "80", "NO_COLOR": "1", "RUNSTRUE_BENCH": str(bench),
    }  # fmt: skip
    try:
        ran = subprocess.run(
            [sys.executable, "-c", CODE, *words, *given], capture_output=True, text=True,
            encoding="utf-8", timeout=LONGEST_S, check=False, env=environment,
            stdin=subprocess.DEVNULL,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise InputError("That took longer than a minute", "less at a time is needed") from None
    if ran.returncode not in (0, 1) or not ran.stdout:
        raise InputError(ran.stderr.strip() or "That could not be worked out")
    return ran.stdout.rstrip()
