"""The part of the logbook that comes after a pass: what is worked out from it or judged anew.

Nothing here hears the recording again. What stood before stays on record.
"""

from __future__ import annotations

from collections.abc import Sequence

from runstrue.errors import LogbookError
from runstrue.logbook import loading, storing
from runstrue.logbook.models import CaptureRecord, ReadingRecord, SheetEntry
from runstrue.logbook.passes import Passes, by_key, judge, one_capture
from runstrue.result import Result
from runstrue.verdict.models import Verdict


class Afterwards(Passes):
    """Later looks at the passes of an open database; `Logbook` adds the overview."""

    def add_results(
        self,
        capture: CaptureRecord,
        results: Sequence[Result],
        *,
        basis: str,
        verdicts: Sequence[Verdict] | None = None,
        sheet: SheetEntry | None = None,
    ) -> CaptureRecord:
        """Keep what was worked out later from what is kept of a pass, such as its deviation.

        The recording is not heard again and the earlier readings keep their numbers. Of each
        method that speaks here, only what it says here stands from now on.

        Parameters
        ----------
        capture : CaptureRecord
            As it was read when this was worked out.
        results : sequence of Result
            At least one.
        basis : str
            What they go by besides the pass, in plain words: 'transport c-14.toml'.
        verdicts : sequence of Verdict, optional
            All of the pass, judged anew with these; None where the earlier ones stay.
        sheet : SheetEntry, optional
            The sheet that the verdicts rest on.

        Returns
        -------
        CaptureRecord
            With the added readings and, among its additions, where they came from.

        Raises
        ------
        LogbookError
            When there are no results, or the pass was measured again meanwhile.
        """
        if not results:
            raise LogbookError(
                f"Nothing was to be added to capture {capture.id}", "at least one result is needed"
            )
        now = self._database.now()
        with self._database.writing() as connection:
            analysis = storing.latest_analysis(connection, capture.id)
            standing = loading.load_readings(connection, analysis, {})
            known = (*standing, *loading.load_superseded(connection, analysis))
            if not {reading.id for reading in capture.readings} <= {one.id for one in known}:
                raise LogbookError(
                    f"Capture {capture.id} was measured again since it was read",
                    "what is added must go by the measuring that counts",
                    "read the capture again and work it out from that",
                )
            storing.insert_additions(
                connection, analysis, results, basis=basis, replaces=by_key(standing), now=now
            )
            if verdicts is not None:
                judge(connection, capture.deck_id, analysis, verdicts, sheet, now)
            return one_capture(connection, capture.id, curves=False)

    def judge_again(
        self,
        capture: CaptureRecord,
        verdicts: Sequence[Verdict],
        sheet: SheetEntry | None = None,
    ) -> CaptureRecord:
        """Keep what another look at the same readings says, with a sheet entered since."""
        with self._database.writing() as connection:
            analysis = storing.latest_analysis(connection, capture.id)
            judge(connection, capture.deck_id, analysis, verdicts, sheet, self._database.now())
            return one_capture(connection, capture.id, curves=False)

    def earlier_readings(self, capture: CaptureRecord) -> tuple[ReadingRecord, ...]:
        """Return the readings of a capture that no longer stand, oldest first."""
        with self._database.reading() as connection:
            latest = storing.latest_analysis(connection, capture.id)
            earlier = connection.execute(
                "SELECT id FROM analysis WHERE capture = ? AND id < ? ORDER BY id",
                (capture.id, latest),
            ).fetchall()
            gone = [
                reading
                for row in earlier
                for reading in (
                    *loading.load_readings(connection, row["id"], {}),
                    *loading.load_superseded(connection, row["id"]),
                )
            ]
            gone += loading.load_superseded(connection, latest)
            return tuple(sorted(gone, key=lambda reading: reading.id))
