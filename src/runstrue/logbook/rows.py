"""Values to rows and back: JSON text, little-endian blobs, and the models' columns."""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, TypeVar

import msgspec
import numpy as np
from numpy.typing import NDArray

from runstrue.errors import InputError, LogbookError
from runstrue.logbook.models import (
    CaptureFacts,
    Deck,
    SheetEntry,
    Visit,
)
from runstrue.result import Deviation, Result, Trace, from_plain, to_plain
from runstrue.stimulus.testtape import TestTape
from runstrue.verdict.models import Sheet

Model = TypeVar("Model")

FACTS = CaptureFacts.__struct_fields__

RESULT_COLUMNS = (
    "quantity, method, channel, value, unit, u, degrees_of_freedom, low, middle, high, "
    "budget, over, lines, conditions, doubts"
)
TRACE_COLUMNS = (
    "name, channel, x_label, x_unit, y_label, y_unit, marks, points, "
    "x_type, x, x_crc32, y_type, y, y_crc32"
)


def result_values(result: Result) -> tuple[Any, ...]:
    """Return a result as the values of `RESULT_COLUMNS`.

    Raises
    ------
    LogbookError
        When a figure in it is not finite, since JSON and SQLite would lose it in silence.
    """
    plain = to_plain(result)
    spread = plain["range"] or {}
    table = plain["table"]
    return (
        plain["id"],
        plain["method"],
        plain["channel"],
        _real(plain["value"]),
        plain["unit"],
        _real(plain["u"]),
        _real(plain["degrees_of_freedom"]),
        _real(spread.get("low")),
        _real(spread.get("middle")),
        _real(spread.get("high")),
        encoded(plain["budget"]),
        None if table is None else encoded(table),
        encoded(plain["lines"] or []),
        encoded(plain["conditions"]),
        encoded(plain["doubts"]),
    )


def result_from(row: sqlite3.Row, traces: tuple[Trace, ...] = ()) -> Result:
    """Return the result of a row with `RESULT_COLUMNS`."""
    plain = {
        "id": row["quantity"],
        **{
            name: row[name]
            for name in ("method", "channel", "value", "unit", "u", "degrees_of_freedom")
        },
        "range": (
            None
            if row["middle"] is None
            else {name: row[name] for name in ("low", "middle", "high")}
        ),
        "table": None if row["over"] is None else decoded(row["over"], dict[str, Any]),
        "budget": decoded(row["budget"], list[dict[str, Any]]),
        "lines": decoded(row["lines"], list[dict[str, Any]]),
        "conditions": decoded(row["conditions"], dict[str, Any]),
        "doubts": decoded(row["doubts"], list[str]),
    }
    try:
        return replace(from_plain(plain), traces=traces)
    except (KeyError, TypeError, InputError) as error:
        raise _unreadable(f"reading of {row['quantity']}") from error


def deviation_values(deviation: Deviation) -> tuple[Any, ...]:
    """Return a deviation as the values of its columns after `analysis`.

    Raises
    ------
    LogbookError
        When its shape does not fit its channels.
    """
    percent = np.asarray(deviation.percent)
    if percent.ndim != 2 or percent.shape[0] != len(deviation.channels):
        raise LogbookError(
            f"A deviation of shape {percent.shape} was handed over for the channels "
            f"{', '.join(deviation.channels)}",
            "the shape (channel, sample) is needed",
        )
    blob = percent.astype("<f4").tobytes()
    return (
        float(deviation.rate_hz),
        float(deviation.nominal_hz),
        encoded(list(deviation.channels)),
        percent.shape[1],
        zlib.crc32(blob),
        blob,
    )


def deviation_from(row: sqlite3.Row) -> Deviation:
    """Return the deviation of a row, value for value as it was stored."""
    channels = tuple(decoded(row["channels"], list[str]))
    flat = _array(row["percent_f4"], "f4", row["crc32"], len(channels) * row["samples"])
    return Deviation(
        percent=flat.reshape(len(channels), row["samples"]).astype(np.float32, copy=False),
        rate_hz=row["rate_hz"],
        nominal_hz=row["nominal_hz"],
        channels=channels,
    )


def trace_values(trace: Trace) -> tuple[Any, ...]:
    """Return a curve as the values of `TRACE_COLUMNS`.

    Raises
    ------
    LogbookError
        When its two rows of values do not fit each other.
    """
    if np.shape(trace.x) != np.shape(trace.y) or np.ndim(trace.x) != 1:
        raise LogbookError(
            f"The curve '{trace.name}' has {np.shape(trace.x)} values along and "
            f"{np.shape(trace.y)} up",
            "two rows of one length are needed",
        )
    return (
        trace.name,
        trace.channel,
        trace.x_label,
        trace.x_unit,
        trace.y_label,
        trace.y_unit,
        encoded(dict(trace.marks)),
        len(trace.x),
        *_blob(trace.x),
        *_blob(trace.y),
    )


