"""Belts that can be had: a shop's list, a drawer's list, or one typed in.

A list is a CSV file whose first line names the columns. A length must say which one it is, since
a 'length' of 148 mm may be lay-flat, half of the inner circumference; and it must have a unit, in
the heading or in the cell. Whatever is unclear is refused with its line.
"""

from __future__ import annotations

import csv
import math
import os
import re
from dataclasses import dataclass
from pathlib import Path

from runstrue.errors import FileError, InputError
from runstrue.quantity import Quantity
from runstrue.transport.belt_section import KINDS, SAMPLE, Section, read_section
from runstrue.transport.belt_way import LONGEST_MM, SHORTEST_MM
from runstrue.transport.sizes import CALIPER, Instrument, read_size

AS_OFFERED = Instrument("a shop's figure, ±1 %", 0.0, 1.0)
"""Moulded and cut rubber keeps its length to about that (common practice, no source)."""
AGREEMENT = 0.02
"""Two lengths of one line may differ by so much of each other, being rounded."""

LENGTHS: dict[str, tuple[tuple[str, ...], float]] = {
    "inner circumference": (
        ("inner circumference", "inside circumference", "internal circumference", "ic"), 1.0,
    ),
    "inner diameter": (("inner diameter", "inside diameter", "internal diameter", "id"), math.pi),
    "lay-flat": (("lay-flat", "lay flat", "layflat", "folded", "folded inside"), 2.0),
}  # fmt: skip
"""Words of a heading, and by what such a length is multiplied for the inner circumference."""
NAMES = ("name", "item", "number", "no", "code", "article", "order number", "part", "belt")
SECTIONS = ("section", "kind", "shape", "profile")
UNCLEAR = (
    "length", "size", "diameter", "circumference", "dimension", "dimensions", "measure", "long",
    "outer diameter", "outside diameter", "od", "outer circumference", "loop",
)  # fmt: skip
HEADINGS = "'section', 'inner circumference mm', 'inner diameter mm' or 'lay-flat mm'"
SAMPLE_LIST = """name,section,inner circumference mm
drawer 1,square 1.2 mm,288
drawer 2,square 1.2 mm,297
drawer 3,flat 4 x 0.5 mm,300
"""


@dataclass(frozen=True, slots=True)
class Offer:
    """A belt that can be had.

    Parameters
    ----------
    name : str
    section : Section
    inner : Quantity
        Inner circumference, not stretched, in mm.
    """

    name: str
    section: Section
    inner: Quantity


def read_offer(text: str) -> Offer:
    """Read a belt typed in: 'square 1.2 mm, 297 mm' or 'flat 4 x 0.5 mm, lay-flat 148 mm'.

    Raises
    ------
    InputError
        When section or length are not understood.
    """
    section, _, length = text.rpartition(",")
    found = re.match(r"\s*(?P<words>[a-zA-Z -]*?)\s*(?P<size>[\d.].*)$", length)
    words = found["words"].lower().strip() if found else ""
    roles = [role for role, (known, _) in LENGTHS.items() if words in known] if words else []
    if not section.strip() or not found or (words and not roles):
        raise InputError(
            f"'{text}' was read as a belt",
            "section and inner circumference are needed",
            "write 'square 1.2 mm, 297 mm', or 'square 1.2 mm, lay-flat 148 mm'",
        )
    role = roles[0] if roles else "inner circumference"
    offered = read_section(section)
    inner = _inner(found["size"], role, "mm", "")
    return Offer(f"{offered}, {inner.value:.0f} mm".replace(" mm", "", 1), offered, inner)


