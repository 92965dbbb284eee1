"""Photos of the deck and papers about it: scaled, kept with the visit, quoted on the report."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import FileResponse, Response

from runstrue.errors import InputError
from runstrue.web.job_card import about, current_visit
from runstrue.web.paging import Form, Told, acting, bench_of, deck_path, posted, shown
from runstrue.web.pictures import FILE_BYTES, taken

if TYPE_CHECKING:
    from runstrue.logbook.files import FileRecord

UPLOAD_BYTES = 200_000_000
WORDS = (
    ("photo", "photo of the deck"), ("sheet", "scan of its sheet"), ("review", "review"),
    ("receipt", "receipt"), ("other", "other paper"),
)  # fmt: skip


def standing(request: Request) -> dict[str, Any]:
    """All photos and papers, the newest visit's first."""
    told = about(request, "files")
    with bench_of(request).open() as book:
        every = book.files_of(told["record"].deck, hidden=True)
    return {
        **told, "kinds": WORDS, "most": FILE_BYTES // 1_000_000,
        "photos": [one for one in reversed(every) if one.kind == "photo" and not one.hidden],
        "papers": [one for one in reversed(every) if one.kind != "photo" and not one.hidden],
        "hidden": [one for one in reversed(every) if one.hidden],
    }  # fmt: skip


def add(request: Request, form: Form) -> Told:
    """Keep what was uploaded: pictures are scaled and made anew, so that nothing else comes in."""
    name = request.path_params["deck"]
    files = form.files("files")
    kind = form.text("kind", 20) or "photo"
    if kind not in dict(WORDS):
        raise InputError(f"The kind '{kind}' was picked", "one of the list is needed")
    if not files:
        raise InputError("No file was chosen", "a photo (JPEG, PNG, WebP) or a PDF is needed")
    ready = [taken(one, photo=kind == "photo") for one in files]  # all of them, or none
    with bench_of(request).open() as book:
        deck = book.find_deck(name)
        visit = current_visit(book.deck_record(deck, curves=False))
        for one in ready:
            book.add_file(
                deck, visit, one.content, one.media, kind=kind,  # type: ignore[arg-type]
                caption=form.text("caption", 300), name=one.name,
                size_points=(one.width, one.height),
            )  # fmt: skip
    many = "1 file was" if len(ready) == 1 else f"{len(ready)} files were"
    return Told(deck_path(name, "files"), f"{many} kept.")


def change(request: Request, form: Form) -> Told:
    """Write a caption anew, quote a paper, take a file off the page or put it back."""
    name = request.path_params["deck"]
    here = deck_path(name, "files")
    with bench_of(request).open() as book:
        record = _of_deck(request, book)
        what = form.text("what", 20)
        if what == "hide":
            book.hide_file(record)
            return Told(here, "Taken off the page; it can be put back below.")
        if what == "show":
            book.hide_file(record, hidden=False)
            return Told(here, "Put back.")
        book.caption_file(record, form.text("caption", 300), form.text("quote", 1000))
    return Told(here, "Noted.")


def content(request: Request) -> Response:
    """The bytes of one of them; never anything else of the folder."""
    with bench_of(request).open() as book:
        record = _of_deck(request, book)
        path = book.file_path(record)
    headers = {"cache-control": "private, max-age=86400"}
    if record.media == "application/pdf":
        headers["content-disposition"] = "attachment"
    return FileResponse(path, media_type=record.media, headers=headers)


def _of_deck(request: Request, book: Any) -> FileRecord:
    record: FileRecord = book.file(request.path_params["number"])
    if record.deck_id != book.find_deck(request.path_params["deck"]).id:
        raise InputError(f"Number {record.id} is of another deck", "one of this deck is needed")
    return record


ROUTES = [
    *acting("/decks/{deck}/files", "files.html", standing, add, most_bytes=UPLOAD_BYTES),
    shown("/decks/{deck}/files/{number:int}", "", content),
    posted(
        "/decks/{deck}/files/{number:int}/change", change,
        lambda request: deck_path(request.path_params["deck"], "files"),
    ),
]  # fmt: skip
