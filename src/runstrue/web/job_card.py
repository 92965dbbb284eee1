"""Where a deck's job stands: which steps are done, and the one thing to do next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from starlette.requests import Request

from runstrue.web.paging import bench_of, deck_path

if TYPE_CHECKING:
    from runstrue.logbook.models import DeckRecord, Visit


@dataclass(frozen=True, slots=True)
class Step:
    """One page of the job.

    Parameters
    ----------
    key, words, path : str
    done : {'done', 'open', ''}
        Empty where it may stay undone.
    """

    key: str
    words: str
    path: str
    done: str


@dataclass(frozen=True, slots=True)
class Next:
    """The one thing to do next."""

    words: str
    path: str


@dataclass(frozen=True, slots=True)
class JobCard:
    """What every page of a deck shows at its head and its foot."""

    name: str
    title: str
    steps: tuple[Step, ...]
    next: Next | None
    stage: str


def current_visit(record: DeckRecord) -> Visit | None:
    """The visit that is open; None where the deck is not on the bench."""
    return next((one for one in reversed(record.visits) if not one.ended_at), None)


def card_of(record: DeckRecord) -> JobCard:
    """Say where a deck's job stands."""
    from runstrue.faults.intake import next_question

    deck, visit = record.deck, current_visit(record)
    latest = visit or (record.visits[-1] if record.visits else None)
    stages = {one.facts.stage for one in record.captures_of(latest)} | {
        one.facts.stage for one in record.captures_of(None)
    }
    answers = {
        one.question: one.answer for one in record.intake
        if latest is None or one.visit_id == latest.id
    }  # fmt: skip
    looked = next_question(answers) is None
    said = any(latest is None or one.visit_id == latest.id for one in record.evidence)
    mended = any(latest is None or one.visit_id == latest.id for one in record.repairs)

    def path(page: str) -> str:
        return deck_path(deck.name, page)

    def mark(done: bool, asked: bool = True) -> str:
        return "done" if done else "open" if asked else ""

    steps = (
        Step("intake", "Intake", path("intake"), mark(looked)),
        Step("sheet", "Sheet", path("sheet"), mark(record.sheet is not None)),
        Step("faults", "Faults", path("faults"), mark(mended, said)),
        Step("parts", "Parts", path("parts"), mark(bool(record.transports), False)),
        Step("measure", "Measure", path("measure"),
             mark({"as found", "as left"} <= stages, True)),
        Step("compare", "Found and left", path("compare"), mark(bool(record.changes), False)),
        Step("files", "Photos, papers", path("files"), ""),
        Step("report", "Report", path("report"),
             mark(latest is not None and bool(latest.ended_at), False)),
    )  # fmt: skip
    nexts = (
        (not looked, "Look it over before it gets power", "intake"),
        (record.sheet is None, "Paste the lines of its sheet", "sheet"),
        ("as found" not in stages, "Measure it as found, before anything is touched", "measure"),
        (not mended and "as left" not in stages, "Find what is wrong with it", "faults"),
        ("as left" not in stages, "Measure it as left", "measure"),
        (True, "Hand over its record", "report"),
    )
    ended = latest is not None and visit is None
    first = next((Next(words, path(page)) for wanted, words, page in nexts if wanted), None)
    done = Next("Print its record", path("report")) if ended else first
    if ended:
        stage = "handed back"
    elif "as left" in stages:
        stage = "as left"
    elif mended:
        stage = "mended"
    elif "as found" in stages:
        stage = "as found"
    else:
        stage = "looked over" if looked else "just come"
    title = deck.title if deck.title != deck.name else ""
    return JobCard(deck.name, title, steps, done, stage)


def record_of(request: Request, *, curves: bool = False) -> DeckRecord:
    """Read the deck that a page is about.

    Raises
    ------
    LogbookError
        When there is none of that name.
    """
    with bench_of(request).open() as book:
        return book.deck_record(book.find_deck(request.path_params["deck"]), curves=curves)


def about(request: Request, step: str, *, curves: bool = False, **more: Any) -> dict[str, Any]:
    """Return what every page of a deck is filled with: its record, its card, and the rest."""
    record = record_of(request, curves=curves)
    return {"record": record, "job": card_of(record), "step": step, **more}
