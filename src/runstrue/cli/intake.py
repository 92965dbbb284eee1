"""`runstrue intake`: the looks that come before a deck gets power here for the first time."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.fault_ask import Asking, asking
from runstrue.cli.teach import ExampleCommand

if TYPE_CHECKING:
    from runstrue.faults.models import Knowledge
    from runstrue.faults.read_intake import Question

Keep = Callable[[str, str], None]
"""Keeps one answer: question, answer."""


@click.command(cls=ExampleCommand, short_help="Look a deck over before it gets power here.")
@click.argument("deck", required=False)
@click.option(
    "--answer", "given", multiple=True, metavar="QUESTION=ANSWER",
    help="Answer one question; may be given several times.",
)  # fmt: skip
@click.option("--running", is_flag=True, help="It was already running here: pass over the looks.")
@click.option("--ask", is_flag=True, help="Ask, though the answers come from a file or a pipe.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document for scripts.")
@bench_option
@click.pass_context
def intake(
    ctx: click.Context,
    deck: str | None,
    given: tuple[str, ...],
    running: bool,
    ask: bool,
    as_json: bool,
) -> None:
    """Look a deck over before it gets power here.

    Question by question, with a number for each answer; then what is to be done, in order, each
    step after the cautions that go with it:
      runstrue intake C-14

    It was already running here, or one answer is to be given anew:
      runstrue intake C-14 --running
      runstrue intake C-14 --answer fuse=right --answer plug=sound

    Without a deck nothing is kept. Fault-finding on a deck of the logbook begins with this. Local
    codes and licensed people come before anything that is said here.
    """  # fmt: skip
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.cli.layout import out
    from runstrue.faults.read import knowledge_of_bench

    bench = ctx.ensure_object(Bench)
    new = parsed(given) | ({"running": "running_here"} if running else {})
    held = FaultBench.open(bench, deck) if deck is not None else None
    answers = dict(held.intake) if held is not None else {}

    def keep(question: str, answer: str) -> None:
        answers[question] = answer
        if held is not None:
            held.answer_intake(question, answer)

    _refuse_unknown({**answers, **new})
    for question, answer in new.items():
        keep(question, answer)
    knowledge = knowledge_of_bench(bench.folder)
    if as_json:
        out(_document(answers))
        return
    if not new and (ask or asking()) and not _ask_all(answers, keep, Asking(), knowledge):
        out("Stopped; what was answered is kept." if held else "Stopped.")
        return
    out(standing_lines(held.name if held else "", answers, knowledge))


def parsed(given: tuple[str, ...]) -> dict[str, str]:
    """Read 'question=answer' pairs."""
    found = {}
    for one in given:
        question, equals, answer = one.partition("=")
        if not (question.strip() and equals and answer.strip()):
            raise click.UsageError(
                f"'{one}' is no answer; write QUESTION=ANSWER, such as fuse=right"
            )
        found[question.strip()] = answer.strip()
    return found


def standing_lines(name: str, answers: Mapping[str, str], knowledge: Knowledge) -> Iterator[str]:
    """Where the looks stand: what is open, what is to be done, and how it ends."""
    from runstrue.cli.fault_show import caution_lines, heading_with, minutes_words, tool_words
    from runstrue.cli.layout import bold, faint, wrapped
    from runstrue.faults.intake import intake_closing, intake_steps, next_question

    steps = intake_steps(answers)
    yield bold(f"{name}: before it gets power here" if name else "Before it gets power")
    told: set[str] = set()
    for number, step in enumerate(steps, 1):
        yield ""
        beside = step.power + (f"; {minutes_words(step.minutes)}" if step.minutes else "")
        yield heading_with(f"{number}  STOP" if step.stop else f"{number}", beside)
        yield from caution_lines(step.cautions, knowledge, told, indent="   ")
        yield from wrapped(step.do, "   ")
        if step.tools:
            yield from wrapped(tool_words(step.tools, knowledge), " " * 10, first="   Tools: ")
        if step.because:
            for line in wrapped("; ".join(step.because), " " * 14, first="   Asked by: "):
                yield faint(line)
    yield ""
    yield from wrapped(intake_closing(answers))
    question = next_question(answers)
    if question is not None:
        deck = f" {quoted_or(name)}" if name else ""
        yield from wrapped(f"Next question: {question.ask}")
        for one in question.answers:
            yield from wrapped(one.say, " " * 6, first="    ")
            yield faint(f"      runstrue intake{deck} --answer {question.id}={one.id}")


def first_lines(knowledge: Knowledge) -> Iterator[str]:
    """What comes before the first question: the steps that always come, their cautions first."""
    from runstrue.cli.fault_show import caution_lines
    from runstrue.cli.layout import bold, wrapped
    from runstrue.faults.intake import intake_steps

    yield bold("Before anything is looked at")
    told: set[str] = set()
    for step in intake_steps({}):
        yield from caution_lines(step.cautions, knowledge, told)
        yield from wrapped(step.do, "  ")


def question_lines(question: Question, knowledge: Knowledge) -> Iterator[str]:
    """One question, why it is asked, what to take care of, and its answers with numbers."""
    from runstrue.cli.fault_show import first_words
    from runstrue.cli.layout import bold, faint, tinted, wrapped
    from runstrue.faults.read_intake import read_intake

    lines = wrapped(question.ask)
    yield from (bold(line) for line in lines)
    for line in wrapped(question.why, "  "):
        yield faint(line)
    steps = read_intake().steps
    cautions = dict.fromkeys(
        key for one in question.answers for step in one.steps for key in steps[step].cautions
    )
    if cautions:
        care = " ".join(first_words(knowledge.cautions[key].text) for key in cautions)
        for line in wrapped(care, "    ", first="  ! "):
            yield tinted(line, "yellow")
    for number, one in enumerate(question.answers, 1):
        yield from wrapped(one.say, " " * 6, first=f"{number:>4}  ")


def quoted_or(name: str) -> str:
    """Write a deck's name for the shell."""
    from runstrue.cli.keep import quoted

    return quoted(name)


