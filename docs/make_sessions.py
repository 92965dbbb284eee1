"""Run the commands that the pages show, and write down what they print today.

Run it with `python docs/make_sessions.py`. In `README.md` and `docs/*.md`

- a block marked `console` holds commands after `$`, each with its output: they are run from top
  to bottom in one empty folder a page, and the output is written anew;
- a block marked `sh` holds commands alone, which are run too;
- a comment `<!-- before: runstrue … -->` is run without being shown;
- a comment `<!-- shown: WORDS; WORDS -->` above a `console` block keeps to the paragraphs that
  begin with these words, where the output has such; '…' stands for what is left out;
- a comment `<!-- file: NAME -->` writes the block below it to a file of that name;
- everything else stands as it is.

Only `runstrue` is run. A test runs all of it and holds the words to what is printed.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from runstrue.cli.main import main as runstrue

ROOT = Path(__file__).parent.parent
DAY = "14 March 2026"
"""Stands for the day on which the pages were written."""

Run = Callable[[str], str]

_STEP = re.compile(
    r"^<!-- before: (?P<before>[^\n]*?) -->$"
    r"|^<!-- file: (?P<file>[\w.-]+) -->\n+```\w+\n(?P<held>.*?)^```$"
    r"|^(?P<head>(?:<!-- shown: (?P<shown>[^\n]*?) -->\n+)?)```console\n(?P<console>.*?)^```$"
    r"|^```sh\n(?P<sh>.*?)^```$",
    re.DOTALL | re.MULTILINE,
)
_DATE = re.compile(r"\b\d{1,2} (?:January|February|March|April|May|June|July|August|September|"
                   r"October|November|December) \d{4}\b")  # fmt: skip


def main() -> None:
    """Write every page whose sessions print something else by now."""
    for page in pages():
        before = page.read_text(encoding="utf-8")
        with tempfile.TemporaryDirectory() as folder, inside(Path(folder)):
            after = replayed(before)
        if after != before:
            page.write_text(after, encoding="utf-8")
            print(f"{page.name}: sessions written anew")


def pages() -> list[Path]:
    """Return all pages that may hold a session."""
    return [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]


def replayed(page: str, run: Run | None = None) -> str:
    """Return a page with the output of its commands written anew.

    Parameters
    ----------
    page : str
    run : callable, optional
        Runs one command line and returns what it printed; else `run_here`.

    Raises
    ------
    RuntimeError
        When a command does not end with exit code 0.
    """
    run = run or run_here

    def step(found: re.Match[str]) -> str:
        if found["before"] is not None:
            run(found["before"])
        elif found["file"] is not None:
            Path(found["file"]).write_text(found["held"], encoding="utf-8")
        elif found["sh"] is not None:
            for command in _joined(found["sh"].splitlines()):
                run(command)
        else:
            wanted = tuple((found["shown"] or "").split("; "))
            told = "\n".join(_session(found["console"], run, wanted))
            return f"{found['head']}```console\n{told}\n```"
        return found[0]

    return _STEP.sub(step, page)


def run_here(command: str) -> str:
    """Run one `runstrue …` in this process and return what it printed."""
    name, *arguments = shlex.split(command)
    if name != "runstrue":
        raise RuntimeError(f"'{command}' is not a command of Runstrue")
    told = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    with contextlib.redirect_stdout(told), contextlib.redirect_stderr(told):
        code = runstrue(arguments)
    told.seek(0)
    text = told.read()
    if code:
        raise RuntimeError(f"'{command}' ended with {code}: {text}")
    return _DATE.sub(DAY, text)


@contextlib.contextmanager
def inside(folder: Path) -> Iterator[None]:
    """Work in a folder, with a bench of its own there."""
    kept = {name: os.environ.get(name) for name in ("RUNSTRUE_BENCH", "COLUMNS")}
    os.environ.update(RUNSTRUE_BENCH="bench", COLUMNS="80")
    try:
        with contextlib.chdir(folder):
            yield
    finally:
        for name, value in kept.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _session(block: str, run: Run, wanted: tuple[str, ...]) -> Iterator[str]:
    lines = block.splitlines()
    for command in _joined(line[2:] for line in lines if line.startswith(("$ ", "> "))):
        first, *more = command.split("\n")
        yield f"$ {first}"
        yield from (f"> {line}" for line in more)
        yield from _kept(run(command.replace("\\\n", "")).rstrip(), wanted)


def _kept(told: str, wanted: tuple[str, ...]) -> Iterator[str]:
    """Yield the paragraphs that are wanted, or all where none of them is there."""
    paragraphs = told.split("\n\n")
    kept = [
        part for part in paragraphs if any(words and part.startswith(words) for words in wanted)
    ]
    if kept:
        yield "…"
        yield from "\n\n".join(kept).splitlines()
    else:
        yield from told.splitlines()


def _joined(lines: Iterable[str]) -> Iterator[str]:
    """Join lines that end in a backslash with the next, the break kept."""
    whole = ""
    for line in lines:
        whole += line
        if whole.endswith("\\"):
            whole += "\n"
            continue
        if whole.strip():
            yield whole
        whole = ""


if __name__ == "__main__":
    main()
