"""The knowledge that comes along: complete, honest, and of this project alone."""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path

import pytest

from runstrue.faults.counts import group_share, groups
from runstrue.faults.models import Check, Knowledge
from runstrue.faults.read import read_knowledge
from runstrue.faults.validate import gaps

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "src" / "runstrue" / "faults" / "knowledge"
COLD = "off, unplugged"

# The presets of the virtual deck, by what was made wrong in them (virtualdeck/presets.py).
SEEDED = {
    "perished-belt": "main_belt_slack",
    "bent-capstan": "capstan_bent",
    "flattened-roller": "pinch_flat",
    "eccentric-roller": "pinch_eccentric",
    "lumpy-belt": "main_belt_kink",
    "dirty-motor-pulley": "pulley_residue",
    "sticky-hub": "takeup_clutch_grabs",
    "fast-trim": "speed_trim_off",
    "dying-channel": "rec_switch",
    "worn-out": "main_belt_slack",
}
READINGS = {
    "ms_speed", "ms_flutter_rhythm", "ms_waver", "ms_channels", "ms_treble", "ms_hum", "ms_noise",
    "ms_erasure", "ms_distortion", "ms_meter", "ms_record_level",
}  # fmt: skip


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return read_knowledge()


def test_nothing_is_left_open(knowledge: Knowledge) -> None:
    """Every cause reached by a check and by a symptom, every figure with a basis."""
    assert gaps(knowledge) == ()


def test_it_covers_what_a_bench_meets(knowledge: Knowledge) -> None:
    assert len(knowledge.symptoms) >= 69
    assert len(knowledge.causes) >= 136
    assert len(knowledge.checks) >= 79
    assert sum(len(one.causes) for one in knowledge.symptoms.values()) >= 627


def test_gaps_are_seen(knowledge: Knowledge) -> None:
    """The test above can fail: take a check away, and its causes are out of reach."""
    import msgspec

    checks = {key: one for key, one in knowledge.checks.items() if key != "ck_tap"}
    symptoms = {
        key: msgspec.structs.replace(
            one, checks=tuple(check for check in one.checks if check != "ck_tap")
        )
        for key, one in knowledge.symptoms.items()
    }
    less = msgspec.structs.replace(knowledge, checks=checks, symptoms=symptoms)
    assert any("'connector_oxid'" in one for one in gaps(less))


def test_every_risky_step_has_a_caution(knowledge: Knowledge) -> None:
    risky = {"medium", "high"}
    for check in knowledge.checks.values():
        kinds = {knowledge.cautions[key].kind for key in check.cautions}
        if {check.risk.electrical, check.risk.mechanical} & risky or "open" in check.power:
            assert check.cautions, check.id
        if check.risk.electrical in risky or check.power.startswith("on, open"):
            assert "electrical" in kinds, check.id
    for cause in knowledge.causes.values():
        kinds = {knowledge.cautions[key].kind for key in cause.cautions}
        if {cause.risk.electrical, cause.risk.mechanical} & risky:
            assert cause.cautions, cause.id
        if cause.risk.electrical in risky:
            assert "electrical" in kinds, cause.id


def test_the_open_deck_under_power_has_its_own_caution_first(knowledge: Knowledge) -> None:
    for check in knowledge.checks.values():
        if check.power.startswith("on, open"):
            assert check.cautions[0] == "mains_covered", check.id
        if check.measures:
            assert check.power == "on, covers closed", check.id


def test_no_check_asks_for_work_on_live_mains(knowledge: Knowledge) -> None:
    assert not [one.id for one in knowledge.checks.values() if "mains side" in one.power]


def test_mains_symptoms_begin_unplugged(knowledge: Knowledge) -> None:
    for key in ("dead_no_lights", "fuse_blows_at_once", "fuse_blew_once", "smoke_smell", "tingle"):
        symptom = knowledge.symptoms[key]
        assert symptom.cold_checks_before_power, key
        first = next(
            place for place, check in enumerate(symptom.checks)
            if knowledge.checks[check].power != COLD
        ) if any(knowledge.checks[c].power != COLD for c in symptom.checks) else 99  # fmt: skip
        for cold in symptom.cold_checks_before_power:
            assert knowledge.checks[cold].power == COLD
        assert first >= 1, key


