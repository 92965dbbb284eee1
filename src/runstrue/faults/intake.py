"""Before first power: questions about a deck, and what follows from the answers.

The questions, answers, steps and their order are data (`knowledge/intake.yaml`). This module
only follows them; it never says that a deck is safe.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from runstrue.errors import InputError
from runstrue.faults.lines import near
from runstrue.faults.read_intake import COLD, Answer, Question, Step, read_intake


def intake_steps(answers: Mapping[str, str]) -> tuple[Step, ...]:
    """Return what is to be done, given the answers so far.

    Parameters
    ----------
    answers : mapping
        Question ids and answer ids. Answers to questions that are not asked count for nothing.

    Returns
    -------
    tuple of Step
        In the order of the bench. Steps that need power are given only where every question is
        answered, no answer holds power back and no step says stop.

    Raises
    ------
    InputError
        For a question or an answer that there is not.
    """
    intake = read_intake()
    given = _given(answers)
    because: dict[str, list[str]] = {key: [] for key in intake.always}
    for answer in given:
        for step in answer.steps:
            because.setdefault(step, []).append(answer.say)
    for answer in given:
        for step in answer.drops:
            because.pop(step, None)
    powered = may_be_powered(answers)
    return tuple(
        msgspec.structs.replace(step, because=tuple(because[step.id]))
        for step in intake.steps.values()
        if step.id in because and (step.power == COLD or powered)
    )


def next_question(answers: Mapping[str, str]) -> Question | None:
    """Return the first question that is still to be answered, or None."""
    return next((one for one in _asked(answers) if one.id not in answers), None)


def questions_asked(answers: Mapping[str, str]) -> tuple[Question, ...]:
    """Return the questions that are asked, given the answers so far, in their order."""
    return tuple(_asked(answers))


def intake_closing(answers: Mapping[str, str]) -> str:
    """Return the sentences at the end: what comes first, or what the looks have not found."""
    given = _given(answers)
    if _stops(given):
        key = "stopped"
    elif next_question(answers) is not None:
        key = "unanswered"
    elif any(answer.holds for answer in given):
        key = "waiting"
    else:
        key = "running" if any(answer.ends for answer in given) else "through"
    return read_intake().closing[key]


def may_be_powered(answers: Mapping[str, str]) -> bool:
    """Tell whether nothing that was asked speaks against power: no word about safety."""
    given = _given(answers)
    held = _stops(given) or any(answer.holds for answer in given)
    return next_question(answers) is None and not held


def _stops(given: Sequence[Answer]) -> bool:
    steps = read_intake().steps
    return any(steps[key].stop for answer in given for key in answer.steps)


def _given(answers: Mapping[str, str]) -> tuple[Answer, ...]:
    found = (_answer(question, answers) for question in _asked(answers))
    return tuple(answer for answer in found if answer is not None)


def _asked(answers: Mapping[str, str]) -> list[Question]:
    """Return the questions that are asked; one whose conditions are still open is not yet."""
    questions = read_intake().questions
    for key in answers:
        if key not in questions:
            raise InputError(
                f"There is no question '{key}'", f"one of {', '.join(questions)} is needed",
                near(key, list(questions)),
            )  # fmt: skip
        _answer(questions[key], answers)
    asked: list[Question] = []
    for question in questions.values():
        conditions = question.only_if.items()
        if all(answers.get(other, "unknown") in allowed for other, allowed in conditions):
            asked.append(question)
            answer = _answer(question, answers)
            if answer and answer.ends:
                break
    return asked


def _answer(question: Question, answers: Mapping[str, str]) -> Answer | None:
    word = answers.get(question.id)
    if word is None:
        return None
    found = {one.id: one for one in question.answers}
    if word not in found:
        raise InputError(
            f"'{word}' is no answer to '{question.id}'",
            f"one of {', '.join(found)} is needed",
            near(word, list(found)),
        )
    return found[word]
