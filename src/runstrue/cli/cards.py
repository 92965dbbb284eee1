"""`runstrue card`: what is known of a sound card: its clock, its voltages, its loop-back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click
import msgspec

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleGroup, show_group_help
from runstrue.quantity import number_text

if TYPE_CHECKING:
    from runstrue.logbook import Logbook
    from runstrue.logbook.models import SoundCard


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Say what a sound card's clock, voltages and own errors are.",
)
@bench_option
@click.pass_context
def card(ctx: click.Context) -> None:
    """Say what a sound card's clock, voltages and own errors are.

      runstrue card set "workshop interface" --clock-ppm 12 --u 3
      runstrue card calibrate "workshop interface" tone.flac --volts 0.5±0.005
      runstrue card loop-back "workshop interface" loop.flac
      runstrue card show

    The clock in parts per million, + when it runs fast; without it ±100 ppm (0.01 %) is allowed
    for. One known voltage turns levels into volts. A loop-back (output into input, programme
    'loop-back') tells what the card itself adds to every reading.
    """
    show_group_help(ctx)


@card.command("set")
@click.argument("name")
@click.option(
    "--clock-ppm", "clock", required=True, metavar="P", help="How much faster (+) it runs."
)
@click.option("--u", "u_text", metavar="U", help="Standard uncertainty of that; or P as 12±3.")
@click.option("--remark", default="", metavar="TEXT", help="How it was found out.")
@bench_option
@click.pass_context
def set_card(ctx: click.Context, name: str, clock: str, u_text: str | None, remark: str) -> None:
    """Enter the clock of a sound card; it is used from now on.

    runstrue card set "workshop interface" --clock-ppm 12 --u 3
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.cli.plan import read_clock
    from runstrue.errors import InputError
    from runstrue.measure.conditions import SoundCard as Measuring

    text = clock if u_text is None else f"{clock}±{u_text}"
    value, u = read_clock(text)
    if u is None:
        raise InputError(
            f"The clock of '{name}' was given without an uncertainty",
            "its standard uncertainty in ppm is needed",
            "add --u 3",
        )
    Measuring(name, value, u)  # refuses what is not believable
    bench = ctx.ensure_object(Bench)
    with bench.open(create=True) as book:
        card = known_card(book, name)
        card = msgspec.structs.replace(card, clock_ppm=value, u_ppm=u, remark=remark or card.remark)
        book.set_sound_card(card)
    out(wrapped(f"Entered; readings from now on rest on '{name.strip()}'."))


