"""Figures of a spec sheet put together from tokens: '±0.2 %', '40–12 500 Hz', '480 ±40 g·cm'."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from runstrue.verdict.tokens import Token, with_unit
from runstrue.verdict.vocabulary import Unit

Shape = Literal["single", "tolerance", "around", "span"]


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure with its sign, bound and unit.

    Parameters
    ----------
    shape : {'single', 'tolerance', 'around', 'span'}
        '56 dB'; '±3 dB' or '+3/−5 dB'; '480 ±40 g·cm'; '40–12 500 Hz'.
    value : float
        Of a single figure or of the middle of 'around'.
    below, above : float
        Of a tolerance or 'around': how far down and up, both at least 0. Of a span: its ends.
    dimension : str
        As in `words/units.toml`; empty when no unit stands there.
    tolerance_dimension : str
        Of 'around': '%' in '3000 Hz ±0.5 %'.
    bounds : frozenset of str
        Of 'at_most', 'at_least', 'better', 'about', 'window'.
    flags : frozenset of str
        What the unit itself says: 'a_curve' of dB(A).
    start, end : int
        Its place in the line.
    tokens : tuple of Token
        Its numbers, to give them a unit later.
    """

    shape: Shape
    value: float
    below: float
    above: float
    dimension: str
    tolerance_dimension: str
    bounds: frozenset[str]
    flags: frozenset[str]
    start: int
    end: int
    tokens: tuple[Token, ...]


def figure_at(tokens: list[Token], place: int) -> tuple[Figure, int] | None:
    """Return the figure that begins at a place, and the place after it; None if none does."""
    bounds, core, said_plus_minus = _leading_bounds(tokens, place)
    found = _core(tokens, core, said_plus_minus)
    if not found:
        return None
    figure, after = found
    trailing, after = _trailing_bound(tokens, after)
    return _replace(
        figure, bounds=frozenset(bounds | trailing), start=tokens[place].start,
        end=tokens[after - 1].end,
    ), after  # fmt: skip


def give_unit(figure: Figure, unit: Unit) -> Figure:
    """Return a figure that stands without a unit as one with this unit."""
    numbers = [with_unit(token, unit) for token in figure.tokens]
    values = [token.value for token in numbers]
    flags = frozenset((unit.flag,)) if unit.flag else frozenset[str]()
    changed = _replace(figure, dimension=unit.dimension, flags=flags, tokens=tuple(numbers))
    sign = -1.0 if figure.value < 0 else 1.0
    if figure.shape == "single":
        return _replace(changed, value=sign * values[0])
    if figure.shape == "around":
        above = values[2] if len(values) > 2 else values[1]
        return _replace(
            changed, value=sign * values[0], below=values[1], above=above,
            tolerance_dimension=unit.dimension,
        )  # fmt: skip
    signs = [-1.0 if end < 0 else 1.0 for end in (figure.below, figure.above)]
    return _replace(changed, below=signs[0] * values[0], above=signs[1] * values[-1])


def _replace(figure: Figure, **changes: object) -> Figure:
    parts = {name: getattr(figure, name) for name in Figure.__slots__}
    return Figure(**{**parts, **changes})


# 'approx. max. ≤' and their dots: nobody writes more before a figure.
_MOST_BOUND_WORDS = 6


def _leading_bounds(tokens: list[Token], place: int) -> tuple[set[str], int, bool]:
    bounds: set[str] = set()
    said_plus_minus = False
    first = place
    while place < min(len(tokens), first + _MOST_BOUND_WORDS):
        token = tokens[place]
        if token.kind in ("at_most", "at_least"):
            bounds.add(token.kind)
        elif token.is_phrase("bound"):
            assert token.meaning is not None
            bounds.update(token.meaning.names)
        elif not (token.kind in ("dot", "colon") and bounds):  # 'max. 0.1 %', 'min: 56 dB'
            break
        place += 1
    if "plus_minus" in bounds:
        bounds.discard("plus_minus")
        said_plus_minus = True
    return bounds, place, said_plus_minus


def _trailing_bound(tokens: list[Token], place: int) -> tuple[set[str], int]:
    """'0.1 % max.', '0.1 % (max)', '56 dB or better'; not '0.1 % max 0.2 %'."""
    opened = place < len(tokens) and tokens[place].kind == "open"
    at = place + 1 if opened else place
    if at < len(tokens) and tokens[at].is_phrase("bound"):
        meaning = tokens[at].meaning
        assert meaning is not None
        after = at + 1
        if after < len(tokens) and tokens[after].kind == "dot":
            after += 1
        if opened:
            if after >= len(tokens) or tokens[after].kind != "close":
                return set(), place
            after += 1
        if "plus_minus" in meaning.names or (after < len(tokens) and _begins(tokens[after])):
            return set(), place
        return set(meaning.names), after
    return set(), place


def _begins(token: Token) -> bool:
    return token.kind in ("number", "plus_minus", "plus", "dash")


