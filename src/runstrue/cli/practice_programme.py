"""Practising the whole sheet: a programme recorded and played on a virtual deck, needles read."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

from runstrue.errors import FileError, InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from runstrue.stimulus.programme import Programme
    from runstrue.virtualdeck.deck import VirtualDeck
    from runstrue.virtualdeck.presets import Preset

LEAD_S = 1.0
OVERLAP_S = 2.5
"""An erasing pass begins and ends in the middle of the pauses around what it wipes."""
NOISE_REDUCTION = "noise-reduction"


def play_programme_to(
    chosen: Preset,
    programme: Programme,
    path: Path,
    *,
    noise_reduction: str = "",
    seed: int = 1,
    rate_hz: int = 48_000,
    depth: str = "24",
) -> Path:
    """Record a programme on a preset's deck, play it there to a file, return where the truth lies.

    A bought tape (a programme of kind 'tape') is played only. Of the programme 'erasure' the part
    that is to be erased is erased.

    Raises
    ------
    FileError
        When a file of that name is there that is not a virtual deck's recording.
    InputError
        When noise reduction is asked for on a deck without electronics.
    """
    from runstrue.cli.progress import Ticker
    from runstrue.virtualdeck.play import Performance
    from runstrue.virtualdeck.write import write_recording

    refuse_to_write_over(path)
    deck = _wiped(_companded(chosen.deck, programme, noise_reduction), programme)
    lasts_s = programme.lasts_s / (1 + deck.speed_error_percent / 100)
    ticker = Ticker(path.name, lasts_s)

    class Watched(Performance):
        """The same, with a line on stderr that says how far it is."""

        def blocks(self, frames_per_block: int) -> Iterator[NDArray[np.float64]]:
            done = 0
            for block in super().blocks(frames_per_block):
                done += block.shape[1]
                ticker.at(done / self.rate_hz)
                yield block

    performance = Watched(
        deck, programme, duration_s=lasts_s + 2 * LEAD_S + 1 + deck.run_up_s + deck.run_down_s,
        rate_hz=rate_hz, seed=seed, lead_in_s=LEAD_S, lead_out_s=LEAD_S,
        recorded_here=programme.kind == "made",
    )  # fmt: skip
    with ticker:
        return write_recording(performance, path, depth=depth)  # type: ignore[arg-type]


def write_needles(chosen: Preset, programme: Programme, path: Path) -> Path:
    """Write what the needles of a deck show while a programme is fed; return where the truth lies.

    Raises
    ------
    InputError
        When the deck has no meters.
    FileError
        When a file of that name is there that is not of a virtual deck.
    """
    from runstrue.report.files import write_whole
    from runstrue.virtualdeck.meters import needle_readings
    from runstrue.virtualdeck.truth import FORMAT
    from runstrue.virtualdeck.write import truth_path

    if not chosen.deck.meters:
        raise InputError(
            f"The deck '{chosen.key}' has no level meters to read",
            "one with an electrical fault is needed", "such as meter-offset",
        )  # fmt: skip
    refuse_to_write_over(path)
    shown = [
        one for one in needle_readings(chosen.deck.meters, programme)
        if not one.section.startswith(("lead-in", "pilot", "level"))
    ]  # fmt: skip
    write_whole(path, "".join(f"{one.line}\n" for one in shown).encode())
    truth = {"format": FORMAT, "deck": asdict(chosen.deck), "stimulus": programme.name, "sheet": []}
    text = json.dumps(truth, ensure_ascii=False, indent=2)
    return write_whole(truth_path(path), (text + "\n").encode())


def refuse_to_write_over(path: Path) -> None:
    """Let only a virtual deck's own files be written over.

    Raises
    ------
    FileError
        When something else is there.
    """
    from runstrue.virtualdeck.write import truth_path

    if path.exists() and not truth_path(path).exists():
        raise FileError(
            f"'{path}' is there already and is not a virtual deck's recording",
            "it is not written over",
            "choose another name with -o",
        )


def _companded(deck: VirtualDeck, programme: Programme, wanted: str) -> VirtualDeck:
    """Switch noise reduction: as asked, or on for its own programme and off for all others."""
    from runstrue.virtualdeck.chain import Compander

    wanted = wanted or ("both" if programme.key == NOISE_REDUCTION else "off")
    if deck.chain is None:
        if wanted != "off" and programme.key != NOISE_REDUCTION:
            raise InputError(
                "This deck has a transport only, without noise reduction",
                "one with an electrical fault is needed", "such as mistracking",
            )  # fmt: skip
        return deck
    if wanted == "off":
        return replace(deck, chain=replace(deck.chain, compander=None))
    known = deck.chain.compander or Compander()
    switched = replace(known, recording=True, playing=wanted == "both")
    return replace(deck, chain=replace(deck.chain, compander=switched))


def _wiped(deck: VirtualDeck, programme: Programme) -> VirtualDeck:
    erased = [one for one in programme.sections if one.id.startswith("erased-")]
    if deck.chain is None or deck.chain.tape.erasure is None or not erased:
        return deck
    passes = tuple((one.starts_s - OVERLAP_S, one.ends_s + OVERLAP_S) for one in erased)
    erasure = replace(deck.chain.tape.erasure, passes_s=passes)
    return replace(deck, chain=replace(deck.chain, tape=replace(deck.chain.tape, erasure=erasure)))
