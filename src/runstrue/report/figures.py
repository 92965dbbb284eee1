"""Which figures a deck's record gives, and how they are written to files."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from runstrue.catalogue import KINDS
from runstrue.logbook.models import CaptureRecord, DeckRecord, Stage
from runstrue.report.electrical_figures import Plate, Told, plates_of
from runstrue.report.figure_change import Point, Row, draw_change
from runstrue.report.figure_deviation import Strand, draw_deviation
from runstrue.report.figure_histogram import Distribution, draw_histogram
from runstrue.report.figure_spectrum import Spectrum, draw_spectrum
from runstrue.report.files import make_folder, write_whole
from runstrue.report.parts_figures import PartsPlate, parts_plates, transport_plate
from runstrue.report.parts_figures import Stage as PartsStage
from runstrue.report.select import (
    Place,
    groups_of,
    judgements_of,
    place_of,
    place_words,
    places_among,
    shown_captures,
)
from runstrue.report.style import Caption, Role, Shape
from runstrue.report.told_parts import is_of_parts, names_in
from runstrue.report.words import figure_of, is_signed, name_of, span_words
from runstrue.result import Trace
from runstrue.verdict.models import Limit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ROLES: dict[Stage, Role] = {"as found": "found", "in between": "between", "as left": "left"}
# Over each other go found and left; what was tried in between is in the tables.
OVERLAID: tuple[Stage, ...] = ("as found", "as left")

SPECTRUM, HISTOGRAM, WEIGHTING = "flutter spectrum", "weighted deviation histogram", "weighting"


@dataclass(frozen=True, slots=True)
class Drawing:
    """One figure of a record.

    Parameters
    ----------
    key : str
        Name of its files: 'speed', 'spectrum', 'histogram', 'summary'.
    told : str
        What it shows, in words, for those who cannot see it.
    draw : callable
        Makes the figure in a shape, 'page' or 'wide'.
    """

    key: str
    told: str
    draw: Callable[[Shape], Figure]


def drawings_of(record: DeckRecord) -> list[Drawing]:
    """Return the figures that this record gives; none where nothing was kept to draw."""
    captures = shown_captures(record)
    listened = _overlaid(captures)
    limits = record.sheet.limits if record.sheet else ()
    made = [
        _summary(record, captures),
        _speed(record, listened, limits),
        _spectrum(record, listened),
        *_parts(record, listened, limits),
        _histogram(record, listened, limits),
    ]
    return [drawing for drawing in made if drawing is not None] + _electrical(record, captures)


def write_figures(record: DeckRecord, folder: Path) -> list[Path]:
    """Write each figure as SVG, as PNG, and as a 16:9 picture of 1920 × 1080 points.

    Parameters
    ----------
    record : DeckRecord
        With curves.
    folder : Path
        Made where it does not exist.

    Returns
    -------
    list of Path
        What was written: 'speed.svg', 'speed.png', 'speed-wide.png' and so on.

    Raises
    ------
    FileError
        When a file cannot be written; earlier files of the same name are then as they were.
    """
    make_folder(folder)
    written = []
    for drawing in drawings_of(record):
        page = drawing.draw("page")
        files = (
            (f"{drawing.key}.svg", svg_of(page)),
            (f"{drawing.key}.png", png_of(page)),
            (f"{drawing.key}-wide.png", png_of(drawing.draw("wide"))),
        )
        written += [write_whole(folder / name, content) for name, content in files]
    return written


def svg_of(figure: Figure) -> bytes:
    """Return the figure as SVG: the same bytes for the same figure, no date."""
    import matplotlib as mpl

    stream = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "runstrue", "svg.fonttype": "path"}):
        figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": "Runstrue"})
    return stream.getvalue()


def png_of(figure: Figure) -> bytes:
    """Return the figure as PNG in its own size and fineness."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": "Runstrue"})
    return stream.getvalue()


def _overlaid(captures: Sequence[CaptureRecord]) -> list[CaptureRecord]:
    """Return the latest capture as found and as left that were made at the same place.

    The place is the latest that has both; else that of the latest capture with curves,
    preferably as left.
    """
    with_curves = [
        capture
        for capture in captures
        if capture.deviation is not None or any(True for _ in _traces(capture))
    ]
    if not with_curves:
        return []
    stages: dict[Place, set[Stage]] = {}
    for capture in with_curves:
        stages.setdefault(place_of(capture.facts), set()).add(capture.facts.stage)
    both = [one for one in with_curves if stages[place_of(one.facts)] >= set(OVERLAID)]
    left = [one for one in with_curves if one.facts.stage == "as left"]
    place = place_of((both or left or with_curves)[-1].facts)
    chosen: dict[Stage, CaptureRecord] = {}
    for capture in with_curves:
        if place_of(capture.facts) == place:
            chosen[capture.facts.stage] = capture
    found_and_left = [chosen[stage] for stage in OVERLAID if stage in chosen]
    return found_and_left or list(chosen.values())


