"""`runstrue meter`: what the deck's own level meters do wrong, from what their needles showed."""

from __future__ import annotations

from pathlib import Path

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.options import stage_option
from runstrue.cli.teach import ExampleCommand


@click.command(cls=ExampleCommand, short_help="Say what is wrong with a deck's own level meters.")
@click.argument("notes", type=click.Path(path_type=Path))
@click.option("--deck", metavar="NAME", help="Keep it in the logbook under this deck.")
@stage_option(required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@bench_option
@click.pass_context
def meter(
    ctx: click.Context, notes: Path, deck: str | None, stage: str | None, as_json: bool
) -> None:
    """Say what is wrong with a deck's own level meters.

    Play the programme 'meters' into the line input, set the record level so that its lead-in reads
    0 dB on the better needle, and write down in a text file what each needle shows:

      rest          L -inf  R -17
      step-20       L -20   R -15.5
      step-10       L -10   R -9
      step-5        L -5    R -4.5
      step0         L 0     R 0.5
      step+3        L 3     R 3.2
      burst-300-ms  L -0.1  R 0
      pulses-up     L -3    R -3
      pulses-down   L -3    R -9

    NOTES is that file:
      runstrue programme write meters -o meters.flac
      runstrue meter needles.txt --deck C-14 --stage found
    """
    from runstrue.cli.one_check import show_and_keep
    from runstrue.errors import FileError
    from runstrue.measure.deck_meter import measure_meter, read_needles
    from runstrue.result import Measured

    try:
        lines = notes.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError):
        raise FileError(
            f"'{notes}' cannot be read as text", "what each needle showed, line by line, is needed",
            "see `runstrue meter --help`",
        ) from None  # fmt: skip
    needles = read_needles(lines)
    results = measure_meter(needles)
    steps = max((len(one.steps) for one in needles.values()), default=0)
    measured = Measured(f"{' and '.join(needles)} needle, {steps} steps read by eye.", results)
    show_and_keep(
        ctx.ensure_object(Bench), measured, path=notes, origin=None, deck=deck, stage=stage,
        remark="", as_json=as_json,
    )  # fmt: skip
