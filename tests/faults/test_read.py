"""Files of knowledge, the user's own above all: added, or refused by file and line."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from runstrue.errors import DescriptionError, FileError, RunstrueError
from runstrue.faults.lines import LARGEST_BYTES
from runstrue.faults.read import knowledge_of_bench, read_knowledge

FOLDER = Path(__file__).parents[2] / "src" / "runstrue" / "faults" / "knowledge"

OWN = """\
# What our club has met.
tools:
  - id: dial_gauge
    name: dial gauge
causes:
  - id: shim_lost
    name: Shim under the head lost
    area: head
    likelihood: rare
    remedy: Put a shim of 0.1 mm back.
    parts: [shim]
    tools: [dial_gauge]
    effort_min: [10, 40]
    cautions: [mark_trimmers]
    basis: [practice]
checks:
  - id: ck_shim
    name: Look for the shim
    area: head
    how: With a lamp from the side.
    tools: [lamp_and_magnifier]
    minutes: 2
    power: off, unplugged
    outcomes:
      - id: missing
        see: no shim
        points_to: [shim_lost]
      - id: there
        see: shim in its place
        makes_unlikely: [shim_lost]
symptoms:
  - id: sings_at_end
    name: Sings at the end of the side
    said: [it sings near the end]
    area: tape
    causes: {common: [tape_lube_lost], rare: [shim_lost]}
    checks: [ck_shim, ck_other_cassette]
synonyms:
  - [dull, cloudy]
add_to_symptoms:
  - symptom: dull_one
    said: [one side cloudy]
    causes: {rare: [shim_lost]}
    checks: [ck_shim]
add_to_outcomes:
  - check: ck_azimuth_rock
    outcome: no_gain
    points_to: [shim_lost]
"""


def own_file(folder: Path, text: str) -> Path:
    path = folder / "ours.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def refused(folder: Path, text: str) -> str:
    with pytest.raises(DescriptionError) as caught:
        read_knowledge([own_file(folder, text)])
    said = str(caught.value)
    assert "\n" not in said
    assert said.startswith("ours.yaml, line ")
    assert said.endswith(".")
    return said


def told(path: Path) -> str:
    """Return the error of a file, or nothing where it is read."""
    try:
        read_knowledge([path])
    except RunstrueError as error:
        return str(error)
    return ""


def test_what_is_read_is_what_the_files_say() -> None:
    """Against PyYAML's own reading of the same files."""
    knowledge = read_knowledge()
    for path in FOLDER.glob("*.yaml"):
        page = yaml.safe_load(path.read_text(encoding="utf-8"))
        for cause in page.get("causes", ()):
            read = knowledge.causes[cause["id"]]
            assert read.remedy == " ".join(cause["remedy"].split())
            assert read.effort_min == tuple(map(float, cause["effort_min"]))
            assert read.cautions == tuple(cause.get("cautions", ()))
        for check in page.get("checks", ()):
            outcomes = knowledge.checks[check["id"]].outcomes
            assert [one.id for one in outcomes] == [one["id"] for one in check["outcomes"]]
            assert [list(one.points_to) for one in outcomes] == [
                one.get("points_to", []) for one in check["outcomes"]
            ]
        for symptom in page.get("symptoms", ()) if path.name != "intake.yaml" else ():
            links = [
                (one.cause, one.likelihood) for one in knowledge.symptoms[symptom["id"]].causes
            ]
            assert links == [
                (cause, word)
                for word in ("common", "occasional", "rare")
                for cause in symptom["causes"].get(word, ())
            ]


def test_a_file_of_ones_own_adds_to_what_is_known(tmp_path: Path) -> None:
    knowledge = read_knowledge([own_file(tmp_path, OWN)])
    assert knowledge.causes["shim_lost"].parts == ("shim",)
    assert knowledge.symptoms["sings_at_end"].causes[1].likelihood == "rare"
    assert knowledge.symptoms["dull_one"].causes[-1].cause == "shim_lost"
    assert knowledge.symptoms["dull_one"].checks[-1] == "ck_shim"
    rock = {one.id: one for one in knowledge.checks["ck_azimuth_rock"].outcomes}
    assert rock["no_gain"].points_to[-1] == "shim_lost"
    assert "shim_lost" not in read_knowledge().causes, "the own file must not stick"


