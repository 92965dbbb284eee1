"""`runstrue programme`: test programmes, written to a file and found again in a recording."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.cli.teach import ExampleGroup, show_group_help

if TYPE_CHECKING:
    from runstrue.stimulus.programme import Programme


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Write a test programme, and find it again in a recording.",
)
@click.pass_context
def programme(ctx: click.Context) -> None:
    """Write a test programme, and find it again in a recording.

      runstrue programme list
      runstrue programme write quick-look -o quick-look.flac
      runstrue programme find playback.flac --programme quick-look

    Record the file on the deck, play the tape, record the playback. Every section of the programme
    is then found by itself: the recording may begin anywhere. A bought calibration tape is found
    in the same way from its description:
      runstrue programme find side-a.flac --programme sallowby.toml
    """
    show_group_help(ctx)


@programme.command("list")
def list_programmes() -> None:
    """List the programmes.

    runstrue programme list
    """
    from runstrue.cli.layout import bold, out, wrapped
    from runstrue.cli.show_programme import clock
    from runstrue.stimulus.programmes import KEYS
    from runstrue.stimulus.programmes import programme as made

    width = max(len(key) for key in KEYS)
    out(bold("Programmes"))
    for key in KEYS:
        plan = made(key)
        head = f"  {key:<{width}}  {clock(plan.lasts_s):>5}  "
        out(wrapped(plan.remark, " " * len(head), first=head))
    out("")
    out("runstrue programme show quick-look says what is in one.")


@programme.command("show")
@click.argument("key")
def show(key: str) -> None:
    """Show what is in a programme, or on a bought tape.

    runstrue programme show full-sheet
    runstrue programme show sallowby.toml
    """
    from runstrue.cli.layout import out
    from runstrue.cli.show_programme import programme_lines

    out(programme_lines(programme_named(key)))


@programme.command("timing")
@click.argument("key")
def timing(key: str) -> None:
    """Show when each section of a programme begins.

    runstrue programme timing quick-look
    """
    from runstrue.cli.layout import out
    from runstrue.cli.show_programme import timing_lines

    out(timing_lines(programme_named(key)))


@programme.command("write")
@click.argument("key")
@click.option(
    "-o",
    "--out",
    "target",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Ends in .flac or .wav; else the programme's name.",
)
@click.option("--rate", "rate_hz", type=int, default=48_000, show_default=True, metavar="HZ")
@click.option("--depth", type=click.Choice(("16", "24")), default="24", show_default=True)
def write(key: str, target: Path | None, rate_hz: int, depth: str) -> None:
    """Write a programme to a sound file, to be recorded on the deck.

      runstrue programme write quick-look -o quick-look.flac
      runstrue programme write loop-back -o loop-back.wav --rate 96000

    It begins with a steady tone: set the record level with it.
    """
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

    from runstrue.capture.writing import write_sound
    from runstrue.cli.layout import out
    from runstrue.cli.progress import Ticker
    from runstrue.cli.show_programme import written_lines
    from runstrue.errors import FileError

    plan = programme_named(key)
    path = target or Path(f"{plan.key}.flac")
    if path.exists():
        raise FileError(
            f"'{path}' is there already", "it is not written over", "choose another name with -o"
        )
    ticker = Ticker(path.name, plan.lasts_s)

    def watched() -> Iterator[NDArray[np.float64]]:
        done = 0
        for block in plan.samples(rate_hz):
            done += block.shape[1]
            ticker.at(done / rate_hz)
            yield block

    with ticker:
        written = write_sound(watched(), path, rate_hz, depth=depth)
    out(written_lines(plan, path, written))


@programme.command("find")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--programme",
    "key",
    required=True,
    metavar="KEY|FILE.toml",
    help="A programme's name, or the description of a bought tape.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
def find(file: Path, key: str, as_json: bool) -> None:
    """Find the sections of a programme in a recording.

      runstrue programme find playback.flac --programme quick-look
      runstrue programme find side-a.flac --programme sallowby.toml

    The recording may begin anywhere, run up to 6 % off speed, and have voice or leader in between.
    """
    from runstrue.capture.file import FileSource
    from runstrue.cli.layout import out
    from runstrue.cli.progress import Ticker
    from runstrue.cli.show_programme import finding_json, finding_lines
    from runstrue.errors import SignalError
    from runstrue.measure.finding import find_sections

    plan = programme_named(key)
    source = FileSource(file, hashed=False)
    with Ticker(file.name, source.frames / source.rate_hz) as ticker:
        finding = find_sections(source, plan, progress=ticker.at)
    if as_json:
        click.echo(finding_json(file, finding, source.doubts))
        if not finding.trusted:
            click.get_current_context().exit(1)
        return
    if not finding.trusted:
        first, *more = finding.remarks
        raise SignalError(f"'{file.name}': {first.rstrip('.?')}", *(one[:-1] for one in more))
    out(finding_lines(finding, source.doubts))


def programme_named(text: str) -> Programme:
    """Return one of our own programmes, or that of a description.

    Raises
    ------
    RunstrueError
        When there is none of that name, or the description cannot be used.
    """
    from runstrue.errors import InputError
    from runstrue.stimulus.programmes import KEYS
    from runstrue.stimulus.programmes import programme as made
    from runstrue.stimulus.tape_programme import programme_of
    from runstrue.stimulus.testtape import read_test_tape

    if text in KEYS:
        return made(text)
    path = Path(text)
    if path.suffix.lower() == ".toml" or path.exists():
        return programme_of(read_test_tape(path), path.stem)
    raise InputError(
        f"There is no programme '{text}'",
        f"{', '.join(KEYS)}, or a description that ends in .toml, is needed",
        "see `runstrue programme list`",
    )
