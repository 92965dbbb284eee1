"""The help: there at once, within 80 columns, with examples that are right."""

from __future__ import annotations

import shlex
import subprocess
import sys
from collections.abc import Iterator

import click
import pytest

from runstrue.cli.layout import shown_width
from runstrue.cli.main import COMMANDS, runstrue

HEAVY = ("numpy", "scipy", "soundfile", "matplotlib", "msgspec", "sqlite3", "joblib", "rich")


def _all_commands() -> Iterator[tuple[str, click.Command]]:
    root = click.Context(runstrue, info_name="runstrue")
    for name in runstrue.list_commands(root):
        command = runstrue.get_command(root, name)
        assert command is not None
        yield name, command
        if isinstance(command, click.Group):
            for part in command.list_commands(root):
                below = command.get_command(root, part)
                assert below is not None
                yield f"{name} {part}", below


ALL = dict(_all_commands())


def _help_of(name: str) -> str:
    command = ALL[name]
    with click.Context(command, info_name=f"runstrue {name}") as ctx:
        return command.get_help(ctx)


@pytest.mark.parametrize("arguments", [["--help"], ["measure", "--help"], ["deck", "add", "-h"]])
def test_help_loads_nothing_that_is_slow(arguments: list[str]) -> None:
    program = (
        "import sys; from runstrue.cli.main import main; code = main(sys.argv[1:]); "
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr); "
        "sys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, *arguments], capture_output=True, text=True, check=True
    )
    assert "Usage: runstrue" in done.stdout
    assert done.stderr.strip() == "[]"


def test_every_listed_command_is_there_and_says_the_same_of_itself() -> None:
    for name, (_, line) in COMMANDS.items():
        assert ALL[name].get_short_help_str(limit=200) == line


@pytest.mark.parametrize("name", ALL)
def test_help_stays_within_80_columns(name: str) -> None:
    assert [line for line in _help_of(name).splitlines() if shown_width(line) > 80] == []


@pytest.mark.parametrize("name", ALL)
def test_help_teaches_by_an_example(name: str) -> None:
    assert any(line.strip().startswith(f"runstrue {name}") for line in _help_of(name).splitlines())


def test_the_main_help_stays_within_80_columns() -> None:
    with click.Context(runstrue, info_name="runstrue") as ctx:
        lines = runstrue.get_help(ctx).splitlines()
    assert [line for line in lines if shown_width(line) > 80] == []


def _examples() -> list[str]:
    with click.Context(runstrue, info_name="runstrue") as ctx:
        texts = [runstrue.get_help(ctx), *map(_help_of, ALL)]
    lines = {line.strip() for text in texts for line in text.splitlines()}
    return sorted(line for line in lines if line.startswith("runstrue "))


@pytest.mark.parametrize("example", _examples())
def test_every_example_in_the_help_is_a_call_that_is_understood(example: str) -> None:
    words = shlex.split(example)[1:]
    ctx = click.Context(runstrue, info_name="runstrue")
    command: click.Command = runstrue
    while isinstance(command, click.Group) and words:
        found = command.get_command(ctx, words[0])
        assert found is not None, f"no command '{words[0]}'"
        command, words = found, words[1:]
    command.make_context(command.name or "", words, parent=ctx)  # raises where it is misspelt
