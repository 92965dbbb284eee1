"""What is typed about a counter: pairs, tape, hub; kept with a deck, and read back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import msgspec
from click.core import ParameterSource

from runstrue.errors import InputError, LogbookError

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.logbook import Logbook
    from runstrue.logbook.models import Deck
    from runstrue.quantity import Quantity
    from runstrue.transport.counter import Fit, Pair
    from runstrue.transport.counter_constants import Constants, Reeled
    from runstrue.transport.counter_law import Law
    from runstrue.transport.sizes import Instrument

Function = Callable[..., Any]
LARGEST_CASSETTE_HUB_MM, SMALLEST_CASSETTE_HUB_MM = 32.0, 16.0
PAIRS = "PAIRS"


class Told(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """All that was said about a counter; this is what is kept with a deck.

    Parameters
    ----------
    pairs : tuple of (float, float)
        Count and time in s.
    zeroed : bool
    end : float or None
        What the counter showed at the end of the tape.
    tape, tape_length, tape_thickness, hub, turns, speed, reel : str
        As they were typed; empty where nothing was said.
    speed_off : float or None
        Of the deck, in %.
    time_error, count_error : float
        In s and in counts.
    """

    pairs: tuple[tuple[float, float], ...]
    zeroed: bool = True
    end: float | None = None
    tape: str = ""
    tape_length: str = ""
    tape_thickness: str = ""
    hub: str = ""
    turns: str = ""
    speed: str = "4.76 cm/s"
    speed_off: float | None = None
    reel: str = ""
    time_error: float = 1.0
    count_error: float = 0.5


@dataclass(frozen=True, slots=True)
class Known:
    """What a counter tells.

    Parameters
    ----------
    name : str
        Of the deck; empty without one.
    told : Told
    fit : Fit
    tape : Reeled or None
        That of the pairs.
    constants : Constants or None
        None where they cannot be known.
    why_not : InputError or None
        Why they cannot.
    """

    name: str
    told: Told
    fit: Fit
    tape: Reeled | None
    constants: Constants | None
    why_not: InputError | None

    @property
    def law(self) -> Law:
        """The law with the counter set to 0 at the beginning, however the pairs were taken."""
        return self.fit.law.from_zero()

    @property
    def takes_cassettes(self) -> bool:
        """Whether the law of any cassette is known: at their speed, with the deck's constants."""
        return self.constants is not None and 46 < self.constants.speed.value < 50

    def law_for(self, tape: Reeled) -> Law:
        """Return the law with a tape; with that of the pairs it is the one found.

        Raises
        ------
        InputError
            When the deck's constants are not known.
        """
        from runstrue.transport.counter_constants import law_for

        if self.tape is not None and tape.name == self.tape.name:
            return self.law
        if self.constants is None:
            assert self.why_not is not None
            raise InputError(
                f"The law of another tape, {tape.name}, cannot be worked out from these pairs",
                f"{self.why_not.seen[:1].lower()}{self.why_not.seen[1:]}",
                self.why_not.next_step or self.why_not.needed,
            )
        return law_for(self.constants, tape, self.told.count_error)


def counter_options(function: Function) -> Function:
    """Add what is known of counter, tape and deck."""
    for option in reversed(
        (
            click.option("--not-zeroed", is_flag=True, help="It did not show 0 at the beginning."),
            click.option(
                "--end", metavar="COUNT@TIME", help="At the end of the tape; one more pair."
            ),
            click.option("--tape", default="", metavar="NAME", help="Of the pairs: C46 to C120."),
            click.option("--tape-length", default="", metavar="SIZE", help="Where it is another."),
            click.option("--tape-thickness", default="", metavar="SIZE", help="Likewise."),
            click.option("--hub", default="", metavar="SIZE", help="Diameter of the bare hub."),
            click.option("--turns", default="", metavar="N", help="Turns of the reel a count."),
            click.option(
                "--reel", type=click.Choice(("take-up", "supply")), help="Which one is counted."
            ),
            click.option("--speed", default="4.76 cm/s", metavar="SIZE", help="Of the tape."),
            click.option("--speed-off", metavar="%", help="As measured; else within ±1.5 %."),
            click.option("--time-error", default="1", metavar="S", help="Most a time is off."),
            click.option(
                "--count-error", default="0.5", metavar="N", help="Most a reading is off."
            ),
        )
    ):
        function = option(function)
    return function


