"""Practising the whole sheet on virtual decks: what is played, what is told, what is refused.

What is measured is held against the truth beside the recording, which comes from closed forms of
`runstrue.virtualdeck` and shares no code with `runstrue.measure`.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.cli.conftest import Call

# Of a reading there: its 95 % (0.3 dB of any card in the response, 0.15 dB of noise), and half a
# dB for the deck's own unsteady level (two wobbles of 1 and 1.5 dB from crest to crest).
WITHIN_DB = 0.6


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("practice")


def read(call: Call, path: Path, key: str) -> list[dict]:
    ran = call("measure", path, "--programme", key, "--json")
    assert ran.code == 0, ran.err
    return json.loads(ran.out)["captures"][0]["readings"]


def test_both_kinds_of_decks_are_listed(call: Call) -> None:
    ran = call("practice")
    assert ran.code == 0
    assert "flattened-roller" in ran.out
    assert "dirty-head" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80


def test_dirty_head_can_be_practised_and_is_revealed(call: Call, played: Path) -> None:
    path = played / "quick.flac"
    ran = call("practice", "dirty-head", "--programme", "quick-look", "-o", path)
    assert ran.code == 0, ran.err
    assert "--programme quick-look" in ran.out
    truth = json.loads(path.with_suffix(".truth.json").read_text())
    true_db = {
        float(one["at"].split()[0]): one["value"] for one in truth["sheet"]
        if one["id"] == "response.gain" and one["channel"] == "left"
    }  # fmt: skip
    # Between 1 and 16 kHz. Wallace 1951: 54.575 dB for a spacing of one wavelength, here 0.4 µm.
    # Gap of 0.8 · 1.11 µm: −1.31 dB (Eargle 1994, eq. 167.1). A cubic law with 1.2 % third
    # harmonic at 0 dB presses the fundamental by 3.6 %, here at −20 + 21.8 dB, the lift of a
    # record amplifier from 1300 Hz on. Crosstalk, −42 dB and rising from 4 kHz on, comes from a
    # channel 12 µs apart and a quarter turn ahead. Higher orders: less than 0.1 dB.
    spacing_db = -54.575 * 0.4 / 47.625 * (16 - 1)
    pressed_db = 20 * np.log10(1 - 0.036 * 10 ** (1.8 / 10))
    other = 10 ** (-42 / 20) * np.hypot(1, 4) * np.sin(2 * np.pi * 16_000 * 12e-6)
    wanted_db = spacing_db - 1.31 + pressed_db + 20 * np.log10(1 + other)
    assert true_db[16000.0] - true_db[1000.0] == pytest.approx(wanted_db, abs=0.1)
    readings = read(call, path, "quick-look")
    (left,) = [one for one in readings if one["id"] == "response.gain" and one["channel"] == "left"]
    for tone_hz, gain_db in zip(left["table"]["x"], left["table"]["y"], strict=True):
        assert gain_db == pytest.approx(true_db[tone_hz], abs=WITHIN_DB)
    ran = call("practice", "--reveal", path)
    assert "film of oxide" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80


def test_needles_of_a_leaking_capacitor_are_read(call: Call, played: Path) -> None:
    path = played / "needles.txt"
    assert call("practice", "meter-offset", "--programme", "meters", "-o", path).code == 0
    ran = call("meter", path)
    assert ran.code == 0, ran.err
    assert "coupling capacitor" in " ".join(ran.out.split())
    assert "leaking" in call("practice", "--reveal", path).out


@pytest.mark.parametrize(("how", "quantity_id"), [("recorded", "companding.lift"),
                                                  ("both", "companding.tracking")])  # fmt: skip
def test_noise_reduction_is_switched(call: Call, played: Path, how: str, quantity_id: str) -> None:
    path = played / f"{how}.flac"
    switched = ("--programme", "noise-reduction", "--noise-reduction", how)
    ran = call("practice", "mistracking", *switched, "-o", path)
    assert ran.code == 0, ran.err
    true_db = next(one["value"] for one in json.loads(path.with_suffix(".truth.json").read_text())[
        "sheet"] if one["id"] == quantity_id)  # fmt: skip
    found = [one for one in read(call, path, "noise-reduction") if one["id"] == quantity_id]
    assert len(found) == 2
    for one in found:
        softest_db = dict(zip(one["table"]["x"], one["table"]["y"], strict=True))[-40.0]
        assert softest_db == pytest.approx(true_db, abs=WITHIN_DB)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("haunted",), "There is no virtual deck"),
        (("new-belt", "--programme", "meters"), "has no level meters"),
        (("new-belt", "--programme", "quick-look", "--noise-reduction", "both"), "transport only"),
        (("sound", "--programme", "no-such"), "There is no programme"),
        (("--reveal", "nothing.flac"), "cannot be read"),
    ],
)
def test_what_cannot_be_practised_is_one_sentence(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...],
    sentence: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    ran = call("practice", *words)
    assert ran.code == 1
    assert len(ran.sentences) == 1
    assert sentence in ran.err


def test_a_recording_of_ones_own_is_not_written_over(call: Call, tmp_path: Path) -> None:
    mine = tmp_path / "mine.flac"
    mine.write_bytes(b"something")
    ran = call("practice", "sound", "--programme", "quick-look", "-o", mine)
    assert ran.code == 1
    assert "not written over" in ran.err
    assert mine.read_bytes() == b"something"
