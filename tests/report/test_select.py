"""What the report shows of a record: the right visit, the reading that counts, every figure."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import msgspec
import pytest

from runstrue.logbook.models import CaptureRecord, DeckRecord, SheetEntry, Visit
from runstrue.quantity import Quantity
from runstrue.report.context import paper_of
from runstrue.report.select import groups_of, judgements_of, shown_captures
from runstrue.result import Result
from runstrue.verdict.models import Limit, Sheet


@pytest.fixture(scope="module")
def invented() -> ModuleType:
    """Return the makers of invented records, which live beside these tests."""
    name = "runstrue_report_conftest"
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name("conftest.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def test_the_latest_visit_with_captures_is_shown(
    invented: ModuleType, whole_record: DeckRecord
) -> None:
    later = Visit(id=2, deck_id=1, begun_at="2027-01-01T09:00:00Z")
    empty = Visit(id=3, deck_id=1, begun_at="2027-02-01T09:00:00Z")
    newer = msgspec.structs.replace(invented.at(whole_record.captures[0], 21), visit_id=2)
    record = msgspec.structs.replace(
        whole_record, visits=(*whole_record.visits, later, empty),
        captures=(*whole_record.captures, newer),
    )  # fmt: skip
    assert shown_captures(record) == (newer,)
    # All visits are told, with what was done.
    assert len(paper_of(record).stays) == 3


def test_captures_without_a_visit_are_shown_where_there_is_none(invented: ModuleType) -> None:
    loose = msgspec.structs.replace(invented.tone_capture(1, "as found", 0.9, 0.1), visit_id=None)
    assert shown_captures(invented.record_of((loose,), visits=())) == (loose,)


def test_a_corrected_reading_is_not_shown(invented: ModuleType) -> None:
    first = invented.typed_capture(2, "as found", 2.1)
    second = invented.typed_capture(3, "as found", 2.6)
    corrected = msgspec.structs.replace(second.readings[0], replaces=first.readings[0].id)
    second = msgspec.structs.replace(second, readings=(corrected,))
    record = invented.record_of((first, second))
    (group,) = groups_of(record, shown_captures(record))
    assert [shown.reading.id for shown in group.stages["as found"]] == [corrected.id]
    (row,) = paper_of(record).readings
    assert row.found.figure.replace("\u00a0", " ") == "2.60 mN·m"
    assert "before" not in row.found.more


def test_an_earlier_reading_of_the_same_stage_is_told_below(invented: ModuleType) -> None:
    record = invented.record_of(
        (invented.typed_capture(2, "as found", 2.1), invented.typed_capture(3, "as found", 2.6))
    )
    (row,) = paper_of(record).readings
    assert row.found.figure.replace("\u00a0", " ") == "2.60 mN·m"
    assert row.found.more.replace("\u00a0", " ") == "before: 2.10 mN·m"


def test_a_figure_of_the_sheet_that_nobody_measured_has_its_row(whole_record: DeckRecord) -> None:
    sheet, others = judgements_of(whole_record, shown_captures(whole_record))
    assert [row.limit.words for row in sheet] == [
        limit.words for limit in whole_record.sheets[0].limits
    ]
    assert [bool(row.verdicts) for row in sheet] == [True, True, True, False]
    assert others == []


def test_verdicts_of_an_earlier_sheet_are_told_as_such(whole_record: DeckRecord) -> None:
    limit = Limit(ids=("speed.deviation",), unit="%", low=-0.5, high=0.5, words="Speed ±0.5 %")
    entry = SheetEntry(
        id=2, deck_id=1, sheet=Sheet(text="Speed ±0.5 %", limits=(limit,)), source="",
        entered_at="2026-03-15T09:00:00Z", program_version="0.1.0",
    )  # fmt: skip
    record = msgspec.structs.replace(whole_record, sheets=(*whole_record.sheets, entry))
    paper = paper_of(record)
    assert paper.judged[0].words == "not measured"
    assert all("not on the sheet in force" in row.printed for row in paper.judged[1:])
    assert len(paper.judged) == 4
    assert paper.summary == ["1 figure of the sheet was not measured."]


def test_each_place_of_a_double_deck_has_its_own_rows(invented: ModuleType) -> None:
    paper = paper_of(invented.double_deck())
    names = [row.name for row in paper.judged]
    assert "speed (well 1, side A, forward)" in names
    assert "speed (well 2, side A, reverse)" in names
    in_between = [row for row in paper.readings if "in between:" in row.left.more]
    assert in_between == []  # that place has readings as left, which count


def test_the_summary_counts_what_the_tables_show(whole_record: DeckRecord) -> None:
    assert paper_of(whole_record).summary == [
        "As found, of 3 figures of the sheet that were judged: 1 met, 2 not met.",
        "As left, of 3 figures of the sheet that were judged: 2 met, 1 too close to call.",
        "1 figure of the sheet was not measured.",
    ]


def test_left_and_right_are_told_inside_the_row_of_both(invented: ModuleType) -> None:
    both = Quantity(0.147, "%", 0.012)

    def capture(left: float, right: float) -> CaptureRecord:
        results = [("both", both), ("left", Quantity(left, "%", 0.012)),
                   ("right", Quantity(right, "%", 0.012))]  # fmt: skip
        readings = tuple(
            invented.reading(n, Result("flutter.weighted_peak", "two-sigma/1", channel, quantity))
            for n, (channel, quantity) in enumerate(results)
        )
        first: CaptureRecord = invented.tone_capture(1, "as found", 0.9, 0.1)
        return msgspec.structs.replace(first, readings=readings, verdicts=())

    def more(left: float, right: float) -> str:
        (row,) = paper_of(invented.record_of((capture(left, right),))).readings
        assert row.found.figure.replace("\u00a0", " ") == "±0.147 %"
        return row.found.more.replace("\u00a0", " ")

    assert more(0.144, 0.151) == "left ±0.144 %, right ±0.151 %"
    assert more(0.1472, 0.1468) == "left and right the same"