def source_options(function: Function) -> Function:
    """Add where the law comes from: a deck of the logbook, or pairs."""
    for option in reversed(
        (
            click.option("--deck", metavar="NAME", help="With what was kept for it."),
            click.option(
                "--pairs", multiple=True, metavar=PAIRS, help='"100@4:58 200@10:31", or a CSV.'
            ),
            counter_options,
        )
    ):
        function = option(function)
    return function


def told_of(words: Sequence[str], given: dict[str, Any]) -> Told:
    """Put together what was typed.

    Parameters
    ----------
    words : sequence of str
        Pairs, several in one word too, or names of CSV files.
    given : dict
        Of `counter_options`.
    """
    from runstrue.transport.counter_pairs import read_pair, read_pairs

    pairs: list[Pair] = []
    for word in words:
        if "@" in word and not Path(word).is_file():
            pairs += [read_pair(one) for one in word.split()]
        else:
            pairs += read_pairs(word)
    end = None
    if given["end"]:
        last = read_pair(given["end"])
        end = last.count
        if last not in pairs:
            pairs.append(last)
    return Told(
        pairs=tuple((one.count, one.time_s) for one in pairs),
        zeroed=not given["not_zeroed"],
        end=end,
        speed_off=_number(given["speed_off"], "--speed-off") if given["speed_off"] else None,
        time_error=_number(given["time_error"], "--time-error"),
        count_error=_number(given["count_error"], "--count-error"),
        reel=given["reel"] or "",
        **{
            name: given[name]
            for name in ("tape", "tape_length", "tape_thickness", "hub", "turns", "speed")
        },
    )


def known_of(told: Told, name: str = "") -> Known:
    """Work out all that can be known."""
    from runstrue.transport.counter import Pair, fit_counter
    from runstrue.transport.counter_constants import constants_of, speed_off
    from runstrue.transport.ranges import TAPE_SPEED
    from runstrue.transport.sizes import AS_WRITTEN

    nominal = _size(told.speed, "speed", AS_WRITTEN, "cm/s", TAPE_SPEED, "--speed")
    speed = speed_off(nominal.value, told.speed_off)
    tape = _tape(told)
    hub = _hub(told.hub, nominal.value) if told.hub else None
    turns = _turns(told.turns) if told.turns else None
    fit = fit_counter(
        [Pair(*one) for one in told.pairs],
        zeroed=told.zeroed,
        end_count=told.end,
        whole=None if tape is None or told.end is not None else tape.plays(speed),
        time_limit_s=told.time_error,
        count_limit=told.count_error,
    )
    try:
        constants = constants_of(
            fit,
            speed,
            hub_diameter=hub,
            tape=tape,
            turns_a_count=turns,
            reel=told.reel or None,  # type: ignore[arg-type]
        )
    except InputError as error:
        return Known(name, told, fit, tape, None, error)
    return Known(name, told, fit, tape, constants, None)


def known_from(
    bench: Bench, deck: str | None, words: Sequence[str], given: dict[str, Any]
) -> Known:
    """Return what is known by a deck's kept pairs, or by pairs that were typed.

    Raises
    ------
    UsageError
        When neither or both are named.
    """
    if (deck is None) == (not words):
        raise click.UsageError("Name either a --deck whose pairs are kept, or --pairs")
    if deck is None:
        return known_of(told_of(words, given))
    refuse_beside_kept(given)
    with bench.open() as book:
        held = book.find_deck(deck)
        return known_of(kept_with(book, held), held.name)


def refuse_beside_kept(given: dict[str, Any]) -> None:
    """Refuse what would be passed over, since what was kept with the deck counts.

    Raises
    ------
    UsageError
        When an option of `counter_options` was typed.
    """
    ctx = click.get_current_context()
    typed = [one for one in given if ctx.get_parameter_source(one) is ParameterSource.COMMANDLINE]
    if typed:
        option = f"--{typed[0].replace('_', '-')}"
        raise click.UsageError(
            f"{option} belongs to the pairs, and those of the deck are kept; give the pairs again "
            f"with {option}, or use --pairs"
        )


def keep_with(book: Logbook, deck: Deck, told: Told) -> None:
    """Keep what was said about a deck's counter; what was kept before stays on record."""
    book.set_setting(_setting(deck), msgspec.json.encode(told).decode())


