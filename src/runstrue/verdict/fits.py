"""Which figure can belong to which quantity: as its limit, or only as a condition of it.

What is given in which unit and what stands beside it as a condition: common practice of spec
sheets, no source, except where a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence

from runstrue.verdict.figures import Figure
from runstrue.verdict.tokens import Token
from runstrue.verdict.vocabulary import topics

Item = Figure | Token

# Quantities of tape movement, and those of mechanics; all others are of sound or voltage.
_MOVEMENT = frozenset({"speed", "drift", "flutter", "flutter_alone", "wow_alone"})
_MECHANICS = frozenset(
    {
        "take_up_torque", "back_tension_torque", "wind_torque", "forward", "rewind", "torque",
        "pinch", "capstan_pull", "capstan_end_play", "winding_time",
    }
)  # fmt: skip
_NOISE = frozenset({"noise", "noise_weighted", "noise_unweighted"})
_DISTORTION = frozenset({"distortion", "distortion_total", "distortion_third"})

# A distance in decibels is one figure; ±3 dB is none.
_DISTANCES = _NOISE | {
    "hum", "separation", "separation_sides", "crosstalk", "erasure", "print_through",
    "modulation_noise",
}  # fmt: skip

# Quantities that are stated at a stated distortion, and those whose names also name a level.
_AT_A_DISTORTION = _NOISE | {"mol", "sol", "output", "input"}
_LEVELS = frozenset({"output", "input", "flux", "mol", "sol"})

# A general name and those that say more: 'Torque: take-up 30–65 g·cm'.
_MORE_EXACT = {
    "torque": {"take_up_torque", "back_tension_torque", "wind_torque", "forward", "rewind"},
    "wind_torque": {"forward", "rewind"},
    "winding_time": {"forward", "rewind"},
    "distortion": {"distortion_total", "distortion_third"},
    "noise": {"noise_weighted", "noise_unweighted"},
    "crosstalk": {"separation", "separation_sides"},
    "separation": {"separation_sides"},
    "azimuth": {"azimuth_sway"},
}

# Beyond this no decibels are a tolerance of a response or a level of a tone: 56 dB is a distance.
# '−20 dB' beside a band is the level of the recording (common practice: −20, −10, 0 dB).
_RECORD_LEVEL_DB = -9.0
_MOST_TOLERANCE_DB = 20.0
_LOWEST_LEVEL_DB = -40.0
# Flutter meters look at rates up to some hundred hertz (0.2 to 200 Hz: IEC 60386).
_HIGHEST_RATE_HZ = 1000.0

# A tone between two frequencies ('2985 to 3015 Hz') is no band of a response.
_WIDEST_TONE = 1.2

# Methods by which only flutter and noise are measured.
_WAYS_TO_MEASURE = frozenset(
    {
        "weighted", "unweighted", "a_curve", "curve_468", "arm", "wrms", "rms", "peak", "quasi",
        "average",
    }
)  # fmt: skip
_STANDARD_NAMES = frozenset({"din", "iec", "ccir", "jis", "nab", "peak_standard"})

# After these a figure is a condition: 'at 3 % THD', 'bei 1 kHz'. The second set leaves it open.
_AT = frozenset({"at", "bei", "à", "a", "@", "re", "ref"})
_WITH = frozenset(
    {"for", "für", "pour", "para", "with", "mit", "avec", "con", "com", "in", "em", "en", "by"}
)


def topic_fits(topic: str, figure: Figure) -> bool:
    """Whether a figure's dimension is one in which this topic is given."""
    dimensions = topics()[topic].keys()
    if topic == "speed":
        return _fits_speed(figure)
    if topic == "response":
        return figure.dimension == "Hz" and figure.shape in ("span", "single", "around")
    if figure.shape == "around" and figure.tolerance_dimension != figure.dimension:
        return False
    return figure.dimension in dimensions


def could_be_limit(topic: str, figure: Figure) -> bool:
    """Whether a figure may state what this topic allows; stricter than its dimension alone."""
    if topic == "response":
        return is_tolerance(figure) or (
            figure.dimension == "Hz" and (figure.shape == "span" or "at_most" in figure.bounds)
        )
    if not topic_fits(topic, figure):
        return False
    if topic in _DISTANCES and figure.shape != "single":
        return False
    if figure.shape == "around" and figure.dimension == "%":
        return False
    if topic == "balance" and figure.shape == "around" and figure.value != 0:
        return False
    if topic == "speed" and figure.shape == "span" and figure.dimension == "Hz":
        return figure.above <= _WIDEST_TONE * figure.below
    return topic in _NOISE or "a_curve" not in figure.flags


def could_be_condition(topic: str, figure: Figure, *, said_at: bool = False) -> bool:
    """Whether a figure may say under which condition a limit of this topic holds.

    A figure with 'better than' or '±' never does, nor does one in a unit in which no condition
    of the topic is given: such a figure is a limit of something else.
    """
    if figure.bounds - {"about"} or "a_curve" in figure.flags or figure.shape == "around":
        return False
    if figure.dimension == "cm/s":
        return figure.shape == "single"
    if figure.dimension == "Hz" and figure.shape == "span":
        return topic not in _MECHANICS and (
            topic not in _MOVEMENT or figure.above <= _HIGHEST_RATE_HZ
        )
    if figure.shape != "single":
        return False
    if said_at:
        return True
    if figure.dimension == "s":
        return topic in ("dropouts", "drift")
    if topic in _MOVEMENT:
        return figure.dimension == "Hz"
    if topic in _MECHANICS:
        return figure.dimension == "V"
    if figure.dimension == "dB":
        return _LOWEST_LEVEL_DB <= figure.value <= _MOST_TOLERANCE_DB
    return figure.dimension in ("Hz", "nWb/m", "V", "dBV", "dBu", "Ω")


