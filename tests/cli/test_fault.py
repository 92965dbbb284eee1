"""Fault-finding at the keyboard: said, asked, answered, taken back, mended; kept all along."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.cli.conftest import Call

from runstrue.faults.infer import FaultFinder
from runstrue.faults.models import Evidence
from runstrue.faults.next_check import needs_training
from runstrue.faults.read import read_knowledge

Type = Callable[..., None]
PLAIN = "motor_runs_no_play"


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Type:
    """Let lines come from the keyboard."""

    def put(*lines: str) -> None:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))

    return put


@pytest.fixture
def deck(call: Call) -> Call:
    assert call("deck", "add", "C-14").code == 0
    assert call("intake", "C-14", "--running").code == 0
    return call


def listed(call: Call) -> dict[str, object]:
    found: dict[str, object] = json.loads(call("fault", "list", "C-14", "--json").out)
    return found


def first_check(call: Call, *options: str) -> str:
    found = json.loads(call("fault", "next", "C-14", "--json", *options).out)
    return str(found["checks"][0]["check"]["id"])


def test_intake_comes_before_fault_finding(call: Call) -> None:
    call("deck", "add", "C-14")
    for arguments in (["C-14"], ["next", "C-14"], ["answer", "C-14", "ck_look_belts", "tar"]):
        ran = call("fault", *arguments)
        assert (ran.code, len(ran.sentences)) == (1, 1)
        assert "runstrue intake C-14" in ran.err
    said = call("fault", "say", "C-14", PLAIN)
    assert said.code == 0
    assert "Before anything is opened or powered: runstrue intake C-14" in said.out


def test_own_words_are_understood_and_kept(deck: Call) -> None:
    ran = deck("fault", "say", "C-14", "the motor runs, nothing turns")
    assert ran.code == 0, ran.out
    assert listed(deck)["known"] == [
        {"kind": "symptom", "key": PLAIN, "answer": "present", "because": "", "reading_id": None}
    ]


def test_words_that_may_mean_several_store_nothing(deck: Call) -> None:
    ran = deck("fault", "say", "C-14", "noise")
    assert (ran.code, len(ran.sentences)) == (1, 1)
    assert "Nothing was stored" in ran.err
    assert len(ran.out.splitlines()) >= 3
    assert listed(deck)["known"] == []


def test_nonsense_is_refused(deck: Call) -> None:
    ran = deck("fault", "say", "C-14", "qqqq wwww")
    assert (ran.code, len(ran.sentences)) == (1, 1)
    assert "Nothing like 'qqqq wwww' is known" in ran.err


def test_the_list_is_what_the_engine_says(deck: Call) -> None:
    deck("fault", "say", "C-14", PLAIN)
    deck("fault", "answer", "C-14", "ck_look_belts", "tar")
    found = listed(deck)
    evidence = [
        Evidence(kind="symptom", key=PLAIN, answer="present"),
        Evidence(kind="check", key="ck_look_belts", answer="tar"),
    ]
    ranking = FaultFinder(read_knowledge(), {}).posterior(evidence)
    causes = [(row["cause"], row["chance"]) for row in found["causes"]]  # type: ignore[attr-defined,index]
    assert causes == [(row.cause.id, row.chance) for row in ranking.rows]


def test_every_chance_says_what_it_rests_on(deck: Call) -> None:
    deck("fault", "say", "C-14", PLAIN)
    for arguments in (["C-14"], ["list", "C-14"], ["list", "C-14", "--why"]):
        out = deck("fault", *arguments).out
        chances = [line for line in out.splitlines() if line.rstrip().endswith(
            ("counts", "judgement", "bench")) and " %," in line]  # fmt: skip
        assert len(chances) >= 3
        told = [line for line in out.splitlines() if " %" in line and "rests" not in line]
        alone = [line for line in told if line not in chances and "with it" not in line]
        assert [line.split()[:3] for line in alone] == [["none", "of", "these"]]
        assert "judgement" in out
        assert "prove nothing" in " ".join(out.split())


def test_answers_can_be_numbers_or_unknown(deck: Call) -> None:
    deck("fault", "say", "C-14", PLAIN)
    outcomes = read_knowledge().checks["ck_look_belts"].outcomes
    deck("fault", "answer", "C-14", "ck_look_belts", "1")
    assert listed(deck)["known"][1]["answer"] == outcomes[0].id  # type: ignore[index]
    before = [row["cause"] for row in listed(deck)["causes"]]  # type: ignore[attr-defined]
    deck("fault", "answer", "C-14", "ck_look_belts", str(len(outcomes) + 1))
    assert listed(deck)["known"][1]["answer"] == "unknown"  # type: ignore[index]
    assert [row["cause"] for row in listed(deck)["causes"]] != before  # type: ignore[attr-defined]
    assert first_check(deck) != "ck_look_belts"  # asked, and not asked again


def test_taking_back_leaves_the_rest(deck: Call) -> None:
    deck("fault", "say", "C-14", PLAIN)
    deck("fault", "answer", "C-14", "ck_look_belts", "tar")
    assert deck("fault", "back", "C-14", "1").code == 0
    (left,) = listed(deck)["known"]  # type: ignore[misc]
    assert left["key"] == "ck_look_belts"
    ran = deck("fault", "back", "C-14", "7")
    assert (ran.code, len(ran.sentences)) == (1, 1)


def test_it_goes_on_tomorrow(deck: Call, typed: Type) -> None:
    typed("the motor runs, nothing turns", "1", "1", "q")
    first = deck("fault", "talk", "C-14", "--ask")
    assert first.code == 0
    assert "goes on from here" in first.out
    known = listed(deck)["known"]
    assert len(known) == 2  # type: ignore[arg-type]
    typed("b", "2", "q")
    second = deck("fault", "talk", "C-14", "--ask")
    assert "what is noticed" not in second.out
    assert len(listed(deck)["known"]) == 1  # type: ignore[arg-type]


def test_the_conversation_shows_cautions_before_the_step(deck: Call, typed: Type) -> None:
    knowledge = read_knowledge()
    typed("the motor runs, nothing turns", "1", "q")
    text = " ".join(deck("fault", "talk", "C-14", "--ask").out.split())
    check = knowledge.checks[first_check(deck)]
    assert check.cautions
    how = " ".join(check.how.split())
    assert how in text
    for key in check.cautions:
        words = " ".join(knowledge.cautions[key].text.split()).partition(". ")[0]
        assert 0 <= text.find(words) < text.find(how)


def test_letters_and_slips_of_the_conversation(deck: Call, typed: Type) -> None:
    typed("qqqq wwww", "hum", "x", "hum", "1", "?", "99", "z", "w", "e", "1", "o", "s", "", "q")
    ran = deck("fault", "talk", "C-14", "--ask")
    assert ran.code == 0
    assert "Nothing like that is known" in ran.out
    assert "stop; it goes on from here tomorrow" in ran.out
    assert "'99' is none of the numbers" in ran.out
    assert "rests on" in ran.out
    assert "Found by:" in ran.out
    assert len(listed(deck)["known"]) == 1  # type: ignore[arg-type]


def test_the_end_of_the_input_is_a_wish_to_stop(deck: Call, typed: Type) -> None:
    typed()
    assert deck("fault", "talk", "C-14", "--ask").code == 0


def test_done_in_the_conversation_is_kept(deck: Call, typed: Type) -> None:
    typed("the motor runs, nothing turns", "1", "d", "1", "40", "new belt", "q")
    ran = deck("fault", "talk", "C-14", "--ask")
    assert "This bench has met it once" in " ".join(ran.out.split())


def test_a_name_that_is_no_command_is_a_deck(deck: Call) -> None:
    deck("fault", "say", "C-14", PLAIN)
    assert deck("fault", "C-14").out == deck("fault", "talk", "C-14").out
    ran = deck("fault", "C-15")
    assert (ran.code, len(ran.sentences)) == (1, 1)


def test_mains_work_is_offered_to_nobody_who_is_not_trained(deck: Call) -> None:
    """Whatever the symptom: nothing with mains in reach, nor of more than small risk."""
    checks = read_knowledge().checks
    for key in ("motor_dead", "hum", "fuse_blows", "lights_dead", "power_dead"):
        if key in read_knowledge().symptoms:
            deck("fault", "say", "C-14", key)
    found = json.loads(deck("fault", "next", "C-14", "--count", "60", "--json").out)
    assert found["checks"]
    assert not any(needs_training(checks[one["check"]["id"]]) for one in found["checks"])
    held = [one for one in found["held_back"] if one["kind"] == "mains"]
    assert held
    assert "trained for mains work" in " ".join(deck("fault", "next", "C-14", "--count",
                                                     "60").out.split())  # fmt: skip
    deck("fault", "settings", "--trained", "yes")
    after = json.loads(deck("fault", "next", "C-14", "--count", "60", "--json").out)
    assert not [one for one in after["held_back"] if one["kind"] == "mains"]


def test_while_power_waits_only_unplugged_checks_are_offered(call: Call) -> None:
    from tests.cli.test_intake import SOUND

    call("deck", "add", "C-14")
    given = [f"--answer={key}={one}" for key, one in {**SOUND, "fuse": "blown_black"}.items()]
    call("intake", "C-14", *given)
    call("fault", "say", "C-14", PLAIN)
    found = json.loads(call("fault", "next", "C-14", "--count", "20", "--json").out)
    assert {one["check"]["power"] for one in found["checks"]} == {"off, unplugged"}
    assert any(one["kind"] == "looks before power" for one in found["held_back"])
    assert "Stop here" in call("fault", "next", "C-14").out


def test_tools_that_are_not_at_hand_are_not_asked_for(deck: Call) -> None:
    deck("fault", "say", "C-14", PLAIN)
    found = json.loads(deck("fault", "next", "C-14", "--tools", "multimeter", "--json").out)
    assert all(set(one["check"]["tools"]) <= {"multimeter"} for one in found["checks"])
    deck("fault", "settings", "--tools", "multimeter")
    assert first_check(deck) == found["checks"][0]["check"]["id"]
    ran = deck("fault", "next", "C-14", "--tools", "multimetre")
    assert "did you mean 'multimeter'" in ran.err


def test_repairs_of_the_bench_sharpen_the_chances_and_can_be_left_out(deck: Call) -> None:
    deck("fault", "say", "C-14", PLAIN)
    before = {row["cause"]: row["chance"] for row in listed(deck)["causes"]}  # type: ignore[attr-defined]
    ran = deck("fault", "done", "C-14", "idler_tyre_glazed", "--minutes", "20", "--part", "tyre",
               "--words", "new tyre")  # fmt: skip
    assert "its chance was" in " ".join(ran.out.split())
    after = {row["cause"]: row["chance"] for row in listed(deck)["causes"]}  # type: ignore[attr-defined]
    assert after["idler_tyre_glazed"] > before["idler_tyre_glazed"]
    assert "1 repair of this bench counts in the chances" in deck("fault", "list", "C-14").out
    deck("fault", "settings", "--own-counts", "off")
    off = {row["cause"]: row["chance"] for row in listed(deck)["causes"]}  # type: ignore[attr-defined]
    assert off == before
    assert "does not count in the chances" in deck("fault", "list", "C-14").out


def test_none_of_these_is_kept_with_its_words(deck: Call) -> None:
    ran = deck("fault", "none", "C-14", "--words", "a label under the reel")
    assert ran.code == 0
    assert "a label under the reel" in " ".join(ran.out.split())
    assert listed(deck)["causes"]  # and counts for no cause


def test_look_keeps_nothing_and_needs_no_logbook(call: Call, bench: Path) -> None:
    ran = call("fault", "look", "plays too slow", "--seen", "ms_waver=slow_random", "--why")
    assert ran.code == 0
    assert "Main drive belt" in ran.out
    assert not bench.exists()
    found = json.loads(call("fault", "look", "speed_slow", "--json").out)
    assert found["understood"] == [["speed_slow"]]
    assert call("fault", "look", "speed_slow", "--seen", "ms_waver").code == 1
    assert call("fault", "look", "qqqq wwww").code == 1


@pytest.mark.parametrize("what", ["main_belt_slack", "ck_look_belts", "hum", "mains_isolate",
                                  "multimeter"])  # fmt: skip
def test_explain_knows_causes_checks_symptoms_cautions_and_tools(call: Call, what: str) -> None:
    ran = call("fault", "explain", what)
    assert ran.code == 0
    assert ran.out.strip()


def test_explain_shows_cautions_before_the_remedy(call: Call) -> None:
    knowledge = read_knowledge()
    for cause in knowledge.causes.values():
        text = " ".join(call("fault", "explain", cause.id).out.split())
        remedy = text.find(" ".join(cause.remedy.split()))
        assert remedy > 0
        for key in cause.cautions:
            first = " ".join(knowledge.cautions[key].text.split()).partition(". ")[0]
            assert 0 <= text.find(first) < remedy, (cause.id, key)


def test_slips_of_ids_are_told_with_what_was_meant(deck: Call) -> None:
    for arguments, told in (
        (["explain", "main_belt_slak"], "did you mean 'main_belt_slack'"),
        (["done", "C-14", "main_belt_slak"], "did you mean 'main_belt_slack'"),
        (["answer", "C-14", "ck_look_belt", "tar"], "did you mean 'ck_look_belts'"),
        (["answer", "C-14", "ck_look_belts", "tarr"], "'tarr' is no outcome"),
    ):
        ran = deck("fault", *arguments)
        assert (ran.code, len(ran.sentences)) == (1, 1)
        assert told in ran.err


def test_measuring_updates_the_list_by_itself_and_names_its_readings(stored: Call) -> None:
    """The bench of the fixtures: a perished belt as found, a new belt as left."""
    found = json.loads(stored("fault", "list", "C-14", "--json").out)
    known = {one["key"]: one for one in found["known"]}
    assert known["ms_waver"]["answer"] == "calm"  # as left stands for as found
    assert known["ms_waver"]["reading_id"] is not None
    stored("reading", "withdraw", "2")
    again = json.loads(stored("fault", "list", "C-14", "--json").out)
    known = {one["key"]: one for one in again["known"]}
    assert known["ms_waver"]["answer"] == "slow_random"
    assert again["causes"][0]["cause"] == "main_belt_slack"
    out = stored("fault", "list", "C-14").out
    assert f"(reading {known['ms_waver']['reading_id']})" in " ".join(out.split())


def test_measure_says_what_it_did_to_the_list(deck: Call, recordings: Path, tmp_path: Path) -> None:
    out = deck(
        "measure", recordings / "perished-belt.flac", "--deck", "C-14", "--stage", "found"
    ).out
    assert "Fault list\n  A slow waver without rhythm: 0." in out
    assert "see runstrue fault C-14" in " ".join(out.split())
    out = deck("measure", recordings / "new-belt.flac", "--deck", "C-14", "--stage", "left").out
    assert "Cleared: little unrest without rhythm" in out


def test_a_typed_reading_joins_the_list_too(deck: Call) -> None:
    ran = deck("enter", "C-14", "hum.total", "-30", "dB", "--u", "1", "--stage", "found")
    assert ran.code == 0
    assert listed(deck)["known"] == []  # a pattern is needed, too: a bare figure says too little
    deck("enter", "C-14", "separation.sides", "40", "dB", "--u", "1", "--stage", "found")
    (one,) = listed(deck)["known"]  # type: ignore[misc]
    assert (one["key"], one["answer"]) == ("ms_leak", "other_side")


def test_screens_fit(deck: Call, typed: Type) -> None:
    typed("the motor runs, nothing turns", "1", "1", "w", "e", "1", "?", "q")
    shown = deck("fault", "talk", "C-14", "--ask").out
    for arguments in (["list", "C-14", "--why", "--ids"], ["next", "C-14"], ["C-14"],
                      ["settings"], ["look", "hum", "--why"], ["explain", "main_belt_slack"],
                      ["explain", "ms_speed"], ["done", "C-14", "main_belt_slack"],
                      ["none", "C-14"]):  # fmt: skip
        shown += deck("fault", *arguments).out
    assert max(len(line) for line in shown.splitlines()) <= 80


def test_knowledge_of_the_bench_itself_is_used(deck: Call, bench: Path) -> None:
    own = bench / "faults"
    own.mkdir()
    (own / "mine.yaml").write_text(
        "causes:\n  - id: label_slipped\n    name: Label under the reel\n    area: tape\n"
        "    likelihood: rare\n    remedy: Take it out.\n    effort_min: [1, 5]\n"
        "    basis: [practice]\n"
        "add_to_symptoms:\n  - symptom: motor_runs_no_play\n    causes: {rare: [label_slipped]}\n"
        "add_to_outcomes:\n  - {check: ck_look_belts, outcome: tar, makes_unlikely: "
        "[label_slipped]}\n"
    )
    ran = deck("fault", "explain", "label_slipped")
    assert "Take it out." in ran.out, ran.err


def test_a_repair_that_was_told_by_a_slip_is_taken_back(deck: Call) -> None:
    deck("fault", "done", "C-14", "main_belt_slack", "--minutes", "40")
    told = deck("fault", "done", "C-14", "main_belt_slack", "--take-back").out
    assert "It counts no more" in told
    again = deck("fault", "done", "C-14", "main_belt_slack", "--take-back")
    assert (again.code, again.out) == (1, "")
    assert "No repair of that kind stands with 'C-14'" in again.err
