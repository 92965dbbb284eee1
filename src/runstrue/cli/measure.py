"""`runstrue measure`: from recordings to readings and verdicts, and into the logbook."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.options import place_options, stage_option
from runstrue.cli.teach import ExampleCommand
from runstrue.errors import RunstrueError

if TYPE_CHECKING:
    from runstrue.cli.keep import Keeper
    from runstrue.cli.measured import Done, Job
    from runstrue.cli.plan import Wanted
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.runner import Judging, Plan


@click.command(cls=ExampleCommand, short_help="Measure recordings of a test tape, and judge them.")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option(
    "--sheet",
    "sheets",
    multiple=True,
    metavar="TEXT|FILE",
    help="Lines of a spec sheet, or a text file of them; may be given several times.",
)
@click.option("--tone", "tone_hz", type=float, metavar="HZ", help="The tone on the tape.")
@click.option(
    "--tape",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Description of the test tape (runstrue tape new).",
)
@click.option(
    "--programme",
    metavar="KEY|FILE|any",
    help="The recording holds a test programme (runstrue programme list), or whichever is known.",
)
@click.option(
    "--zero-output", metavar="LEVEL", help="What line out gives at the deck's 0 dB: '580 mV'."
)
@click.option(
    "--level-set", metavar="LEVEL", help="What line out gives for 400 Hz at 200 nWb/m of a tape."
)
@click.option("--input-name", default="", metavar="NAME", help="Of the programme 'inputs': line.")
@click.option(
    "--clock-ppm",
    metavar="P[±U]",
    help="Error of the sound card's clock, and its standard uncertainty.",
)
@click.option("--card", default="", metavar="NAME", help="A sound card of the logbook.")
@click.option(
    "--self-recorded", is_flag=True, help="The tone was recorded on the deck that plays it."
)
@click.option(
    "--transport",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="What turns in the deck, to name the parts; else the deck's own.",
)
@click.option("--played", metavar="TIME", help="Of the tape before it began: 3min, 4:20.")
@click.option("--starts", is_flag=True, help="All files are starts of one reading.")
@click.option("--deck", metavar="NAME", help="Keep it in the logbook under this deck.")
@stage_option(required=False)
@place_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@click.option(
    "--figures",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Write pictures: SVG, PNG, and 16:9.",
)
@click.option(
    "--jobs", "workers", type=click.IntRange(1), metavar="N", help="Recordings at a time."
)
@bench_option
@click.pass_context
def measure(ctx: click.Context, /, **given: object) -> int:
    """Measure recordings of a test tape, and judge them.

    FILE is a recording (WAV, FLAC, AIFF, Ogg, MP3) of a steady tone, or a folder of recordings.

    One recording, against the lines of a sheet:
      runstrue measure a.flac --sheet "Wow and flutter 0.14 % DIN; speed ±1.5 %"

    With what is known about the tape and the sound card:
      runstrue measure a.flac --tape sallowby.toml --clock-ppm 12±3

    Into the logbook, as found:
      runstrue measure before.flac --deck C-14 --stage found --side A

    A whole test programme, and whatever a folder of recordings holds:
      runstrue measure playback.flac --programme full-sheet --sheet c-14.txt
      runstrue measure recordings/ --programme any --deck C-14 --stage left

    With what turns in the deck, so that the parts are named:
      runstrue measure a.flac --transport c-14.toml

    Three starts of one reading; a whole folder; for a script:
      runstrue measure one.wav two.wav three.wav --starts --self-recorded
      runstrue measure recordings/ --sheet c-14.txt
      runstrue measure side-a.flac --json

    Without --deck nothing is stored. With it, the deck's own sheet and transport are used unless
    others are named.
    """
    asked = Asked(**given)  # type: ignore[arg-type]  # the options above, by name
    _refuse_contradictions(asked)
    return _measure(ctx.ensure_object(Bench), asked)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The options as they were given."""

    files: tuple[str, ...]
    sheets: tuple[str, ...]
    tone_hz: float | None
    tape: Path | None
    programme: str | None
    zero_output: str | None
    level_set: str | None
    input_name: str
    clock_ppm: str | None
    card: str
    self_recorded: bool
    transport: Path | None
    played: str | None
    starts: bool
    deck: str | None
    stage: str | None
    well: str
    side: str
    direction: str
    speed_cm_s: float | None
    noise_reduction: str
    position: str
    remark: str
    as_json: bool
    figures: Path | None
    workers: int | None


def _refuse_contradictions(asked: Asked) -> None:
    if asked.deck is not None and asked.stage is None:
        raise click.UsageError("With --deck, --stage found, between or left is needed")
    if asked.deck is None and asked.stage is not None:
        raise click.UsageError("--stage is for the logbook: name the deck with --deck too")