def _speed(
    record: DeckRecord, captures: Sequence[CaptureRecord], limits: Sequence[Limit]
) -> Drawing | None:
    strands = [
        Strand(capture.deviation, ROLES[capture.facts.stage], capture.facts.stage)
        for capture in captures
        if capture.deviation is not None
    ]
    if not strands:
        return None
    limit = _limit(limits, "speed.deviation")
    return Drawing(
        "speed",
        f"Speed deviation in per cent over time, {_stages(captures)}.",
        lambda shape: draw_deviation(
            strands,
            _caption(record, captures),
            limit_low=limit.low if limit else None,
            limit_high=limit.high if limit else None,
            shape=shape,
        ),
    )


def _spectrum(record: DeckRecord, captures: Sequence[CaptureRecord]) -> Drawing | None:
    spectra = []
    weighting: Trace | None = None
    names: dict[float, str] = {}
    for capture in captures:
        trace = _trace(capture, SPECTRUM)
        weighting = weighting or _trace(capture, WEIGHTING)
        if trace is not None:
            results = [reading.result for reading in capture.readings]
            lines = next((r.lines for r in results if r.lines and not is_of_parts(r)), ())
            names = names_in(results, lines)
            stage = capture.facts.stage
            spectra.append(Spectrum(trace, ROLES[stage], stage, lines))
    if not spectra:
        return None
    return Drawing(
        "spectrum",
        f"Flutter spectrum: speed variation in per cent over its rate, {_stages(captures)}.",
        lambda shape: draw_spectrum(
            spectra, _caption(record, captures), parts=names, weighting=weighting, shape=shape
        ),
    )


def _parts(
    record: DeckRecord, captures: Sequence[CaptureRecord], limits: Sequence[Limit]
) -> list[Drawing]:
    """Draw what each part does, and the transport where the deck is described."""
    stages = [
        PartsStage([one.result for one in capture.readings], ROLES[capture.facts.stage],
                   capture.facts.stage)
        for capture in captures
    ]  # fmt: skip
    limit = _limit(limits, "flutter.weighted_peak")
    plates = list(parts_plates(stages, limit.high if limit else None))
    last = captures[-1] if captures else None
    cm_s = last.facts.speed_cm_s if last else None
    speed = last.find("speed.deviation") if last else None
    off = speed.quantity.value if speed is not None and speed.quantity is not None else 0.0
    drawn = transport_plate(record.transport_at(cm_s), cm_s, off)

    def drawing(plate: PartsPlate) -> Drawing:
        caption = _caption(record, captures)
        return Drawing(plate.key, plate.told, lambda shape: plate.draw(caption, shape))

    return [drawing(plate) for plate in (*plates, drawn) if plate is not None]


def _histogram(
    record: DeckRecord, captures: Sequence[CaptureRecord], limits: Sequence[Limit]
) -> Drawing | None:
    shown = []
    for capture in captures:
        trace = _trace(capture, HISTOGRAM)
        if trace is None:
            continue
        reading = capture.find("flutter.weighted_peak", trace.channel or "both")
        needle = capture.find("flutter.indicated_peak", trace.channel or "both")
        words = ""
        if reading is not None and reading.quantity is not None:
            words = figure_of(reading.quantity, reading.id)
        stage = capture.facts.stage
        spread = needle.spread if needle else None
        shown.append(Distribution(trace, ROLES[stage], stage, words, spread))
    if not shown:
        return None
    limit = _limit(limits, "flutter.weighted_peak")
    return Drawing(
        "histogram",
        f"Share of the time at each weighted speed deviation, {_stages(captures)}.",
        lambda shape: draw_histogram(
            shown,
            _caption(record, captures),
            limit_percent=limit.high if limit else None,
            limit_words=", ".join(limit.notes) if limit else "",
            shape=shape,
        ),
    )


