"""A private sound server with a sink that nobody hears, whose monitor is a sound input.

PulseAudio, run by hand: no hardware, no D-Bus, nothing of the user's own is touched.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

SINK = "deck"
RATE_HZ = 48_000


@dataclass(slots=True)
class SoundServer:
    """A server that runs.

    Parameters
    ----------
    environment : dict
        What programs need in their environment to find it.
    """

    environment: dict[str, str]

    def play(self, path: Path) -> subprocess.Popen[bytes]:
        """Begin to play a file into the sink."""
        return subprocess.Popen(
            ["paplay", "-d", SINK, str(path)], env={**os.environ, **self.environment}
        )

    def control(self, *words: str) -> str:
        """Tell the server something."""
        return subprocess.run(
            ["pactl", *words], env={**os.environ, **self.environment}, check=True,
            capture_output=True, text=True,
        ).stdout.strip()  # fmt: skip


@contextlib.contextmanager
def sound_server() -> Iterator[SoundServer]:
    """Run a server until the block ends."""
    folder = Path(tempfile.mkdtemp(prefix="sound-"))
    (folder / "state").mkdir(mode=0o700)
    folder.chmod(0o700)
    environment = {
        "PULSE_RUNTIME_PATH": str(folder),
        "PULSE_STATE_PATH": str(folder / "state"),
        "PULSE_CONFIG_PATH": str(folder / "configuration"),
        "PULSE_SERVER": f"unix:{folder}/native",
        "HOME": str(folder),
    }
    server = subprocess.Popen(
        [
            "pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1",
            "--disallow-exit=no", "--system=no", f"--log-target=file:{folder}/log",
            "-L", f"module-native-protocol-unix socket={folder}/native auth-anonymous=1",
            "-L", f"module-null-sink sink_name={SINK} rate={RATE_HZ} format=float32le channels=2",
        ],
        env={**os.environ, **environment}, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    running = SoundServer({key: one for key, one in environment.items() if key != "HOME"})
    try:
        _wait_for(folder / "native", server)
        running.control("set-default-source", f"{SINK}.monitor")
        yield running
    finally:
        server.terminate()
        server.wait(10)
        shutil.rmtree(folder, ignore_errors=True)


def _wait_for(socket: Path, server: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + 15
    while not socket.exists():
        assert server.poll() is None, "the sound server fell over"
        assert time.monotonic() < deadline, "the sound server does not answer"
        time.sleep(0.05)
    time.sleep(0.2)
