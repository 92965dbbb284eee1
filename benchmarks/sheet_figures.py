"""How right the readings of the sheet are: largest errors over seeds, against formulas.

Conditions as in `benchmarks.sheet_sounds` unless a row says otherwise. Truth is what was written
down: a level, a delay, a polynomial's harmonics, a scaled copy in the other channel.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import ABC_weighting
import ITU_R_468_weighting
import numpy as np
from scipy.signal import freqs_zpk

from benchmarks.row import Row
from benchmarks.sheet_sounds import (
    RATE_HZ,
    REFERENCE_DBFS,
    Array,
    Conditions,
    cubic,
    played,
    programme_of,
)
from runstrue.dsp.noise_weighting import WeightingName, weighted
from runstrue.dsp.quasi_peak import QuasiPeak
from runstrue.measure.azimuth import measure_azimuth
from runstrue.measure.distortion import measure_distortion, measure_mol, measure_sol
from runstrue.measure.levels import tone_level
from runstrue.measure.noise import Reference, measure_noise
from runstrue.measure.response import measure_response
from runstrue.measure.sections import Stretch
from runstrue.measure.separation import measure_residue, measure_separation
from runstrue.result import Result
from runstrue.stimulus.programme import Section
from runstrue.stimulus.programmes import programme

BOTH = ("left", "right")
SEEDS = 10
RATES_HZ = (44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0)
CONDITIONS = "0.2 % peak flutter, 1.5 % off, hiss at −55 dB"


def accuracy_rows(seeds: int = SEEDS) -> Iterator[Row]:
    """Every figure of accuracy of the sheet."""
    yield from _response_rows(max(seeds // 3, 1))
    yield _level_row(seeds)
    yield _azimuth_row(seeds)
    yield from _curve_rows()
    yield _window_row()
    yield from _noise_rows(seeds)
    yield _third_row(max(seeds // 3, 1))
    yield from _limit_rows(seeds)
    yield from _leak_rows(seeds)


def _row(what: str, worst: float, reach: float, unit: str, remark: str, digits: int = 3) -> Row:
    return Row(
        what, f"within {worst:.{digits}f} {unit}", f"within {reach:g} {unit}", worst / reach,
        remark=remark,
    )  # fmt: skip


def _response_rows(seeds: int) -> Iterator[Row]:
    made = programme("full-sheet")
    kept = [one for one in made.sections if "response.gain" in one.serves and one.level_db <= -10]
    worst: dict[str, float] = {}
    for seed in range(seeds):
        for section in kept:  # each by itself: the tables are put together below
            worst.setdefault(section.kind, 0.0)
        stretches = played(programme_of(*kept), Conditions(seed))
        for one in measure_response(stretches, made, BOTH):
            assert one.table is not None
            kind = one.method.removeprefix("response-").removesuffix("/1")
            off = [abs(y) for x, y in zip(one.table.x, one.table.y, strict=True) if x <= 16_100]
            worst[kind] = max(worst.get(kind, 0.0), *off)
    for kind, words in (
        ("tones", "tones at −20 and −10 dB, 5 and 3 s"), ("sweep", "a sweep at −20 dB, 20 s"),
        ("multitone", "29 tones at once at −16 dB, 12 s"),
        ("noise", "pink noise at −20 dB, 20 s, in third octaves"),
    ):  # fmt: skip
        yield _row(
            f"response to 16 kHz by {words}", worst[kind], 0.05, "dB",
            f"largest error of any point against 315 Hz, 31.5 Hz to 16 kHz, {seeds} seeds, two "
            f"channels; {CONDITIONS}",
        )  # fmt: skip


def _level_row(seeds: int) -> Row:
    made = programme_of(
        *(
            Section(f"{hz:g}-{level:g}", "tone", 0, 5, level_db=level, frequencies_hz=(hz,))
            for hz in (40.0, 315.0, 1000.0, 10_000.0, 16_000.0) for level in (0.0, -20.0)
        )
    )  # fmt: skip
    worst = 0.0
    for seed in range(seeds):
        for one in played(made, Conditions(seed)):
            wanted = REFERENCE_DBFS + one.section.level_db
            worst = max(worst, *(abs(level - wanted) for level in tone_level(one).level_dbfs))
    return _row(
        "levels of tones to 16 kHz", worst, 0.05, "dB",
        f"40 Hz to 16 kHz at 0 and −20 dB, 5 s, {seeds} seeds, two channels; {CONDITIONS}",
    )  # fmt: skip


def _azimuth_row(seeds: int) -> Row:
    tones = programme_of(
        *(
            Section(f"{hz:g}", "tone", 0, 12, level_db=-10, frequencies_hz=(hz,))
            for hz in (1000.0, 3150.0, 10_000.0)
        )
    )
    multitone = programme_of(programme("full-sheet").section("azimuth-multitone"))
    worst, delays_us = 0.0, (-320.0, -70.0, -12.0, 0.0, 3.0, 45.0, 150.0, 480.0)
    for seed, delay_us in enumerate(delays_us * max(seeds // len(delays_us), 1)):
        for made in (tones, multitone):

            def delay(times_s: Array, delay_us: float = delay_us) -> Array:
                return np.asarray(delay_us + 3.0 * np.sin(2 * np.pi * 1.38 * times_s))

            stretches = played(made, Conditions(seed, delay_us=delay))
            best = stretches[-1].found
            times_s = best.starts_s + np.linspace(0, best.lasts_s, 100_001)
            reading = _value(measure_azimuth(stretches), "azimuth.delay")
            worst = max(worst, abs(reading - float(delay(times_s).mean())))
    return _row(
        "azimuth: delay against the mean of the same stretch", worst, 0.2, "µs",
        "three tones of 12 s and a multitone, −320 to 480 µs with a sway of 3 µs at 1.38 Hz; "
        f"{CONDITIONS}",
    )  # fmt: skip


def _curve_rows() -> Iterator[Row]:
    """Gains of the filters at every rate against the analogue forms of another project."""
    tested_hz = np.array([31.5, 63, 100, 200, 400, 1000, 2000, 4000, 6300, 8000, 10_000, 12_500,
                          14_000, 16_000, 18_000, 20_000])  # fmt: skip
    names: tuple[tuple[WeightingName, tuple[Array, Array, float]], ...] = (
        ("468", ITU_R_468_weighting.get_zpk()), ("A", ABC_weighting.get_zpk("A")),
    )  # fmt: skip
    for name, zpk in names:
        _, analogue = freqs_zpk(*zpk, worN=2 * np.pi * np.append(tested_hz, 1000.0))
        wanted_db = 20 * np.log10(np.abs(analogue[:-1] / analogue[-1]))
        worst = 0.0
        for rate_hz in RATES_HZ:
            impulse = np.zeros((1, round(2 * rate_hz)))
            impulse[0, round(rate_hz)] = 1.0
            seen = weighted(impulse, rate_hz, name)[0]
            turns = np.arange(seen.size) / rate_hz
            gains = np.array([np.abs(seen @ np.exp(-2j * np.pi * f * turns)) for f in tested_hz])
            worst = max(worst, float(np.abs(20 * np.log10(gains) - wanted_db).max()))
        yield _row(
            f"weighting {name} against the analogue curve", worst, 0.1, "dB",
            "16 frequencies from 31.5 Hz to 20 kHz at 44.1, 48, 88.2, 96 and 192 kHz, against the "
            "poles and zeros of a general library", 5,
        )  # fmt: skip


SINGLE = {
    1: (13.5, 21.4), 2: (22.4, 31.6), 5: (34.0, 46.0), 10: (41.0, 55.0),
    20: (44.0, 60.0), 50: (50.0, 68.0), 100: (58.0, 78.0), 200: (68.0, 92.0),
}  # fmt: skip
REPEATED = {2: (43.0, 53.0), 10: (72.0, 82.0), 100: (94.0, 100.0)}
"""ITU-R BS.468-4 Tables 2 (ms: %) and 3 (a second: %), lowest and highest."""


def _window_row() -> Row:
    inside, worst = 0, 0.0
    for rate_hz in RATES_HZ:
        steady = _highest(_bursts(rate_hz, 2.0, 2.0, 2.0), rate_hz, 1.5)
        for burst_ms, window in SINGLE.items():
            shown = _highest(_bursts(rate_hz, burst_ms / 1000, 0.6, 0.6), rate_hz) / steady
            inside, worst = _counted(100 * shown, window, inside, worst)
        for per_second, window in REPEATED.items():
            shown = _highest(_bursts(rate_hz, 0.005, 3.0, 1 / per_second), rate_hz, 1.0) / steady
            inside, worst = _counted(100 * shown, window, inside, worst)
    wanted = len(RATES_HZ) * (len(SINGLE) + len(REPEATED))
    return Row(
        "quasi-peak meter: windows kept", f"{inside} of {wanted}", f"{wanted} of {wanted}",
        inside / wanted, more_is_better=True,
        remark="eleven windows of ITU-R BS.468-4, Tables 2 and 3, at 44.1, 48, 88.2, 96 and "
        f"192 kHz; at worst {100 * worst:.0f} % of the way from a window's middle to its edge",
    )  # fmt: skip


def _counted(
    shown: float, window: tuple[float, float], inside: int, worst: float
) -> tuple[int, float]:
    low, high = window
    aside = abs(math.log(shown * shown / low / high) / math.log(high / low))
    return inside + (low <= shown <= high), max(worst, aside)


def _bursts(rate_hz: float, lasts_s: float, length_s: float, every_s: float) -> Array:
    within_s = (np.arange(round(length_s * rate_hz)) / rate_hz) % every_s
    return np.where(within_s < lasts_s - 1e-9, np.sin(2 * np.pi * 5000 * within_s), 0.0)


def _highest(sound: Array, rate_hz: float, from_s: float = 0.0) -> float:
    needle = QuasiPeak(rate_hz).needle(weighted(sound[None], rate_hz, "468")[0])
    return float(needle[round(from_s * rate_hz) :].max())


def white_reads_db() -> dict[str, float]:
    """White noise of 20 Hz to 20 kHz behind each meter, dB against its r.m.s.; see the tests."""
    grid_hz = np.linspace(20, 20_000, 100_001)

    def gain_db(zpk: tuple[Array, Array, float]) -> float:
        _, grid = freqs_zpk(*zpk, worN=2 * np.pi * np.append(grid_hz, 1000.0))
        return float(10 * np.log10(np.mean(np.abs(grid[:-1] / grid[-1]) ** 2)))

    mean_of_gauss = 20 * math.log10(math.sqrt(2 / math.pi) * math.pi / (2 * math.sqrt(2)))
    return {
        "noise.unweighted": 0.0,
        "noise.a": gain_db(ABC_weighting.get_zpk("A")),
        "noise.quasi_peak_468": 11.74,  # by long simulation with another program
        "noise.average_468_2k": gain_db(ITU_R_468_weighting.get_zpk()) + mean_of_gauss - 5.629,
    }


def band_noise(seed: int, length_s: float, rate_hz: float = RATE_HZ) -> Array:
    """White noise of 20 Hz to 20 kHz, r.m.s. 0.1 on average, shape (1, frame)."""
    frames = round(length_s * rate_hz)
    bins = np.fft.rfft(np.random.default_rng([seed, 4003]).standard_normal(frames))
    rates_hz = np.fft.rfftfreq(frames, 1 / rate_hz)
    bins[(rates_hz < 20) | (rates_hz > 20_000)] = 0
    return np.asarray(0.1 * math.sqrt(rate_hz / 2 / 19_980) * np.fft.irfft(bins, frames)[None])


SAME_RMS = Reference("a tone of the same r.m.s.", (20 * math.log10(0.1 * math.sqrt(2)),))


def _noise_rows(seeds: int) -> Iterator[Row]:
    wanted, worst = white_reads_db(), 0.0
    told: dict[str, float] = dict.fromkeys(wanted, 0.0)
    for seed in range(seeds):
        results = measure_noise(band_noise(seed, 10.0), RATE_HZ, ("left",), SAME_RMS)
        for name, reads_db in wanted.items():
            told[name] = max(told[name], abs(_value(results, name) + reads_db))
    worst = max(told.values())
    yield _row(
        "noise over 10 s, the four figures", worst, 0.1, "dB",
        f"white noise of 20 Hz to 20 kHz, {seeds} seeds, largest errors: "
        + ", ".join(f"{name.partition('.')[2]} {off:.3f}" for name, off in told.items()),
    )  # fmt: skip


def _third_row(seeds: int) -> Row:
    made = programme_of(
        *(
            Section(f"{hz:g}", "tone", 0, 8, frequencies_hz=(hz,))
            for hz in (315.0, 333.0, 400.0, 1000.0)
        )
    )
    worst = 0.0
    for percent in (0.1, 0.3, 1.0, 3.0, 10.0):
        c = cubic(percent / 100)
        for seed in range(seeds):
            stretches = played(made, Conditions(seed, curve=lambda x, c=c: x - c * x**3))
            for one in measure_distortion(stretches, BOTH):
                if one.id == "distortion.third" and one.quantity is not None:
                    worst = max(worst, abs(one.quantity.value - percent))
    return _row(
        "third harmonic from 0.1 to 10 %", worst, 0.05, "%-points",
        f"315, 333, 400 and 1000 Hz, 8 s, {seeds} seeds of five sizes; {CONDITIONS}",
    )  # fmt: skip


def _limit_rows(seeds: int) -> Iterator[Row]:
    full = programme("full-sheet")
    mol = replace(full.section("output-limit-315"), level_to_db=10.0)
    sol = replace(full.section("treble-limit-10000"), level_to_db=10.0)
    made = programme_of(mol, sol)
    q, c = 0.12 / 1.09, cubic(0.01)  # c a² at 3 %: ¼ q / (1 − ¾ q) = 0.03
    mol_db = 20 * math.log10(math.sqrt(q / c) * (1 - 0.75 * q))
    steep = cubic(0.03)  # highest at c a² = 4/9, where it is ⅔ a
    sol_db = 20 * math.log10(math.sqrt(4 / 9 / steep) * 2 / 3)
    worst = {"mol": 0.0, "sol": 0.0}
    for seed in range(seeds):
        bent, _ = played(made, Conditions(seed, curve=lambda x: x - c * x**3))
        _, flat = played(made, Conditions(seed, curve=lambda x: x - steep * x**3))
        for name, results, wanted_db in (
            ("mol", measure_mol(bent, BOTH), mol_db), ("sol", measure_sol(flat, BOTH), sol_db),
        ):  # fmt: skip
            for one in results:
                assert one.quantity is not None
                worst[name] = max(worst[name], abs(one.quantity.value - wanted_db))
    for name, words in (("mol", "MOL at 315 Hz"), ("sol", "SOL at 10 kHz")):
        yield _row(
            words, worst[name], 0.1, "dB",
            f"ramps of 60 s through a cubic, {seeds} seeds, two channels; {CONDITIONS}",
        )  # fmt: skip


def leaking(ratio_db: float, seed: int, lasts_s: float = 4.0) -> list[Stretch]:
    """Tones on one channel, weak and 20 µs late in the other."""
    made = programme_of(
        *(
            Section(f"{side}-{hz:g}", "tone", 0, lasts_s, channels=side, frequencies_hz=(hz,))
            for side in ("left", "right") for hz in (500.0, 1000.0, 6300.0)
        )
    )  # fmt: skip
    found = []
    for one in played(made, Conditions(seed)):
        loud = BOTH.index(one.section.channels)
        samples = np.array(one.samples)
        late = np.roll(samples[loud], round(20e-6 * RATE_HZ))
        samples[1 - loud] += 10 ** (-ratio_db / 20) * late
        found.append(replace(one, samples=samples))
    return found


def erased(ratio_db: float, seed: int, lasts_s: float = 4.0) -> list[Stretch]:
    """A tone, and a rest in which so much of it is left, with flutter of its own."""
    made = programme_of(
        Section("loud", "tone", 0, lasts_s, frequencies_hz=(1000.0,)),
        Section("rest", "tone", 0, lasts_s, level_db=-ratio_db, frequencies_hz=(1000.0,)),
    )
    return played(made, Conditions(seed))


def _leak_rows(seeds: int) -> Iterator[Row]:
    worst = {"separation": 0.0, "erasure": 0.0}
    for ratio_db in (15.0, 35.0, 50.0, 60.0, 70.0):
        for seed in range(seeds):
            parts = {
                "separation": measure_separation(leaking(ratio_db, seed), BOTH),
                "erasure": measure_residue("erasure.depth", *erased(ratio_db, seed), BOTH),
            }
            for name, results in parts.items():
                for one in results:
                    assert one.quantity is not None
                    worst[name] = max(worst[name], abs(one.quantity.value - ratio_db))
    for name, off in worst.items():
        yield _row(
            f"{name} down to −70 dB", off, 0.5, "dB",
            f"15, 35, 50, 60 and 70 dB, sections of 4 s, {seeds} seeds each; {CONDITIONS}",
        )  # fmt: skip


def _value(results: Sequence[Result], quantity_id: str) -> float:
    for one in results:
        if one.id == quantity_id and one.quantity is not None:
            return one.quantity.value
    raise RuntimeError(f"there is no {quantity_id}")
