"""What the logbook's tests share: passes to store, and a clock that they set."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from runstrue.logbook.models import CaptureFacts, Stage
from runstrue.quantity import Budget, Contribution
from runstrue.result import Deviation, Line, Measured, Result, Spread, Table, Trace
from runstrue.verdict.models import Limit, Verdict


class SetClock:
    """A clock that stands still until it is moved."""

    def __init__(self) -> None:
        self.time = datetime(2024, 5, 1, 9, 30, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.time

    def forward(self, **span: float) -> None:
        self.time += timedelta(**span)


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def speed_of() -> Callable[..., Result]:
    """Return a maker of speed readings with one shared and one random part."""

    def make(value: float, *, shared: float = 0.3, random: float = 0.01) -> Result:
        budget = Budget(
            (
                Contribution("tolerance of the test tape", shared, "shared", "Sallowby tape, 7"),
                Contribution("finite length", random, "random", "", 12.0),
            )
        )
        return Result("speed.deviation", "bell-mean/1", "both", budget.quantity(value, "%"), budget)

    return make


@pytest.fixture
def whole_pass(speed_of: Callable[..., Result]) -> Callable[..., Measured]:
    """Return a maker of passes that use every field which can be stored."""

    def make(speed_percent: float = -2.1, samples: int = 1000) -> Measured:
        generator = np.random.default_rng(20240501)
        percent = generator.normal(0, 0.1, (2, samples)).astype(np.float32)
        percent[0, samples // 3 : samples // 2] = np.nan
        flutter_budget = Budget((Contribution("hiss", 0.004, "random", "", 9.0),))
        curve = Trace(
            "weighted deviation histogram",
            np.linspace(-0.3, 0.3, 61),
            generator.random(61).astype(np.float32),
            "weighted deviation",
            "%",
            "share of time",
            "%",
            "left",
            {"two-sigma": 0.147},
        )
        flutter = Result(
            id="flutter.weighted_peak",
            method="two-sigma/1",
            channel="left",
            quantity=flutter_budget.quantity(0.1470000000000001, "%"),
            budget=flutter_budget,
            spread=Spread(0.12, 0.15, 0.18),
            table=Table((1.0, 10.0), (0.1, 0.2), (0.01, 0.02), "Hz", "%"),
            lines=(Line(6.41, 0.002, 0.11, 0.003, 0.1),),
            conditions={"tone_hz": 3150.0, "tape": "Sallowby tape", "self_recorded": False},
            traces=(curve,),
            doubts=("The left channel was lost for 1.2 s (dropout).",),
        )
        unknown = Result("speed.drift", "bell-slope/1", "both", None, doubts=("Too short.",))
        return Measured(
            summary="Tone of 3150 Hz on both channels; 56.8 s used of 62.0 s",
            results=(speed_of(speed_percent), flutter, unknown),
            deviation=Deviation(percent, 500.0, 3150.0, ("left", "right")),
            traces=(curve,),
            conditions={"tone_hz": 3150.0, "self_recorded": False, "tape": "Sallowby tape"},
            doubts=("One dropout was left out.",),
        )

    return make


@pytest.fixture
def facts() -> Callable[..., CaptureFacts]:
    def make(stage: Stage = "as found", **more: str) -> CaptureFacts:
        return CaptureFacts(stage=stage, **more)

    return make


@pytest.fixture
def speed_verdict() -> Verdict:
    limit = Limit(ids=("speed.deviation",), unit="%", words="speed ±1.5 %", low=-1.5, high=1.5)
    return Verdict(
        id="speed.deviation",
        method="bell-mean/1",
        channel="both",
        limit=limit,
        outcome="does not meet",
        chance=0.0227,
        rule="meets from 95 %, does not meet below 5 %",
        words="worth adjusting",
        value=-2.1,
        unit="%",
        u=0.3,
    )


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Return a file to keep; its content means nothing to the logbook."""
    path = tmp_path / "Seite A – Gerät 1.flac"
    path.write_bytes(np.random.default_rng(1).bytes(3_000_000))
    return path


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Callable[[str], Path]]:
    """Return a maker of real small disks (tmpfs), where this user may mount them."""
    mount, unmount = shutil.which("mount"), shutil.which("umount")
    if os.geteuid() != 0 or not mount or not unmount:
        pytest.skip("needs the right to mount a small disk (root)")
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = []

    def make(options: str) -> Path:
        command = [mount, "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
        if subprocess.run(command, capture_output=True, check=False).returncode:
            pytest.skip("this machine does not let a small disk be mounted")
        mounted.append(folder)
        return folder

    yield make
    for _ in mounted:
        subprocess.run([unmount, str(folder)], check=True)
