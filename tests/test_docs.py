"""The pages say what the program does: commands, options, ids, tables, sessions, links.

What the pages are held against is outside of them: the command line's own declarations, the
catalogue, the sheet reader, and what the commands print when they are run.
"""

from __future__ import annotations

import ast
import importlib.util
import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import click
import pytest

from runstrue.catalogue import KINDS, METHODS
from runstrue.cli.main import COMMANDS, main, runstrue
from runstrue.result import Line, Result, to_plain
from runstrue.stimulus.testtape import TestTape
from runstrue.verdict.models import Candidate, Limit, Reason, Verdict
from runstrue.verdict.sheet import read_sheet

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "CHANGELOG.md", *sorted(DOCS.glob("*.md"))]
named = pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)


def _load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"docs_{name}", DOCS / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


tables = _load("make_tables")
sessions = _load("make_sessions")
WITH_SESSIONS = [page for page in sessions.pages() if "```" in page.read_text(encoding="utf-8")]


def text_of(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


def every_command(
    group: click.Group = runstrue, above: str = ""
) -> Iterator[tuple[str, click.Command]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield f"{above}{name}", command
        if isinstance(command, click.Group):
            yield from every_command(command, f"{above}{name} ")


def test_every_command_has_its_section_and_an_example() -> None:
    page = text_of("commands.md")
    headings = re.findall(r"^## ([a-z]+)$", page, re.MULTILINE)
    assert headings == list(COMMANDS)
    for name, command in every_command():
        if not isinstance(command, click.Group):
            assert re.search(rf"^runstrue {name}\b", page, re.MULTILINE), name


def test_every_option_is_told_where_its_command_is() -> None:
    parts = re.split(r"^## ", text_of("commands.md"), flags=re.MULTILINE)
    sections = {part.split("\n", 1)[0]: part for part in parts}
    shared = sections["measure"] + sections["Where the logbook lies"]
    for name, command in every_command():
        section = sections[name.split()[0]]
        for option in command.params:
            for written in option.opts:
                if isinstance(option, click.Option) and written.startswith("--"):
                    place = section + (shared if name == "enter" or written == "--bench" else "")
                    assert re.search(rf"{written}(?![\w-])", place), f"{name} {written}"


def test_no_page_names_an_option_that_does_not_exist() -> None:
    known = {written for _, command in every_command() for one in command.params
             for written in one.opts}  # fmt: skip
    known |= {"--help"}
    for page in PAGES:
        for line in page.read_text(encoding="utf-8").splitlines():
            for written in re.findall(r"(?<![\w-])--[a-z][a-z-]+", line):
                assert written in known, f"{page.name}: {line}"


def test_every_quantity_and_method_is_explained() -> None:
    told = text_of("measurements.md") + text_of("logbook.md")
    for kind in KINDS.values():
        assert f"`{kind.id}`" in told, kind.id
    for method in METHODS.values():
        row = f"| `{method.key}` | {method.words} | {method.source} |"
        assert row in text_of("measurements.md"), method.key


def test_every_part_of_an_uncertainty_is_explained() -> None:
    page = text_of("measurements.md")
    files = [*(ROOT / "src/runstrue/measure").glob("*.py"), ROOT / "src/runstrue/cli/enter.py"]
    found = []
    for file in files:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and ast.unparse(node.func) == "Contribution"):
                continue
            first = node.args[0] if node.args else None
            if isinstance(first, ast.Constant):
                found.append(str(first.value))
    assert len(found) > 10
    for name in found:
        assert name in page, name


def test_tables_are_what_the_program_gives() -> None:
    marked = 0
    for page in DOCS.glob("*.md"):
        text = page.read_text(encoding="utf-8")
        marked += text.count("<!-- table: ")
        assert tables.filled(text) == text, f"{page.name}: run python docs/make_tables.py"
    assert marked == len(tables.TABLES)


def test_sheet_lines_are_taken_for_what_the_page_says() -> None:
    rows = re.findall(r"^\| `([^`]+)` \| (`.+`) \| (\w+) \|$", text_of("sheets.md"), re.MULTILINE)
    assert len(rows) >= 20
    for words, ids, sure in rows:
        sheet = read_sheet(words)
        assert [(limit.ids, limit.sure) for limit in sheet.limits] == [
            (tuple(re.findall(r"`([^`]+)`", ids)), sure)
        ], words
        assert not sheet.unread, words


def test_sheet_lines_in_five_languages_are_understood() -> None:
    bullets = text_of("sheets.md").split("- **English", 1)[1].split("\n\n", 1)[0]
    quoted = re.findall(r"`([^`]+)`", " ".join(bullets.split()))
    lines = [words for words in quoted if re.match(r"[A-Z]", words)]
    assert len(lines) >= 3
    for words in lines:
        sheet = read_sheet(words)
        assert sheet.limits, words
        assert not sheet.unread, words


def test_json_fields_are_told_one_by_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                         capsys: pytest.CaptureFixture[str]) -> None:  # fmt: skip
    page = text_of("commands.md").split("## JSON", 1)[1]
    monkeypatch.setenv("RUNSTRUE_BENCH", str(tmp_path / "bench"))
    (tmp_path / "nothing.wav").write_bytes(b"")
    assert main(["measure", str(tmp_path / "nothing.wav"), "--json"]) == 1
    (capture,) = json.loads(capsys.readouterr().out)["captures"]
    plain = to_plain(Result("speed.drift", "bell-slope/1", "both", None))
    fields = {*capture, *plain, *Line.__slots__, *Verdict.__struct_fields__,
              *Limit.__struct_fields__}  # fmt: skip
    for field in fields:
        assert re.search(rf"`{field}`", page), field
    for reason in Reason.__args__:  # type: ignore[attr-defined]
        assert not reason or f"`{reason}`" in page, reason
    assert Candidate.__struct_fields__


