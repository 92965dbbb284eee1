"""`runstrue practice`: a virtual deck with a known fault, played to a file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from runstrue.cli.teach import ExampleCommand

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from runstrue.virtualdeck.presets import Preset

LEAD_S = 1.0
"""Silence before the deck starts and after it stops, as in a recording made by hand."""
DECK, TRANSPORT = "C-14", "one-belt"
"""All decks here are of one model; the example has the sizes that they were set up with."""


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
@click.option(
    "--programme",
    "programme_key",
    metavar="KEY|FILE",
    help="Record and play a test programme there, or play a bought tape; else a tone.",
)
@click.option(
    "--noise-reduction",
    type=click.Choice(("off", "recorded", "both")),
    help="With a programme: recorded with it and played without, or on in both.",
)
@click.option(
    "--reveal",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Say the truth about a recording that was made here.",
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
    programme_key: str | None,
    noise_reduction: str | None,
    reveal: Path | None,
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
      runstrue parts side-a.flac --transport c-14.toml

    The whole sheet, and what the needles of its meters show:
      runstrue practice dirty-head --programme quick-look -o quick.flac
      runstrue measure quick.flac --programme quick-look
      runstrue practice --reveal quick.flac
      runstrue practice meter-offset --programme meters -o needles.txt

    Without PRESET the decks are listed. Beside the recording lie the sizes of the deck's
    transport, c-14.toml, and the truth about it, side-a.truth.json: do not look before you have
    measured.
    """
    from runstrue.cli.layout import out, wrapped

    if reveal is not None:
        from runstrue.cli.show_truth import truth_lines

        out(truth_lines(reveal))
        return
    if preset is None:
        out(_list())
        return
    chosen = deck_named(preset)
    if programme_key is not None:
        _programme(chosen, programme_key, target, noise_reduction or "", seed, rate_hz, depth)
        return
    path = target or Path(f"{chosen.key}.flac")
    truth = play_to(
        chosen, path, tone_hz=tone_hz, length_s=length_s, seed=seed, rate_hz=rate_hz, depth=depth,
        level_dbfs=level_dbfs, channels=1 if mono else 2,
    )  # fmt: skip
    out(wrapped(f"{chosen.deck.name}: {chosen.notice}"))
    sizes = describe_beside(path)
    out(wrapped(f"Written to '{path}', the truth about it to '{truth}'."))
    out(wrapped(f"The sizes of its transport: '{sizes}'."))
    out(f"Next: runstrue measure {path}")
    out(f"      runstrue parts {path} --transport {sizes}")


def deck_named(key: str) -> Preset:
    """Return a deck of either list.

    Raises
    ------
    InputError
        When there is none of that name.
    """
    from runstrue.errors import InputError
    from runstrue.virtualdeck.presets import PRESETS
    from runstrue.virtualdeck.presets_electrical import ELECTRICAL

    every = {**PRESETS, **ELECTRICAL}
    if key in every:
        return every[key]
    raise InputError(
        f"There is no virtual deck '{key}'",
        "a name of the list is needed",
        "see `runstrue practice`",
    )


def _programme(
    chosen: Preset, key: str, target: Path | None, noise_reduction: str, seed: int, rate_hz: int,
    depth: str,
) -> None:  # fmt: skip
    """Play a programme instead of a tone, and say what comes next."""
    from runstrue.cli.layout import out, wrapped
    from runstrue.cli.practice_programme import play_programme_to, write_needles
    from runstrue.cli.programme import programme_named

    made = programme_named(key)
    needles = made.key == "meters"
    path = target or Path(f"{chosen.key}-{made.key}{'.txt' if needles else '.flac'}")
    if needles:
        truth = write_needles(chosen, made, path)
    else:
        truth = play_programme_to(
            chosen, made, path, noise_reduction=noise_reduction, seed=seed, rate_hz=rate_hz,
            depth=depth,
        )  # fmt: skip
    out(wrapped(f"{chosen.deck.name}: {chosen.notice}"))
    what = "What its needles showed was" if needles else f"The programme '{made.name}' was"
    out(wrapped(f"{what} written to '{path}', the truth about it to '{truth}'."))
    measured = f"measure {path} {'--programme' if made.kind == 'made' else '--tape'} {key}"
    out(f"Next: runstrue {f'meter {path}' if needles else measured}")
    out(f"Then: runstrue practice --reveal {path}")


def describe_beside(path: Path) -> Path:
    """Write the sizes of the decks' transport into the folder of a recording, once.

    Raises
    ------
    FileError
        When it cannot be written.
    """
    from runstrue.report.files import write_whole
    from runstrue.transport.examples import example_text

    described = path.with_name(f"{DECK.lower()}.toml")
    if described.exists():  # perhaps with somebody's own remarks by now
        return described
    return write_whole(described, example_text(TRANSPORT).encode())


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
    from runstrue.cli.practice_programme import refuse_to_write_over
    from runstrue.cli.progress import Ticker
    from runstrue.stimulus.tone import Tone
    from runstrue.virtualdeck.play import Performance
    from runstrue.virtualdeck.write import write_recording

    refuse_to_write_over(path)
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


def _list() -> Iterator[str]:
    from runstrue.cli.layout import bold, wrapped
    from runstrue.virtualdeck.presets import PRESETS
    from runstrue.virtualdeck.presets_electrical import ELECTRICAL

    width = max(len(key) for key in (*PRESETS, *ELECTRICAL)) + 4
    for title, decks in (
        ("Decks to practise on, of the invented maker Wrenholm", PRESETS),
        ("The same deck with one fault of its electronics or heads each", ELECTRICAL),
    ):
        yield bold(title)
        for one in decks.values():
            yield from wrapped(one.notice, " " * width, first=f"  {one.key}".ljust(width))
        yield ""
    yield "runstrue practice flattened-roller -o side-a.flac plays a tone on one."
    yield "runstrue practice dirty-head --programme quick-look plays a whole programme."
