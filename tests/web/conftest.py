"""A bench with an invented deck, and the pages of its server."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
from starlette.testclient import TestClient

from runstrue.cli.bench import Bench
from runstrue.cli.main import main
from runstrue.web.app import create_app

PORT = 7315
BASE = f"http://127.0.0.1:{PORT}"
SHEET = "Wow and flutter 0.14 % DIN; speed ±1.5 %"


class Pages:
    """A browser without scripts: it keeps cookies, and sends forms with their page's mark."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def get(self, path: str, **more: Any) -> httpx.Response:
        return self.client.get(path, **more)

    def mark(self, path: str) -> str:
        """Return the mark of a page's forms."""
        found = re.search(r'name="_token" value="([0-9a-f]+)"', self.get(path).text)
        assert found, f"{path} has no form"
        return found[1]

    def send(
        self, path: str, fields: dict[str, Any], *, page: str = "", **more: Any
    ) -> httpx.Response:
        """Fill a form of a page and send it; follows to where that leads."""
        data = {"_token": self.mark(page or path), **fields}
        return self.client.post(path, data=data, **more)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A bench with one deck on it."""
    folder = tmp_path / "bench"
    monkeypatch.setenv("RUNSTRUE_BENCH", str(folder))
    assert main(["deck", "add", "C-14", "--maker", "Wrenholm", "--model", "C-14"]) == 0
    return Bench(folder)


@pytest.fixture
def pages(bench: Bench) -> Iterator[Pages]:
    """Its pages."""
    with TestClient(create_app(bench, PORT), base_url=BASE) as client:
        yield Pages(client)


@pytest.fixture(scope="session")
def tape(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording of a virtual deck as found."""
    path = tmp_path_factory.mktemp("tape") / "before.flac"
    assert main(["practice", "perished-belt", "-o", str(path), "--length", "20"]) == 0
    return path
