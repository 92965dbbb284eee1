"""Transports of invented decks, to look at and to start from.

    example_names       their names
    example_text        the file of one
    example             one, read

Each stands in a TOML file beside this module.
"""

from __future__ import annotations

from importlib.resources import files

from runstrue.errors import InputError
from runstrue.transport.description import Transport
from runstrue.transport.read import parse_transport

EXAMPLES = {
    "one-belt": "a cassette deck with one belt: the deck of `runstrue practice`",
    "three-belts": "a cassette deck with belts of its own for take-up and counter",
    "two-motors": "a cassette deck with a motor for the capstan and one for the reels",
    "dual-capstan": "a closed loop of two capstans, the belt's back over a guide wheel",
    "idler-drive": "an open-reel machine with an idler and two speeds",
    "open-reel": "an open-reel machine with a motor in step with the mains, two speeds",
}
"""Name and line of each."""


def example_names() -> tuple[str, ...]:
    """Return the names of the examples."""
    return tuple(EXAMPLES)


def example_text(name: str) -> str:
    """Return the file of an example.

    Raises
    ------
    InputError
        When there is none of this name.
    """
    if name not in EXAMPLES:
        raise InputError(f"There is no example '{name}'", f"one of {', '.join(EXAMPLES)} is needed")
    return files(__package__).joinpath(f"{name}.toml").read_text(encoding="utf-8")


def example(name: str) -> Transport:
    """Return an example, read.

    Raises
    ------
    InputError
        When there is none of this name.
    """
    return parse_transport(example_text(name), f"{name}.toml")
