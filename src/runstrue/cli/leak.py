"""`runstrue leak`: what is left of a tone after erasing, or comes through from the other side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.options import stage_option
from runstrue.cli.teach import ExampleCommand

if TYPE_CHECKING:
    from runstrue.capture.file import FileSource
    from runstrue.measure.sections import Stretch

KINDS = {"erasure": "erasure.depth", "sides": "separation.sides"}


@click.command(cls=ExampleCommand, short_help="Measure erasure, or what comes from the other side.")
@click.argument("loud", type=click.Path(path_type=Path))
@click.argument("rest", type=click.Path(path_type=Path))
@click.option(
    "--of",
    "kind",
    type=click.Choice(list(KINDS)),
    required=True,
    help="What REST holds: the erased part, or the other side of the tape.",
)
@click.option(
    "--tone",
    "tone_hz",
    type=float,
    default=1000.0,
    show_default=True,
    metavar="HZ",
    help="The tone that was recorded.",
)
@click.option("--deck", metavar="NAME", help="Keep it in the logbook under this deck.")
@stage_option(required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@bench_option
@click.pass_context
def leak(
    ctx: click.Context,
    loud: Path,
    rest: Path,
    kind: str,
    tone_hz: float,
    deck: str | None,
    stage: str | None,
    as_json: bool,
) -> None:
    """Measure erasure, or what comes from the other side.

    Record 1 kHz at full level. LOUD is its playback. For erasure, erase a part by recording
    silence over it; REST is the playback of that part:
      runstrue leak loud.flac erased.flac --of erasure

    For the other side, turn the cassette over, to where nothing is recorded, and play the same
    stretch of tape; REST is that playback, at the same recording level:
      runstrue leak side-a.flac side-b.flac --of sides --deck C-14 --stage left
    """
    from runstrue.capture.file import FileSource
    from runstrue.cli.one_check import show_and_keep
    from runstrue.errors import SignalError
    from runstrue.measure.separation import measure_residue
    from runstrue.result import Measured
    from runstrue.samples import channel_name

    first, second = FileSource(loud), FileSource(rest)
    if first.channels != second.channels:
        raise SignalError(
            f"'{loud}' has {first.channels} channels and '{rest}' {second.channels}",
            "both with the same number are needed",
        )
    channels = [channel_name(index, first.channels) for index in range(first.channels)]
    results = measure_residue(
        KINDS[kind], _stretch(first, tone_hz), _stretch(second, tone_hz, silent=True), channels
    )
    list(first.blocks())  # to the end, so that its hash is known
    measured = Measured(
        f"A tone of {tone_hz:g} Hz in '{loud.name}', and what is left of it in '{rest.name}'.",
        results,
    )
    show_and_keep(
        ctx.ensure_object(Bench), measured, path=loud, origin=first.origin(), deck=deck,
        stage=stage, remark=rest.name, as_json=as_json,
    )  # fmt: skip


def _stretch(source: FileSource, tone_hz: float, *, silent: bool = False) -> Stretch:
    """Return the middle of a file, a minute at most, as a section of one tone."""
    import numpy as np

    from runstrue.dsp.band_power import Spectrum
    from runstrue.errors import SignalError
    from runstrue.measure.sections import Found, Stretch
    from runstrue.stimulus.programme import Section

    frames = min(source.frames, round(60 * source.rate_hz))
    samples = source.read((source.frames - frames) // 2, frames)
    length_s = frames / source.rate_hz
    section = Section("tone", "tone", 0.0, max(length_s, 0.001), frequencies_hz=(tone_hz,))
    ratio = 1.0
    if not silent:
        loudest = samples[int(np.argmax(np.mean(samples**2, axis=1)))]
        spectrum = Spectrum(loudest, source.rate_hz)
        near = slice(int(0.93 * tone_hz / spectrum.bin_hz), int(1.07 * tone_hz / spectrum.bin_hz))
        band = spectrum.power[near]
        if band.sum() < 0.5 * spectrum.power[3:].sum():
            raise SignalError(
                f"No tone of {tone_hz:g} Hz prevails in the loud recording",
                "its playback at full level is needed", "name the tone with --tone",
            )  # fmt: skip
        places_hz = (np.arange(band.size) + near.start) * spectrum.bin_hz
        ratio = float(np.average(places_hz, weights=band)) / tone_hz
    return Stretch(Found(section, 0.0, length_s, ratio, ()), samples, source.rate_hz)
