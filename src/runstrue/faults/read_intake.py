"""The questions and steps before first power, read from their file and checked on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import get_args

import msgspec

from runstrue.faults.lines import Piece, near, read_lines
from runstrue.faults.models import Power
from runstrue.faults.read import read_knowledge

COLD: Power = "off, unplugged"


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """One answer to a question.

    Parameters
    ----------
    id : str
        Stable within its question; every question has one called 'unknown'.
    say : str
        In the words of the person who answers.
    steps : tuple of str
        Ids of the steps that it brings.
    drops : tuple of str
        Ids of steps that it takes away, whatever else brought them.
    ends : bool
        Nothing more is asked after it.
    holds : bool
        Power waits until its steps are done and the question is answered anew.
    """

    id: str
    say: str
    steps: tuple[str, ...] = ()
    drops: tuple[str, ...] = ()
    ends: bool = False
    holds: bool = False


class Question(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that is asked about a deck before it is powered here.

    Parameters
    ----------
    id, ask, why : str
    answers : tuple of Answer
    only_if : dict
        Other questions, and their answers with which this one is asked.
    """

    id: str
    ask: str
    why: str
    answers: tuple[Answer, ...]
    only_if: dict[str, tuple[str, ...]] = {}


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to do.

    Parameters
    ----------
    id, do : str
    because : tuple of str
        The answers that asked for it, in words; empty where it always comes.
    power : str
        The state in which the deck must be.
    minutes : float
        At the bench, from judgement; 0 where others have to do it.
    stop : bool
        No power follows after it.
    check : str
        Id of the check that it is, where it is one.
    tools, cautions : tuple of str
        Ids of the knowledge. The cautions come before the step.
    """

    id: str
    do: str
    because: tuple[str, ...] = ()
    power: Power
    minutes: float = 0.0
    stop: bool = False
    check: str = ""
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Intake:
    """All questions and steps, in their order."""

    questions: dict[str, Question]
    steps: dict[str, Step]
    always: tuple[str, ...]
    closing: dict[str, str]


@cache
def read_intake() -> Intake:
    """Read the questions and steps.

    Raises
    ------
    DescriptionError
        With file and line, where they are wrong.
    """
    text = (files("runstrue.faults") / "knowledge" / "intake.yaml").read_text(encoding="utf-8")
    return intake_of(text, "intake.yaml")


def intake_of(text: str, file: str) -> Intake:
    """Read questions and steps from text.

    Raises
    ------
    DescriptionError
        With file and line, where they are wrong.
    """
    page = read_lines(text, file)
    if page is None:
        page = read_lines("{}", file)
    assert page is not None
    keys = ("questions", "steps", "closing")
    parts = page.entries("The intake", keys)
    for key in keys:
        if key not in parts:
            raise page.refused(f"The intake without '{key}'", "it is needed")
    knowledge = read_knowledge()
    steps: dict[str, Step] = {}
    always: list[str] = []
    for piece in parts["steps"].items("The steps"):
        step, comes_always = _step(piece)
        for kind, ids, known in (
            ("check", (step.check,) if step.check else (), knowledge.checks),
            ("tool", step.tools, knowledge.tools),
            ("caution", step.cautions, knowledge.cautions),
        ):
            for key in ids:
                _known(piece, kind, key, known)
        if step.id in steps:
            raise piece.refused(f"The step '{step.id}' is there twice")
        if step.stop and step.power != COLD:
            raise piece.refused(f"The step '{step.id}' says stop, but needs power")
        steps[step.id] = step
        if comes_always:
            always.append(step.id)
    questions: dict[str, Question] = {}
    for piece in parts["questions"].items("The questions"):
        question = _question(piece, steps, questions)
        if question.id in questions:
            raise piece.refused(f"The question '{question.id}' is there twice")
        questions[question.id] = question
    closing = {
        key: one.text(f"'{key}'")
        for key, one in parts["closing"].entries(
            "The closing", ("stopped", "waiting", "unanswered", "through", "running")
        ).items()
    }  # fmt: skip
    return Intake(questions, steps, tuple(always), closing)


def _step(piece: Piece) -> tuple[Step, bool]:
    keys = ("id", "do", "power", "minutes", "always", "stop", "check", "tools", "cautions",
            "basis")  # fmt: skip
    found = piece.entries("A step", keys)
    for key in ("id", "do", "power", "cautions"):
        if key not in found:
            raise piece.refused(f"A step without '{key}'", "it is needed")
    step = Step(
        id=found["id"].text("'id'"),
        do=found["do"].text("'do'"),
        power=_power(found["power"]),
        minutes=found["minutes"].number("'minutes'") if "minutes" in found else 0.0,
        stop=_yes(found, "stop"),
        check=found["check"].text("'check'") if "check" in found else "",
        tools=_list(found, "tools"),
        cautions=_list(found, "cautions"),
    )
    return step, _yes(found, "always")


def _question(piece: Piece, steps: Mapping[str, Step], before: Mapping[str, Question]) -> Question:
    found = piece.entries("A question", ("id", "ask", "why", "only_if", "answers"))
    for key in ("id", "ask", "why", "answers"):
        if key not in found:
            raise piece.refused(f"A question without '{key}'", "it is needed")
    only_if = {}
    if "only_if" in found:
        for other, allowed in found["only_if"].entries("'only_if'", None).items():
            _known(allowed, "earlier question", other, before)
            ids = {one.id: one for one in before[other].answers}
            only_if[other] = tuple(one.one_of("An answer", ids) for one in allowed.items("it"))
    answers = tuple(_read_answer(one, steps) for one in found["answers"].items("The answers"))
    if "unknown" not in {one.id for one in answers}:
        raise piece.refused("A question without the answer 'unknown'", "it is needed")
    return Question(
        id=found["id"].text("'id'"),
        ask=found["ask"].text("'ask'"),
        why=found["why"].text("'why'"),
        answers=answers,
        only_if=only_if,
    )


def _read_answer(piece: Piece, steps: Mapping[str, Step]) -> Answer:
    found = piece.entries("An answer", ("id", "say", "steps", "drops", "ends", "holds"))
    for step in (*_list(found, "steps"), *_list(found, "drops")):
        _known(piece, "step", step, steps)
    return Answer(
        id=found["id"].text("'id'"),
        say=found["say"].text("'say'"),
        steps=_list(found, "steps"),
        drops=_list(found, "drops"),
        ends=_yes(found, "ends"),
        holds=_yes(found, "holds"),
    )


def _power(piece: Piece) -> Power:
    words: dict[str, Power] = {word: word for word in get_args(Power)}
    return words[piece.one_of("'power'", words)]


def _yes(found: Mapping[str, Piece], key: str) -> bool:
    return key in found and found[key].one_of(f"'{key}'", ("yes", "no")) == "yes"


def _list(found: Mapping[str, Piece], key: str) -> tuple[str, ...]:
    if key not in found:
        return ()
    return tuple(one.text(f"An id in '{key}'") for one in found[key].items(f"'{key}'"))


def _known(piece: Piece, kind: str, key: str, known: Mapping[str, object]) -> None:
    if key not in known:
        raise piece.refused(f"There is no {kind} '{key}'", "", near(key, list(known)))
