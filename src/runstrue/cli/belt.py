"""`runstrue belt`: how long, how tight, which one to buy."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from runstrue.cli.belt_input import pulley_options, way_options
from runstrue.cli.bench import bench_option
from runstrue.cli.teach import ExampleGroup, show_group_help
from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.transport.belt_choice import Job


@click.group(
    cls=ExampleGroup,
    invoke_without_command=True,
    short_help="Find the length of a belt, and which one to buy.",
)
@bench_option
@click.pass_context
def belt(ctx: click.Context) -> None:
    """Find the length of a belt, and which one to buy.

      runstrue belt size --string "312 mm" --section "square 1.2 mm"
      runstrue belt choose --string 312 --section "square 1.2" --sizes shop.csv
      runstrue belt length --pulley 60@0,0 --pulley 8@90,0

    Sizes without a unit are millimetres; 12.3 in and 3/64 in will do as well. Unplug the deck
    before a string is laid, and clean the tar off all pulleys first.
    """
    show_group_help(ctx)


@belt.command("length")
@pulley_options
@click.option("--section", metavar="TEXT", help="Of the belt; else a thread in the grooves.")
@click.option("-o", "--out", "target", type=click.Path(path_type=Path), metavar="FILE",
              help="Draw it; ends in .svg or .png.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
def length(target: Path | None, as_json: bool, **given: Any) -> None:
    """Work out the way of a belt over its pulleys: length, wraps, free runs.

      runstrue belt length --pulley 60@0,0 --pulley 8@90,0
      runstrue belt length --pulley motor=8@90,0 --pulley wheel=60@0,0 -o a.svg
      runstrue belt length --pulley 60@0,0 --pulley 8@90,0 --pulley 12@45,18,back

    D@X,Y is a diameter at a place, in the order in which the belt meets them, either way round.
    Places are taken from any corner; x to the right, y up. Where the belt's back runs on a
    pulley, write ,back after it.
    """
    from runstrue.cli.belt_input import Sizes, read_pulleys, study_and_belt
    from runstrue.cli.layout import out, wrapped
    from runstrue.cli.show_belt import document, length_lines, way_plain
    from runstrue.transport.belt_in_transport import section_of, way_in_transport
    from runstrue.transport.belt_section import read_section
    from runstrue.transport.belt_way import way_by_pulleys

    if bool(given["pulleys"]) == bool(given["transport"]):
        raise click.UsageError("Pulleys are needed, two --pulley or more, or else a --transport")
    if target is not None and target.suffix.lower() not in (".svg", ".png"):
        raise InputError(
            f"'{target}' was named for the drawing", "a name in .svg or .png is needed"
        )
    section = read_section(given["section"]) if given["section"] else None
    if given["transport"]:
        study, described = study_and_belt(given["transport"], given["belt"], given["speed"])
        section = section or section_of(described)
        if section is None:
            raise click.UsageError(
                'The section of the belt is needed: --section "square 1.2 mm" (or flat, round)'
            )
        way = way_in_transport(study, described, section)
    else:
        sizes = Sizes()
        pulleys = read_pulleys(given["pulleys"], sizes)
        sizes.settle()
        way = way_by_pulleys(pulleys, section, crossed=given["crossed"])
    if as_json:
        click.echo(document(way=way_plain(way), section=str(section) if section else None))
    else:
        out(length_lines(way, section))
    if target is not None:
        _draw(way.path, way.source, target)
        if not as_json:
            out(wrapped(f"Written to '{target}'."))


@belt.command("size")
@way_options
def size(as_json: bool, **given: Any) -> None:
    """Work out which size to order, and what it then does on the deck.

      runstrue belt size --string "312 mm" --section "square 1.2 mm"
      runstrue belt size --string 312 --section "flat 4 x 0.5" --thread 0.4
      runstrue belt size --old-belt "301 mm" --section "square 1.2 mm"
      runstrue belt size --transport c32.toml --belt main

    A string is the best: thin, not stretchy, laid once round in the grooves where the belt runs,
    pulled tight, marked where it overlaps. Do it three times.
    """
    from runstrue.cli.belt_input import way_of
    from runstrue.cli.layout import out
    from runstrue.cli.show_belt import (
        document,
        old_belt_lines,
        outcome_plain,
        size_lines,
        way_plain,
    )
    from runstrue.transport.belt_choice import outcome_of
    from runstrue.transport.belt_way import from_old_belt
    from runstrue.transport.shop import Offer

    way, section, old = way_of(given)
    if way is None:
        assert old is not None
        found = from_old_belt(old)
        if as_json:
            names = ("middle", "low", "high")
            ends = {name: one.value for name, one in zip(names, found, strict=True)}
            click.echo(document(section=str(section), order_inner_circumference_mm=ends))
        else:
            out(old_belt_lines(section, old, found))
        return
    job = _job(way, section, given)
    outcome = outcome_of(job, Offer(str(section), section, job.free_inner()))
    # the way's own uncertainty is in the size ordered, so the stretch is the one wanted
    cautions = _cautions(job, given, stretch_percent=job.aim_percent)
    if old is not None:
        now = (way.inner.value / old.value - 1) * 100
        cautions.insert(0, _old_words(now))
    if as_json:
        click.echo(document(way=way_plain(way), belt=outcome_plain(outcome), cautions=cautions))
    else:
        out(size_lines(job, outcome, cautions))


@belt.command("choose")
@click.option("--sizes", type=click.Path(path_type=Path), metavar="FILE.csv",
              help="A shop's or a drawer's list.")  # fmt: skip
@click.option("--offer", "offers", multiple=True, metavar="TEXT",
              help='One belt: "square 1.2 mm, 297 mm" (inner circumference).')  # fmt: skip
@click.option("--trim", metavar="%", help="How far the speed can be set: 3, or -2..4.")
@click.option("--speed-now", metavar="%", help="How far the speed is off now: −0.8.")
@way_options
def choose(sizes: Path | None, offers: tuple[str, ...], as_json: bool, **given: Any) -> None:
    """Choose among belts that can be had: stretch, tension, tape speed, trim.

      runstrue belt choose --string 312 --section "square 1.2" --sizes shop.csv
      runstrue belt choose --transport c32.toml --belt main --sizes shop.csv
      runstrue belt choose --string 312 --section "round 2" --offer "round 2, 297"

    A list is CSV with headings such as: name, section, inner circumference mm (or inner diameter,
    or lay-flat). A thicker belt makes the tape run faster: 0.1 mm is about 1 %.
    """
    from runstrue.cli.belt_input import way_of
    from runstrue.cli.layout import out
    from runstrue.cli.show_belt import choice_lines, document, outcome_plain, way_plain
    from runstrue.transport.belt_choice import choose as choose_among
    from runstrue.transport.shop import read_offer, read_offers

    if sizes is None and not offers:
        raise click.UsageError("Belts to choose from are needed: --sizes FILE.csv or --offer TEXT")
    way, section, old = way_of(given)
    if way is None:
        raise click.UsageError(
            "An old belt does not tell its way on the deck; --string, --pulley or --transport is "
            "needed to choose"
        )
    job = _job(way, section, given)
    listed = [*(read_offers(sizes) if sizes else ()), *(read_offer(text) for text in offers)]
    outcomes = choose_among(job, listed)
    cautions = _cautions(job, given, stretch_percent=None)
    if old is not None:
        cautions.insert(0, _old_words((way.inner.value / old.value - 1) * 100))
    if as_json:
        belts = [outcome_plain(one) for one in outcomes]
        click.echo(document(way=way_plain(way), belts=belts, cautions=cautions))
    else:
        out(choice_lines(job, outcomes, cautions))


def _job(way: Any, section: Any, given: dict[str, Any]) -> Job:
    from runstrue.transport.belt_choice import job_for

    stretch = _number(given["stretch"], "--stretch") if given["stretch"] else None
    job = job_for(way, section, stretch)
    if given["hardness"]:
        job = replace(job, shore_a=_number(given["hardness"], "--hardness"))
    if given["load"]:
        job = replace(job, load_mnm=_torque(given["load"]))
    if given.get("trim"):
        job = replace(job, trim=_trim(given["trim"]))
    if given.get("speed_now"):
        job = replace(job, speed_now_percent=_number(given["speed_now"], "--speed-now"))
    return job


def _cautions(job: Job, given: dict[str, Any], *, stretch_percent: float | None) -> list[str]:
    from runstrue.transport.belt_cautions import (
        groove_cautions,
        mains_cautions,
        read_groove,
        stretch_cautions,
        tar_cautions,
    )

    said = list(stretch_cautions(stretch_percent)) if stretch_percent is not None else []
    if given["groove"]:
        said += groove_cautions(job.section, read_groove(given["groove"]))
    mains, built_for = (
        _number(given[key].lower().removesuffix("hz"), f"--{key.replace('_', '-')}")
        if given[key]
        else None
        for key in ("mains", "built_for")
    )
    drive = job.way.drive
    said += mains_cautions(drive, job.section, mains, built_for, job.speed_now_percent)
    said += tar_cautions(drive, job.section)
    return said


def _old_words(stretch_percent: float) -> str:
    if stretch_percent <= 0:
        return "The old belt is longer than its way by now: it cannot grip."
    return f"The old belt is stretched by {stretch_percent:.2g} % on the deck by now."


def _number(text: str, option: str) -> float:
    from runstrue.cli.plan import number_of

    try:
        return number_of(text.strip().removesuffix("%"))
    except ValueError:
        raise click.UsageError(f"'{text}' for {option} is no number") from None


def _torque(text: str) -> float:
    """Read a torque such as '5 g·cm', in mN·m."""
    from runstrue.catalogue import KINDS
    from runstrue.cli.units import factor_to

    found = re.fullmatch(r"\s*([\d.,]+)\s*(\S.*?)\s*", text)
    if not found:
        raise InputError(
            f"'{text}' was given as a load", "a torque such as '5 g·cm' or '0.5 mN·m' is needed"
        )
    load = _number(found[1], "--load") * factor_to(KINDS["torque.take_up"], found[2])
    if not 0 < load <= 1000:
        raise InputError(f"A load of '{text}' was given", "a torque above zero is needed")
    return load


def _trim(text: str) -> tuple[float, float]:
    """Read how far the speed can be set: '3' or '±3' is both ways, '-2..4' down and up."""
    low, dots, high = text.partition("..")
    if not dots:
        reach = abs(_number(text.lstrip("±"), "--trim"))
        return -reach, reach
    ends = (_number(low, "--trim"), _number(high, "--trim"))
    if not ends[0] <= 0 <= ends[1]:
        raise InputError(
            f"A trim of '{text}' was given", "how far down and how far up is needed: -2..4"
        )
    return ends


def _draw(path: Any, source: str, target: Path) -> None:
    from runstrue.report.figure_belt import draw_belt
    from runstrue.report.figures import png_of, svg_of
    from runstrue.report.files import write_whole
    from runstrue.report.style import Caption

    if path is None:
        raise InputError(
            "The places of the pulleys are not known", "they are needed for a drawing",
            "write them into the transport as at",
        )  # fmt: skip
    figure = draw_belt(path, Caption(remark=f"from {source}"))
    write_whole(target, svg_of(figure) if target.suffix.lower() == ".svg" else png_of(figure))
