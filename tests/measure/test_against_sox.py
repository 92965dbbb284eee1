"""Recordings made by sox (Debian), whose effects are held against their own description.

sox(1): `synth` makes a sine of the named frequency; `speed` plays the sound faster by the factor,
pitch and tempo alike; `tremolo` changes the level and nothing else; `pad` adds silence.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.debian("sox")

Read = Callable[..., Any]
RESIDUAL_PERCENT = 0.0003
"""What a clean tone of 24 bits may read: one hundredth of a good deck's 0.03 % (own goal)."""


@pytest.mark.parametrize(
    ("name", "form"),
    [
        ("tone.wav", "-r 8000 -b 24"),
        ("tone.wav", "-r 22050 -b 24"),
        ("tone.wav", "-r 44100 -b 16"),
        ("tone.wav", "-r 48000 -e floating-point -b 32"),
        ("tone.wav", "-r 192000 -b 24"),
        ("tone.flac", "-r 48000 -b 24"),
        ("tone.flac", "-r 96000 -b 16"),
        ("tone.aiff", "-r 44100 -b 24"),
    ],
)
def test_a_plain_tone_reads_no_speed_error_and_no_flutter(
    tmp_path: Path, run: Read, read_file: Read, name: str, form: str
) -> None:
    path = tmp_path / name
    run(f"sox -n {form}", path, "synth 16 sine 3150 gain -6")
    reading = read_file(path)
    # rounding to 16 bits, dithered: about 87 dB below the tone, so that what it adds
    # (√(N₀·B³/3C), FM noise law) stays below 2·10⁻⁵ % up to 200 Hz
    assert abs(reading.value("speed.deviation")) < 1e-6
    assert abs(reading.value("speed.drift")) < 1e-5
    assert reading.value("flutter.weighted_peak") <= RESIDUAL_PERCENT
    assert reading.value("flutter.unweighted_peak") <= RESIDUAL_PERCENT
    assert reading.lines == ()


def test_a_lossy_file_keeps_its_speed_and_says_that_it_is_lossy(
    tmp_path: Path, run: Read, read_file: Read
) -> None:
    path = tmp_path / "tone.ogg"
    run("sox -n -r 48000", path, "synth 16 sine 3150 gain -6")
    reading = read_file(path)
    # Coding noise 24 dB below the tone turns its phase by at most 0.063 rad. The mean under a
    # Hann weight w over T is off by at most 0.063·∫|w'|dt / 2π = 0.063·4/T / 2π.
    assert abs(reading.value("speed.deviation")) < 100 * 0.063 * 4 / 15 / 6.28 / 3150
    assert any("lossy" in doubt for doubt in reading.measured.doubts)


@pytest.mark.parametrize(("factor", "percent"), [("1.0031", 0.31), ("0.985", -1.5)])
@pytest.mark.parametrize("name", ["fast.wav", "fast.flac"])
def test_sox_speed_is_read_back(
    tmp_path: Path, run: Read, read_file: Read, factor: str, percent: float, name: str
) -> None:
    path = tmp_path / name
    run(
        "sox -n -r 48000 -b 24",
        path,
        f"synth 40 sine 3150 gain -6 speed {factor} rate -v 48000",
    )
    reading = read_file(path)
    for method in ("bell-mean/1", "bell-mean-30s/1"):
        # the resampler counts its place in a fixed-point fraction of a sample (2⁻³² or finer):
        # an error of a part in 10⁹ of the ratio at most, 10⁻⁷ %; ten times that is allowed
        assert reading.value("speed.deviation", method) == pytest.approx(percent, abs=1e-6)
    assert abs(reading.value("speed.drift")) < 1e-5
    assert reading.value("flutter.weighted_peak") <= RESIDUAL_PERCENT
    cents = reading.result("speed.deviation").conditions["cents"]
    # 1200·log2(1.0031) = 5.358 and 1200·log2(0.985) = −26.165
    assert cents == pytest.approx({"1.0031": 5.358, "0.985": -26.165}[factor], abs=1e-3)


def test_a_level_that_trembles_reads_no_flutter(tmp_path: Path, run: Read, read_file: Read) -> None:
    path = tmp_path / "trembling.wav"
    run("sox -n -r 48000 -b 24", path, "synth 20 sine 3150 gain -6 tremolo 6.4 50")
    reading = read_file(path)
    assert abs(reading.value("speed.deviation")) < 1e-6
    assert reading.value("flutter.weighted_peak") <= RESIDUAL_PERCENT


def test_silence_and_noise_around_the_tone_are_left_out(
    tmp_path: Path, run: Read, read_file: Read
) -> None:
    noise, tone, path = tmp_path / "noise.wav", tmp_path / "tone.wav", tmp_path / "tape.flac"
    form = "-r 48000 -c 2 -b 24"
    run(f"sox -n {form}", noise, "synth 4 brownnoise gain -12")
    run(
        f"sox -n {form}",
        tone,
        "synth 30 sine 3150 gain -6 speed 1.0031 rate -v 48000 pad 3 2",
    )
    run("sox", noise, tone, noise, path)
    reading = read_file(path)
    assert reading.value("speed.deviation") == pytest.approx(0.31, abs=1e-6)
    assert reading.value("flutter.weighted_peak") <= RESIDUAL_PERCENT
    tone_s = 30 / 1.0031
    used_s = reading.measured.conditions["used_s"]
    # a guard of 0.1 s and up to two cells of 20 ms at either end
    assert tone_s - 0.3 < used_s < tone_s
    assert not any("lost" in doubt for doubt in reading.measured.doubts)
