"""`runstrue practice`: a virtual deck with a known fault, played to a file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.cli.teach import ExampleCommand
from runstrue.errors import FileError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from runstrue.virtualdeck.presets import Preset

LEAD_S = 1.0
"""Silence before the deck starts and after it stops, as in a recording made by hand."""


@click.command(cls=ExampleCommand, short_help="Play a virtual deck with a known fault to a file.")
@click.argument("preset", required=False)
@click.option(
    "-o",
    "--out",
    "target",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Ends in .flac or .wav; else the preset's name.",
)
@click.option("--tone", "tone_hz", type=float, default=3150.0, show_default=True, metavar="HZ")
@click.option("--length", "length_s", type=float, default=60.0, show_default=True, metavar="S")
@click.option(
    "--seed",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    metavar="N",
    help="Another number is another run of the same deck.",
)
@click.option("--rate", "rate_hz", type=int, default=48_000, show_default=True, metavar="HZ")
@click.option("--depth", type=click.Choice(("16", "24", "float")), default="24", show_default=True)
@click.option("--level", "level_dbfs", type=float, default=-6.0, show_default=True, metavar="DB")
@click.option("--mono", is_flag=True, help="One channel.")
def practice(
    preset: str | None,
    target: Path | None,
    tone_hz: float,
    length_s: float,
    seed: int,
    rate_hz: int,
    depth: str,
    level_dbfs: float,
    mono: bool,
) -> None:
    """Play a virtual deck with a known fault to a file.

      runstrue practice
      runstrue practice flattened-roller -o side-a.flac
      runstrue measure side-a.flac

    Without PRESET the decks are listed. The truth is written beside the recording, in
    side-a.truth.json: do not look before you have measured.
    """
    from runstrue.cli.layout import out, wrapped
    from runstrue.virtualdeck.presets import PRESETS
    from runstrue.virtualdeck.presets import preset as preset_of

    if preset is None:
        out(_list(list(PRESETS.values())))
        return
    chosen = preset_of(preset)
    path = target or Path(f"{chosen.key}.flac")
    truth = play_to(
        chosen, path, tone_hz=tone_hz, length_s=length_s, seed=seed, rate_hz=rate_hz, depth=depth,
        level_dbfs=level_dbfs, channels=1 if mono else 2,
    )  # fmt: skip
    out(wrapped(f"{chosen.deck.name}: {chosen.notice}"))
    out(wrapped(f"Written to '{path}', the truth about it to '{truth}'."))
    out(f"Next: runstrue measure {path}")


def play_to(
    chosen: Preset,
    path: Path,
    *,
    tone_hz: float = 3150.0,
    length_s: float = 60.0,
    seed: int = 1,
    rate_hz: int = 48_000,
    depth: str = "24",
    level_dbfs: float = -6.0,
    channels: int = 2,
) -> Path:
    """Play a preset to a file and return where the truth lies.

    Raises
    ------
    FileError
        When a file of that name is there that is not a virtual deck's recording.
    """
    from runstrue.cli.progress import Ticker
    from runstrue.stimulus.tone import Tone
    from runstrue.virtualdeck.play import Performance
    from runstrue.virtualdeck.write import truth_path, write_recording

    if path.exists() and not truth_path(path).exists():
        raise FileError(
            f"'{path}' is there already and is not a virtual deck's recording",
            "it is not written over",
            "choose another name with -o",
        )
    lead_s = LEAD_S if length_s > 12 * LEAD_S else 0.0
    ticker = Ticker(path.name, length_s)

    class Watched(Performance):
        """The same, with a line on stderr that says how far it is."""

        def blocks(self, frames_per_block: int) -> Iterator[NDArray[np.float64]]:
            done = 0
            for block in super().blocks(frames_per_block):
                done += block.shape[1]
                ticker.at(done / self.rate_hz)
                yield block

    performance = Watched(
        chosen.deck,
        Tone(tone_hz, level_dbfs),
        duration_s=length_s,
        rate_hz=rate_hz,
        channels=channels,
        seed=seed,
        lead_in_s=lead_s,
        lead_out_s=lead_s,
    )
    with ticker:
        return write_recording(performance, path, depth=depth)  # type: ignore[arg-type]


def _list(presets: list[Preset]) -> Iterator[str]:
    from runstrue.cli.layout import bold, wrapped

    yield bold("Decks to practise on, of the invented maker Wrenholm")
    width = max(len(one.key) for one in presets) + 4
    for one in presets:
        yield from wrapped(one.notice, " " * width, first=f"  {one.key}".ljust(width))
    yield ""
    yield "runstrue practice flattened-roller -o side-a.flac plays one."
