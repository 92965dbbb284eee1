"""What is typed about a belt: sizes with units, pulleys, and where its way comes from."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.quantity import Quantity
    from runstrue.transport.belt_section import Section
    from runstrue.transport.belt_way import Drive, SizedPulley, Way
    from runstrue.transport.description import Belt
    from runstrue.transport.rates import Study
    from runstrue.transport.sizes import Instrument

PULLEY_SAMPLE = "'60@0,0', 'motor=8 mm@90 mm,0 mm' or 'idler=12@40,20,back'"
Function = Callable[..., Any]


def pulley_options(function: Function) -> Function:
    """Add pulleys, and the transport that they may come from."""
    for option in reversed(
        (
            click.option(
                "--pulley", "pulleys", multiple=True, metavar="D@X,Y",
                help="Diameter and place, in the belt's order; NAME= before it, ,back after it "
                "where the belt's back runs on it.",
            ),
            click.option("--crossed", is_flag=True, help="A figure of eight."),
            click.option(
                "--transport", type=click.Path(path_type=Path), metavar="FILE",
                help="Instead: a described transport.",
            ),
            click.option("--belt", default="", metavar="NAME", help="Which belt of it."),
            click.option("--speed", default="", metavar="NAME", help="Which speed of it."),
        )
    ):  # fmt: skip
        function = option(function)
    return function


def way_options(function: Function) -> Function:
    """Add all that a belt to order hangs on."""
    for option in reversed(
        (
            click.option("--string", metavar="SIZE", help="Laid once round in the grooves."),
            click.option("--thread", metavar="SIZE", help="How thick that string is."),
            click.option(
                "--old-belt", metavar="SIZE", help="Inner circumference of the old belt, lying."
            ),
            pulley_options,
            click.option(
                "--section", metavar="TEXT", help='"square 1.2 mm", "flat 4 x 0.5 mm", "round 2".'
            ),
            click.option("--stretch", metavar="%", help="Wanted; else what is usual."),
            click.option("--motor-pulley", metavar="SIZE", help="With --string: its diameter."),
            click.option("--flywheel", metavar="SIZE", help="Likewise, where the belt lies."),
            click.option("--groove", metavar="TEXT", help='"V 1.5 mm", "square 1.3", "flat 5".'),
            click.option("--hardness", metavar="SHORE", help="Of the rubber, Shore A; else 60."),
            click.option("--load", metavar="TORQUE", help="At the motor pulley; else 3 g·cm."),
            click.option("--mains", metavar="HZ", help="Frequency of the mains here."),
            click.option("--built-for", metavar="HZ", help="What the motor's plate says."),
            click.option("--json", "as_json", is_flag=True, help="One JSON document."),
        )
    ):  # fmt: skip
        function = option(function)
    return function


@dataclass(slots=True)
class Sizes:
    """Reads the sizes of one call, so that bare numbers and inches are not mixed.

    A bare number is millimetres. As soon as one size is in inches, all need their unit.
    """

    bare: list[str] = field(default_factory=list)
    inches: list[str] = field(default_factory=list)

    def read(
        self, text: str, what: str, instrument: Instrument, low: float, high: float
    ) -> Quantity:
        """Read a size in mm that lies between two bounds.

        Raises
        ------
        InputError
            When it is no size, or cannot be one of that kind.
        """
        from runstrue.transport.sizes import read_size

        try:
            size = read_size(text, "length", instrument, bare_unit="mm")
        except InputError as error:
            raise InputError(f"{error.seen} for {what}", error.needed, error.next_step) from None
        self.note(text)
        if not low <= size.value <= high:
            bare = " without a unit, so millimetres," if text in self.bare else ""
            raise InputError(
                f"'{text}'{bare} was given for {what}",
                f"{low:g} to {high:g} mm is needed",
                "check the figure, and write the unit with it",
            )
        return size

    def place(self, text: str) -> Quantity:
        """Read a place in mm, which may be zero or below."""
        from runstrue.transport.sizes import RULER, read_size

        size = read_size(text, "length", RULER, bare_unit="mm", sign="any")
        if size.value:
            self.note(text)
        return size

    def note(self, text: str) -> None:
        """Remember whether a size had a unit."""
        if re.search(r"in(?:ch|ches)?\b|[\"″]|\bft|mil|thou", text, re.IGNORECASE):
            self.inches.append(text)
        elif not re.search(r"[a-zµ]", text, re.IGNORECASE):
            self.bare.append(text)

    def settle(self) -> None:
        """Refuse bare numbers beside inches."""
        if self.bare and self.inches:
            raise InputError(
                f"'{self.inches[0]}' is in inches, and '{self.bare[0]}' has no unit",
                "a unit with every size is needed where inches are among them",
                f"write '{self.bare[0]} in' or '{self.bare[0]} mm'",
            )


def read_pulley(text: str, sizes: Sizes) -> SizedPulley:
    """Read '60@0,0', 'motor=8 mm@90 mm,0 mm' or 'idler=12@40,20,back'."""
    from runstrue.transport.belt_way import SizedPulley
    from runstrue.transport.sizes import CALIPER

    name, _, rest = text.rpartition("=")
    diameter, at, place = rest.partition("@")
    parts = [part.strip() for part in place.split(";" if ";" in place else ",")]
    side = 1
    if parts and parts[-1].lower() in ("back", "inside"):
        side = -1 if parts.pop().lower() == "back" else 1
    if not at or len(parts) != 2 or not all(parts):
        hint = "part x and y by a semicolon where decimals have a comma" if len(parts) > 2 else ""
        raise InputError(f"'{text}' was read as a pulley", f"{PULLEY_SAMPLE} is needed", hint)
    what = f"the diameter in '{text}'"
    return SizedPulley(
        sizes.place(parts[0]),
        sizes.place(parts[1]),
        sizes.read(diameter, what, CALIPER, 1, 400),
        side,
        name.strip(),
    )


def read_pulleys(texts: Sequence[str], sizes: Sizes) -> list[SizedPulley]:
    """Read all pulleys of a belt."""
    return [read_pulley(text, sizes) for text in texts]


def study_and_belt(transport: Path, belt: str, speed: str) -> tuple[Study, Belt]:
    """Read a described transport and find the belt that is meant."""
    from runstrue.transport.belt_in_transport import belt_named
    from runstrue.transport.rates import study
    from runstrue.transport.read import read_transport

    described = read_transport(transport)
    found = belt_named(described, belt)
    drives_at = sorted(found.speeds) or [one.name for one in described.speeds]
    return study(described, speed or drives_at[0]), found


def way_of(given: dict[str, Any]) -> tuple[Way | None, Section, Quantity | None]:
    """Return the way, the section, and the old belt where there is one.

    Raises
    ------
    click.UsageError
        When there is not exactly one source for the way.
    """
    from runstrue.transport.belt_in_transport import section_of, way_in_transport
    from runstrue.transport.belt_section import read_section
    from runstrue.transport.belt_way import way_by_pulleys, way_by_string
    from runstrue.transport.sizes import STRING

    sources = [key for key in ("string", "pulleys", "transport") if given[key]]
    if len(sources) > 1 or not (sources or given["old_belt"]):
        raise click.UsageError(
            "One of --string, --old-belt, --pulley and --transport is needed"
            + (", and several were given" if len(sources) > 1 else "")
        )
    source = sources[0] if sources else "old_belt"
    for key, needs in (
        ("motor_pulley", "string"),
        ("flywheel", "string"),
        ("thread", "string"),
        ("crossed", "pulleys"),
        ("belt", "transport"),
        ("speed", "transport"),
    ):
        if given[key] and source != needs:
            raise click.UsageError(
                f"--{key.replace('_', '-')} goes with --{needs.removesuffix('s')} alone"
            )  # fmt: skip
    sizes = Sizes()
    section = read_section(given["section"]) if given["section"] else None
    if given["section"]:
        sizes.note(given["section"].partition(" ")[2] or given["section"])
    old = None
    if given["old_belt"]:
        old = sizes.read(given["old_belt"], "the old belt", STRING, 60, 3000)
    if source == "transport":
        study, belt = study_and_belt(given["transport"], given["belt"], given["speed"])
        section = section or section_of(belt)
        return way_in_transport(study, belt, _needed(section)), _needed(section), old
    section = _needed(section)
    if source == "old_belt":
        sizes.settle()
        return None, section, old
    if source == "pulleys":
        pulleys = read_pulleys(given["pulleys"], sizes)
        sizes.settle()
        return (
            way_by_pulleys(pulleys, section, crossed=given["crossed"], **named_drive(pulleys)),
            section,
            old,
        )
    string = sizes.read(given["string"], "a string round the pulleys", STRING, 60, 3000)
    thread = None
    if given["thread"]:
        from runstrue.transport.sizes import CALIPER

        thread = sizes.read(given["thread"], "the thickness of a string", CALIPER, 0.05, 4)
    drive = _typed_drive(given, sizes)
    sizes.settle()
    return way_by_string(string, thread=thread, drive=drive), section, old


def named_drive(pulleys: Sequence[SizedPulley]) -> dict[str, int | None]:
    """Find by name which pulley drives and which is driven."""

    def called(word: str) -> int | None:
        return next((index for index, one in enumerate(pulleys) if word in one.name.lower()), None)

    return {"driving": called("motor"), "driven": called("flywheel")}


def _needed(section: Section | None) -> Section:
    if section is None:
        raise click.UsageError(
            'The section of the belt is needed: --section "square 1.2 mm" (or flat, round)'
        )
    return section


def _typed_drive(given: dict[str, Any], sizes: Sizes) -> Drive | None:
    from runstrue.transport.belt_way import Drive
    from runstrue.transport.sizes import CALIPER

    if not given["motor_pulley"] and not given["flywheel"]:
        return None
    if not (given["motor_pulley"] and given["flywheel"]):
        raise click.UsageError("--motor-pulley and --flywheel are needed together")
    return Drive(
        sizes.read(given["motor_pulley"], "the motor pulley", CALIPER, 1, 400),
        sizes.read(given["flywheel"], "the flywheel", CALIPER, 1, 400),
    )