def _core(tokens: list[Token], place: int, said_plus_minus: bool) -> tuple[Figure, int] | None:
    kinds = [token.kind for token in tokens[place : place + 8]]
    if not kinds:
        return None
    if kinds[0] == "plus_minus" or said_plus_minus:
        at = place + (kinds[0] == "plus_minus")
        if at < len(tokens) and tokens[at].kind == "number":
            tolerance = tokens[at]
            return _build("tolerance", (tolerance,), tolerance.value, tolerance.value), at + 1
        return None
    pair = _signed_pair(tokens, place)
    if pair:
        below, above, after = pair
        low, high = _share_unit(below, above)
        return _build("tolerance", (low, high), low.value, high.value), after
    signed = _signed_number(tokens, place)
    if not signed:
        return None
    sign, first, after = signed
    span = _span(tokens, sign, first, after)
    if span:
        return span
    around = _around(tokens, sign, first, after)
    if around:
        return around
    if sign > 0:
        minutes = _minutes_and_seconds(tokens, first, after)
        if minutes:
            return minutes
    return _build("single", (first,), value=sign * first.value), after


def _signed_number(tokens: list[Token], place: int) -> tuple[float, Token, int] | None:
    token = tokens[place]
    if token.kind == "number":
        return 1.0, token, place + 1
    # a sign stands close to its number: '-56 dB', but 'wow and flutter - 0.1 %' is a pause
    if token.kind in ("dash", "plus", "range") and place + 1 < len(tokens):
        number = tokens[place + 1]
        is_sign = token.text in "-−+–"
        if number.kind == "number" and is_sign and not number.spaced and token.spaced:
            return (1.0 if token.kind == "plus" else -1.0), number, place + 2
    return None


def _signed_pair(tokens: list[Token], place: int) -> tuple[Token, Token, int] | None:
    """'+3/−5 dB', '+1.5 % −1 %', '−5 dB, +3 dB', '+3 −5 dB': below, above, place after."""
    if tokens[place].kind not in ("plus", "dash", "range") or place + 3 >= len(tokens):
        return None
    first_sign, first = tokens[place], tokens[place + 1]
    at = place + 2
    if tokens[at].kind in ("slash", "separator"):
        at += 1
    if at + 1 >= len(tokens):
        return None
    second_sign, second = tokens[at], tokens[at + 1]
    if first.kind != "number" or second.kind != "number" or (second.spaced and first_sign.spaced):
        return None
    minus = ("dash", "range")
    if first_sign.kind == "plus" and second_sign.kind in minus and second_sign.text in "-−–":
        return second, first, at + 2
    if first_sign.kind in minus and first_sign.text in "-−–" and second_sign.kind == "plus":
        return first, second, at + 2
    return None


def _span(tokens: list[Token], sign: float, first: Token, after: int) -> tuple[Figure, int] | None:
    if after + 1 >= len(tokens):
        return None
    joint = tokens[after]
    joins = joint.kind in ("dash", "range") or bool(
        joint.kind == "phrase" and joint.node and joint.node.is_a("range")
    )
    if not joins:
        return None
    at = after + 1
    second_sign = 1.0
    if tokens[at].kind in ("plus", "dash") and at + 1 < len(tokens):
        second_sign = -1.0 if tokens[at].kind == "dash" else 1.0
        at += 1
    if tokens[at].kind != "number":
        return None
    low, high = _share_unit(first, tokens[at])
    if low.unit and high.unit and low.unit.dimension != high.unit.dimension:
        return None
    ends = sorted((sign * low.value, second_sign * high.value))
    ordered = (low, high) if sign * low.value <= second_sign * high.value else (high, low)
    return _build("span", ordered, *ends), at + 1


def _around(
    tokens: list[Token], sign: float, first: Token, after: int
) -> tuple[Figure, int] | None:
    if after + 1 >= len(tokens):
        return None
    if tokens[after].kind == "plus_minus" and tokens[after + 1].kind == "number":
        below = above = tokens[after + 1]
        end = after + 2
    else:
        pair = _signed_pair(tokens, after)
        if not pair:
            return None
        below, above, end = pair
    below, above = _share_unit(below, above)
    middle, below = _share_unit(first, below)
    _, above = _share_unit(first, above)
    built = _build("around", (middle, below, above), below.value, above.value, sign * middle.value)
    return _replace(
        built,
        dimension=middle.unit.dimension if middle.unit else "",
        tolerance_dimension=below.unit.dimension if below.unit else "",
    ), end


def _minutes_and_seconds(
    tokens: list[Token], first: Token, after: int
) -> tuple[Figure, int] | None:
    """'1 min 30 s'."""
    if after >= len(tokens) or not first.unit or tokens[after].kind != "number":
        return None
    second = tokens[after]
    if not second.unit or (first.unit.dimension, second.unit.dimension) != ("s", "s"):
        return None
    if not first.unit.factor > second.unit.factor:
        return None
    return _build("single", (first,), value=first.value + second.value), after + 1


def _share_unit(first: Token, second: Token) -> tuple[Token, Token]:
    """Give a number without a unit the unit of its partner: '40–12 500 Hz', '12 V ±0.5'."""
    if first.unit is None and second.unit is not None:
        return with_unit(first, second.unit), second
    if second.unit is None and first.unit is not None:
        return first, with_unit(second, first.unit)
    return first, second


def _build(
    shape: Shape,
    numbers: tuple[Token, ...],
    below: float = 0.0,
    above: float = 0.0,
    value: float = 0.0,
) -> Figure:
    unit = next((number.unit for number in numbers if number.unit), None)
    return Figure(
        shape=shape,
        value=value,
        below=below,
        above=above,
        dimension=unit.dimension if unit else "",
        tolerance_dimension="",
        bounds=frozenset(),
        flags=frozenset(n.unit.flag for n in numbers if n.unit and n.unit.flag),
        start=numbers[0].start,
        end=numbers[-1].end,
        tokens=numbers,
    )