def is_tolerance(figure: Figure) -> bool:
    """Whether decibels can be the tolerance of a response."""
    if figure.dimension != "dB" or figure.bounds & {"better", "at_least"}:
        return False
    if figure.shape == "single" and figure.value == 0:
        return False  # '±3 dB (0 dB)': the level of the recording
    if figure.shape == "single" and figure.value <= _RECORD_LEVEL_DB:
        return False
    ends = (figure.below, figure.above, figure.value)
    return figure.shape != "around" and max(map(abs, ends)) <= _MOST_TOLERANCE_DB


def begins_response(items: Sequence[Item]) -> bool:
    """Whether '30–15 000 Hz ±3 dB' begins here: a response, and no band of a measurement."""
    first, *rest = items
    if not isinstance(first, Figure) or (first.dimension, first.shape) != ("Hz", "span"):
        return False
    if rest and isinstance(rest[0], Token) and rest[0].kind == "open":
        rest = rest[1:]
    after = rest[0] if rest else None
    return isinstance(after, Figure) and after.shape == "tolerance" and is_tolerance(after)


def implied_topics(items: Sequence[Item]) -> list[str]:
    """Topics that words without a name mean by their units alone."""
    figures = [item for item in items if isinstance(item, Figure)]
    if any(one.shape == "span" and one.dimension == "Hz" for one in figures) and any(
        is_tolerance(one) for one in figures
    ):
        return ["response"]
    if any(one.shape == "around" and one.dimension == "cm/s" for one in figures):
        return ["speed"]
    if "wrms" in {name for item in items if isinstance(item, Token) for name in flags_of(item)}:
        return ["flutter"]
    return []


def by_another_method(topic: str, items: Sequence[Item]) -> bool:
    """Whether these words name a method by which this topic is never measured."""
    measured = any(
        isinstance(entry, dict) and "family" in entry for entry in topics()[topic].values()
    )
    if measured and topic not in _DISTORTION:
        return False
    names = {name for item in items if isinstance(item, Token) for name in flags_of(item)}
    # what is given in per cent may be taken for flutter, for which these standards are made
    return bool(names & _WAYS_TO_MEASURE) or (
        "%" in topics()[topic] and bool(names & _STANDARD_NAMES)
    )


def has_label(items: Sequence[Item]) -> bool:
    """Whether words here tell one figure of a list from the next: a tape, a weighting."""
    for item in items:
        if isinstance(item, Figure):
            if item.dimension == "cm/s" and item.shape == "single":
                return True
        elif item.is_phrase("condition") or set(flags_of(item)) & _WAYS_TO_MEASURE:
            return True
    return False


def says_which(items: Sequence[Item]) -> bool:
    """Whether any method, standard or condition stands here."""
    return has_label(items) or any(
        isinstance(item, Token) and bool(flags_of(item)) for item in items
    )


def flags_of(token: Token) -> tuple[str, ...]:
    """Return the methods that a token names."""
    if token.kind == "standard":
        return token.flags
    meaning = token.meaning
    return meaning.names if meaning and meaning.kind == "flag" else ()


def related(first: str, second: str) -> bool:
    """Whether two topics are one, or one says more exactly what the other says."""
    return first == second or more_exact(first, second) or more_exact(second, first)


def more_exact(first: str, second: str) -> bool:
    """Whether the first of two topics says more exactly what the second says."""
    return first in _MORE_EXACT.get(second, ())


def is_at(item: Item | None, *, widely: bool = False) -> bool:
    """Whether the figure after this word is a condition; `widely`, or may be one."""
    if not isinstance(item, Token):
        return False
    word = item.text.casefold()
    return word in _AT or (widely and word in _WITH)


def names_condition(topic: str, figure: Figure, before: Item | None) -> bool:
    """Whether 'at 3 % THD' or 'at 0 dB output' stands there, and not a limit of this topic."""
    if topic in _DISTORTION:
        return figure.dimension == "%" and is_at(before, widely=True)
    return topic in _LEVELS and is_at(before)


def open_beside(topic: str, after: str) -> bool:
    """Whether a figure of `topic` beside one of `after` may be its condition: 'S/N …, 3 % THD'."""
    return topic in _DISTORTION and after in _AT_A_DISTORTION


def names_level(topic: str) -> bool:
    """Whether the words of this topic also name the level of a test: '0 dB output level'."""
    return topic in _LEVELS


def _fits_speed(figure: Figure) -> bool:
    if figure.shape == "around":
        same_tone = figure.dimension == figure.tolerance_dimension == "Hz"
        share = figure.tolerance_dimension == "%" and figure.dimension in ("cm/s", "Hz")
        return same_tone or share
    return figure.dimension == "%" or (figure.shape == "span" and figure.dimension == "Hz")