def test_tools_with_a_hazard_bring_its_caution(knowledge: Knowledge) -> None:
    """Demagnetisers, solvents and solder each have their usual caution, wherever they are used."""
    needed = {
        "demagnetiser": {"demag_power_off", "no_ohmmeter_on_head"},
        "series_lamp_limiter": {"first_power_limited"},
        "insulation_and_leakage_tester": {"mains_isolate", "two_wire_sets"},
    }
    for one in (*knowledge.causes.values(), *knowledge.checks.values()):
        for tool, cautions in needed.items():
            if tool in one.tools:
                assert cautions & set(one.cautions), f"{one.id}: {tool}"


def test_every_seeded_fault_of_the_virtual_deck_is_a_cause(knowledge: Knowledge) -> None:
    from runstrue.virtualdeck.presets import PRESETS

    assert set(SEEDED) == set(PRESETS) - {"healthy", "new-belt"}
    assert set(SEEDED.values()) <= set(knowledge.causes)


def test_checks_that_readings_answer(knowledge: Knowledge) -> None:
    measured = {one.id for one in knowledge.checks.values() if one.measures}
    assert measured >= READINGS
    assert all(key.startswith("ms_") for key in measured)
    for key in measured:
        check = knowledge.checks[key]
        assert check.power == "on, covers closed", key
        assert _sound_outcomes(check), key
    from runstrue.cli.main import COMMANDS

    for key in measured:
        assert knowledge.checks[key].measures.split()[1] in COMMANDS, key


def _sound_outcomes(check: Check) -> bool:
    """Whether one of the outcomes of a measured check clears causes and accuses none."""
    return any(not one.points_to and one.makes_unlikely for one in check.outcomes)


def test_every_part_of_the_counts_has_causes(knowledge: Knowledge) -> None:
    counted = {one.prior_group for one in knowledge.causes.values()} - {""}
    assert counted == set(groups())
    for cause in knowledge.causes.values():
        assert ("ordata" in cause.basis) == bool(cause.prior_group), cause.id
    assert group_share("drive_belt_or_band").n == 140


def test_all_that_is_described_is_used(knowledge: Knowledge) -> None:
    from runstrue.faults.read_intake import read_intake

    steps = tuple(read_intake().steps.values())
    all_of = (*knowledge.causes.values(), *knowledge.checks.values(), *steps)
    cautions = {key for one in (*all_of, *knowledge.symptoms.values()) for key in one.cautions}
    assert set(knowledge.cautions) == cautions
    assert set(knowledge.tools) == {key for one in all_of for key in one.tools}


def test_words_are_short_and_plain(knowledge: Knowledge) -> None:
    for symptom in knowledge.symptoms.values():
        assert len(symptom.name) <= 60, symptom.id
        assert len(symptom.said) >= 2, symptom.id
    for cause in knowledge.causes.values():
        assert len(cause.name) <= 58, cause.id
        assert cause.remedy.endswith("."), cause.id
    for check in knowledge.checks.values():
        assert len(check.name) <= 50, check.id
        assert check.how.endswith((".", "?")), check.id
        for outcome in check.outcomes:
            assert len(outcome.see) <= 72, f"{check.id} {outcome.id}"


def test_nothing_says_that_a_deck_is_safe() -> None:
    for path in FOLDER.glob("*.yaml"):
        for line in path.read_text(encoding="utf-8").splitlines():
            if re.search(r"\bsafe\b", line):
                assert re.search(
                    r"not say that|that a deck is safe|plastic-safe|if that is safe|deck is safe\.",
                    line,
                ), f"{path.name}: {line}"


def test_the_guide_is_written_from_the_knowledge() -> None:
    path = ROOT / "docs" / "make_fault_guide.py"
    spec = importlib.util.spec_from_file_location("docs_make_fault_guide", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    page = (ROOT / "docs" / "fault-guide.md").read_text(encoding="utf-8")
    assert page == module.guide(), "run python docs/make_fault_guide.py"


def test_links_in_the_guide_lead_to_its_own_places() -> None:
    page = (ROOT / "docs" / "fault-guide.md").read_text(encoding="utf-8")
    places = re.findall(r'<a id="([^"]+)">', page)
    assert len(places) == len(set(places))
    assert set(re.findall(r"\]\(#([^)]+)\)", page)) <= set(places)
