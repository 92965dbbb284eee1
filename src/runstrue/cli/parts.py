"""`runstrue parts`: which part of a transport makes which flutter."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand

if TYPE_CHECKING:
    from runstrue.cli.parts_input import Drive, Heard
    from runstrue.cli.parts_work import Looked
    from runstrue.logbook.models import Deck
    from runstrue.verdict.models import Limit

PATH = click.Path(path_type=Path)


@click.command(cls=ExampleCommand, short_help="Tell which part makes the flutter.")
@click.argument("file", type=PATH, required=False)
@click.option("--transport", type=PATH, metavar="FILE", help="What turns (runstrue transport new).")
@click.option("--deck", metavar="NAME", help="A deck of the logbook: its transport and sheet.")
@click.option("--capture", type=int, metavar="N", help="With --deck: of which number, else the "
              "latest.")  # fmt: skip
@click.option("--before", type=PATH, metavar="FILE", help="A recording from before the repair,")
@click.option("--after", type=PATH, metavar="FILE", help="and one from after it.")
@click.option("--played", metavar="TIME", help="Of the tape before it began: 3min, 4:20.")
@click.option("--without", multiple=True, metavar="PART", help="What would remain without it.")
@click.option("--sheet", "sheets", multiple=True, metavar="TEXT|FILE", help="Lines of a sheet.")
@click.option("--tone", "tone_hz", type=float, metavar="HZ", help="The tone on the tape.")
@click.option("--tape", type=PATH, metavar="FILE", help="Description of the test tape.")
@click.option("--figures", type=PATH, metavar="FOLDER", help="Write pictures: SVG, PNG, and 16:9.")
@click.option("--line", metavar="RATE", help="Of a deck that nobody described: '6.4 Hz'.")
@click.option("--speed", default="", metavar="SPEED", help="Of the tape, where there are several.")
@click.option("--machine", type=click.Choice(("cassette", "open-reel")), help="With --line.")
@click.option("--capstan", metavar="SIZE", help="With --line: its diameter, where it is known.")
@click.option("--flywheel", metavar="SIZE", help="With --line: diameter where the belt runs.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@bench_option
@click.pass_context
def parts(ctx: click.Context, /, **given: object) -> None:
    """Tell which part makes the flutter.

    A recording of a test tape, and a description of what turns in the deck:
      runstrue parts side-a.flac --transport c-14.toml
      runstrue parts side-a.flac --transport c-14.toml --without main-belt
      runstrue parts side-a.flac --transport c-14.toml --figures pictures

    From what the logbook keeps of a deck; what is found goes to its report and fault list:
      runstrue parts --deck C-14

    Before and after a repair, laid over each other:
      runstrue parts --before a.flac --after b.flac --transport c-14.toml

    Of a deck that nobody described, which part of which size would make a line:
      runstrue parts --line "6.4 Hz"
      runstrue parts --line "3.79 Hz" --speed 9.53 --machine open-reel
    """
    asked = Asked(**given)  # type: ignore[arg-type]  # the options above, by name
    _refuse_contradictions(asked)
    if asked.line is not None:
        _tell_line(asked)
    else:
        _tell_parts(ctx.ensure_object(Bench), asked)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The options as they were given."""

    file: Path | None
    transport: Path | None
    deck: str | None
    capture: int | None
    before: Path | None
    after: Path | None
    played: str | None
    without: tuple[str, ...]
    sheets: tuple[str, ...]
    tone_hz: float | None
    tape: Path | None
    figures: Path | None
    line: str | None
    speed: str
    machine: str | None
    capstan: str | None
    flywheel: str | None
    as_json: bool

    @property
    def of_line(self) -> tuple[str | None, ...]:
        """Options that go with a line alone."""
        return (self.machine, self.capstan, self.flywheel)


def _refuse_contradictions(asked: Asked) -> None:
    pair = asked.before is not None or asked.after is not None
    from_book = asked.file is None and not pair and asked.deck is not None
    if asked.line is not None:
        beside = (asked.file, asked.transport, asked.deck, asked.before, asked.after)
        if any(one is not None for one in beside):
            raise click.UsageError("--line is for a deck that nobody described: name it alone")
        return
    if any(one is not None for one in asked.of_line):
        raise click.UsageError("--machine, --capstan and --flywheel go with --line")
    if pair and (asked.before is None or asked.after is None or asked.file is not None):
        raise click.UsageError("--before and --after go together, without another recording")
    if asked.file is None and not pair and asked.deck is None:
        raise click.UsageError(
            "Name a recording, a deck with --deck, or a line with --line '6.4 Hz'"
        )
    if asked.transport is None and asked.deck is None:
        raise click.UsageError("Say what turns with --transport FILE, or name the deck with --deck")
    if asked.capture is not None and not from_book:
        raise click.UsageError("--capture is of the logbook: with --deck, and without a recording")