def _electrical(record: DeckRecord, captures: Sequence[CaptureRecord]) -> list[Drawing]:
    """Draw what was read besides speed and flutter, found and left over each other."""
    listened = [one for one in captures if one.facts.stage in OVERLAID and one.readings]
    told = [
        Told([reading.result for reading in one.readings], ROLES[one.facts.stage], one.facts.stage)
        for one in sorted(listened, key=lambda one: OVERLAID.index(one.facts.stage))
    ]
    limits = record.sheet.limits if record.sheet else ()

    def drawn(plate: Plate) -> Drawing:
        return Drawing(
            plate.key, plate.told, lambda shape: plate.draw(_caption(record, listened), shape)
        )

    return [drawn(plate) for plate in plates_of(told, limits)]


def _summary(record: DeckRecord, captures: Sequence[CaptureRecord]) -> Drawing | None:
    """Draw what the sheet names; without a sheet, what was read on both channels."""
    several = len(places_among(captures)) > 1
    rows: list[Row] = []
    on_sheet, _ = judgements_of(record, captures)
    for row in on_sheet:
        points = []
        quantity_id = row.limit.ids[0] if row.limit.ids else ""
        for stage, (verdict, shown) in row.verdicts.items():
            quantity = shown.reading.result.quantity if shown else None
            if quantity is not None and quantity.unit == row.limit.unit:
                points.append(Point(quantity, ROLES[stage]))
                quantity_id = verdict.id
        place = f" ({place_words(row.place)})" if several and place_words(row.place) else ""
        rows.append(_row(quantity_id, row.limit.unit, points, place, row.limit))
    if not any(row.points for row in rows):
        rows = []
        for group in groups_of(record, captures):
            result = group.any().reading.result
            if is_of_parts(result):
                continue
            shown_points = [
                Point(shown.reading.result.quantity, ROLES[stage])
                for stage in ROLES
                for shown in (group.latest(stage),)
                if shown and shown.reading.result.quantity
            ]
            words = ", ".join(p for p in (result.channel, place_words(group.place)) if p)
            unit = shown_points[0].quantity.unit if shown_points else ""
            rows.append(_row(result.id, unit, shown_points, f" ({words})" if words else "", None))
    rows = [row for row in rows if row.points]
    if not rows:
        return None
    return Drawing(
        "summary",
        "Readings with their 95 % intervals against what the sheet allows, "
        f"{_stages(captures)}; the figures stand in the tables.",
        lambda shape: draw_change(rows, _caption(record, captures), shape=shape),
    )


def _row(
    quantity_id: str, unit: str, points: Sequence[Point], place: str, limit: Limit | None
) -> Row:
    kind = KINDS.get(quantity_id)
    order = list(ROLES.values())
    return Row(
        name=name_of(quantity_id) + place,
        unit=unit,
        points=tuple(sorted(points, key=lambda point: order.index(point.role))),
        limit_low=limit.low if limit else None,
        limit_high=limit.high if limit else None,
        plus_minus=bool(kind and kind.plus_minus),
        signed=is_signed(kind),
        zero=bool(kind and kind.wanted == "low"),
    )


def _traces(capture: CaptureRecord) -> Sequence[Trace]:
    own = [trace for reading in capture.readings for trace in reading.result.traces]
    return (*capture.traces, *own)


def _trace(capture: CaptureRecord, name: str) -> Trace | None:
    """Return the trace of this name, of both channels where there is one, else of any."""
    alike = [trace for trace in _traces(capture) if name in trace.name and len(trace.x)]
    both = [trace for trace in alike if trace.channel in ("both", "")]
    return next(iter(both or alike), None)


def _limit(limits: Sequence[Limit], quantity_id: str) -> Limit | None:
    """Return the sheet's clear limit for this quantity; an ambiguous one is not drawn."""
    return next(
        (limit for limit in limits if limit.ids == (quantity_id,) and limit.has_bound), None
    )


def _stages(captures: Sequence[CaptureRecord]) -> str:
    return " and ".join(dict.fromkeys(capture.facts.stage for capture in captures))


def _caption(record: DeckRecord, captures: Sequence[CaptureRecord]) -> Caption:
    deck = record.deck
    name = deck.title + (f", serial {deck.serial}" if deck.serial else "")
    places = dict.fromkeys(place_words(place_of(capture.facts)) for capture in captures)
    return Caption(
        deck=name,
        stage=_stages(captures),
        when=span_words([capture.made_at for capture in captures]),
        remark=next(iter(places)) if len(places) == 1 else "",
    )