def read_offers(path: str | os.PathLike[str]) -> list[Offer]:
    """Read a list of belts.

    Parameters
    ----------
    path : path
        CSV in UTF-8, parted by commas, semicolons or tabs, with a line of headings.

    Raises
    ------
    FileError
        When it cannot be read.
    InputError
        When a column or a line is not clear.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            f"'{path}' is no text in UTF-8", "a CSV file is needed", "save the list as CSV, UTF-8"
        ) from None
    except OSError as error:
        raise FileError(
            f"'{path}' cannot be read ({(error.strerror or str(error)).lower()})",
            "a list of belts is needed",
        ) from None
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(";\t,", key=first.count)
    reader = csv.reader(text.splitlines(), delimiter=delimiter, skipinitialspace=True)
    rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader]
    rows = [(line, row) for line, row in rows if any(row)]
    if len(rows) < 2:
        raise InputError(
            f"'{path}' lists no belts", f"a line of headings ({HEADINGS}) and one belt a line"
            " are needed",
        )  # fmt: skip
    columns = [_column(heading, str(path)) for heading in rows[0][1]]
    _refuse_missing(columns, str(path), rows[0][1])
    return [_offer(columns, row, f"'{path}', line {line}") for line, row in rows[1:]]


@dataclass(frozen=True, slots=True)
class _Column:
    """What a column holds: a role ('' for one that does not matter) and its unit."""

    role: str
    unit: str


def _column(heading: str, path: str) -> _Column:
    plain = " ".join(heading.lower().replace("_", " ").split())
    found = re.fullmatch(r"(.*?)[\s,]*[(\[]?\b(mm|cm|in|inch|inches)\b[)\]]?", plain)
    words, unit = (found[1], found[2]) if found and found[1] else (plain, "")
    words = words.strip(" ,([")
    for role, (known, _) in LENGTHS.items():
        if words in known:
            return _Column(role, unit)
    if words in NAMES:
        return _Column("name", unit)
    if words in SECTIONS:
        return _Column("section", unit)
    if words in ("thickness", "width"):
        return _Column(words, unit)
    if words in UNCLEAR:
        raise InputError(
            f"The column '{heading}' of '{path}' may mean several things",
            f"a heading such as {HEADINGS} is needed",
            "call it so, or take the column out",
        )
    return _Column("", "")


def _refuse_missing(columns: list[_Column], path: str, headings: list[str]) -> None:
    roles = [column.role for column in columns]
    shown = ", ".join(f"'{heading}'" for heading in headings)
    twice = next((role for role in roles if role and roles.count(role) > 1), None)
    if twice:
        raise InputError(
            f"'{path}' has two columns for the {twice} ({shown})", "one is needed", "take one out"
        )
    if not set(roles) & set(LENGTHS):
        raise InputError(
            f"'{path}' has no column with a length (its columns: {shown})",
            f"{HEADINGS.partition(', ')[2]} is needed",
            "rename the column",
        )
    if "section" not in roles:
        raise InputError(
            f"'{path}' has no column 'section' (its columns: {shown})",
            f"one with {SAMPLE} is needed",
            "add it",
        )


def _offer(columns: list[_Column], row: list[str], where: str) -> Offer:
    if len(row) > len(columns) and any(row[len(columns) :]):
        raise InputError(
            f"{where}: {len(row)} cells under {len(columns)} headings",
            "as many are needed",
            "put decimal commas in quotes, or part the columns by semicolons",
        )
    cells = {
        column.role: (cell, column.unit)
        for column, cell in zip(columns, row, strict=False)
        if column.role and cell
    }
    try:
        section = _section(cells)
        inners = [
            _inner(*cells[role][:1], role, cells[role][1], role)
            for role in LENGTHS
            if role in cells
        ]
    except InputError as error:
        raise InputError(f"{where}: {error.seen}", error.needed, error.next_step) from None
    if not inners:
        raise InputError(f"{where}: no length is given", "one is needed", "fill it in")
    for other in inners[1:]:
        if abs(other.value / inners[0].value - 1) > AGREEMENT:
            raise InputError(
                f"{where}: its lengths come to {inners[0].value:.4g} and {other.value:.4g} mm of "
                "inner circumference",
                "lengths that agree are needed",
                "look at the heading or the figure again",
            )
    name = cells.get("name", ("", ""))[0]
    return Offer(name or where.rpartition(", ")[2], section, inners[0])


def _section(cells: dict[str, tuple[str, str]]) -> Section:
    text, unit = cells.get("section", ("", ""))
    if not text:
        raise InputError("no section is given", f"{SAMPLE} is needed", "fill it in")
    if text.lower().removesuffix(" belt") in KINDS and "thickness" in cells:
        sizes = []
        for role in ("width", "thickness"):
            if role in cells:
                cell, column_unit = cells[role]
                sizes.append(read_size(cell, "length", CALIPER, bare_unit=column_unit))
        return read_section(f"{text} " + " x ".join(f"{size.value:.6g} mm" for size in sizes))
    return read_section(text, bare_unit=unit)


def _inner(cell: str, role: str, unit: str, heading: str) -> Quantity:
    """Return the inner circumference in mm."""
    told = read_size(cell, "length", AS_OFFERED, bare_unit=unit)
    factor = LENGTHS[role][1]
    inner = Quantity(told.value * factor, "mm", told.u * factor)
    if not SHORTEST_MM <= inner.value <= LONGEST_MM:
        raise InputError(
            f"{heading or role} '{cell}' would be {inner.value:.4g} mm of inner circumference",
            f"{SHORTEST_MM:g} to {LONGEST_MM:g} mm is needed",
            "check the figure and its unit",
        )
    return inner
