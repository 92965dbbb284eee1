"""A programme made of a test tape's description, so that its sections can be found and measured."""

from __future__ import annotations

from runstrue.errors import DescriptionError
from runstrue.stimulus.programme import Programme
from runstrue.stimulus.section_rows import corrections_of, laid_out
from runstrue.stimulus.testtape import TestTape


def programme_of(tape: TestTape, key: str) -> Programme:
    """Return the sections of a test tape as a programme.

    Parameters
    ----------
    tape : TestTape
    key : str
        Short name: that of its file.

    Raises
    ------
    DescriptionError
        When the description lists no sections.
    """
    if not tape.section:
        raise DescriptionError(
            f"The description of '{tape.name}' lists no sections",
            "a [[section]] for each part of the tape is needed",
            "see `runstrue tape new FILE --sections`",
        )
    constants = tape.equalisation_us
    return Programme(
        key,
        tape.name,
        laid_out(tape.section),
        kind="tape",
        reference_hz=tape.reference_hz,
        flux_nwb_per_m=tape.flux_nwb_per_m,
        flux_scale=tape.flux_scale,
        equalisation_us=(
            (constants[0], constants[1] if len(constants) > 1 else None) if constants else None
        ),
        tolerance_db=tape.level_tolerance_db,
        corrections_db=corrections_of(tape.section),
        batch=tape.batch,
        remark=tape.remark,
    )
