"""Write the logbook that version 3 of the tables leaves behind, for `test_migrations.py`.

Run once, with the program that first had version 3 (0.1.0), and never again. It is the logbook of
version 2, opened (and so migrated) by that program, with a row in each table that is new.

    python tests/logbook/released/make_v3.py
"""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

from runstrue.logbook import Logbook, schema
from runstrue.quantity import Quantity
from runstrue.result import Result

FOLDER = Path(__file__).parent / "v3"


def main() -> None:
    """Write the folder anew."""
    assert len(schema.MIGRATIONS) == 3, "this program no longer writes version 3"
    shutil.rmtree(FOLDER, ignore_errors=True)
    shutil.copytree(FOLDER.parent / "v2", FOLDER)
    still = datetime(2026, 5, 2, 9, 30, tzinfo=UTC)
    with Logbook.open(FOLDER, clock=lambda: still) as book:
        deck = book.find_deck("Demo C-14")
        visit = book.current_visit(deck)
        book.take_back(book.add_repair(deck, visit, "idler_worn", words="named by mistake"))
        capture = book.captures(deck)[0]
        for percent in (0.11, 0.12):
            belt = Result(
                "flutter.weighted_peak", "by-part/1", "both", Quantity(percent, "%", 0.01),
                conditions={"part": "main belt"},
            )  # fmt: skip
            book.add_results(capture, [belt], basis=f"transport c-14.toml, {percent}")
    shutil.rmtree(FOLDER / "backups", ignore_errors=True)


if __name__ == "__main__":
    main()
