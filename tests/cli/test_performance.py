"""The rest of the sheet from the command line: programmes, sound card, meters, controls, leaks.

What is put in is known in closed form (levels of sines, a gain in decibels, a voltage); the
virtual deck that plays the programmes shares no code with what measures them.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.cli.conftest import Call

from runstrue.stimulus.programmes import programme
from runstrue.virtualdeck.deck import Component, Hiss, Skew, VirtualDeck
from runstrue.virtualdeck.play import play

RATE_HZ = 48_000
SHEET = (
    "Frequency response 63 Hz - 12 kHz ±3 dB; S/N 50 dB (A-weighted); channel separation 35 dB at "
    "1 kHz; third harmonic distortion 1 %"
)


def write(path: Path, samples: np.ndarray) -> Path:
    soundfile.write(path, samples.T, RATE_HZ, subtype="PCM_24")
    return path


@pytest.fixture(scope="module")
def quick_look(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The programme of three minutes on a deck 1.2 % fast, right channel 1.5 dB low."""
    made = programme("quick-look")
    deck = VirtualDeck(
        "Wrenholm C-14", speed_error_percent=1.2, components=(Component("capstan", 6.3, 0.08),),
        hiss=Hiss(55.0, reference_dbfs=made.reference_dbfs), imbalance_db=-1.5, skew=Skew(20.0),
    )  # fmt: skip
    recording = play(deck, made, duration_s=made.lasts_s / 1.012 + 4, lead_in_s=1.5, seed=3)
    return write(
        tmp_path_factory.mktemp("programmes") / "quick-look.flac",
        np.asarray(recording.signal.samples),
    )


def readings(out: str, quantity_id: str) -> list[dict]:
    return [one for one in json.loads(out)["captures"][0]["readings"] if one["id"] == quantity_id]


def test_programme_gives_the_whole_sheet_with_verdicts(call: Call, quick_look: Path) -> None:
    ran = call("measure", quick_look, "--programme", "quick-look", "--sheet", SHEET, "--json")
    assert (ran.code, ran.err) == (0, "")
    (balance,) = [one for one in readings(ran.out, "level.balance") if one["channel"] == "both"][:1]
    assert balance["value"] == pytest.approx(1.5, abs=0.05)
    assert all(abs(y) < 0.05 for one in readings(ran.out, "response.gain")
               for x, y in zip(one["table"]["x"], one["table"]["y"], strict=True)
               if one["method"] == "response-tones/1")  # fmt: skip
    outcomes = {one["id"]: one["outcome"] for one in json.loads(ran.out)["captures"][0]["verdicts"]}
    assert outcomes["response.band"] == "meets"
    assert outcomes["noise.a"] == "meets"
    assert outcomes["separation.channels"] == "meets"


def test_any_recognises_the_programme_and_leaves_a_lone_tone_a_tone(
    call: Call, quick_look: Path, recordings: Path
) -> None:
    ran = call("measure", quick_look, recordings / "new-belt.flac", "--programme", "any", "--json")
    assert ran.code == 0
    first, second = json.loads(ran.out)["captures"]
    assert any(one["id"] == "response.gain" for one in first["readings"])
    assert all(one["id"] != "response.gain" for one in second["readings"])
    assert any(one["id"] == "speed.deviation" for one in second["readings"])


def test_view_fits_the_terminal_and_names_what_stands_where(call: Call, quick_look: Path) -> None:
    ran = call("measure", quick_look, "--programme", "quick-look")
    assert max(map(len, ran.out.splitlines())) <= 80
    for heading in ("Levels", "Frequency response", "Noise, below the reference", "Distortion"):
        assert heading in ran.out


def test_wrong_programme_is_named(call: Call, quick_look: Path) -> None:
    ran = call("measure", quick_look, "--programme", "erasure")
    assert ran.code == 1 or "looks like" in ran.out
    assert "quick" in ran.out + ran.err


