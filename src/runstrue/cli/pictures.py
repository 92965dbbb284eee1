"""Pictures of one measured recording, drawn by the report's own figures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    from runstrue.cli.measured import Done
    from runstrue.report.style import Shape
    from runstrue.verdict.models import Limit


def write_pictures(done: Done, folder: Path, *, stem: str = "", stage: str = "") -> list[Path]:
    """Write speed, spectrum, histogram, response and the like as SVG, PNG and a 16:9 picture.

    Parameters
    ----------
    done : Done
        Measured.
    folder : Path
        Made where it does not exist.
    stem : str
        Before the names of the files, where there are several recordings.
    stage : str
        Told in the caption.

    Raises
    ------
    FileError
        When a file cannot be written.
    """
    from runstrue.report.figures import png_of, svg_of
    from runstrue.report.files import make_folder, write_whole

    make_folder(folder)
    written = []
    for key, draw in _drawings(done, stage).items():
        name = f"{stem}-{key}" if stem else key
        page = draw("page")
        written.append(write_whole(folder / f"{name}.svg", svg_of(page)))
        written.append(write_whole(folder / f"{name}.png", png_of(page)))
        written.append(write_whole(folder / f"{name}-wide.png", png_of(draw("wide"))))
    return written


def _drawings(done: Done, stage: str) -> dict[str, Callable[[Shape], Any]]:
    from runstrue.cli.show_parts import parts_of_lines
    from runstrue.report.electrical_figures import Told, plates_of
    from runstrue.report.figure_deviation import Strand, draw_deviation
    from runstrue.report.figure_histogram import Distribution, draw_histogram
    from runstrue.report.figure_spectrum import Spectrum, draw_spectrum
    from runstrue.report.style import Caption
    from runstrue.report.words import figure_of

    measured = done.measured
    if measured is None:
        return {}
    caption = Caption(deck=done.path.name, stage=stage, remark=measured.summary.rstrip("."))
    label = stage or "this recording"
    speed, flutter = _limit(done, "speed.deviation"), _limit(done, "flutter.weighted_peak")
    drawings: dict[str, Callable[[Shape], Any]] = {}
    deviation = measured.deviation
    if deviation is not None:
        strand = Strand(deviation, "left", label)
        drawings["speed"] = lambda shape: draw_deviation(
            [strand], caption, limit_low=speed.low if speed else None,
            limit_high=speed.high if speed else None, shape=shape,
        )  # fmt: skip
    limits = [verdict.limit for verdict in done.verdicts]
    for plate in plates_of([Told(measured.results, "left", label)], limits):
        drawings[plate.key] = lambda shape, plate=plate: plate.draw(caption, shape)  # type: ignore[misc]
    if done.parts is not None:
        from runstrue.cli.parts_pictures import parts_drawings

        drawings |= dict(parts_drawings([done.parts], limits))
    peak = measured.find("flutter.weighted_peak")
    if peak is None:
        return drawings
    needle = measured.find("flutter.indicated_peak", peak.channel)
    for trace in peak.traces:
        if trace.name == "flutter spectrum":
            spectrum = Spectrum(trace, "left", label, peak.lines)
            names = parts_of_lines(peak, done.parts)
            drawings["spectrum"] = lambda shape, spectrum=spectrum, names=names: draw_spectrum(  # type: ignore[misc]
                [spectrum], caption, parts=names, shape=shape
            )
        if trace.name == "weighted deviation histogram":
            words = figure_of(peak.quantity, peak.id) if peak.quantity else ""
            spread = needle.spread if needle else None
            shown = Distribution(trace, "left", label, words, spread)
            drawings["histogram"] = lambda shape, shown=shown: draw_histogram(  # type: ignore[misc]
                [shown], caption, limit_percent=flutter.high if flutter else None,
                limit_words=", ".join(flutter.notes) if flutter else "", shape=shape,
            )  # fmt: skip
    return drawings


def _limit(done: Done, quantity_id: str) -> Limit | None:
    return next(
        (
            verdict.limit
            for verdict in done.verdicts
            if verdict.limit.ids == (quantity_id,) and verdict.limit.has_bound
        ),
        None,
    )
