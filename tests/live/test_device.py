"""A real sound input, by a private sound server: what is heard is what is kept and measured."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.live.test_engine import IDS, PLAN, RATE_HZ, figures
from tests.sound_server import SINK, SoundServer, sound_server

from runstrue.capture.device import DeviceSource, devices
from runstrue.capture.file import FileSource
from runstrue.errors import FileError, InputError
from runstrue.live.engine import LiveEngine
from runstrue.live.models import Update
from runstrue.measure.tape_tone import measure_tone
from runstrue.stimulus.tone import Tone
from runstrue.virtualdeck.play import Performance
from runstrue.virtualdeck.presets import preset


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[SoundServer]:
    with sound_server() as running:
        for name, value in running.environment.items():
            monkeypatch.setenv(name, value)
        yield running


@pytest.fixture(scope="module")
def tape(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Half a minute of a deck with a bent capstan."""
    path = tmp_path_factory.mktemp("tape") / "side-a.wav"
    sound = Performance(
        preset("bent-capstan").deck, Tone(3150.0, -6.0), duration_s=30.0, rate_hz=RATE_HZ,
        channels=2, seed=4, lead_in_s=0.5, lead_out_s=0.0,
    )  # fmt: skip
    with soundfile.SoundFile(path, "w", RATE_HZ, 2, "FLOAT") as file:
        for block in sound.blocks(RATE_HZ):
            file.write(block.T)
    return path


def wait_until(holds: object, seconds: float) -> None:
    assert callable(holds)
    deadline = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < deadline, "it takes too long"
        time.sleep(0.05)


def test_inputs_are_listed_with_their_own_rate(server: SoundServer) -> None:
    del server
    (found,) = devices()
    assert (found.rate_hz, found.channels) == (RATE_HZ, 2)
    with pytest.raises(InputError, match="There is no input 'Other'"):
        DeviceSource("Other")


def test_without_a_sound_system_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PULSE_SERVER", "unix:/nowhere")
    assert devices() == ()
    with pytest.raises(InputError, match="no sound input"):
        DeviceSource()


def test_live_figures_are_those_of_the_kept_capture(
    server: SoundServer, tape: Path, tmp_path: Path
) -> None:
    engine = LiveEngine(tmp_path / "live")
    engine.start(DeviceSource(), PLAN)
    player = server.play(tape)
    try:
        wait_until(
            lambda: engine.latest is not None and engine.latest.windows[2].counted_s > 12, 60
        )
        engine.stop()
        assert isinstance(engine.latest, Update)
        compared = 0
        for window in engine.latest.windows[1:]:
            assert window.flutter is not None
            kept = engine.keep(window.first_frame, window.frames)
            assert (kept.first_frame, kept.frames) == (window.first_frame, window.frames)
            source = FileSource(kept.path)
            found = measure_tone(source.blocks(), source.rate_hz, source.channels, PLAN)
            for name, (value, u) in figures(window).items():
                if name == "speed":
                    result = next(one for one in found.results if one.method == "bell-mean/1")
                else:
                    result = found.find(IDS[name])  # type: ignore[assignment]
                assert result is not None
                assert result.quantity is not None
                # the goal that is set: one part in a million
                assert value == pytest.approx(result.quantity.value, rel=1e-6, abs=1e-9), name
                assert u == pytest.approx(result.quantity.u, rel=1e-6, abs=1e-9), name
                compared += 1
        assert compared == 18
        # the sound went through the server unchanged: the deck's truth is found in it
        truth = Performance(
            preset("bent-capstan").deck, Tone(3150.0, -6.0), duration_s=30.0, rate_hz=RATE_HZ,
            channels=2, seed=4,
        ).truth.mean_deviation_percent  # fmt: skip
        speed = engine.latest.windows[2].speed
        assert speed is not None
        assert speed.value == pytest.approx(truth, abs=0.05)
    finally:
        player.terminate()
        player.wait(10)
        engine.close()


def test_a_device_that_goes_is_waited_for_and_marked(
    server: SoundServer, tape: Path, tmp_path: Path
) -> None:
    engine = LiveEngine(tmp_path / "live")
    engine.start(DeviceSource(), PLAN)
    player = server.play(tape)
    try:
        wait_until(lambda: engine.latest is not None and engine.latest.time_s > 4, 30)
        module = next(
            line.split()[0] for line in server.control("list", "short", "modules").splitlines()
            if "module-null-sink" in line
        )  # fmt: skip
        server.control("unload-module", module)
        wait_until(lambda: engine.latest.state == "away", 20)  # type: ignore[union-attr]
        server.control(
            "load-module", "module-null-sink", f"sink_name={SINK}", f"rate={RATE_HZ}",
            "format=float32le", "channels=2",
        )  # fmt: skip
        server.control("set-default-source", f"{SINK}.monitor")
        player.terminate()
        player = server.play(tape)
        gone_at = engine.latest.time_s  # type: ignore[union-attr]
        wait_until(lambda: engine.latest.time_s > gone_at + 3, 30)  # type: ignore[union-attr]
        latest = engine.latest
        assert latest is not None
        told = " ".join(one.words for one in latest.status.happenings)
        assert "gives no sound any more" in told
        assert "is back after" in told
        kept = engine.keep_last(20.0)
        assert any("is back after" in words for words in kept.doubts)
        samples, _ = soundfile.read(kept.path)
        assert np.max(np.abs(samples)) > 0.3
    finally:
        player.terminate()
        player.wait(10)
        engine.close()


def test_an_input_that_cannot_be_opened_gets_its_sentence(
    server: SoundServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = DeviceSource()
    monkeypatch.setenv("PULSE_SERVER", "unix:/nowhere")
    with pytest.raises(FileError, match="cannot be opened"):
        next(iter(source.blocks()))
    del server
