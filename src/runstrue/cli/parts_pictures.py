"""Pictures of an attribution: shares, turns, the spectrum with names, the transport."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from runstrue.cli.parts_work import Looked
    from runstrue.measure.parts.model import OnceRound, PartShare
    from runstrue.quantity import Quantity
    from runstrue.report.figure_once_round import Round
    from runstrue.report.figure_parts import Bar
    from runstrue.report.style import Caption, Role, Shape
    from runstrue.verdict.models import Limit

WHOLE = "the reading, two-sigma"


def write_parts_pictures(
    seen: Sequence[Looked], folder: Path, limits: Sequence[Limit] = ()
) -> list[Path]:
    """Write each picture as SVG, PNG and 16:9.

    Parameters
    ----------
    seen : sequence of Looked
        One, or before and after.
    folder : Path
        Made where it does not exist.
    limits : sequence of Limit

    Raises
    ------
    FileError
        When a file cannot be written.
    """
    from runstrue.report.figures import png_of, svg_of
    from runstrue.report.files import make_folder, write_whole

    make_folder(folder)
    written = []
    for name, draw in parts_drawings(seen, limits):
        page = draw("page")
        written.append(write_whole(folder / f"{name}.svg", svg_of(page)))
        written.append(write_whole(folder / f"{name}.png", png_of(page)))
        written.append(write_whole(folder / f"{name}-wide.png", png_of(draw("wide"))))
    return written


def parts_drawings(
    seen: Sequence[Looked], limits: Sequence[Limit]
) -> Iterator[tuple[str, Callable[[Shape], Any]]]:
    """Yield the pictures of one record, or of before and after: their names, and how to draw."""
    from runstrue.cli.show_parts import parts_of_lines
    from runstrue.report.figure_once_round import draw_once_round
    from runstrue.report.figure_parts import draw_parts
    from runstrue.report.figure_spectrum import Spectrum, draw_spectrum
    from runstrue.report.figure_transport import draw_transport
    from runstrue.transport.rates import study

    last = seen[-1]
    caption = _caption(seen)
    roles: tuple[Role, ...] = ("left",) if len(seen) == 1 else ("found", "left")
    labels = ["this recording"] if len(seen) == 1 else ["before", "after"]
    limit = next(
        (one for one in limits if one.ids == ("flutter.weighted_peak",) and one.has_bound), None
    )
    bars = _bars(seen, roles)
    yield (
        "parts",
        lambda shape: draw_parts(
            bars, caption, labels=dict(zip(roles, labels, strict=True)),
            limit_percent=limit.high if limit else None, shape=shape,
        ),
    )  # fmt: skip
    for once in last.rounds:
        rounds = [
            _round(one, role, label)
            for looked, role, label in zip(seen, roles, labels, strict=True)
            for one in looked.rounds
            if one.id == once.id
        ]
        yield (
            f"once-round-{once.id}",
            lambda shape, once=once, rounds=rounds: draw_once_round(  # type: ignore[misc]
                once.name, rounds, caption, shape=shape
            ),
        )
    spectra, names = [], {}
    for looked, role, label in zip(seen, roles, labels, strict=True):
        peak = looked.heard.measured.find("flutter.weighted_peak")
        for trace in peak.traces if peak is not None else ():
            if peak is not None and trace.name == "flutter spectrum":
                spectra.append(Spectrum(trace, role, label, peak.lines))
                names = parts_of_lines(peak, looked)
    if spectra:
        yield (
            "spectrum",
            lambda shape: draw_spectrum(spectra, caption, parts=names, shape=shape),
        )
    drive, speed = last.drive, last.attribution.speed_percent
    studied = study(drive.transport, drive.speed_name)
    yield "transport", lambda shape: draw_transport(studied, speed_percent=speed, shape=shape)


def _caption(seen: Sequence[Looked]) -> Caption:
    from runstrue.report.style import Caption

    names = " and ".join(one.heard.name for one in seen)
    stage = "before and after" if len(seen) > 1 else ""
    return Caption(names, stage, remark=seen[-1].drive.transport.name)


def _bars(seen: Sequence[Looked], roles: Sequence[Role]) -> list[Bar]:
    """Return a row a part, in the order of the first record, between the whole and the rest."""
    from runstrue.report.figure_parts import Bar, Share
    from runstrue.report.told_parts import NOBODYS

    told = [one.attribution for one in seen]

    def shares(of: Callable[[int], Quantity | None]) -> tuple[Share, ...]:
        sizes = [(role, of(index)) for index, role in enumerate(roles)]
        return tuple(Share(role, size) for role, size in sizes if size is not None)

    bars = [Bar(WHOLE, shares(lambda index: _reading(seen[index])), whole=True)]
    for share in told[0].shares:
        same = [_same(share, one.shares) for one in told]
        bars.append(
            Bar(
                share.name,
                tuple(
                    Share(role, one.weighted, one.guilty)
                    for role, one in zip(roles, same, strict=True)
                    if one is not None
                ),
            )
        )
    bars.append(Bar(NOBODYS, shares(lambda index: told[index].unexplained), nobodys=True))
    return bars


def _reading(looked: Looked) -> Quantity | None:
    peak = looked.heard.measured.find("flutter.weighted_peak")
    return peak.quantity if peak is not None else None


def _same(share: PartShare, others: Sequence[PartShare]) -> PartShare | None:
    return next((one for one in others if set(one.ids) & set(share.ids)), None)


def _round(once: OnceRound, role: Role, label: str) -> Round:
    from runstrue.report.figure_once_round import Round

    return Round(
        role, label, once.turn, once.percent, once.within_percent, once.rate, once.turns,
        tuple((one.multiple, one.peak) for one in once.harmonics),
        tuple((one.place, one.size) for one in once.runouts),
    )  # fmt: skip
