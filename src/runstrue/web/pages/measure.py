"""Measuring: drop recordings, type readings off instruments, put right what went in by a slip."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import structs
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response

from runstrue.errors import InputError
from runstrue.web.job_card import about
from runstrue.web.paging import (
    Form,
    Told,
    acting,
    bench_of,
    deck_path,
    posted,
    see_other,
    shown,
)
from runstrue.web.work import Work, Workshop

if TYPE_CHECKING:
    from runstrue.cli.bench import Bench
    from runstrue.cli.keep import Keeper, Place
    from runstrue.cli.measured import Done
    from runstrue.runner import Judging, Plan

RECORDING_BYTES = 4_000_000_000
ENDINGS = (".wav", ".flac", ".aif", ".aiff", ".ogg", ".mp3", ".opus", ".w64", ".caf", ".au")
PLACE = ("side", "well", "direction", "noise_reduction", "position", "remark")


def standing(request: Request) -> dict[str, Any]:
    """The form for recordings, and the one for typed readings."""
    from runstrue.cli.units import units_for
    from runstrue.stimulus.programmes import KEYS

    told = about(request, "measure")
    record = told["record"]
    stages = {one.facts.stage for one in record.captures}
    stage = "left" if "as found" in stages else "found"
    return {
        **told, "stage": stage, "programmes": KEYS, "speeds": record.deck.speeds_cm_s,
        "kinds": [
            {"kind": one, "units": units_for(one)} for one in _typed_kinds()
        ],
    }  # fmt: skip


def _typed_kinds() -> list[Any]:
    from runstrue.catalogue import KINDS

    families = ("torque.", "force.", "play.", "voltage.", "time.")
    plain = ("flutter.indicated_peak", "flutter.weighted_peak", "speed.deviation")
    return [
        one for one in KINDS.values() if one.id.startswith(families) or one.id in plain
    ]  # fmt: skip


async def drop(request: Request, form: Form) -> Response:
    """Take recordings in, begin to measure them, and show how far it is."""
    from starlette.concurrency import run_in_threadpool

    shop: Workshop = request.app.state.workshop
    files = form.files("recordings")
    if not files:
        raise InputError(
            "No recording was chosen", "a file of a test tape's playback is needed",
            "WAV, FLAC, AIFF, Ogg and MP3 are read",
        )  # fmt: skip
    asked = await run_in_threadpool(_asked, request, form)
    work = shop.place(", ".join(one.filename or "" for one in files)[:120])
    try:
        paths = [await run_in_threadpool(taken_file, one, work.folder) for one in files]
        tapes = form.files("tape")
        tape = await run_in_threadpool(taken_file, tapes[0], work.folder) if tapes else None
    except BaseException:
        shop.drop(work)
        raise
    bench, (keeper, options) = bench_of(request), asked
    shop.begin(work, lambda begun: _measure(bench, keeper, options, paths, tape, begun))
    return see_other(deck_path(request.path_params["deck"], f"measure/{work.key}"))


def _asked(request: Request, form: Form) -> tuple[Keeper, dict[str, Any]]:
    """Read what is said of the recordings, before any of them is measured."""
    from runstrue.cli.keep import Keeper

    keeper = Keeper(bench_of(request), request.path_params["deck"], place_of(form))
    options = {
        "tone_hz": form.number("tone"), "programme": form.text("programme", 40) or None,
        "self_recorded": form.has("self_recorded"), "starts": form.has("starts"),
        "played": form.text("played", 20),
    }  # fmt: skip
    return keeper, options


def place_of(form: Form) -> Place:
    """Return where on the deck a pass is made, as a form says it."""
    from runstrue.cli.keep import STAGE_WORDS, Place

    stage = form.text("stage", 20)
    if stage not in STAGE_WORDS:
        raise InputError("No stage was picked", "as found, in between or as left is needed")
    told = {name: form.text(name, 200) for name in PLACE}
    return Place(stage, speed_cm_s=form.number("speed_cm_s"), **told)


def taken_file(upload: UploadFile, folder: Path) -> Path:
    """Write an uploaded file under its own name's last part, cleaned; its bytes decide later."""
    name = "".join(
        one if one.isalnum() or one in " ._-()" else "-" for one in Path(upload.filename or "").name
    ).strip(" .-")[-120:]
    path = folder / (name or "recording")
    if path.suffix.lower() not in (*ENDINGS, ".toml"):
        raise InputError(
            f"'{name}' is no recording by its name", f"one of {' '.join(ENDINGS)} is needed",
            "WAV and FLAC are best",
        )  # fmt: skip
    number = 2
    while path.exists():
        path, number = path.with_name(f"{path.stem}-{number}{path.suffix}"), number + 1
    with path.open("wb") as target:
        while piece := upload.file.read(1 << 20):
            target.write(piece)
    return path