@card.command("show")
@bench_option
@click.pass_context
def show_card(ctx: click.Context) -> None:
    """Show the sound card that readings rest on.

    runstrue card show
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.quantity import Quantity
    from runstrue.report.words import date_words

    with ctx.ensure_object(Bench).open() as book:
        known = book.sound_card()
    if known is None:
        out(wrapped("No sound card was entered; ±100 ppm (0.01 %) is allowed for its clock."))
        return
    clock = Quantity(known.clock_ppm, "ppm", known.u_ppm)
    out(
        wrapped(
            f"{known.name}: clock {clock.value_text(signed=True)} ppm, standard uncertainty "
            f"{known.u_ppm:.2g} ppm, entered {date_words(known.determined_at)}."
            + (f" {known.remark}" if known.remark else "")
        )
    )
    for side, dbv, u_db in (
        ("input", known.full_scale_dbv, known.u_full_scale_db),
        ("output", known.output_full_scale_dbv, known.u_output_full_scale_db),
    ):
        if dbv is None:
            out(f"  {side}: not calibrated; levels are against full scale, not in volts")
        else:
            level = Quantity(dbv, "dBV", u_db)
            volts = Quantity(10 ** (dbv / 20), "V", 10 ** (dbv / 20) * u_db / 8.686)
            out(f"  {side}: full scale is {level.value_text()} dBV ({volts.value_text()} V)")
    if known.loop_back:
        back = known.loop_back
        out(
            wrapped(
                f"loop-back: response ±{back['response_db']:.2f} dB to 16 kHz, channels alike to "
                f"{back['match_db']:.2f} dB, noise {number_text(back['noise_dbfs'], 0)} dB FS, "
                f"distortion {back['distortion_percent']:.2g} %, crosstalk "
                f"{number_text(-back['crosstalk_db'], 0)} dB", "    ", first="  ",
            )
        )  # fmt: skip
    else:
        out("  no loop-back was made: cautious figures stand in for the card's own errors")


@card.command("calibrate")
@click.argument("name")
@click.argument("recording", type=click.Path(path_type=Path), required=False)
@click.option("--volts", required=True, metavar="V[±U]", help="What a voltmeter showed, r.m.s.")
@click.option("--played", type=float, metavar="DBFS", help="Instead: the level that was played.")
@bench_option
@click.pass_context
def calibrate_card(
    ctx: click.Context, name: str, recording: Path | None, volts: str, played: float | None
) -> None:
    """Tell what voltage full scale is, from one tone of known voltage.

    The input: feed it a steady tone of some 300 to 1000 Hz, well below full scale; measure its
    voltage at the plug with a true-r.m.s. voltmeter; record ten seconds of it.

    runstrue card calibrate "workshop interface" tone.flac --volts 0.5±0.005

    The output: play a tone of known level, and measure the voltage at the output.

    runstrue card calibrate "workshop interface" --volts 0.35±0.004 --played -12
    """
    from runstrue.cli.card_facts import read_volts
    from runstrue.cli.layout import out, wrapped
    from runstrue.measure.levels import Calibration

    if (recording is None) == (played is None):
        raise click.UsageError("Name either a recording of the tone or, for the output, --played")
    value, u = read_volts(volts)
    if recording is not None:
        side, level = "input", tone_level_of(recording)
    else:
        side, level = "output", float(played or 0.0)
    found = Calibration.from_known_voltage(value, u, level, name.strip())
    with ctx.ensure_object(Bench).open(create=True) as book:
        card = known_card(book, name)
        begins = "" if side == "input" else "output_"
        changes = {
            f"{begins}full_scale_dbv": found.full_scale_dbv,
            f"u_{begins}full_scale_db": found.u_db,
        }
        book.set_sound_card(msgspec.structs.replace(card, **changes))
    out(
        wrapped(
            f"The tone stood at {number_text(level, 2)} dB FS: full scale of the {side} is "
            f"{number_text(found.full_scale_dbv, 2)} dBV "
            f"({number_text(10 ** (found.full_scale_dbv / 20), 3)} V r.m.s. of a sine)."
        )
    )


@card.command("loop-back")
@click.argument("name")
@click.argument("recording", type=click.Path(path_type=Path))
@bench_option
@click.pass_context
def loop_back(ctx: click.Context, name: str, recording: Path) -> None:
    """Find what a sound card itself adds to readings.

    Write the programme 'loop-back', play it out of the card straight into its own input, record:

    runstrue programme write loop-back -o loop-back.flac
    runstrue card loop-back "workshop interface" recorded.flac
    """
    from runstrue.capture.file import FileSource
    from runstrue.cli.layout import out, wrapped
    from runstrue.measure.card import ANY_CARD, figures_of_loop_back
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.measure.whole_sheet import ProgrammePlan, measure_programme
    from runstrue.stimulus.programmes import programme

    # a card that is perfect, so that nothing is added to what is found
    perfect = replace(ANY_CARD, response_db=0.0, match_db=0.0, noise_dbfs=-300.0,
                      distortion_percent=0.0, crosstalk_db=300.0)  # fmt: skip
    plan = ProgrammePlan(programme("loop-back"), TonePlan(), card=perfect)
    measured = measure_programme(FileSource(recording), plan)
    figures = figures_of_loop_back(measured.results, name.strip())
    told = {
        key: getattr(figures, key)
        for key in ("response_db", "match_db", "noise_dbfs", "distortion_percent", "crosstalk_db")
    }
    with ctx.ensure_object(Bench).open(create=True) as book:
        book.set_sound_card(msgspec.structs.replace(known_card(book, name), loop_back=told))
    out(wrapped(measured.summary))
    out(wrapped(f"Entered for '{name.strip()}'; runstrue card show prints it."))


def known_card(book: Logbook, name: str) -> SoundCard:
    """Return what is known of a card, or a new one of which nothing is."""
    from runstrue.logbook.models import SoundCard

    return book.sound_card(name) or SoundCard(name=name.strip())


def tone_level_of(recording: Path) -> float:
    """Level of the one tone of a recording, the mean of its channels, in dB FS."""
    from runstrue.capture.file import FileSource
    from runstrue.dsp.band_power import Spectrum, level_db
    from runstrue.errors import SignalError

    source = FileSource(recording)
    samples = source.read(0, min(source.frames, round(30 * source.rate_hz)))
    levels = []
    for track in samples:
        spectrum = Spectrum(track, source.rate_hz)
        peak_hz = float(spectrum.power[3:].argmax() + 3) * spectrum.bin_hz
        found = spectrum.around(peak_hz, 10.0)
        if found.power > 100 * found.noise_power > 0 or found.power > 1e-6:
            levels.append(level_db(found.power))
    if not levels or max(levels) - min(levels) > 1.0:
        raise SignalError(
            f"In '{recording}' no steady tone alike on both channels was found",
            "a tone of known voltage is needed", "feed both channels with the same tone",
        )  # fmt: skip
    return sum(levels) / len(levels)
