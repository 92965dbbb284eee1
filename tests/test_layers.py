"""Imports point one way: the table of docs/architecture.md, held against the syntax trees."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCE = Path(__file__).parent.parent / "src" / "runstrue"
GROUND = {"errors", "quantity", "samples", "result", "catalogue"}

# part: (own parts it may import besides the ground floor, packages from outside)
ALLOWED: dict[str, tuple[set[str], set[str]]] = {
    **{part: (GROUND, {"numpy"}) for part in GROUND},
    "dsp": (set(), {"numpy", "scipy"}),
    "stimulus": (set(), {"numpy", "msgspec", "tomli_w"}),
    "transport": (set(), {"numpy", "msgspec", "tomli_w"}),
    "virtualdeck": ({"stimulus", "transport"}, {"numpy", "scipy", "soundfile"}),
    "capture": ({"virtualdeck"}, {"numpy", "soundfile", "miniaudio"}),
    "measure": ({"dsp", "stimulus", "transport"}, {"numpy", "scipy", "threadpoolctl"}),
    "verdict": (set(), {"msgspec"}),
    "faults": ({"transport", "verdict"}, {"numpy", "msgspec", "yaml"}),
    "runner": (
        {"dsp", "stimulus", "transport", "virtualdeck", "capture", "measure", "verdict", "faults"},
        {"joblib"},
    ),
    "logbook": (
        {"stimulus", "transport", "verdict", "faults"}, {"numpy", "msgspec", "soundfile"}
    ),
    "report": ({"transport", "verdict", "logbook"}, {"numpy", "matplotlib", "typst"}),
    "live": (
        {"dsp", "stimulus", "transport", "virtualdeck", "capture", "measure", "verdict"},
        {"numpy", "soundfile"},
    ),
    "web": (
        {"dsp", "stimulus", "transport", "virtualdeck", "capture", "measure", "verdict", "faults",
         "runner", "live", "logbook", "report", "cli"},
        {"numpy", "msgspec", "starlette", "uvicorn", "jinja2", "markupsafe", "PIL", "click",
         "matplotlib"},
    ),
    "cli": (
        {"dsp", "stimulus", "transport", "virtualdeck", "capture", "measure", "verdict", "faults",
         "runner", "live", "logbook", "report", "web"},
        {"click", "msgspec", "numpy", "segno"},
    ),
    "__init__": (set(), set()),
}  # fmt: skip


def _part(path: Path) -> str:
    first = path.relative_to(SOURCE).parts[0]
    return first.removesuffix(".py")


def _imports(path: Path) -> Iterator[tuple[int, str]]:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: relative import"
            yield node.lineno, node.module or ""
            if node.module == "runstrue":
                yield from ((node.lineno, f"runstrue.{alias.name}") for alias in node.names)


def _breaches(path: Path) -> Iterator[str]:
    part = _part(path)
    own, outside = ALLOWED[part]
    for line, name in _imports(path):
        top, _, rest = name.partition(".")
        if top == "runstrue":
            other = rest.partition(".")[0]
            if other and other not in own | GROUND | {part, "__version__"}:
                yield f"{path.relative_to(SOURCE)}:{line}: {part} imports {other}"
        elif top not in outside and top not in sys.stdlib_module_names:
            yield f"{path.relative_to(SOURCE)}:{line}: {part} touches {top}"


@pytest.mark.parametrize("path", sorted(SOURCE.rglob("*.py")), ids=lambda p: str(p.name))
def test_module_imports_only_what_its_layer_allows(path: Path) -> None:
    assert list(_breaches(path)) == []


def test_the_check_sees_a_breach(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.modules[__name__], "SOURCE", tmp_path)
    bad = tmp_path / "virtualdeck" / "cheat.py"
    bad.parent.mkdir()
    bad.write_text("from runstrue.measure.flutter import weigh\nimport click\n")
    assert len(list(_breaches(bad))) == 2


@pytest.mark.parametrize("path", sorted(SOURCE.rglob("*.py")), ids=lambda p: str(p.name))
def test_module_stays_small_enough_to_read(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= 420