def _measure(bench: Bench, asked: Asked) -> int:
    from runstrue.cli.keep import Keeper, Place
    from runstrue.cli.measure_parts import drive_for, tell_parts
    from runstrue.cli.measured import combine, jobs_of
    from runstrue.cli.plan import measuring_plan, read_sheets, read_tape, sound_card, wanted_of
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.runner import Judging
    from runstrue.transport.counter_pairs import read_time_s

    keeper: Keeper | None = None
    if asked.deck is not None and asked.stage is not None:
        place = Place(
            asked.stage, asked.well, asked.side, asked.direction, asked.speed_cm_s,
            asked.noise_reduction, asked.position, asked.remark,
        )  # fmt: skip
        keeper = Keeper(bench, asked.deck, place)
    sheet = read_sheets(asked.sheets) if asked.sheets else None
    if sheet is None and keeper is not None and keeper.sheet is not None:
        sheet = keeper.sheet.sheet
    tape = read_tape(asked.tape)
    plan = TonePlan(
        asked.tone_hz, tape, sound_card(bench, asked.clock_ppm, asked.card), asked.self_recorded
    )
    wanted = wanted_of(sheet)
    judging = Judging(wanted.limits, keeper.conditions if keeper else {})
    jobs = jobs_of(asked.files)
    whole = measuring_plan(
        bench, plan, asked.programme, noise_reduction=asked.noise_reduction,
        zero_output=asked.zero_output, level_set=asked.level_set, input_name=asked.input_name,
    )  # fmt: skip
    drive = drive_for(bench, asked.transport, asked.speed_cm_s, keeper)
    played_s = read_time_s(asked.played) if asked.played else None
    done = _listen(jobs, whole, judging, asked)
    combined = combine(done, judging) if asked.starts else None
    if drive is not None:
        tell_parts(done, drive, played_s, judging)
    failed = sum(1 for one in done if one.error is not None)
    if asked.starts and combined is None:
        failed = max(failed, 1)
        click.echo(
            f"{len(done) - failed if failed < len(done) else 0} of {len(done)} starts could be "
            "used; at least two are needed; name all files of the reading.", err=True,
        )  # fmt: skip
    if not asked.as_json:
        _show(done, combined, wanted if sheet is not None else None, plan)
    if keeper is not None:
        _keep(keeper, done, combined, plan, asked)
    if asked.figures is not None:
        _draw(done, combined, asked, keeper)
    if asked.as_json:
        from runstrue.cli.json_out import document

        click.echo(document(done, combined))
    elif keeper is None and any(one.measured for one in done):
        from runstrue.cli.layout import faint, out

        out(faint("Nothing was stored; --deck NAME --stage found keeps it in the logbook."))
    return 1 if failed else 0


def _listen(jobs: Sequence[Job], plan: Plan, judging: Judging, asked: Asked) -> list[Done]:
    """Measure everything; where there are several, a line each as it comes."""
    from runstrue.cli.layout import out
    from runstrue.cli.measured import measure_jobs
    from runstrue.cli.progress import Ticker
    from runstrue.cli.show_many import heading, one_line

    several = len(jobs) > 1
    if several:
        ticker = Ticker("recordings", len(jobs), "files")
    else:
        ticker = Ticker(jobs[0].path.name if jobs else "", _length_s(jobs))
    if several and not asked.as_json:
        out(heading(judged=bool(judging.limits)))
    done: list[Done] = []
    with ticker:
        progress = None if several else ticker.at
        for one in measure_jobs(jobs, plan, judging, workers=asked.workers, progress=progress):
            done.append(one)
            ticker.wipe()
            if several and not asked.as_json:
                out(one_line(one))
                sys.stdout.flush()
            if one.error is not None:
                click.echo(sentence_for(one), err=True)
            ticker.at(len(done))
    return done


def sentence_for(done: Done) -> str:
    """Say why a recording could not be used, and which one it is."""
    said = str(done.error)
    return said if done.path.name in said else f"{done.given}: {said}"


def _length_s(jobs: Sequence[Job]) -> float:
    """Length of a single recording, where somebody watches the progress."""
    from runstrue.capture.file import length_s

    if not sys.stderr.isatty() or not jobs or jobs[0].error is not None:
        return 0.0
    try:
        return length_s(jobs[0].path)
    except RunstrueError:
        return 0.0  # told when it is measured


def _show(
    done: Sequence[Done], combined: Done | None, wanted: Wanted | None, plan: TonePlan
) -> None:
    from runstrue.cli.layout import out
    from runstrue.cli.show_many import summary_lines
    from runstrue.cli.show_measured import measured_lines
    from runstrue.cli.side_by_side import side_by_side_lines

    if len(done) > 1:
        out(summary_lines(done))
        if combined is None:
            out(side_by_side_lines(done))
    shown = combined or (done[0] if len(done) == 1 else None)
    if shown is not None and shown.measured is not None:
        if len(done) > 1:
            out("")
        verdicts, unread = (shown.verdicts, wanted.unread) if wanted else (None, ())
        out(measured_lines(shown.measured, verdicts, unread, plan, shown.parts))


def _keep(
    keeper: Keeper, done: Sequence[Done], combined: Done | None, plan: TonePlan, asked: Asked
) -> None:
    from runstrue.cli.layout import out
    from runstrue.cli.show_kept import kept_lines

    if not any(one.measured for one in done):
        return
    records = keeper.keep(
        done, plan.tape, named_tape=asked.tape is not None, own_sheet=not asked.sheets,
        combined=combined,
    )  # fmt: skip
    if not asked.as_json:
        out(kept_lines(keeper, records))


def _draw(done: Sequence[Done], combined: Done | None, asked: Asked, keeper: Keeper | None) -> None:
    from runstrue.cli.layout import out, wrapped
    from runstrue.cli.pictures import write_pictures

    if asked.figures is None:
        return
    stage = keeper.place.facts().stage if keeper else ""
    written = []
    good = [one for one in done if one.measured is not None]
    for number, one in enumerate(good, 1):
        stem = one.path.stem if len(done) > 1 else ""
        if stem and sum(other.path.stem == stem for other in good) > 1:
            stem = f"{stem}-{number}"  # the same name from two folders
        written += write_pictures(one, asked.figures, stem=stem, stage=stage)
    if written and not asked.as_json:
        out(wrapped(f"{len(written)} pictures were written to '{asked.figures}'."))
