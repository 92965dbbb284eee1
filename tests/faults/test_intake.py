"""Before first power: what is asked, what follows, and that nothing is ever called safe."""

from __future__ import annotations

import itertools
import random

import pytest

from runstrue.errors import DescriptionError, InputError
from runstrue.faults.intake import (
    intake_closing,
    intake_steps,
    may_be_powered,
    next_question,
    questions_asked,
)
from runstrue.faults.read_intake import COLD, intake_of, read_intake

# A mains deck that has stood for years, with nothing against it.
GOOD = {
    "running": "stood", "outside": "clean", "supply": "mains", "plug": "sound",
    "voltage": "fits", "frequency": "fits", "fuse": "right", "earth": "double_square",
    "inside": "transistors", "safety_capacitors": "whole", "moving": "free",
    "trained": "not_trained", "limiter": "there",
}  # fmt: skip

# Answers after which common practice and repair-test standards (clauses on inspection before
# electrical test, from memory) want no power at all.
NO_POWER = [
    ("outside", "wet_or_burnt"), ("outside", "damp"), ("outside", "broken"),
    ("supply", "unknown"), ("plug", "none"), ("plug", "perished"), ("plug", "foreign"),
    ("plug", "unknown"), ("voltage", "other"), ("voltage", "selector_other"),
    ("voltage", "unknown"), ("fuse", "blown_black"), ("fuse", "blown_clear"), ("fuse", "wrong"),
    ("fuse", "unknown"), ("earth", "earth_missing"), ("earth", "unmarked"),
    ("earth", "unknown"), ("inside", "valves"), ("inside", "unknown"),
    ("safety_capacitors", "cracked"), ("safety_capacitors", "unknown"), ("moving", "stiff"),
    ("moving", "unknown"),
]  # fmt: skip


def ids(answers: dict[str, str]) -> list[str]:
    return [step.id for step in intake_steps(answers)]


def test_questions_come_one_after_the_other() -> None:
    answers: dict[str, str] = {}
    asked = []
    while (question := next_question(answers)) is not None:
        asked.append(question.id)
        answers[question.id] = GOOD[question.id]
    assert answers == GOOD
    assert asked[0] == "running"
    assert asked == [one.id for one in questions_asked(GOOD)]


def test_no_power_before_all_is_answered() -> None:
    for count in range(len(GOOD)):
        some = dict(itertools.islice(GOOD.items(), count))
        assert not may_be_powered(some)
        assert all(step.power == COLD for step in intake_steps(some))


def test_a_deck_with_nothing_against_it() -> None:
    steps = intake_steps(GOOD)
    assert may_be_powered(GOOD)
    order = [step.id for step in steps]
    assert order.index("fuse_cold") < order.index("limited_power") < order.index("first_power")
    assert order.index("insulation_test") < order.index("limited_power")
    assert order[-1] == "scrap_tape_first"
    assert "keep_out_of_mains" in order
    powered = [step.power != COLD for step in steps]
    assert powered == sorted(powered), "everything unplugged comes first"


@pytest.mark.parametrize(("question", "answer"), NO_POWER)
def test_what_speaks_against_power_holds_it(question: str, answer: str) -> None:
    answers = {**GOOD, question: answer}
    assert not may_be_powered(answers)
    assert all(step.power == COLD for step in intake_steps(answers))
    assert "No hazard" not in intake_closing(answers)


def test_the_text_s_own_cases() -> None:
    """No plug, other voltage, blown fuse."""
    assert "stop_lead" in ids({**GOOD, "plug": "none"})
    assert "stop_other_voltage" in ids({**GOOD, "voltage": "other"})
    blown = ids({**GOOD, "fuse": "blown_black"})
    assert "stop_short" in blown
    assert "diode_test_cold" in blown
    assert "fuse_like_for_like" not in blown, "no new fuse while a short is in"


def test_a_set_for_batteries_is_not_asked_about_the_mains() -> None:
    answers = {**GOOD, "supply": "low_voltage"}
    asked = {one.id for one in questions_asked(answers)}
    assert not asked & {"plug", "voltage", "fuse", "earth", "trained", "limiter"}
    steps = ids(answers)
    assert "battery_look" in steps
    assert not {"primary_cold", "fuse_cold", "insulation_test"} & set(steps)


