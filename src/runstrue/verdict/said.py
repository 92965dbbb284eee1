"""What the words around a figure say: method, conditions, tolerance, and what is left over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from runstrue.verdict.figures import Figure
from runstrue.verdict.fits import Item, begins_response, could_be_condition, is_at, is_tolerance
from runstrue.verdict.tokens import Token
from runstrue.verdict.vocabulary import Meaning

_STANDARD_NAMES = frozenset({"din", "iec", "ccir", "jis", "nab", "peak_standard"})
_WEIGHTINGS = frozenset({"weighted", "unweighted", "a_curve", "curve_468", "arm"})

SAME_SPEED = 0.01  # 4.76 for 4.7625 cm/s is 0.05 %, 9.5 for 9.525 is 0.3 %

# A figure that does not fit the quantity is a condition; its dimension tells which.
_CONDITION_OF = {
    "cm/s": "speed",
    "nWb/m": "reference",
    "V": "reference",
    "dBV": "reference",
    "dBu": "reference",
    "%": "reference",
    "dB": "level",
    "s": "duration",
    "Ω": "impedance",
}


@dataclass(slots=True)
class Said:
    """What a run of words says.

    Parameters
    ----------
    flags : set of str
        Method words, as in `words/methods.toml`.
    notes : list of str
        The same as they stand on the sheet.
    conditions : dict of str to str
    tolerances : list of Figure
        Decibels that go with a frequency band.
    window : bool
        Whether those decibels are a total window.
    typical : bool
        Whether the figure is called typical or approximate.
    speeds_cm_s : list of float
        Tape speeds that stand as conditions.
    left_over : list of str
        Words that were not understood.
    inherited : bool
        Whether the method was taken over from another figure of the clause.
    bare : bool
        Whether it is a further figure of the clause and nothing tells it from the first.
    """

    flags: set[str] = field(default_factory=set)
    notes: list[str] = field(default_factory=list)
    conditions: dict[str, str] = field(default_factory=dict)
    tolerances: list[Figure] = field(default_factory=list)
    window: bool = False
    typical: bool = False
    speeds_cm_s: list[float] = field(default_factory=list)
    left_over: list[str] = field(default_factory=list)
    inherited: bool = False
    bare: bool = False


def read_words(items: Sequence[Item], line: str, topic: str) -> Said:
    """Return what these items say about a figure of this topic."""
    said = Said()
    for place, item in enumerate(items):
        following = items[place + 1] if place + 1 < len(items) else None
        if isinstance(item, Figure):
            before = items[place - 1] if place else None
            if topic != "response" and begins_response(items[place : place + 3]):
                said.left_over.append(line[item.start : item.end].strip())
                continue
            _read_condition_figure(said, item, (before, following), line, topic)
        elif item.kind == "standard":
            said.flags.update(item.flags)
            said.notes.append(item.text)
        elif item.kind == "word":
            said.left_over.append(item.text)
        elif item.meaning:
            _read_phrase(said, item, item.meaning)
    return said


def combine(header: Said, own: Said, *, is_first: bool) -> Said:
    """Let a figure's own words go before those that stand ahead of the first figure."""
    whole = Said(
        flags=set(own.flags),
        notes=list(own.notes),
        conditions={**header.conditions, **own.conditions},
        tolerances=own.tolerances or header.tolerances,
        window=own.window or (header.window and not own.tolerances),
        typical=header.typical or own.typical,
        speeds_cm_s=own.speeds_cm_s or header.speeds_cm_s,
        left_over=[*header.left_over, *own.left_over],
    )
    whole.bare = not (is_first or own.flags or own.conditions)
    if is_first or not own.flags:
        whole.inherited = not is_first and bool(header.flags - own.flags)
        whole.flags |= header.flags
        whole.notes = [*header.notes, *own.notes]
    elif not own.flags & (_WEIGHTINGS | _STANDARD_NAMES | {"wrms"}):
        # 'Wow and flutter, weighted: 0.05 % r.m.s., 0.1 % peak'
        whole.flags |= header.flags & _WEIGHTINGS
    return whole


