"""Bought tapes as people write them down: read, laid out, refused."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from runstrue.errors import DescriptionError
from runstrue.stimulus.section_rows import PURPOSES, SectionRow, corrections_of, laid_out
from runstrue.stimulus.tape_programme import programme_of
from runstrue.stimulus.testtape import TestTape, read_test_tape, write_test_tape

EXAMPLES = ("sallowby-20", "tarn-reel-19")


def example(name: str) -> TestTape:
    path = resources.files("runstrue.stimulus").joinpath("examples", f"{name}.toml")
    with resources.as_file(path) as file:
        return read_test_tape(file)


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_is_read_written_and_read_again(name: str, tmp_path: Path) -> None:
    tape = example(name)
    write_test_tape(tape, tmp_path / "copy.toml")
    assert read_test_tape(tmp_path / "copy.toml") == tape


def test_a_tape_becomes_a_programme_with_all_that_is_known() -> None:
    plan = programme_of(example("sallowby-20"), "sallowby-20")
    assert plan.kind == "tape"
    assert (plan.flux_nwb_per_m, plan.flux_scale) == (250, "ANSI/AES")
    assert plan.equalisation_us == (120, 3180)
    assert plan.tolerance_db == 0.5
    assert plan.source == "test tape 'Sallowby calibration cassette 20', batch 20-4"
    assert plan.corrections_db == {
        "response-20-12500": 0.2, "response-20-14000": 0.3, "response-20-16000": 0.5,
    }  # fmt: skip
    # the reference tone comes first and last, under two names
    response = plan.serving("response.gain")
    assert [one.frequencies_hz[0] for one in response[:2]] == [315.0, 31.5]
    assert response[-1].id == "response-20-315-2"
    assert plan.section("level-315").serves == ("level.output", "level.balance", "level.flux")


def test_no_bass_constant_is_none() -> None:
    assert programme_of(example("tarn-reel-19"), "reel").equalisation_us == (70, None)


def test_sections_follow_one_another_with_their_gaps() -> None:
    rows = (
        SectionRow(what="tones", hz=(315.0, 1000.0), lasts_s=4.0, gap_s=1.0),
        SectionRow(what="silence", lasts_s=10.0),
    )
    assert [(one.starts_s, one.ends_s) for one in laid_out(rows)] == [(0, 4), (5, 9), (10, 20)]


def test_every_purpose_is_a_word_of_the_page() -> None:
    page = (Path(__file__).parents[2] / "docs" / "programmes.md").read_text(encoding="utf-8")
    for row in SectionRow.__struct_fields__:
        assert f"`{row}`" in page, row
    assert {"level", "azimuth", "response", "speed", "separation", "noise"} <= set(PURPOSES)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[section]]\nwhat = "tone"\nhz = "x"\nlasts_s = 3', "section 1, hz, is 'x'; a number"),
        ('[[section]]\nwhat = "tune"\nhz = 3\nlasts_s = 3', "kind 'tune'; one of tone"),
        ('[[section]]\nwhat = "tone"\nhz = 3', "section 1 lacks the key 'lasts_s'"),
        ('[[section]]\nwhat = "tone"\nhz = 3\nlasts_s = 1\ncolour = 1', "has the key 'colour'"),
        ('[[section]]\nwhat = "tone"\nhz = 3\nlasts_s = -1', "a length of -1 s"),
        ('[[section]]\nwhat = "tones"\nlasts_s = 1', "tones without frequencies"),
        ('[[section]]\nwhat = "tone"\nhz = 3\nlasts_s = 1\npurpose = "x"', "'x' is not known"),
        ('[[section]]\nwhat = "tone"\nhz = 3\nlasts_s = 1\ngap_s = -1', "gap is -1 s"),
        ("equalisation_us = [1, 2, 3]", "line 2: equalisation_us is"),
        ('flux_scale = "ours"', "'ANSI/AES', 'old DIN' or nothing"),
        ("flux_nwb_per_m = nan", "a figure from 20 to 2000 nWb/m"),
        ("level_tolerance_db = -1", "a figure from 0 to 20 dB"),
        ("section = 3", "section is 3"),
    ],
)
def test_what_cannot_be_used_is_named(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(f'name = "x"\n{text}\n')
    with pytest.raises(DescriptionError) as caught:
        read_test_tape(path)
    assert words in str(caught.value)
    assert str(path) in str(caught.value)


def test_a_correction_for_another_frequency_is_refused() -> None:
    row = SectionRow(what="tone", hz=315.0, lasts_s=3.0, corrections_db={"316": 1.0})
    with pytest.raises(DescriptionError, match="corrects '316', which is no frequency of it"):
        corrections_of((row,))


def test_a_flutter_tape_has_no_sections_to_find() -> None:
    with pytest.raises(DescriptionError, match="lists no sections"):
        programme_of(TestTape(name="flutter only", tone_hz=3150), "flutter")