def _measure(
    bench: Bench, keeper: Keeper, options: dict[str, Any], paths: Sequence[Path],
    tape_file: Path | None, work: Work,
) -> None:  # fmt: skip
    """Measure, name the parts, judge and keep: the road of the command line."""
    from runstrue.cli.measure_parts import drive_for, tell_parts
    from runstrue.cli.measured import combine
    from runstrue.cli.plan import measuring_plan, read_tape, sound_card
    from runstrue.measure.tape_tone import TonePlan
    from runstrue.runner import Judging
    from runstrue.transport.counter_pairs import read_time_s

    tape = read_tape(tape_file)
    plan = TonePlan(options["tone_hz"], tape, sound_card(bench, None, ""), options["self_recorded"])
    whole = measuring_plan(
        bench, plan, options["programme"], noise_reduction=keeper.place.noise_reduction
    )
    limits = keeper.sheet.limits if keeper.sheet is not None else ()
    judging = Judging(limits, keeper.conditions)
    drive = drive_for(bench, None, keeper.place.speed_cm_s, keeper)
    played_s = read_time_s(options["played"]) if options["played"] else None
    done = _each(paths, whole, judging, work)
    combined = combine(done, judging) if options["starts"] else None
    if options["starts"] and combined is None:
        raise InputError("Fewer than two of the recordings could be used", "two starts are needed")
    if drive is not None:
        tell_parts(done, drive, played_s, judging)
    if any(one.measured is not None for one in done):
        records = keeper.keep(
            done, plan.tape, named_tape=tape_file is not None, own_sheet=True, combined=combined
        )
        work.captures = [one.id for one in records]
        work.told += [f"The same recording stands already at {one}." for one in keeper.alike]


def _each(paths: Sequence[Path], plan: Plan, judging: Judging, work: Work) -> list[Done]:
    from runstrue.capture.file import FileSource
    from runstrue.cli.measured import done_of
    from runstrue.errors import RunstrueError
    from runstrue.runner import measure_file

    lengths: list[float] = []
    for path in paths:
        try:
            source = FileSource(path, hashed=False)
            lengths.append(source.frames / source.rate_hz)
        except RunstrueError:
            lengths.append(0.0)
    work.of_seconds = sum(lengths)
    found, before = [], 0.0
    for path, length in zip(paths, lengths, strict=True):
        gone = before

        def progress(seconds: float, gone: float = gone) -> None:
            work.progress(gone + seconds)

        outcome = measure_file(path, plan, judging, progress)
        if outcome.error is not None:
            work.refused.append(f"{path.name}: {outcome.error}")
        found.append(done_of(path.name, outcome))
        before += length
        work.progress(before)
    return found


def working(request: Request) -> dict[str, Any] | Response:
    """How far a piece of work is; when it is over, what came of it."""
    shop: Workshop = request.app.state.workshop
    work = shop.find(request.path_params["work"])
    name = request.path_params["deck"]
    if work is None:
        return see_other(
            deck_path(name, "measure"), "That measuring is over; its readings stand on the deck."
        )
    if work.is_over and work.captures and not work.refused:
        words = " ".join(["Measured and kept.", *work.told])
        return see_other(deck_path(name, f"captures/{work.captures[-1]}"), words)
    return {**about(request, "measure"), "work": work}


