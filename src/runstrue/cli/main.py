"""The door for the keyboard: commands, and the one place where errors become words and exit codes.

    0    done
    1    at least one input could not be used: one sentence each on stderr
    2    wrong usage: one sentence
    70   a fault of Runstrue itself; what happened is written to a file
    130  stopped with Ctrl-C

Commands are loaded only when they are called, and they load numpy and its like only inside
their functions, so that the help is there at once.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence

import click

from runstrue import __version__
from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleGroup
from runstrue.errors import RunstrueError, Stopped

DONE, UNUSABLE, WRONG_USAGE, STOPPED = 0, 1, 2, 130
FAULT = 70
"""EX_SOFTWARE of sysexits.h (4.3 BSD): an internal fault has been found."""
BROKEN_PIPE = 141
"""128 + SIGPIPE, as shells report a reader that went away."""

# name: (module, function), line of the list; a test holds the lines against the commands' own.
COMMANDS: dict[str, tuple[str, str]] = {
    "open": ("open_bench", "Open the bench in the browser."),
    "measure": ("measure", "Measure recordings of a test tape, and judge them."),
    "deck": ("decks", "Add, list, show, change and hide decks."),
    "visit": ("visits", "Begin and end a deck's stay on the bench."),
    "sheet": ("sheets", "Show how the lines of a spec sheet are understood."),
    "enter": ("enter", "Enter a reading from an instrument: torque, force, voltage."),
    "reading": ("readings", "Put right what was stored by a slip; nothing is deleted."),
    "compare": ("compare", "Set a deck as found against the same deck as left."),
    "report": ("report", "Write the printed sheet of a deck, and its pictures."),
    "tape": ("tapes", "Describe a test tape, bought or home-made."),
    "intake": ("intake", "Look a deck over before it gets power here."),
    "fault": ("fault", "Find what is wrong with a deck, check by check."),
    "transport": ("transport", "Describe what turns in a deck, and how fast it does."),
    "parts": ("parts", "Tell which part makes the flutter."),
    "belt": ("belt", "Find the length of a belt, and which one to buy."),
    "counter": ("counter", "Tell time played and left from the tape counter."),
    "programme": ("programme", "Write a test programme, and find it again in a recording."),
    "meter": ("meter", "Say what is wrong with a deck's own level meters."),
    "control": ("control", "Count the crackle of a control while it is worked."),
    "leak": ("leak", "Measure erasure, or what comes from the other side."),
    "card": ("cards", "Say what a sound card's clock, voltages and own errors are."),
    "practice": ("practice", "Play a virtual deck with a known fault to a file."),
    "words": ("words", "Explain quantities, methods and units."),
    "check": ("check", "Look through the logbook for damage."),
    "demo": ("demo", "Take an invented deck through the whole job."),
}


class LateGroup(ExampleGroup):
    """A group that loads a command's module only when that command is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load one command."""
        if cmd_name not in COMMANDS:
            return None
        module, _ = COMMANDS[cmd_name]
        loaded = importlib.import_module(f"runstrue.cli.{module}")
        command: click.Command = getattr(loaded, cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list without loading anything."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(
    cls=LateGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.version_option(__version__, "-V", "--version", message="Runstrue %(version)s")
@bench_option
@click.pass_context
def runstrue(ctx: click.Context) -> None:
    """Measure an old tape deck with a sound card and a test tape, judge it, keep the record.

    Play a 3150 Hz or 3000 Hz test tape, record the deck's line output, then:
      runstrue measure a.flac --sheet "Wow and flutter 0.14 % DIN; speed ±1.5 %"

    Keep it with a deck, as found and as left, and hand over the printed sheet:
      runstrue deck add C-14 --maker Wrenholm --model C-14 --year 1979
      runstrue measure before.flac --deck C-14 --stage found
      runstrue measure after.flac --deck C-14 --stage left
      runstrue compare C-14
      runstrue report C-14

    All of it in the browser, with live readings: runstrue open

    No tape deck at hand? `runstrue demo` plays an invented one.
    Each command explains itself: runstrue measure --help
    """
    ctx.ensure_object(Bench)
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def run() -> None:
    """Run the command line and leave with its exit code."""
    sys.exit(main(sys.argv[1:]))


def main(arguments: Sequence[str]) -> int:
    """Run one command and return the exit code.

    Parameters
    ----------
    arguments : sequence of str
        Without the program's name.
    """
    try:
        with _quiet_pipe():
            outcome = runstrue.main(list(arguments), prog_name="runstrue", standalone_mode=False)
            sys.stdout.flush()
        return outcome if isinstance(outcome, int) else DONE
    except _ReaderGone:
        return BROKEN_PIPE
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except (click.Abort, KeyboardInterrupt, Stopped) as stop:
        said = str(stop) if isinstance(stop, Stopped) else str(Stopped())
        _say(f"\n{said}" if sys.stderr.isatty() else said)
        return STOPPED
    except click.UsageError as error:
        _say(_usage_words(error))
        return WRONG_USAGE
    except RunstrueError as error:
        _say(str(error))
        return UNUSABLE
    except click.ClickException as error:
        _say(error.format_message())
        return UNUSABLE
    except OSError as error:
        _say(_disk_words(error))
        return UNUSABLE
    except Exception as error:
        _say(_fault_words(error))
        return FAULT


class _ReaderGone(Exception):  # noqa: N818  nothing of ours went wrong
    """Whoever read what was printed has gone away."""


class _quiet_pipe:  # noqa: N801  used like a function in a with statement
    """Tell a reader that went away (`runstrue … | head`) from every other error."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        broken = isinstance(error, BrokenPipeError)
        # click turns a broken pipe into this exit with a wrapped stdout
        broken |= isinstance(error, SystemExit) and "Pacify" in type(sys.stdout).__name__
        if broken:
            _drop_output()
            raise _ReaderGone from None


def _say(sentence: str) -> None:
    click.echo(sentence, err=True)


def _usage_words(error: click.UsageError) -> str:
    """One sentence: what is wrong, and where the help is."""
    said = error.format_message().strip().rstrip(".")
    where = error.ctx.command_path if error.ctx else "runstrue"
    return f"{said}; see `{where} --help`."


def _disk_words(error: OSError) -> str:
    """Say what the disk, or whatever stdout leads to, refused."""
    reason = (error.strerror or str(error)).lower()
    if error.filename is None:
        _drop_output()
        return f"What was printed could not be written ({reason}); make room, or print elsewhere."
    return f"'{error.filename}' cannot be used ({reason}); check its name, rights and disk."


def _drop_output() -> None:
    """Send what is left in stdout nowhere, so that nothing is flushed into it at the end."""
    with open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), sys.__stdout__.fileno() if sys.__stdout__ else 1)


def _fault_words(error: Exception) -> str:
    """Say that the fault is ours, and where the trace of it was written."""
    import tempfile
    import traceback
    from datetime import datetime

    said = f"{type(error).__name__}: {error}".splitlines()[0].rstrip(".")
    trace = "".join(traceback.format_exception(error))
    command = " ".join(sys.argv[1:])
    text = f"Runstrue {__version__}, Python {sys.version}\nrunstrue {command}\n\n{trace}"
    try:
        handle, name = tempfile.mkstemp(
            prefix=f"runstrue-fault-{datetime.now():%Y%m%d-%H%M%S}-", suffix=".txt"
        )
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        where = f"what happened was written to '{name}'; send it with the command you gave"
    except OSError:
        where = "send it with the command you gave"
    return f"This is a fault of Runstrue, not of your files ({said}); {where}."