def share_last(all_said: list[Said]) -> None:
    """Let what stands after the last figure hold for all of a list by tape or by speed.

    'Normal 52 dB, CrO2 54 dB, metal 55 dB (A weighted)': each figure has its own tape, so they
    are one method under several conditions. '0.05 %, 0.14 % (DIN)' is not such a list: there
    the first figure may well be by another method.
    """
    if len(all_said) < 2:
        return
    last = all_said[-1]
    for name in ("tape", "speed", "noise reduction"):
        values = [said.conditions.get(name) for said in all_said]
        if None in values or len(set(values)) < len(values):
            continue
        for said in all_said[:-1]:
            said.conditions = {**last.conditions, **said.conditions}
            if not said.flags and last.flags:
                said.flags, said.notes, said.inherited = set(last.flags), list(last.notes), True
            if not said.tolerances and last.tolerances:
                said.tolerances, said.window, said.inherited = last.tolerances, last.window, True
        return


def pair_speeds(all_said: list[Said]) -> bool:
    """Give each figure of a list its own of several speeds: '(19 / 9.5 cm/s): 0.06 / 0.1 % WRMS'.

    Returns
    -------
    bool
        False when there are several speeds and another number of figures.
    """
    speeds = _distinct(all_said[0].speeds_cm_s)
    if len(speeds) < 2 or any(said.speeds_cm_s != all_said[0].speeds_cm_s for said in all_said):
        return True
    if len(speeds) != len(all_said):
        return False
    last = all_said[-1]
    for said, speed in zip(all_said, speeds, strict=True):
        said.conditions = {**said.conditions, "speed": f"{speed:g} cm/s"}
        said.bare = False
        if not said.flags and last.flags:
            said.flags, said.notes, said.inherited = set(last.flags), list(last.notes), True
    return True


def _distinct(speeds_cm_s: Sequence[float]) -> list[float]:
    """Speeds less those that are the same in another unit ('4.76 cm/s (1 7/8 ips)')."""
    found: list[float] = []
    for speed in speeds_cm_s:
        if all(abs(speed / other - 1) > SAME_SPEED for other in found):
            found.append(speed)
    return found


def _read_phrase(said: Said, token: Token, meaning: Meaning) -> None:
    if meaning.kind == "flag":
        said.flags.update(meaning.names)
        said.notes.append(token.text)
    elif meaning.kind == "condition":
        name = meaning.names[0]
        present = said.conditions.get(name)
        # 'with B-type noise reduction on': the type says more than 'on'
        if present is None or present in ("on", "playback", "each"):
            said.conditions[name] = meaning.value
    elif meaning.kind == "topic":
        said.flags.update(f"topic:{name}" for name in meaning.names)
    elif meaning.kind == "bound":  # one that stands apart from its figure
        said.window = said.window or "window" in meaning.names
        said.typical = said.typical or "about" in meaning.names


def _read_condition_figure(
    said: Said, figure: Figure, beside: tuple[Item | None, Item | None], line: str, topic: str
) -> None:
    text = line[figure.start : figure.end].strip()
    before, following = beside
    if topic == "response" and is_tolerance(figure):
        if said.tolerances:  # which of two tolerances holds is not for us to say
            said.left_over.append(text)
        said.tolerances.append(figure)
        said.window = said.window or "window" in figure.bounds
        return
    name = _CONDITION_OF.get(figure.dimension)
    if figure.dimension == "Hz":
        name = "band" if figure.shape == "span" else "tone"
    of_distortion = figure.dimension == "%" and _names_distortion(following)
    if name is None or not (
        of_distortion or could_be_condition(topic, figure, said_at=is_at(before, widely=True))
    ):
        said.left_over.append(text)
        return
    if of_distortion:
        assert isinstance(following, Token)
        text = f"{text} {following.text}"
    if name == "speed":
        said.speeds_cm_s.append(figure.value)
    present = said.conditions.get(name)
    said.conditions[name] = text if present is None else f"{present}, {text}"


def _names_distortion(item: Item | None) -> bool:
    if not isinstance(item, Token) or not item.is_phrase("topic"):
        return False
    return item.meaning is not None and item.meaning.names[0].startswith("distortion")
