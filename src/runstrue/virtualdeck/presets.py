"""Decks with one known fault each, for the demo, for practice and for tests.

All of them are set in an invented maker's world. The decks of Wrenholm share one transport, so
that the rates of its parts belong together:

    capstan 2.4 mm, flywheel 60 mm on it, main belt 300 mm, motor 2400 turns a minute,
    pinch roller 11 mm, guide rollers of the cassette shell 6 mm, hubs 11 mm when empty,
    a C90 of 12 µm near the beginning of a side

Sizes are usual ones of cassette decks (from memory); the rates follow from them by v / (π d).
Amplitudes are set so that a healthy deck of that age reads about ±0.1 % weighted peak (common
practice, no source) and each fault would send a deck to the bench.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from runstrue.errors import InputError
from runstrue.virtualdeck.deck import (
    CASSETTE_SPEED_MM_PER_S,
    Component,
    Harmonic,
    Hiss,
    Hub,
    HumLine,
    RandomDropouts,
    Skew,
    Unrest,
    VirtualDeck,
    WarmUp,
    Wobble,
)
from runstrue.virtualdeck.pulse import pulse

CAPSTAN_MM = 2.4
FLYWHEEL_MM = 60.0
BELT_MM = 300.0
ROLLER_MM = 11.0
GUIDE_MM = 6.0
MOTOR_HZ = 40.0
TAPE_UM = 12.0


@dataclass(frozen=True, slots=True)
class Preset:
    """A deck to practise on.

    Parameters
    ----------
    key : str
        Short name for the command line: 'perished-belt'.
    notice : str
        What a person would notice, in one sentence.
    part : str
        Which part it is.
    deck : VirtualDeck
    """

    key: str
    notice: str
    part: str
    deck: VirtualDeck


def preset(key: str) -> Preset:
    """Return the preset with this key.

    Raises
    ------
    InputError
        When there is none.
    """
    try:
        return PRESETS[key]
    except KeyError:
        raise InputError(
            f"There is no virtual deck '{key}'", f"one of {', '.join(PRESETS)} is needed"
        ) from None


def rate_of(diameter_mm: float, speed_error_percent: float = 0.0) -> float:
    """Turns per second of a part that the tape drives, or that drives the tape."""
    speed = CASSETTE_SPEED_MM_PER_S * (1 + speed_error_percent / 100)
    return speed / (math.pi * diameter_mm)


def belt_rate(speed_error_percent: float = 0.0) -> float:
    """Rounds per second of the main belt: π · flywheel · capstan rate / length."""
    return math.pi * FLYWHEEL_MM * rate_of(CAPSTAN_MM, speed_error_percent) / BELT_MM


def _deck(
    name: str,
    *extra: Component,
    speed: float = 0.25,
    belt: float = 0.03,
    capstan: float = 0.045,
    roller: float = 0.035,
    unrest: tuple[Unrest, ...] = (),
) -> VirtualDeck:
    """Return the sound deck of the house; what a fault changes is handed in.

    Peaks of belt, capstan and roller are in %; extra components come on top.
    """
    motor_hz = MOTOR_HZ * (1 + speed / 100)
    return VirtualDeck(
        name=name,
        speed_error_percent=speed,
        drift_percent_per_min=-0.004,
        warm_up=WarmUp(-0.03, 90.0),
        components=(
            Component("capstan", rate_of(CAPSTAN_MM, speed), capstan, 0.13,
                      (Harmonic(1, 1.0), Harmonic(2, 0.25, 0.4))),
            Component("pinch roller", rate_of(ROLLER_MM, speed), roller, 0.71,
                      (Harmonic(1, 1.0), Harmonic(2, 0.3, 0.2))),
            Component("main belt", belt_rate(speed), belt, 0.44,
                      (Harmonic(1, 1.0), Harmonic(2, 0.4, 0.1))),
            Component("guide rollers of the shell", rate_of(GUIDE_MM, speed), 0.01, 0.92),
            Component("motor", motor_hz, 0.02, 0.27),
            *extra,
        ),
        hubs=(
            Hub("take-up hub", 0.03, 11.3, TAPE_UM, phase_turns=0.35),
            Hub("supply hub", 0.02, 25.1, TAPE_UM, side="supply", phase_turns=0.6),
        ),
        unrest=(
            Unrest("belt and governor", 0.02, 0.1, 3.0, -3.0),
            Unrest("bearings and scrape", 0.035, 3.0, 200.0, -2.0),
            *unrest,
        ),
        hiss=Hiss(48.0),
        hum=(HumLine(50.0, -62.0), HumLine(150.0, -66.0, 0.2)),
        wobbles=(Wobble(rate_of(ROLLER_MM, speed), 1.0), Wobble(0.31, 1.5, 0.5)),
        imbalance_db=-0.4,
        skew=Skew(12.0, 1.5, rate_of(ROLLER_MM, speed)),
        run_up_s=0.4,
        run_down_s=0.25,
        clock_error_ppm=18.0,
    )  # fmt: skip


def _preset(key: str, notice: str, part: str, deck: VirtualDeck) -> Preset:
    return Preset(key, notice, part, replace(deck, preset=key))


def _worn_out() -> VirtualDeck:
    speed = -2.1
    deck = _deck(
        "Wrenholm C-14, worn out",
        pulse("pinch roller, flattened", rate_of(ROLLER_MM, speed), -0.5, 0.03),
        speed=speed,
        belt=0.12,
        capstan=0.14,
        roller=0.15,
        unrest=(Unrest("belt, slipping", 0.2, 0.05, 2.0, -3.0),),
    )
    hubs = (
        Hub("take-up clutch", 0.25, 11.3, TAPE_UM, phase_turns=0.35),
        *deck.hubs[1:],
    )
    return replace(
        deck,
        drift_percent_per_min=-0.25,
        hubs=hubs,
        hiss=Hiss(40.0),
        imbalance_db=-4.0,
        skew=Skew(70.0, 9.0, rate_of(ROLLER_MM, speed)),
        dropouts=(RandomDropouts(5.0, 0.06, 24.0),),
        run_up_s=1.1,
    )


def _dying_channel() -> VirtualDeck:
    deck = _deck("Wrenholm C-14, dying channel")
    return replace(
        deck,
        imbalance_db=-11.0,
        wobbles=(*deck.wobbles, Wobble(0.17, 25.0, channel=1)),
        dropouts=(RandomDropouts(8.0, 0.25, 26.0, channel=1),),
    )


def _sticky_hub() -> VirtualDeck:
    deck = _deck("Wrenholm C-14, sticky take-up clutch")
    jerk = (Harmonic(1, 1.0), Harmonic(2, 0.7, 0.1), Harmonic(3, 0.5, 0.3), Harmonic(4, 0.3))
    hub = Hub("take-up clutch", 0.3, 11.3, TAPE_UM, phase_turns=0.35, harmonics=jerk)
    return replace(deck, hubs=(hub, *deck.hubs[1:]))


_SLIPPING = Unrest("belt, slipping", 0.2, 0.05, 2.5, -2.0)

PRESETS: dict[str, Preset] = {
    one.key: one
    for one in (
        _preset(
            "healthy",
            "Nothing: piano notes stand still, and the clock keeps pace with the tape.",
            "none",
            _deck("Wrenholm C-14, healthy"),
        ),
        _preset(
            "perished-belt",
            "It plays flat and sinks further, and long notes sway without any rhythm.",
            "main belt, slack and slipping",
            replace(
                _deck("Wrenholm C-14, perished belt", speed=-1.9, belt=0.09, unrest=(_SLIPPING,)),
                drift_percent_per_min=-0.15,
                run_up_s=0.9,
            ),
        ),
        _preset(
            "new-belt",
            "The deck of the perished belt as left: steady, a touch fast, nothing to hear.",
            "none; a new main belt was fitted and the speed trimmed",
            _deck("Wrenholm C-14, new belt", speed=0.12, belt=0.02),
        ),
        _preset(
            "bent-capstan",
            "Everything sounds rough and watery, as if sung through a fan.",
            "capstan, bent",
            _deck("Wrenholm C-14, bent capstan", capstan=0.33),
        ),
        _preset(
            "flattened-roller",
            "A hiccup a little more than once a second.",
            "pinch roller, with a flat from standing pressed for years",
            _deck(
                "Wrenholm C-14, flattened roller",
                pulse("pinch roller, flattened", rate_of(ROLLER_MM, 0.25), -0.9, 0.03),
            ),
        ),
        _preset(
            "eccentric-roller",
            "A slow wail, a little more than once a second.",
            "pinch roller, out of round",
            _deck("Wrenholm C-14, eccentric roller", roller=0.38),
        ),
        _preset(
            "lumpy-belt",
            "A fast, even warble, about four a second.",
            "main belt, with a kink from a long rest",
            _deck(
                "Wrenholm C-14, lumpy belt",
                pulse("main belt, kinked", belt_rate(0.25), 0.6, 0.04),
            ),
        ),
        _preset(
            "dirty-motor-pulley",
            "Pure tones sound hoarse, though nothing sways.",
            "motor pulley, with a crumb of old belt on it",
            _deck(
                "Wrenholm C-14, dirty motor pulley",
                Component("motor pulley, dirty", MOTOR_HZ * 1.0025, 0.55, 0.6),
            ),
        ),
        _preset(
            "sticky-hub",
            "A lurch every second and a half that comes more slowly as the side goes on.",
            "take-up clutch, grabbing",
            _sticky_hub(),
        ),
        _preset(
            "fast-trim",
            "All is a quarter of a tone sharp, but steady.",
            "speed trimmer, out of adjustment",
            _deck("Wrenholm C-14, speed trim off", speed=3.1),
        ),
        _preset(
            "dying-channel",
            "The right side is faint and cuts out for moments.",
            "right channel: a worn contact or a clogged head",
            _dying_channel(),
        ),
        _preset(
            "worn-out",
            "It plays flat, sways, hiccups and cuts out.",
            "belt, pinch roller, capstan bearing and take-up clutch",
            _worn_out(),
        ),
    )
}  # fmt: skip
