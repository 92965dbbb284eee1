"""Write the logbook that version 4 of the tables leaves behind, for `test_migrations.py`.

Run once, with the program that first had version 4 (0.1.0), and never again. It is the logbook of
version 3, opened (and so migrated) by that program, with a paper of the deck.

    python tests/logbook/released/make_v4.py
"""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

from runstrue.logbook import Logbook, schema

FOLDER = Path(__file__).parent / "v4"


def main() -> None:
    """Write the folder anew."""
    assert len(schema.MIGRATIONS) == 4, "this program no longer writes version 4"
    shutil.rmtree(FOLDER, ignore_errors=True)
    shutil.copytree(FOLDER.parent / "v3", FOLDER)
    still = datetime(2026, 5, 3, 9, 30, tzinfo=UTC)
    with Logbook.open(FOLDER, clock=lambda: still) as book:
        deck = book.find_deck("Demo C-14")
        kept = book.add_file(
            deck, book.current_visit(deck), b"%PDF-1.4\n%%EOF\n", "application/pdf",
            kind="receipt", caption="belts", name="receipt.pdf",
        )  # fmt: skip
        book.caption_file(kept, "belts, two of them", "paid in full")
    shutil.rmtree(FOLDER / "backups", ignore_errors=True)


if __name__ == "__main__":
    main()
