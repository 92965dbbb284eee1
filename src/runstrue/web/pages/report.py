"""The printed sheet: what it will say, and the file to hand over."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from runstrue.errors import LogbookError
from runstrue.web.job_card import about
from runstrue.web.paging import Form, acting, bench_of


def standing(request: Request) -> dict[str, Any]:
    """What the sheet will say."""
    from runstrue.report.context import paper_of

    told = about(request, "report")
    record = told["record"]
    quoted = [one for one in record.papers if one.quote]
    return {
        **told, "paper": paper_of(record) if record.captures else None, "quoted": quoted
    }  # fmt: skip


def make(request: Request, form: Form) -> Response:
    """Make the sheet and send it as a file."""
    from urllib.parse import quote

    from runstrue.cli.keep import file_stem
    from runstrue.report.printed import write_report

    with bench_of(request).open() as book:
        found = book.find_deck(request.path_params["deck"])
        record = book.deck_record(found)
    if not record.captures:
        raise LogbookError(
            f"The deck '{found.name}' has no readings", "at least one is needed for a report",
            "measure it first",
        )  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"
        write_report(record, path, title=form.text("title", 120) or None)
        content = path.read_bytes()
    name = quote(f"{file_stem(found.name)}.pdf")
    return Response(
        content, media_type="application/pdf",
        headers={"content-disposition": f"attachment; filename*=UTF-8''{name}"},
    )  # fmt: skip


ROUTES = acting("/decks/{deck}/report", "report.html", standing, make)