def test_programme_is_kept_drawn_and_printed(call: Call, quick_look: Path, tmp_path: Path) -> None:
    bench = ["--bench", tmp_path / "bench"]
    assert call("deck", "add", "C-14", *bench).code == 0
    ran = call("measure", quick_look, "--programme", "quick-look", "--deck", "C-14", "--stage",
               "found", "--figures", tmp_path / "figures", *bench)  # fmt: skip
    assert ran.code == 0
    assert (tmp_path / "figures" / "response.svg").stat().st_size > 2000
    ran = call("report", "C-14", "-o", tmp_path / "sheet.pdf", *bench)
    assert ran.code == 0
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("name", ["no-such", "nowhere.toml"])
def test_unknown_programme_is_one_sentence(call: Call, quick_look: Path, name: str) -> None:
    ran = call("measure", quick_look, "--programme", name)
    assert ran.code == 1
    assert len(ran.sentences) == 1


def tone(path: Path, level_dbfs: float, hz: float = 400.0) -> Path:
    times_s = np.arange(10 * RATE_HZ) / RATE_HZ
    peak = 10 ** (level_dbfs / 20)
    return write(path, np.stack([peak * np.sin(2 * np.pi * hz * times_s)] * 2))


def test_one_known_voltage_turns_levels_into_volts(call: Call, tmp_path: Path) -> None:
    """0.5 V r.m.s. at −12 dB FS: full scale is 0.5 · 10^0.6 = 1.991 V, 5.98 dBV."""
    bench = ["--bench", tmp_path / "bench"]
    ran = call("card", "calibrate", "ui", tone(tmp_path / "t.flac", -12), "--volts", "0.5±0.005",
               *bench)  # fmt: skip
    assert ran.code == 0
    assert "5.98 dBV" in ran.out
    ran = call("card", "calibrate", "ui", "--volts", "350±4 mV", "--played", "-12", *bench)
    assert "2.88 dBV" in ran.out  # 0.35 · 10^0.6 = 1.393 V
    shown = call("card", "show", *bench).out
    assert "1.991 V" in shown
    assert "1.393 V" in shown


@pytest.mark.parametrize("volts", ["0", "-1", "many", "350"])
def test_useless_voltage_is_one_sentence(call: Call, tmp_path: Path, volts: str) -> None:
    ran = call("card", "calibrate", "ui", tone(tmp_path / "t.flac", -12), f"--volts={volts}",
               "--bench", tmp_path / "bench")  # fmt: skip
    assert ran.code == 1
    assert len(ran.sentences) == 1


def test_loop_back_finds_the_card_s_own_noise_and_response(call: Call, tmp_path: Path) -> None:
    """White noise of a known level and a gain that falls by 1 dB between 1 and 20 kHz (scipy)."""
    from scipy import signal

    sound = np.concatenate(list(programme("loop-back").samples(RATE_HZ)), axis=1)
    b, a = signal.butter(1, 30_000, fs=3 * RATE_HZ)
    _, h = signal.freqz(b, a, [1000, 16_000], fs=3 * RATE_HZ)
    taps = signal.firwin2(255, np.linspace(0, 1, 129), np.abs(
        signal.freqz(b, a, np.linspace(0, RATE_HZ / 2, 129), fs=3 * RATE_HZ)[1]))  # fmt: skip
    rms = 10 ** (-80 / 20) / np.sqrt(2)
    draw = np.random.default_rng(1)
    heard = signal.fftconvolve(sound, taps[None], mode="same", axes=1)
    heard = heard + rms * draw.standard_normal(sound.shape)
    bench = ["--bench", tmp_path / "bench"]
    ran = call("card", "loop-back", "ui", write(tmp_path / "loop.flac", heard), *bench)
    assert ran.code == 0, ran.err
    shown = " ".join(call("card", "show", *bench).out.split())
    fall_db = 20 * np.log10(abs(h[0] / h[1]))
    told = re.search(r"response ±([\d.]+) dB", shown)
    assert told is not None
    assert float(told[1]) == pytest.approx(fall_db, abs=0.03)
    # 20 Hz to 20 kHz is 0.83 of the band: 0.8 dB below −80
    assert "noise −81 dB FS" in shown


