"""The looks before power: asked by numbers, kept with the visit, cautions before every step."""

from __future__ import annotations

import io
import json
from collections.abc import Callable

import pytest
from tests.cli.conftest import Call

from runstrue.faults.intake import next_question, questions_asked
from runstrue.faults.read import read_knowledge
from runstrue.faults.read_intake import read_intake

# A deck for the mains that stood for years, in order as far as one can see.
SOUND = {
    "running": "stood", "outside": "clean", "supply": "mains", "plug": "sound",
    "voltage": "fits", "frequency": "fits", "fuse": "right", "earth": "double_square",
    "inside": "transistors", "safety_capacitors": "whole", "moving": "free",
    "trained": "not_trained", "limiter": "none",
}  # fmt: skip

Type = Callable[..., None]


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Type:
    """Let lines come from the keyboard."""

    def put(*lines: str) -> None:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))

    return put


@pytest.fixture
def deck(call: Call) -> Call:
    assert call("deck", "add", "C-14").code == 0
    return call


def numbers(answers: dict[str, str]) -> list[str]:
    """The numbers that give these answers, in the order of the questions."""
    given: dict[str, str] = {}
    typed = []
    while (question := next_question(given)) is not None:
        ids = [one.id for one in question.answers]
        given[question.id] = answers[question.id]
        typed.append(str(ids.index(answers[question.id]) + 1))
    return typed


def test_all_questions_answered_by_numbers_are_kept(deck: Call, typed: Type) -> None:
    typed(*numbers(SOUND))
    ran = deck("intake", "C-14", "--ask")
    assert ran.code == 0
    assert "No hazard was found by these looks. That does not say that the deck is safe" in (
        " ".join(ran.out.split())
    )
    typed()
    kept = json.loads(deck("intake", "C-14", "--json").out)
    assert kept["answers"] == SOUND
    assert kept["next_question"] is None
    assert kept["nothing_speaks_against_power"] is True


def test_stopping_keeps_what_was_said_and_goes_on_from_there(deck: Call, typed: Type) -> None:
    typed(*numbers(SOUND)[:4], "q")
    assert "what was answered is kept" in deck("intake", "C-14", "--ask").out
    typed(*numbers(SOUND)[4:])
    ran = deck("intake", "C-14", "--ask")
    assert "Has this deck been running" not in ran.out
    assert json.loads(deck("intake", "C-14", "--json").out)["answers"] == SOUND


def test_a_slip_is_asked_again_and_an_answer_can_be_given_anew(deck: Call, typed: Type) -> None:
    typed("7", "2", "b", "3", "q")
    ran = deck("intake", "C-14", "--ask")
    assert "'7' is none of the numbers 1 to 3." in ran.out
    assert json.loads(deck("intake", "C-14", "--json").out)["answers"] == {"running": "unknown"}


def test_cautions_come_before_the_step_that_needs_them(deck: Call) -> None:
    given = [f"--answer={key}={value}" for key, value in SOUND.items()]
    text = " ".join(deck("intake", "C-14", *given).out.split())
    knowledge = read_knowledge()
    for step in read_intake().steps.values():
        do = " ".join(step.do.split())
        if do not in text:
            continue
        for key in step.cautions:
            first = " ".join(knowledge.cautions[key].text.split()).partition(". ")[0]
            assert 0 <= text.find(first) < text.find(do), (step.id, key)


def test_no_step_needs_power_while_something_is_open(deck: Call) -> None:
    given = [f"--answer={key}={value}" for key, value in SOUND.items() if key != "fuse"]
    ran = deck("intake", "C-14", *given)
    assert "on, covers closed" not in ran.out
    assert "the deck stays unplugged" in " ".join(ran.out.split())
    assert "runstrue intake C-14 --answer fuse=right" in ran.out
    assert "on, covers closed" in deck("intake", "C-14", "--answer", "fuse=right").out


@pytest.mark.parametrize(
    ("question", "answer", "said"),
    [
        ("plug", "none", "Stop: no power until the lead and its plug are renewed"),
        ("voltage", "other", "Stop: it is not made for this mains"),
        ("fuse", "blown_black", "Stop: a black fuse means a short"),
        ("inside", "valves", "Stop"),
    ],
)
def test_what_stops_says_so_and_hands_over(
    deck: Call, question: str, answer: str, said: str
) -> None:
    given = [f"--answer={key}={value}" for key, value in {**SOUND, question: answer}.items()]
    text = " ".join(deck("intake", "C-14", *given).out.split())
    assert said in text
    assert "a qualified person does it" in text
    assert "on, covers closed" not in text


def test_already_running_passes_over_the_looks_but_promises_nothing(deck: Call) -> None:
    text = " ".join(deck("intake", "C-14", "--running").out.split())
    assert "these looks were passed over" in text
    assert "does not say that the deck is safe" in text


@pytest.mark.parametrize("answers", [{}, SOUND, {**SOUND, "fuse": "wrong"}, {"running": "unknown"}])
def test_nothing_says_that_a_deck_is_safe(deck: Call, answers: dict[str, str]) -> None:
    given = [f"--answer={key}={value}" for key, value in answers.items()]
    text = " ".join(deck("intake", "C-14", *given).out.split()).lower()
    text = text.replace("unplug if that is safe", "")  # a way out of fumes, no word on the deck
    for word in ("is safe", "safe to", "safely"):
        assert text.count(word) == text.count(f"does not say that the deck {word}"), word


def test_without_a_deck_nothing_is_kept(call: Call) -> None:
    assert call("intake", "--answer", "running=stood").code == 0
    assert "'--answer" not in call("intake").out
    assert json.loads(call("intake", "--json").out)["answers"] == {}


def test_wrong_words_are_refused_in_one_sentence_and_nothing_is_kept(deck: Call) -> None:
    for given, told in (
        ("fuze=right", "There is no question 'fuze'"),
        ("fuse=rihgt", "'rihgt' is no answer to 'fuse'"),
    ):
        ran = deck("intake", "C-14", "--answer", "running=stood", "--answer", given)
        assert (ran.code, len(ran.sentences)) == (1, 1)
        assert told in ran.err
    assert json.loads(deck("intake", "C-14", "--json").out)["answers"] == {}
    assert deck("intake", "C-14", "--answer", "fuse").code == 2
    assert deck("intake", "C-99").code == 1


def test_lines_fit_the_screen(deck: Call, typed: Type) -> None:
    typed(*numbers(SOUND))
    out = deck("intake", "C-14", "--ask").out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_every_question_of_a_mains_deck_is_asked() -> None:
    assert [one.id for one in questions_asked(SOUND)] == list(SOUND)
