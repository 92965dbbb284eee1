"""The looks before a deck gets power here: one question at a time, steps after their cautions."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request

from runstrue.errors import InputError
from runstrue.web.fault_words import cautions_of
from runstrue.web.job_card import about
from runstrue.web.paging import Form, Told, acting, bench_of, deck_path


def standing(request: Request) -> dict[str, Any]:
    """What is open, what is to be done, and how it ends."""
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.faults.intake import (
        intake_closing,
        intake_steps,
        next_question,
        questions_asked,
    )
    from runstrue.faults.read_intake import read_intake

    told = about(request, "intake")
    held = FaultBench.open(bench_of(request), request.path_params["deck"])
    answers, knowledge = held.intake, held.knowledge
    seen: set[str] = set()
    steps = [
        {"step": one, "cautions": cautions_of(one.cautions, knowledge, seen),
         "tools": [knowledge.tools[key].name for key in one.tools]}
        for one in intake_steps(answers)
    ]  # fmt: skip
    again = request.query_params.get("again", "")
    asked = questions_asked(answers)
    question = next((one for one in asked if one.id == again), None) or next_question(answers)
    every = read_intake().steps
    care = question and dict.fromkeys(
        key for one in question.answers for step in one.steps for key in every[step].cautions
    )
    given = [
        {"question": one, "answer": next(a.say for a in one.answers if a.id == answers[one.id])}
        for one in asked if one.id in answers
    ]  # fmt: skip
    return {
        **told, "steps": steps, "closing": intake_closing(answers), "question": question,
        "care": cautions_of(care or (), knowledge, set()), "given": given,
        "powered": held.may_be_powered,
    }  # fmt: skip


def answer(request: Request, form: Form) -> Told:
    """Keep one answer."""
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.faults.intake import questions_asked

    name = request.path_params["deck"]
    held = FaultBench.open(bench_of(request), name)
    if form.has("running"):
        question, given = "running", "running_here"
    else:
        question, given = form.text("question", 80), form.text("answer", 80)
        if not given:
            raise InputError("No answer was picked", "one of them is needed")
    questions_asked({**held.intake, question: given})  # refuses what there is not
    held.answer_intake(question, given)
    return Told(deck_path(name, "intake"))


ROUTES = acting("/decks/{deck}/intake", "intake.html", standing, answer)
