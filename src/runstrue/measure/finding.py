"""Find the sections of a programme again in a recording of its playback.

The recording may start anywhere, run off speed, sway, hiss, be louder or softer than it was made,
have its channels swapped or one of them dead, and voice or leader in between. It is listened to
once, block by block (`finding_features`); runs of steady tone are gathered (`finding_runs`); the
chain of runs that fits the programme best fixes speed and time (`finding_chain`); every other
section is looked for where that puts it (`finding_place`, `finding_evidence`). What seems wrong
with the recording as a whole is said in words (`finding_remarks`). The method is our own.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from runstrue.measure.finding_chain import Chain, best_chain, has_a_tone
from runstrue.measure.finding_features import Features, features_of
from runstrue.measure.finding_place import Place, Placing
from runstrue.measure.finding_remarks import (
    Heard,
    clipped_from_s,
    is_mono,
    is_swapped,
    remarks_on,
    why_not_trusted,
)
from runstrue.measure.finding_runs import runs_of, tonal_frames
from runstrue.measure.sections import Finding, Found, Missing, Source
from runstrue.stimulus.programme import Programme, Section

FADE_S = 0.015
"""From the middle of a fade to where the sound is whole, and a little."""
MONO = ("mono",)


def find_sections(
    source: Source, programme: Programme, *, progress: Callable[[float], None] | None = None
) -> Finding:
    """Find the sections of a programme in a recording.

    Parameters
    ----------
    source : Source
        Read once, block by block; memory grows by 20 kB a second.
    programme : Programme
    progress : callable, optional
        Called with the seconds listened to so far.

    Returns
    -------
    Finding
        What was found and where, what is missing and why, and what seems wrong. With
        `Finding.trusted` False nothing may be measured, and nothing is found.

    Raises
    ------
    SignalError
        When a sample is not a number, or the recording is shorter than a second.
    """
    features = features_of(source.blocks(), source.rate_hz, source.channels, progress)
    return find_in(features, programme)


def find_in(features: Features, programme: Programme) -> Finding:
    """Find the sections of a programme in what `features_of` kept of a recording."""
    tonal = tonal_frames(features)
    heard = Heard(features, tonal, runs_of(features, tonal))
    chain = best_chain(programme, heard.runs)
    wrong = why_not_trusted(heard, chain, programme)
    if wrong:
        missing = tuple(
            Missing(one, "the recording as a whole cannot be trusted") for one in programme.sections
        )
        return Finding(
            programme, (), missing, (wrong,), False, _names(features, False), chain.speed_ratio
        )
    swapped = is_swapped(heard, chain, programme)
    found, missing = _places(heard, chain, programme, swapped)
    return Finding(
        programme,
        found,
        missing,
        tuple(remarks_on(heard, chain, programme)),
        True,
        _names(features, swapped),
        float(np.mean([one.speed_ratio for one in found])) if found else chain.speed_ratio,
    )


def _places(
    heard: Heard, chain: Chain, programme: Programme, swapped: bool
) -> tuple[tuple[Found, ...], tuple[Missing, ...]]:
    features = heard.features
    reference_db = _reference_db(heard, chain, programme)
    placing = Placing(
        programme, features, heard.tonal, heard.runs, chain, heard.evidence(reference_db)
    )
    lone = features.channels == 1 or is_mono(features)
    found: list[Found] = []
    missing: list[Missing] = []
    for number, section in enumerate(programme.sections):
        place = placing.place(number)
        why = place if isinstance(place, str) else _why_unusable(features, section, place, lone)
        if why or isinstance(place, str):
            missing.append(Missing(section, why))
            continue
        found.append(_found(features, section, place, swapped))
    return tuple(sorted(found, key=lambda one: one.starts_s)), tuple(missing)


def _why_unusable(features: Features, section: Section, place: Place, lone: bool) -> str:
    """Say why a section that was found may not be measured, or nothing."""
    if lone and section.channels != "both":
        return f"it is for the {section.channels} channel alone, and the recording is mono"
    clipped_s = clipped_from_s(features, place.starts_s, place.ends_s)
    if clipped_s is not None:
        return f"it is clipped at the sound card from {clipped_s:.1f} s on: record it softer"
    return ""


def _found(features: Features, section: Section, place: Place, swapped: bool) -> Found:
    inward_s = FADE_S + place.known_s
    starts_s, ends_s = place.starts_s + inward_s, place.ends_s - inward_s
    first = round(starts_s / features.cell_s)
    last = max(round(ends_s / features.cell_s), first + 1)
    power = features.cell_power[:, first:last].astype(np.float64).mean(axis=1)
    level_db = [float(one) for one in 10 * np.log10(2 * power + 1e-20)]
    return Found(
        section,
        starts_s,
        ends_s - starts_s,
        place.speed_ratio,
        tuple(reversed(level_db) if swapped else level_db),
        swapped,
    )


def _reference_db(heard: Heard, chain: Chain, programme: Programme) -> float:
    """Level of the programme's reference in this recording, in the louder channel."""
    gains = [
        max(heard.runs[index].level_db) - programme.sections[number].highest_db
        for number, index in chain.pairs
        if has_a_tone(programme.sections[number])
    ]
    return float(np.median(gains))


def _names(features: Features, swapped: bool) -> tuple[str, ...]:
    if features.channels == 1:
        return MONO
    return ("right", "left") if swapped else ("left", "right")