def kept_with(book: Logbook, deck: Deck) -> Told:
    """Return what is kept about a deck's counter.

    Raises
    ------
    InputError
        When nothing is.
    LogbookError
        When it cannot be read.
    """
    held = book.setting(_setting(deck))
    if held is None:
        raise InputError(
            f"No counter pairs are kept with '{deck.name}'",
            "three or more are needed",
            f"runstrue counter fit 100@4:58 200@10:31 300@16:40 --deck {deck.name}",
        )
    try:
        return msgspec.json.decode(held, type=Told)
    except msgspec.MsgspecError as error:
        raise LogbookError(
            f"What is kept about the counter of '{deck.name}' cannot be read ({error})",
            "it may be of a newer Runstrue",
            "give the pairs again",
        ) from None


def cassettes_of(names: Sequence[str]) -> list[Reeled]:
    """Return the tapes of these names, each once."""
    from runstrue.transport.counter_constants import cassette

    found = [cassette(part) for name in names for part in name.replace(",", " ").split()]
    return list({one.name: one for one in found}.values())


def _setting(deck: Deck) -> str:
    return f"counter.deck_{deck.id}"


def _tape(told: Told) -> Reeled | None:
    from runstrue.transport.counter_constants import Reeled, cassette
    from runstrue.transport.ranges import TAPE_LENGTH, TAPE_THICKNESS
    from runstrue.transport.sizes import SLEEVE

    if not (told.tape_length or told.tape_thickness):
        return cassette(told.tape) if told.tape else None
    usual = None if not told.tape else _usual(told.tape)
    if not (usual or (told.tape_length and told.tape_thickness)):
        raise InputError(
            "Only one of the tape's length and thickness was given", "both are needed",
            "or the name of a usual cassette",
        )  # fmt: skip
    length = (
        _size(told.tape_length, "length", SLEEVE, "m", TAPE_LENGTH, "--tape-length")
        if told.tape_length
        else usual.length  # type: ignore[union-attr]
    )
    thickness = (
        _size(told.tape_thickness, "length", SLEEVE, "µm", TAPE_THICKNESS, "--tape-thickness")
        if told.tape_thickness
        else usual.thickness  # type: ignore[union-attr]
    )
    return Reeled(told.tape or "this tape", length, thickness)


def _usual(name: str) -> Reeled | None:
    from runstrue.transport.counter_constants import cassette

    try:
        return cassette(name)
    except InputError:
        return None


def _hub(text: str, speed_mm_s: float) -> Quantity:
    from runstrue.transport.ranges import HUB
    from runstrue.transport.sizes import CALIPER

    hub = _size(text, "length", CALIPER, "mm", HUB, "--hub")
    cassettes = 47 < speed_mm_s < 48
    if cassettes and not SMALLEST_CASSETTE_HUB_MM < hub.value < LARGEST_CASSETTE_HUB_MM:
        raise InputError(
            f"A hub of {hub.value:.4g} mm was given",
            "the diameter of a cassette's bare hub is about 22 mm",
            "give the diameter, twice the radius; for an open reel give its --speed too",
        )
    return hub


def _turns(text: str) -> Quantity:
    from runstrue.quantity import Quantity

    number, _, half = text.replace("+/-", "±").partition("±")
    value = _number(number, "--turns")
    u = _number(half, "--turns") / 3**0.5 if half else 1e-3 * value
    if not (0 < value < 1000 and 0 <= u < value):
        raise InputError(
            f"'{text}' turns a count were given", "a number such as 1 or 0.5±0.01 is needed"
        )
    return Quantity(value, "", u)


def _size(
    text: str, dimension: Any, instrument: Instrument, unit: str, within: Any, option: str
) -> Quantity:
    from runstrue.transport.sizes import read_size

    found = read_size(text, dimension, instrument, bare_unit="mm" if unit == "mm" else "")
    if not within.low <= found.value <= within.high:
        raise InputError(
            f"{option} was given as '{text}'",
            f"between {within.told(within.low)} and {within.told(within.high)} is needed",
        )
    return found


def _number(text: str, option: str) -> float:
    from runstrue.cli.plan import number_of

    try:
        return number_of(text.strip().removesuffix("%").removesuffix("s"))
    except ValueError:
        raise click.UsageError(f"'{text}' for {option} is no number") from None