def trace_from(row: sqlite3.Row) -> Trace:
    """Return the curve of a row, value for value as it was stored."""
    return Trace(
        name=row["name"],
        x=_array(row["x"], row["x_type"], row["x_crc32"], row["points"]),
        y=_array(row["y"], row["y_type"], row["y_crc32"], row["points"]),
        x_label=row["x_label"],
        x_unit=row["x_unit"],
        y_label=row["y_label"],
        y_unit=row["y_unit"],
        channel=row["channel"],
        marks=decoded(row["marks"], dict[str, float]),
    )


def deck_from(row: sqlite3.Row) -> Deck:
    """Return the deck of a row."""
    facts = {
        name: row[name] for name in Deck.__struct_fields__ if name not in ("speeds_cm_s", "hidden")
    }
    speeds = tuple(decoded(row["speeds_cm_s"], list[float]))
    return Deck(**facts, speeds_cm_s=speeds, hidden=row["hidden_at"] is not None)


def sheet_from(row: sqlite3.Row, superseded: bool) -> SheetEntry:
    """Return the sheet of a row."""
    return SheetEntry(
        id=row["id"],
        deck_id=row["deck"],
        sheet=decoded(row["understood"], Sheet),
        source=row["source"],
        entered_at=row["entered_at"],
        program_version=row["program_version"],
        superseded=superseded,
    )


def visit_from(row: sqlite3.Row) -> Visit:
    """Return the visit of a row."""
    return Visit(
        id=row["id"],
        deck_id=row["deck"],
        begun_at=row["begun_at"],
        ended_at=row["ended_at"] or "",
        reason=row["reason"],
        notes=row["notes"],
    )


def facts_from(row: sqlite3.Row) -> CaptureFacts:
    """Return the facts of a capture's row."""
    return CaptureFacts(**{name: row[name] for name in FACTS})


def facts_values(facts: CaptureFacts) -> tuple[Any, ...]:
    """Return the facts of a capture in the order of `FACTS`."""
    return tuple(getattr(facts, name) for name in FACTS)


def tape_from(text: str) -> TestTape:
    """Return a stored test tape; what a later program added to its description is left out."""
    known = TestTape.__struct_fields__
    facts = {name: fact for name, fact in decoded(text, dict[str, Any]).items() if name in known}
    return decoded(encoded(facts), TestTape)


def encoded(value: Any) -> str:
    """Return a value as JSON text; figures keep every digit.

    Raises
    ------
    LogbookError
        When a figure in it is not finite.
    """
    plain = msgspec.to_builtins(value, enc_hook=_from_numpy)
    try:
        return json.dumps(plain, ensure_ascii=False, allow_nan=False)
    except ValueError as error:
        raise LogbookError(
            "A value that is no finite figure was to be stored",
            "every figure of a reading must be finite",
            "nothing was stored; this is an error of the program, please tell its makers",
        ) from error


def decoded(text: str, kind: type[Model]) -> Model:
    """Read JSON text back as the type it was stored from.

    Raises
    ------
    LogbookError
        When it is something else.
    """
    try:
        return msgspec.json.decode(text, type=kind)
    except (msgspec.MsgspecError, InputError) as error:
        raise _unreadable(kind.__name__) from error


def _from_numpy(value: Any) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return dict(value)
    raise NotImplementedError(f"{type(value).__name__} cannot be stored")


def _real(value: Any) -> float | None:
    if value is None:
        return None
    if not np.isfinite(value):
        encoded(float(value))  # raises the sentence
    return float(value)


def _blob(values: NDArray[np.floating]) -> tuple[str, bytes, int]:
    """Return type, bytes and CRC-32 of a row of values."""
    kind = "f4" if values.dtype.itemsize == 4 else "f8"
    blob = values.astype(f"<{kind}").tobytes()
    return kind, blob, zlib.crc32(blob)


def _array(blob: bytes, kind: str, crc32: int, values: int) -> NDArray[np.floating]:
    """Read a row of values back, in this machine's byte order and writable."""
    if kind not in ("f4", "f8") or zlib.crc32(blob) != crc32:
        raise _unreadable("curve")
    array: NDArray[np.floating] = np.frombuffer(blob, dtype=f"<{kind}")
    if array.size != values:
        raise _unreadable("curve")
    return array.astype(f"={kind}")


def _unreadable(what: str) -> LogbookError:
    return LogbookError(
        f"A stored value of the logbook cannot be read ({what})",
        "the row was damaged or written by something else than Runstrue",
        "run the check of the logbook; the last backup is in its folder 'backups'",
    )