def test_a_folder_of_ones_own_is_read_by_name(tmp_path: Path) -> None:
    own_file(tmp_path, OWN)
    (tmp_path / "notes.txt").write_text("not read")
    assert "shim_lost" in read_knowledge([tmp_path]).causes


def test_a_bench_adds_its_folder(tmp_path: Path) -> None:
    assert knowledge_of_bench(tmp_path) is read_knowledge()
    (tmp_path / "faults").mkdir()
    own_file(tmp_path / "faults", OWN)
    assert "shim_lost" in knowledge_of_bench(tmp_path).causes


def test_the_guide_s_example_can_be_read(tmp_path: Path) -> None:
    page = (Path(__file__).parents[2] / "docs" / "fault-guide.md").read_text(encoding="utf-8")
    example = page.split("```yaml\n")[1].split("```")[0]
    assert "shim_lost" in read_knowledge([own_file(tmp_path, example)]).causes


def test_an_empty_file_adds_nothing(tmp_path: Path) -> None:
    assert read_knowledge([own_file(tmp_path, "# nothing yet\n")]) == read_knowledge()


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("remedy:", "remedi:", 10, "did you mean 'remedy'"),
        ("likelihood: rare", "likelihood: seldom", 9, "one of common; occasional; rare"),
        ("area: head\n    likelihood", "area: heads\n    likelihood", 8, "did you mean 'head'"),
        ("tools: [dial_gauge]", "tools: [dial_guage]", 12, "did you mean 'dial_gauge'"),
        ("[mark_trimmers]", "[mark_trimers]", 14, "There is no caution 'mark_trimers'"),
        ("basis: [practice]", "basis: [hearsay]", 15, "There is no source 'hearsay'"),
        ("points_to: [shim_lost]", "points_to: [shim_gone]", 27, "There is no cause 'shim_gone'"),
        ("id: shim_lost", "id: head_dirty", 6, "The cause 'head_dirty' is there twice"),
        ("id: shim_lost", "id: Shim Lost", 6, "is no id"),
        ("effort_min: [10, 40]", "effort_min: [40, 10]", 13, "is no range"),
        ("effort_min: [10, 40]", "effort_min: [ten, 40]", 13, "a number above zero"),
        ("minutes: 2", "minutes: .nan", 22, "a number above zero"),
        ("minutes: 2", "minutes: 0", 22, "a number above zero"),
        ("power: off, unplugged", "power: off", 23, "one of off, unplugged; on, covers closed"),
        ("symptom: dull_one", "symptom: dul_one", 41, "did you mean 'dull_one'"),
        ("check: ck_azimuth_rock", "check: ck_rock", 46, "There is no check 'ck_rock'"),
        ("outcome: no_gain", "outcome: nogain", 46, "did you mean 'no_gain'"),
        ("remedy: Put a shim of 0.1 mm back.", "remedy:", 10, "is empty"),
        ("    remedy: Put a shim of 0.1 mm back.\n", "", 6, "without 'remedy'"),
        ("parts: [shim]", "parts: shim", 11, "should be a list"),
        ("name: dial gauge", "name: [dial, gauge]", 4, "should be plain words"),
        ("name: dial gauge", "name: dial gauge\n    name: gauge", 5, "is written twice"),
        ("causes: {rare: [shim_lost]}", "causes: {rare: [head_dirty]}", 41, "already"),
        ("rare: [shim_lost]}\n    checks: [ck_shim, ck", "rare: [shim_lost, shim_lost]}\n"
         "    checks: [ck_shim, ck", 36, "names 'shim_lost' twice"),
        ("makes_unlikely: [shim_lost]", "points_to: [pad_lost]\n"
         "        makes_unlikely: [pad_lost]", 17, "for and against 'pad_lost'"),
        ("id: there", "id: missing", 17, "has the outcome 'missing' twice"),
        ("id: there", "id: unknown", 17, "an outcome 'unknown'"),
        ("tools:\n  - id", "toolz:\n  - id", 2, "did you mean 'tools'"),
        ("minutes: 2", "minutes: 2\n    measures: measure it", 17, "starts with 'runstrue'"),
        ("minutes: 2\n    power: off, unplugged",
         "minutes: 2\n    power: on, open, low-voltage side only", 17, "but has no caution"),
        ("minutes: 2", "minutes: 2\n    risk: {electrical: high}", 17, "but has no caution"),
        ("minutes: 2", "minutes: 2\n    risk: {electrical: high}\n    cautions: [photo_before]",
         17, "no electrical caution"),
        ("minutes: 2\n    power: off, unplugged", "minutes: 2\n    cautions: [mains_isolate]\n"
         "    power: on, open, mains side reachable", 17, "'high' is needed"),
        ("    cautions: [mark_trimmers]\n", "    risk: {mechanical: medium}\n", 6, "no caution"),
        ("    likelihood: rare", "    prior_group: dirt", 6, "dirt_cleaned"),
        ("    checks: [ck_shim, ck_other", "    cold_checks_before_power: [ck_tap]\n"
         "    checks: [ck_shim, ck_other", 32, "not among its checks"),
        ("    checks: [ck_shim, ck_other_cassette]",
         "    cold_checks_before_power: [ck_other_cassette]\n"
         "    checks: [ck_shim, ck_other_cassette]", 32, "which needs power"),
        ("synonyms:\n  - [dull, cloudy]", "synonyms: dull", 38, "should be a list"),
    ],
)  # fmt: skip
def test_a_slip_is_told_by_file_and_line(
    tmp_path: Path, old: str, new: str, line: int, words: str
) -> None:
    assert OWN.count(old) >= 1
    said = refused(tmp_path, OWN.replace(old, new, 1))
    assert words in said
    assert said.startswith(f"ours.yaml, line {line}:"), said