def test_every_key_of_a_test_tape_is_told() -> None:
    keys = re.findall(r"^\| `(\w+)` \|", text_of("tapes.md"), re.MULTILINE)
    assert sorted(keys) == sorted(TestTape.__struct_fields__)


def test_the_readme_names_targets_that_the_makefile_has() -> None:
    targets = set(re.findall(r"^([a-z][a-z-]*):", (ROOT / "Makefile").read_text(), re.MULTILINE))
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    wanted = set(re.findall(r"\bmake ([a-z]+)\b(?= {2,}|`)", page))
    assert {"demo", "test", "check", "bench"} <= wanted <= targets
    assert page.index("make demo") < page.index("make test") < page.index("docs/figures/")


@named
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if not target.startswith(("http://", "https://")):
            assert (page.parent / target.partition("#")[0]).exists(), target


def test_every_page_is_in_the_index() -> None:
    linked = set(re.findall(r"\]\(([\w-]+\.md)\)", text_of("index.md")))
    assert linked == {page.name for page in DOCS.glob("*.md")} - {"index.md"}


def test_the_glossary_is_in_order_and_has_each_word_once() -> None:
    words = re.findall(r"^\*\*([^*]+)\*\* –", text_of("glossary.md"), re.MULTILINE)
    assert len(words) > 30
    assert words == sorted(set(words), key=str.casefold)


@named
def test_pages_are_of_this_project_alone_and_fit_the_width(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    absolute = re.search(r"(?<![\w.~:/])/[A-Za-z][\w-]*/", text)
    assert absolute is None, absolute
    assert re.search(r"\bissues? #?\d|\bTODO\b|\bFIXME\b|\bXXX\b|localhost", text) is None
    fence = False
    for line in text.splitlines():
        fence ^= line.startswith("```")
        if not line.startswith("|") and not fence:
            assert len(line) <= 100, line


@pytest.mark.parametrize("page", WITH_SESSIONS, ids=lambda page: page.name)
def test_sessions_run_and_print_the_words_of_the_page(page: Path, tmp_path: Path) -> None:
    text = page.read_text(encoding="utf-8")

    def run(command: str) -> str:
        """Measure several files one by one: it prints the same, and workers start slowly."""
        alone = " --jobs 1" if command.startswith("runstrue measure") else ""
        return str(sessions.run_here(command + alone))

    with sessions.inside(tmp_path):
        printed = sessions.replayed(text, run)
    assert _words(printed) == _words(text), f"run python docs/make_sessions.py ({page.name})"


def _words(page: str) -> list[str]:
    """Words without figures: the last digit of one may differ from machine to machine."""
    return re.findall(r"[^\W\d_]{2,}", page)
