"""The printed sheet: a record's context and figures, set by typst into A4 pages.

Everything comes from the record; nothing is fetched. Text of the user reaches the template as
data, never as source, so a deck called ``#import "x"`` is printed with that name.
"""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from runstrue.errors import RunstrueError
from runstrue.logbook.models import DeckRecord
from runstrue.report.context import paper_of, plain_of
from runstrue.report.figures import drawings_of, svg_of
from runstrue.report.files import make_folder, write_whole
from runstrue.report.glyphs import font_folder

TEMPLATE = Path(__file__).with_name("sheet.typ")
DOTS_PER_INCH = 150.0


def write_report(record: DeckRecord, path: Path, *, title: str | None = None) -> Path:
    """Write the printed sheet of a deck.

    Parameters
    ----------
    record : DeckRecord
        With curves, if figures are wanted.
    path : Path
        Ends in '.pdf'. Its folder is made where it does not exist.
    title : str, optional
        Heading; else 'Bench record'.

    Returns
    -------
    Path
        What was written.

    Raises
    ------
    FileError
        When it cannot be written; an earlier file at this path is then as it was.
    """
    (content,) = _pages(record, "pdf", title)
    make_folder(path.parent)
    return write_whole(path, content)


def write_pages(record: DeckRecord, folder: Path, *, title: str | None = None) -> list[Path]:
    """Write the printed sheet as pictures, one PNG a page: 'page-1.png' and so on."""
    make_folder(folder)
    return [
        write_whole(folder / f"page-{number}.png", content)
        for number, content in enumerate(_pages(record, "png", title), start=1)
    ]


def _pages(record: DeckRecord, form: Literal["pdf", "png"], title: str | None) -> list[bytes]:
    import typst

    drawings = drawings_of(record)
    pictures = {drawing.key: svg_of(drawing.draw("page")) for drawing in drawings}
    paper = paper_of(record, [(one.key, one.told) for one in drawings], title=title)
    inputs = {f"picture-{key}": svg.decode() for key, svg in pictures.items()}
    inputs["paper"] = json.dumps(plain_of(paper))
    compiler = typst.Compiler(
        TEMPLATE,
        root=TEMPLATE.parent,
        font_paths=[font_folder()],
        ignore_system_fonts=True,
        sys_inputs=inputs,
    )
    try:
        made: Any = compiler.compile(
            format=form, ppi=DOTS_PER_INCH, timestamp=_seconds(record.read_at)
        )
    except typst.TypstError as error:
        raise RunstrueError(
            f"The printed sheet could not be set ({error})",
            "this is a fault of the program, not of the record",
            "report it with the deck's record",
        ) from error
    return list(made) if isinstance(made, list) else [made]


def _seconds(stamp: str) -> int:
    """Time for the file's own date: that of the record, so that equal records give equal files."""
    try:
        return int(datetime.fromisoformat(stamp).timestamp())
    except ValueError:
        return 0