def test_needles_tell_an_offset_from_a_gain(call: Call, tmp_path: Path) -> None:
    notes = tmp_path / "needles.txt"
    rows = {"-20": -15.5, "-10": -9, "-5": -4.5, "0": 0.5, "+3": 3.2}
    notes.write_text("rest L -inf R -17\n" + "".join(
        f"step{fed} L {float(fed)} R {shown}\n" for fed, shown in rows.items()))  # fmt: skip
    ran = call("meter", notes)
    assert ran.code == 0
    assert "coupling capacitor" in ran.out.replace("\n    ", " ")
    notes.write_text("step0 L zero-ish\n")
    ran = call("meter", notes)
    assert (ran.code, len(ran.sentences)) == (1, 1)


def test_control_is_counted_before_and_after_cleaning(call: Call, tmp_path: Path) -> None:
    times_s = np.arange(10 * RATE_HZ) / RATE_HZ
    clean = np.stack([0.3 * np.sin(2 * np.pi * 1000 * times_s)] * 2)
    clean = clean + 1e-4 * np.random.default_rng(2).standard_normal(clean.shape)
    crackling = clean.copy()
    for at_s in (2.0, 3.5, 7.1):
        first = round(at_s * RATE_HZ)
        crackling[:, first : first + 10] += 0.2
    bench = ["--bench", tmp_path / "bench"]
    call("deck", "add", "C-14", *bench)
    for stage, sound in (("found", crackling), ("left", clean)):
        path = write(tmp_path / f"{stage}.flac", sound)
        ran = call("control", path, "--name", "balance", "--deck", "C-14", "--stage", stage, *bench)
        assert ran.code == 0, ran.err
    ran = call("compare", "C-14", *bench)
    assert "crackle of a control" in ran.out
    assert "18" in ran.out  # three clicks in ten seconds


def test_leak_of_known_depth(call: Call, tmp_path: Path) -> None:
    loud = tone(tmp_path / "loud.flac", -6, 1000)
    times_s = np.arange(20 * RATE_HZ) / RATE_HZ
    rest = 10 ** (-71 / 20) * np.sin(2 * np.pi * 1000 * times_s)
    noise = 10 ** (-75 / 20) * np.random.default_rng(4).standard_normal((2, times_s.size))
    path = write(tmp_path / "rest.flac", rest + noise)
    ran = call("leak", loud, path, "--of", "erasure", "--json")
    for one in readings(ran.out, "erasure.depth"):
        assert one["value"] == pytest.approx(65, abs=0.5)
    ran = call("leak", path, loud, "--of", "sides")
    assert (ran.code, len(ran.sentences)) in {(1, 1), (0, 0)}


def test_inputs_by_a_ramp_through_a_known_gain(call: Call, tmp_path: Path) -> None:
    """Gain of 4, output calibrated at 1.393 V and input at 1.991 V of full scale.

    The deck's 0 dB gives 200 mV in the recording: 0.2 / 1.991 of full scale came out, a quarter
    of it went in, times 1.393 V: 35 mV.
    """
    bench = ["--bench", tmp_path / "bench"]
    call("card", "calibrate", "ui", tone(tmp_path / "t.flac", -12), "--volts", "0.5", *bench)
    call("card", "calibrate", "ui", "--volts", "0.35", "--played", "-12", *bench)
    sound = np.concatenate(list(programme("inputs").samples(RATE_HZ)), axis=1)
    heard = np.clip(4 * sound, -0.9, 0.9)
    heard = heard + 1e-5 * np.random.default_rng(5).standard_normal(heard.shape)
    ran = call("measure", write(tmp_path / "in.flac", heard), "--programme", "inputs",
               "--zero-output", "200 mV", "--input-name", "line", "--json", *bench)  # fmt: skip
    assert ran.code == 0, ran.err
    for one in readings(ran.out, "input.sensitivity"):
        assert one["value"] == pytest.approx(200 / 1.991 / 4 * 1.393, rel=0.02)
        assert one["conditions"]["input"] == "line"
    for one in readings(ran.out, "input.overload"):
        # clipping begins at 0.9 / 4 of the card's full scale, r.m.s. of a sine as in the 1.393 V
        assert one["value"] == pytest.approx(0.9 / 4 * 1393, rel=0.06)
