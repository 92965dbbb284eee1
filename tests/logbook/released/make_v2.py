"""Write the logbook that version 2 of the tables leaves behind, for `test_migrations.py`.

Run once, with the program that first had version 2 (0.1.0), and never again. It is the logbook of
version 1, opened (and so migrated) by that program, with a row in each table that is new.

    python tests/logbook/released/make_v2.py
"""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

from runstrue.faults.models import Evidence
from runstrue.logbook import Logbook, schema

FOLDER = Path(__file__).parent / "v2"


def main() -> None:
    """Write the folder anew."""
    assert len(schema.MIGRATIONS) == 2, "this program no longer writes version 2"
    shutil.rmtree(FOLDER, ignore_errors=True)
    shutil.copytree(FOLDER.parent / "v1", FOLDER)
    still = datetime(2026, 5, 1, 9, 30, tzinfo=UTC)
    with Logbook.open(FOLDER, clock=lambda: still) as book:
        deck = book.find_deck("Demo C-14")
        visit = book.open_visit(deck, "plays slow again")
        book.add_transport(deck, 'tape_speed = "1 7/8 in/s"\n', "c-14.toml", 4.76)
        book.add_intake_answer(deck, visit, "plug", "sound")
        slow = Evidence(kind="check", key="ms_speed", answer="slow", because="speed −2.1 %")
        book.add_evidence(deck, visit, slow)
        wow = Evidence(kind="symptom", key="wow", answer="present")
        book.take_back(book.add_evidence(deck, visit, wow))
        book.add_repair(
            deck, visit, "main_belt_slack", words="new belt", minutes=40.0, parts="square 1.2"
        )
        book.set_setting("faults.tools", "multimeter")
    shutil.rmtree(FOLDER / "backups", ignore_errors=True)


if __name__ == "__main__":
    main()
