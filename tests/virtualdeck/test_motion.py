"""The movement of the tape: the position is the integral of the speed, and rates are geometry."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal, getcontext
from fractions import Fraction

import numpy as np
import pytest
from scipy.integrate import cumulative_simpson, quad
from scipy.signal import welch

from runstrue.errors import InputError
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.deck import (
    Component,
    Harmonic,
    Hub,
    Skew,
    Unrest,
    VirtualDeck,
    WarmUp,
)
from runstrue.virtualdeck.hubs import Pack
from runstrue.virtualdeck.motion import Motion, Schedule
from runstrue.virtualdeck.play import STRETCH, Performance
from runstrue.virtualdeck.pulse import pulse

EVERYTHING = VirtualDeck(
    "everything",
    speed_error_percent=-1.7,
    drift_percent_per_min=0.4,
    warm_up=WarmUp(1.5, 7.0),
    components=(
        Component("capstan", 6.3, 0.12, 0.2, (Harmonic(1, 1.0), Harmonic(3, 0.5, 0.7))),
        pulse("roller", 1.38, -0.4, 0.03, 0.9),
    ),
    hubs=(
        Hub("take-up", 0.2, phase_turns=0.3, harmonics=(Harmonic(1, 1.0, 0.1), Harmonic(2, 0.5))),
        Hub("supply", 0.1, radius_mm=25.0, side="supply"),
    ),
    unrest=(Unrest("slow", 0.2, 0.05, 3.0, -3.0), Unrest("fast", 0.1, 5.0, 200.0)),
    skew=Skew(50.0, 20.0, 1.4),
)


@pytest.mark.parametrize("channel", [0, 1])
def test_position_grows_by_the_integral_of_the_speed(channel: int) -> None:
    # scipy's adaptive quadrature of the deviation is the independent road
    even = replace(EVERYTHING, unrest=())
    motion = Motion(even, schedule=Schedule(0.3, 0.5, 0.4, 4.0))
    for first, last in [(0.0, 0.3), (0.3, 0.8), (0.8, 1.3), (3.1, 3.6), (3.6, 4.0), (4.0, 4.3)]:
        ends = motion.tape_position_s(np.array([first, last]), channel)
        integral, error = quad(
            lambda t: 1 + motion.deviation_percent(np.array([t]), channel)[0] / 100,
            first, last, limit=500, epsabs=1e-12, epsrel=1e-12,
        )  # fmt: skip
        assert error < 1e-11
        assert ends[1] - ends[0] == pytest.approx(integral, abs=1e-11)


def test_position_of_a_random_motion_is_the_integral_of_its_speed() -> None:
    # scipy's Simpson rule is exact for cubics, and the spline is one between its 1600 joints a
    # second; the stretch crosses a joint of the generator's hops at 64 s
    motion = Motion(VirtualDeck("unrest", unrest=EVERYTHING.unrest), seed=4)
    times = 63.5 + np.arange(3201) / 3200
    integral = cumulative_simpson(motion.deviation_percent(times) / 100, x=times, initial=0)[::2]
    grown = motion.tape_position_s(times[::2])
    grown -= grown[0] + times[::2] - times[0]
    # rounding of a double near 64 s is 1.4e-14 s
    assert grown == pytest.approx(integral, abs=5e-14)


def test_derivative_of_the_position_is_the_speed_late_in_a_long_record() -> None:
    motion = Motion(EVERYTHING, seed=4)
    times = np.linspace(1000, 1000.2, 400)
    step = 1e-5
    slope = (motion.tape_position_s(times + step) - motion.tape_position_s(times - step)) / 2e-5
    # rounding of a double near 1000 s is 1.1e-13 s, over 2e-5 s: 6e-9, twice, 1.2e-6 %;
    # the third derivative (0.1 % at 200 Hz: 1e-3 · 1257² · 1e-10 / 6) adds 3e-6 %
    assert 100 * (slope - 1) == pytest.approx(motion.deviation_percent(times), abs=8e-6)


def test_tone_keeps_its_phase_for_45_minutes_at_192_khz() -> None:
    # The place of the tape for a constant error, a drift and one component, in decimal
    # arithmetic of 40 figures; only the small swing of the component is an ordinary double.
    getcontext().prec = 40
    rate_hz, frequency_hz, ppm = 192_000, 14_999.3, 25.0
    speed, drift, peak, component_hz = -1.3, 0.02, 0.15, 4.7
    deck = VirtualDeck(
        "long", speed_error_percent=speed, drift_percent_per_min=drift,
        components=(Component("capstan", component_hz, peak),), clock_error_ppm=ppm,
        run_up_s=0.25,
    )  # fmt: skip
    performance = Performance(deck, Tone(frequency_hz, 0.0), duration_s=2701, rate_hz=rate_hz)
    first = 2700 * rate_hz + 777
    rendered = performance.clean(first, 3000)[0]
    wanted = np.empty(3000)
    for k in range(3000):
        clock = 1 + Decimal(ppm) / 10**6
        m = Decimal(first + k) / (rate_hz * clock) - Decimal("0.125")
        swing_turns = float(Decimal(component_hz) * m % 1)
        swing = (1 - math.cos(2 * math.pi * swing_turns)) / (2 * math.pi * component_hz)
        place = m * (1 + Decimal(speed) / 100) + Decimal(drift) / 6000 * m * m / 2
        turns = (Decimal(frequency_hz) * (place + Decimal(peak / 100 * swing))) % 1
        wanted[k] = math.sin(2 * math.pi * float(turns))
    assert np.abs(rendered - wanted).max() < 2 * math.pi * 1e-9


def test_fast_road_for_even_times_equals_the_plain_one() -> None:
    motion = Motion(EVERYTHING, seed=1)
    step = 1 / 44_100
    even = step * np.arange(STRETCH)
    base = Fraction(123_456, 1000)
    fast, plain = (motion.place(base, even, one)[1] for one in (step, None))
    # a thousand-millionth of a cycle of 15 kHz is 6.7e-14 s
    assert np.abs(fast - plain).max() < 6e-15


def test_take_up_hub_of_a_c90_makes_the_turns_of_a_spiral() -> None:
    # Turns of a tape of 12 µm wound on 11 mm at 47.625 mm/s, from an Archimedean spiral summed
    # up turn by turn: 40.45 after 60 s, 347.55 after 600 s, 678.87 after 1350 s, 1145.17 after
    # 2700 s; 0.689 turns a second at the empty hub.
    pack = Pack(Hub("take-up", 0.1, radius_mm=11.0, tape_um=12.0))
    times = np.array([60.0, 600.0, 1350.0, 2700.0])
    assert pack.turns(times) == pytest.approx([40.45, 347.55, 678.87, 1145.17], abs=0.005)
    assert pack.rate_hz(np.zeros(1))[0] == pytest.approx(0.689, abs=0.0005)


@pytest.mark.parametrize("tape_um", [12.0, 16.0])
def test_pack_agrees_with_tape_wound_on_turn_by_turn(tape_um: float) -> None:
    # the independent road: each turn takes 2 pi (r + h/2) of tape and adds h to the radius
    thickness, radius, wound_mm = tape_um / 1000, 11.0, 0.0
    for _ in range(500):
        wound_mm += 2 * math.pi * (radius + thickness / 2)
        radius += thickness
    seconds = np.array([wound_mm / 47.625])
    take_up = Pack(Hub("take-up", 0.1, radius_mm=11.0, tape_um=tape_um))
    supply = Pack(Hub("supply", 0.1, radius_mm=radius, tape_um=tape_um, side="supply"))
    assert take_up.turns(seconds)[0] == pytest.approx(500, abs=1e-7)
    assert take_up.radius_mm(seconds)[0] == pytest.approx(radius)
    assert supply.turns(seconds)[0] == pytest.approx(500, abs=1e-7)
    assert supply.radius_mm(seconds)[0] == pytest.approx(11.0)


def test_faster_deck_turns_its_hub_faster() -> None:
    hub = Hub("take-up", 0.1, radius_mm=11.0, tape_um=12.0)
    times = np.array([600.0])
    assert Pack(hub, 1.02).turns(times) == pytest.approx(Pack(hub).turns(times * 1.02))


def test_supply_pack_that_runs_out_is_told() -> None:
    deck = VirtualDeck("short", hubs=(Hub("supply", 0.1, radius_mm=11.5, side="supply"),))
    with pytest.raises(InputError, match="runs out"):
        Motion(deck).deviation_percent(np.array([10_000.0]))


def test_jolt_has_its_height_its_width_and_its_place() -> None:
    # a Gaussian bell falls to half its height at half its full width
    deck = VirtualDeck("flat", components=(pulse("roller", 1.25, -0.8, 0.03, 0.25),))
    motion = Motion(deck)
    # a quarter of a turn stands before the jolt: it comes 0.75 turns = 0.6 s after the start
    centre, edge, far = motion.deviation_percent(np.array([0.6, 0.615, 1.0]))
    # cut where coefficients fall below 1e-4 of the first: some 2e-4 of the height is left out
    assert centre - far == pytest.approx(-0.8, rel=2e-3)
    assert edge - far == pytest.approx(-0.4, rel=2e-3)
    whole = motion.deviation_percent(np.arange(8000) / 10_000)
    assert whole.mean() == pytest.approx(0, abs=1e-12)


def test_unrest_has_the_power_and_the_slope_that_were_asked_for() -> None:
    source = Unrest("scrape", 0.1, 2.0, 200.0, -3.0)
    motion = Motion(VirtualDeck("unrest", unrest=(source,)), seed=9)
    times = np.arange(600_000) / 1000  # ten minutes, over nine hops of the generator
    deviation = motion.deviation_percent(times)
    # −3 dB an octave from 2 Hz: about 30 Hz of effective width, 36 000 degrees of freedom,
    # so 0.4 % a sigma of the r.m.s.; three sigma
    assert deviation.std() == pytest.approx(0.1, rel=0.012)
    rates, density = welch(deviation, 1000, nperseg=20_000)
    octaves = [density[(rates >= low) & (rates < 2 * low)].mean() for low in (4, 8, 16, 32, 64)]
    fall_db = 10 * np.log10(octaves[-1] / octaves[0]) / 4
    # the lowest octave holds 4 Hz · 600 s · 2 = 4800 degrees of freedom: 0.09 dB, over 4 octaves
    assert fall_db == pytest.approx(-3.0103, abs=0.1)
    # nothing outside: a cubic spline keeps its images (sin x/x to the fourth: 1/7⁴) 68 dB down
    assert density[(rates > 205)].max() < 1e-5 * density[(rates > 100) & (rates < 190)].mean()
    # Gaussian: fourth moment over the square of the second is 3 (24/N the variance)
    assert np.mean(deviation**4) / np.var(deviation) ** 2 == pytest.approx(3, abs=0.1)


def test_unrest_keeps_its_variance_across_the_joints_of_the_generator() -> None:
    source = Unrest("scrape", 0.1, 20.0, 200.0)
    joint = 64.0
    powers = []
    for seed in range(40):
        motion = Motion(VirtualDeck("unrest", unrest=(source,)), seed=seed)
        powers.append(motion.deviation_percent(np.linspace(joint - 0.5, joint + 0.5, 1600)).var())
    # 40 seeds · 1 s · 180 Hz · 2 degrees of freedom: 1.2 % of the power a sigma
    assert np.mean(powers) == pytest.approx(0.01, rel=0.035)


def test_longer_record_begins_like_a_shorter_one_whatever_is_asked_first() -> None:
    here, there = Motion(EVERYTHING, seed=3), Motion(EVERYTHING, seed=3)
    near, far = np.linspace(0, 5, 50), np.linspace(700, 705, 50)
    first_near, then_far = here.tape_position_s(near), here.tape_position_s(far)
    first_far, then_near = there.tape_position_s(far), there.tape_position_s(near)
    assert np.array_equal(first_near, then_near)
    assert np.array_equal(then_far, first_far)
    assert not np.array_equal(first_near, Motion(EVERYTHING, seed=5).tape_position_s(near))


def test_tape_stands_before_the_start_and_after_the_stop() -> None:
    motion = Motion(EVERYTHING, seed=2, schedule=Schedule(1.0, 0.5, 0.25, 9.0))
    still = motion.deviation_percent(np.array([0.0, 0.99, 9.0, 20.0]))
    assert still == pytest.approx([-100.0] * 4)
    halves = motion.schedule.pace(np.array([1.25, 1.5, 5.0, 8.75, 8.875]))
    assert halves == pytest.approx([0.5, 1, 1, 1, 0.5])
    assert np.ptp(motion.tape_position_s(np.array([9.0, 20.0]))) == 0
    # a raised cosine passes half the tape that full speed would
    even = Motion(VirtualDeck("even"), schedule=Schedule(1.0, 0.5, 0.25, 9.0))
    assert even.tape_position_s(np.array([20.0]))[0] == pytest.approx(8.0 - 0.25 - 0.125)


def test_record_too_short_for_the_ramps_is_refused() -> None:
    with pytest.raises(InputError, match="make the recording longer"):
        Schedule(0.0, 1.0, 1.0, 2.0)
