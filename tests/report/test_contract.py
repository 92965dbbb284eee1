"""Template and context say the same: every field that is set exists, every field is set."""

from __future__ import annotations

import dataclasses
import re

import pytest

from runstrue.logbook.models import DeckRecord
from runstrue.report import paper
from runstrue.report.context import paper_of, plain_of
from runstrue.report.printed import TEMPLATE

CLASSES = {
    name.lower(): value for name, value in vars(paper).items() if dataclasses.is_dataclass(value)
}


def _used(text: str) -> dict[str, set[str]]:
    """Fields that the template reads, by class; its variables carry the classes' names."""
    code = "\n".join(line for line in text.splitlines() if not line.lstrip().startswith("//"))
    names = "|".join(CLASSES)
    used: dict[str, set[str]] = {name: set() for name in CLASSES}
    for variable, field in re.findall(rf"(?<!\w)(?<!\w\.)({names})\.([a-z_]+)", code):
        used[variable].add(field)
    return used


def _declared() -> dict[str, set[str]]:
    return {
        name: {field.name for field in dataclasses.fields(value)} for name, value in CLASSES.items()
    }


def test_the_template_uses_every_field_and_no_other() -> None:
    assert _used(TEMPLATE.read_text()) == _declared()


def test_the_check_sees_a_missing_and_a_needless_field() -> None:
    text = TEMPLATE.read_text()
    assert _used(text.replace("stay.reason", "stay.because")) != _declared()
    assert _used(text.replace("stay.reason", '""')) != _declared()


def test_the_template_neither_computes_nor_fetches() -> None:
    text = TEMPLATE.read_text()
    for word in ("#import", "#include", "calc.", "float(", "int(", "round(", "datetime", "read("):
        assert word not in text, word


def test_every_field_holds_text_or_a_list_of_what_is_declared(any_record: DeckRecord) -> None:
    def check(value: object) -> None:
        if isinstance(value, dict):
            for part in value.values():
                check(part)
        elif isinstance(value, list):
            for part in value:
                check(part)
        else:
            assert isinstance(value, str), value

    check(plain_of(paper_of(any_record)))


@pytest.mark.parametrize("name", sorted(CLASSES))
def test_every_class_of_the_context_says_what_it_is(name: str) -> None:
    assert CLASSES[name].__doc__