def _tell_line(asked: Asked) -> None:
    from runstrue.cli.layout import out
    from runstrue.cli.parts_input import read_line
    from runstrue.cli.show_sizes import sizes_document, sizes_lines
    from runstrue.measure.parts.sizes import possible_parts

    line = read_line(asked.line or "", asked.speed, asked.machine, asked.capstan, asked.flywheel)
    found = possible_parts(line.line, line.speed, line.machine, belt_ratio=line.ratio)
    if asked.as_json:
        click.echo(sizes_document(line.line, line.speed, line.machine, found))
        return
    out(sizes_lines(line.words, line.speed, line.machine, found))


def _tell_parts(bench: Bench, asked: Asked) -> None:
    from runstrue.cli.layout import out
    from runstrue.cli.parts_json import parts_document
    from runstrue.cli.parts_work import look
    from runstrue.cli.show_parts import before_after_lines, parts_lines
    from runstrue.transport.counter_pairs import read_time_s

    played_s = read_time_s(asked.played) if asked.played else None
    deck, drive, limits, conditions = _known(bench, asked)
    heard = _heard(bench, asked, deck)

    def looked_at(one: Heard, also_round: tuple[str, ...] = ()) -> Looked:
        return look(
            one, drive, played_s=played_s, without=asked.without, limits=limits,
            conditions=conditions, also_round=also_round,
        )  # fmt: skip

    seen = [looked_at(heard[0])]
    if len(heard) > 1:  # what was guilty before is drawn after too
        seen.append(looked_at(heard[1], tuple(one.id for one in seen[0].rounds)))
    kept = _keep(bench, asked, deck, seen)
    written = _draw(asked, seen, limits)
    if asked.as_json:
        click.echo(parts_document(seen))
        return
    out(parts_lines(seen[0]) if len(seen) == 1 else before_after_lines(*seen))
    out(kept)
    out(written)


def _known(
    bench: Bench, asked: Asked
) -> tuple[Deck | None, Drive, tuple[Limit, ...], dict[str, str]]:
    """Return the deck, what turns in it, its sheet's limits, and how the pass was made."""
    from runstrue.cli.parts_input import drive_of_deck, drive_of_file, no_transport
    from runstrue.cli.plan import read_sheets

    limits = read_sheets(asked.sheets).limits if asked.sheets else ()
    if asked.deck is None:
        assert asked.transport is not None
        return None, drive_of_file(asked.transport, asked.speed), limits, {}
    with bench.open() as book:
        deck = book.find_deck(asked.deck)
        sheets = book.sheets(deck)
        cm_s = deck.speeds_cm_s[0] if len(deck.speeds_cm_s) == 1 else None
        drive = (
            drive_of_file(asked.transport, asked.speed)
            if asked.transport is not None
            else drive_of_deck(book, deck, asked.speed, cm_s)
        )
    if drive is None:
        raise no_transport(deck)
    if not limits and sheets:
        limits = sheets[-1].limits
    return deck, drive, limits, {"speed": f"{cm_s:g} cm/s"} if cm_s else {}


def _heard(bench: Bench, asked: Asked, deck: Deck | None) -> list[Heard]:
    from runstrue.cli.parts_input import hear, heard_before
    from runstrue.cli.plan import read_tape, sound_card
    from runstrue.measure.tape_tone import TonePlan

    if asked.file is None and asked.before is None:
        assert deck is not None
        with bench.open() as book:
            return [heard_before(book, deck, asked.capture)]
    plan = TonePlan(asked.tone_hz, read_tape(asked.tape), sound_card(bench, None, ""))
    files = [one for one in (asked.file, asked.before, asked.after) if one is not None]
    return [hear(path, plan) for path in files]


def _keep(bench: Bench, asked: Asked, deck: Deck | None, seen: list[Looked]) -> list[str]:
    """Keep with the capture what came from the logbook."""
    from runstrue.cli.parts_keep import keep_parts, kept_lines

    record = seen[0].heard.record
    if deck is None or record is None:
        return []
    joined = keep_parts(bench, deck, seen[0])
    return [] if asked.as_json else list(kept_lines(bench, deck, record, joined))


def _draw(asked: Asked, seen: list[Looked], limits: tuple[Limit, ...]) -> list[str]:
    from runstrue.cli.layout import wrapped
    from runstrue.cli.parts_pictures import write_parts_pictures

    if asked.figures is None:
        return []
    written = write_parts_pictures(seen, asked.figures, limits)
    return ["", *wrapped(f"{len(written)} pictures were written to '{asked.figures}'.")]
