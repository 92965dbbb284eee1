"""`runstrue control`: crackle, losses and tracking of a slider, pot or switch."""

from __future__ import annotations

from pathlib import Path

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.options import stage_option
from runstrue.cli.teach import ExampleCommand


@click.command(cls=ExampleCommand, short_help="Count the crackle of a control while it is worked.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--tone",
    "tone_hz",
    type=float,
    default=1000.0,
    show_default=True,
    metavar="HZ",
    help="The tone that is played through it.",
)
@click.option("--name", default="", metavar="WHICH", help="Which control: 'record level, left'.")
@click.option("--deck", metavar="NAME", help="Keep it in the logbook under this deck.")
@stage_option(required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@bench_option
@click.pass_context
def control(
    ctx: click.Context,
    file: Path,
    tone_hz: float,
    name: str,
    deck: str | None,
    stage: str | None,
    as_json: bool,
) -> None:
    """Count the crackle of a control while it is worked.

    Feed a steady tone of 1 kHz through the deck, record its output, and work the slider, pot or
    switch a dozen times through its whole travel.

    runstrue control before.flac --name "record level" --deck C-14 --stage found

    After cleaning the same again, and both side by side:
      runstrue control after.flac --name "record level" --deck C-14 --stage left
      runstrue compare C-14
    """
    from runstrue.capture.file import FileSource
    from runstrue.cli.one_check import show_and_keep
    from runstrue.measure.controls import measure_control
    from runstrue.result import Measured
    from runstrue.samples import channel_name

    source = FileSource(file)
    samples = source.read(0, source.frames)
    channels = [channel_name(index, source.channels) for index in range(source.channels)]
    results = measure_control(samples, source.rate_hz, channels, tone_hz)
    what = f"'{name}'" if name else "A control"
    length_s = source.frames / source.rate_hz
    list(source.blocks())  # to the end, so that its hash is known
    measured = Measured(
        f"{what} worked for {length_s:.0f} s with a tone of {tone_hz:g} Hz.", results,
        conditions={"control": name, "tone": f"{tone_hz:g} Hz"} if name else {},
    )  # fmt: skip
    show_and_keep(
        ctx.ensure_object(Bench), measured, path=file, origin=source.origin(), deck=deck,
        stage=stage, remark=name, as_json=as_json,
    )  # fmt: skip