def stop(request: Request, form: Form) -> Told:
    """Stop a piece of work."""
    del form
    shop: Workshop = request.app.state.workshop
    work = shop.find(request.path_params["work"])
    if work is not None:
        work.stop()
    return Told(deck_path(request.path_params["deck"], f"measure/{request.path_params['work']}"))


def enter(request: Request, form: Form) -> Told:
    """Keep a reading that was taken off an instrument."""
    from runstrue.cli.enter import kind_named, typed_result
    from runstrue.cli.keep import Keeper
    from runstrue.report.words import figure_of
    from runstrue.verdict.judge import judge

    name = request.path_params["deck"]
    kind = kind_named(form.text("quantity", 60))
    value, point = form.text("value", 40), form.text("point", 80)
    if not value:
        raise InputError("No figure was typed", "what the instrument shows is needed")
    if kind.id == "voltage.point" and not point:
        raise InputError("A voltage was typed", "the place where it was taken is needed")
    result = typed_result(
        kind, value, form.text("unit", 20) or kind.unit, form.text("u", 20) or None, point=point
    )
    keeper = Keeper(bench_of(request), name, place_of(form))
    limits = keeper.sheet.limits if keeper.sheet is not None else ()
    record = keeper.keep_typed(
        result, judge(limits, [result], conditions=keeper.conditions), form.whole("replaces")
    )
    assert result.quantity is not None
    told = f"{kind.name}: {figure_of(result.quantity, kind.id)}, number {record.id}."
    return Told(deck_path(name, f"captures/{record.id}"), told)


def capture(request: Request) -> dict[str, Any]:
    """One recording with its readings and verdicts."""
    from runstrue.web.reading_words import earlier_of, readings_of, verdicts_of

    told = about(request, "measure")
    with bench_of(request).open() as book:
        record = book.capture(_number(request), curves=False)
        if record.deck_id != told["record"].deck.id:
            raise InputError(f"Number {record.id} is of another deck", "one of this deck is needed")
        earlier = earlier_of(book.earlier_readings(record))
    return {
        **told, "capture": record, "readings": readings_of(record),
        "verdicts": verdicts_of(record), "earlier": earlier,
    }  # fmt: skip


def _number(request: Request) -> int:
    return int(request.path_params["number"])


def correct(request: Request, form: Form) -> Told:
    """Correct where a reading was taken, leave it out, or bring it back."""
    from runstrue.cli.fault_keep import keep_anew
    from runstrue.cli.keep import STAGES

    name, number = request.path_params["deck"], _number(request)
    what = form.text("what", 20)
    with bench_of(request).open() as book:
        before = book.capture(number, curves=False)
        if what in ("withdraw", "restore"):
            act = book.hide_capture if what == "withdraw" else book.show_capture
            keep_anew(book, act(before))
            words = (
                "It is left out of lists, comparison and report from now on; it is kept, and "
                "comes back with the button below."
                if what == "withdraw" else "It counts again."
            )  # fmt: skip
            return Told(deck_path(name, f"captures/{number}"), words)
        changes: dict[str, str] = {key: form.text(key, 200) for key in PLACE}
        stage = form.text("stage", 20)
        if stage in STAGES:
            changes["stage"] = STAGES[stage]
        book.correct_facts(before, structs.replace(before.facts, **changes))
    return Told(deck_path(name, f"captures/{number}"), "Corrected; the old words are kept.")


def _refused_enter(request: Request) -> str:
    return deck_path(request.path_params["deck"], "measure")


ROUTES = [
    *acting("/decks/{deck}/measure", "measure.html", standing, drop, most_bytes=RECORDING_BYTES),
    posted("/decks/{deck}/enter", enter, _refused_enter),
    *acting("/decks/{deck}/captures/{number:int}", "capture.html", capture, correct),
    shown("/decks/{deck}/measure/{work}", "working.html", working),
    posted("/decks/{deck}/measure/{work}/stop", stop, _refused_enter),
]