def _ask_all(answers: Mapping[str, str], keep: Keep, ask: Asking, knowledge: Knowledge) -> bool:
    """Ask what is open, one after the other; False where the person stops."""
    from runstrue.cli.layout import out
    from runstrue.faults.intake import next_question, questions_asked

    if next_question(answers) is not None:
        out(first_lines(knowledge))
    back: list[str] = []
    again: str | None = None
    while True:
        if again is not None:
            question = next(one for one in questions_asked(answers) if one.id == again)
        else:
            found = next_question(answers)
            if found is None:
                return True
            question = found
        again = None
        out("")
        out(question_lines(question, knowledge))
        hint = "number; " + ("b back; " if back else "") + "q stop"
        word = ask.word(hint)
        if word in ("", "q"):
            return False
        if word == "b" and back:
            again = back.pop()
            continue
        chosen = ask.number(word, len(question.answers))
        if chosen is None:
            continue
        keep(question.id, question.answers[chosen - 1].id)
        back.append(question.id)


def _refuse_unknown(answers: Mapping[str, str]) -> None:
    """Refuse a question or an answer that there is not, before anything is kept."""
    from runstrue.faults.intake import questions_asked

    questions_asked(answers)


def _document(answers: Mapping[str, str]) -> str:
    import msgspec

    from runstrue.faults.intake import (
        intake_closing,
        intake_steps,
        may_be_powered,
        next_question,
    )

    question = next_question(answers)
    plain = {
        "format": "runstrue/1",
        "answers": dict(answers),
        "next_question": msgspec.to_builtins(question) if question else None,
        "steps": msgspec.to_builtins(intake_steps(answers)),
        "nothing_speaks_against_power": may_be_powered(answers),
        "says": intake_closing(answers),
    }
    return json.dumps(plain, ensure_ascii=False, indent=1)