def test_valves_keep_the_lid_closed() -> None:
    steps = ids({**GOOD, "inside": "valves"})
    assert "stop_valves" in steps
    assert not {"lid_look", "diode_test_cold", "capacitors_look"} & set(steps)


def test_a_deck_that_was_running_here_is_asked_no_more() -> None:
    answers = {"running": "running_here"}
    assert next_question(answers) is None
    assert ids(answers) == ["unplug", "keep_tapes_away", "solvents", "moving_parts",
                            "scrap_tape_first"]  # fmt: skip
    assert "passed over" in intake_closing(answers)


def test_steps_say_which_answer_asked_for_them() -> None:
    steps = {step.id: step for step in intake_steps({**GOOD, "plug": "none"})}
    assert steps["stop_lead"].because == ("no lead, no plug, or cut off",)
    assert steps["unplug"].because == ()


def test_the_order_of_the_answers_does_not_matter() -> None:
    draw = random.Random(5)
    for _ in range(50):
        answers = {one.id: draw.choice(one.answers).id for one in read_intake().questions.values()}
        pairs = list(answers.items())
        draw.shuffle(pairs)
        assert intake_steps(answers) == intake_steps(dict(pairs))


def test_nothing_ever_says_that_the_deck_is_safe() -> None:
    intake = read_intake()
    words = [step.do for step in intake.steps.values()]
    words += [answer.say for one in intake.questions.values() for answer in one.answers]
    words += [f"{one.ask} {one.why}" for one in intake.questions.values()]
    assert not [one for one in words if "safe" in one.lower()]
    for sentence in intake.closing.values():
        assert "safe" not in sentence or "does not say that the deck is safe" in sentence
    assert "No hazard was found by these looks" in intake.closing["through"]


def test_every_step_is_used_and_has_a_caution() -> None:
    intake = read_intake()
    brought = {
        key for one in intake.questions.values() for answer in one.answers for key in answer.steps
    }
    assert set(intake.steps) == brought | set(intake.always)
    assert all(step.cautions for step in intake.steps.values())
    assert not [step.id for step in intake.steps.values() if step.stop and step.power != COLD]


def test_words_that_are_not_known_are_refused() -> None:
    with pytest.raises(InputError, match=r"no question 'plugg'.*did you mean 'plug'"):
        intake_steps({"plugg": "none"})
    with pytest.raises(InputError, match=r"'non' is no answer to 'plug'.*did you mean 'none'"):
        intake_steps({"plug": "non"})


PAGE = """\
questions:
  - id: one
    ask: What?
    why: Because.
    answers:
      - {id: yes_it_is, say: so, steps: [look]}
      - {id: unknown, say: cannot tell}
steps:
  - {id: look, do: Look., power: "off, unplugged", cautions: [mains_isolate]}
closing: {stopped: a, unanswered: b, waiting: c, through: d, running: e}
"""


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("steps: [look]", "steps: [lok]", "page, line 6: There is no step 'lok'"),
        ("id: unknown", "id: maybe", "page, line 2: A question without the answer 'unknown'"),
        ("[mains_isolate]", "[mains]", "page, line 9: There is no caution 'mains'"),
        ("off, unplugged", "on", "page, line 9: 'power' is 'on'"),
        ("do: Look., ", "", "page, line 9: A step without 'do'"),
        ("why: Because.", "why: Because.\n    only_if: {zero: [a]}", "no earlier question 'zero'"),
        ("closing: {", "closing: {ended: f, ", "has no 'ended'"),
        ("do: Look.,", "do: Look., stop: maybe,", "one of yes; no is needed"),
    ],
)
def test_a_slip_in_the_file_is_told_by_line(old: str, new: str, words: str) -> None:
    assert intake_of(PAGE, "page").always == ()
    with pytest.raises(DescriptionError) as caught:
        intake_of(PAGE.replace(old, new), "page")
    assert words in str(caught.value)