def test_broken_yaml_is_told_by_line(tmp_path: Path) -> None:
    said = refused(tmp_path, "causes:\n  - id: [unclosed\n  - id: x\n")
    assert "This is not YAML" in said


def test_words_that_yaml_takes_for_values_stay_words(tmp_path: Path) -> None:
    text = OWN.replace("name: dial gauge", "name: no").replace("[it sings near", "[yes, 0123, near")
    knowledge = read_knowledge([own_file(tmp_path, text)])
    assert knowledge.tools["dial_gauge"].name == "no"
    assert knowledge.symptoms["sings_at_end"].said[:2] == ("yes", "0123")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read"):
        read_knowledge([tmp_path / "missing.yaml"])
    (tmp_path / "latin.yaml").write_bytes(b"tools: \xe9\xff")
    with pytest.raises(FileError, match="not text in UTF-8"):
        read_knowledge([tmp_path / "latin.yaml"])
    (tmp_path / "huge.yaml").write_bytes(b"#" * (LARGEST_BYTES + 1))
    with pytest.raises(FileError, match="larger than 4 MB"):
        read_knowledge([tmp_path / "huge.yaml"])
    (tmp_path / "deep.yaml").write_text("[" * 50_000)
    with pytest.raises(DescriptionError, match="This is not YAML"):
        read_knowledge([tmp_path / "deep.yaml"])
    (tmp_path / "twice.yaml").write_text("--- {}\n--- {}\n")
    with pytest.raises(DescriptionError, match="This is not YAML"):
        read_knowledge([tmp_path / "twice.yaml"])


@settings(max_examples=50, deadline=None)
@given(st.text(alphabet=st.sampled_from("abc:-[]{}#&*!|>'\"%@`, \n\t0\\"), max_size=60))
def test_any_text_is_read_or_refused_in_one_sentence(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = own_file(Path(folder), text)
        assert "\n" not in told(path)


@settings(max_examples=50, deadline=None)
@given(place=st.integers(0, len(OWN)), length=st.integers(1, 12))
def test_a_piece_cut_out_is_read_or_refused_in_one_sentence(place: int, length: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = own_file(Path(folder), OWN[:place] + OWN[place + length :])
        said = told(path)
        assert "\n" not in said
        assert said == "" or "ours.yaml" in said
