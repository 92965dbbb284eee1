"""Which part makes which flutter of a record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from runstrue.measure.parts.kept import part_key
from runstrue.measure.parts.model import Attribution, PartShare
from runstrue.measure.parts.powers import Peaks, noise_peaks, together, track_peaks
from runstrue.measure.parts.reading import Reading, read_parts
from runstrue.measure.parts.removal import made_by
from runstrue.measure.parts.shares import group_peaks, shares_of, strays_of
from runstrue.quantity import Budget, Contribution, Quantity
from runstrue.result import Condition, Deviation, Result
from runstrue.transport.turning import Turning

METHOD = "part-lines/1"
UNEXPLAINED = "unexplained"
SHORT_S = 30.0


def attribute(
    deviation: Deviation, turnings: Sequence[Turning], *, played_s: float | None = None
) -> Attribution:
    """Match the flutter of a record to the parts of a transport.

    Parameters
    ----------
    deviation : Deviation
        Kept with a capture, or of a pass just made.
    turnings : sequence of Turning
        What turns, at the nominal tape speed.
    played_s : float or None
        What had gone by of the tape at the beginning of the record, in s at nominal speed; None
        where it is not known.

    Raises
    ------
    InputError
        When the tape is shorter than what is played of it.
    SignalError
        When no 10 s of unbroken tone are there.
    """
    reading = read_parts(deviation, turnings, played_s)
    groups = together(group_peaks(group, reading) for group in reading.groups)
    nobodys = together(_nobodys(reading))
    whole = together((groups, nobodys))
    rest = nobodys.weighted
    shares = shares_of(reading, whole)
    power = (rest.value / whole.weighted.value) ** 2 if whole.weighted.value else 0.0
    u_power = 2 * power * rest.u / rest.value if rest.value else 0.0
    return Attribution(
        shares=shares,
        strays=strays_of(reading, shares),
        unexplained=rest,
        unexplained_share=Quantity(100 * power, "%", 100 * u_power),
        whole=whole.flat,
        weighted=whole.weighted,
        used_s=reading.record.used_s,
        speed_percent=reading.record.mean_percent,
        results=tuple(_results(shares, rest, reading.record.used_s)),
        doubts=tuple(_doubts(reading, turnings, played_s)),
    )


def _nobodys(reading: Reading) -> Iterator[Peaks]:
    """Lines of nobody, and what is no line."""
    every = range(len(reading.tracks))
    left = [
        one.percent - made_by(reading, every, where)
        for where, one in enumerate(reading.record.stretches)
    ]
    yield noise_peaks(reading.record, left)
    for number in reading.strays:
        yield track_peaks(reading.tracks[number], reading.found, reading.pace)


def _results(shares: Sequence[PartShare], rest: Quantity, used_s: float) -> Iterator[Result]:
    used: dict[str, Condition] = {"used_s": used_s}
    for one in shares:
        told: dict[str, Condition] = {
            **used, "part": part_key(one.ids), "name": one.name, "kind": " or ".join(one.kinds),
            "side": " or ".join(filter(None, one.sides)), "pattern": one.pattern,
        }  # fmt: skip
        yield _result(one.weighted, told)
    yield _result(rest, {**used, "part": UNEXPLAINED, "name": "nobody's"})


def _result(weighted: Quantity, conditions: dict[str, Condition]) -> Result:
    budget = Budget((Contribution("hiss and unrest", weighted.u, "random"),))
    return Result("flutter.part_weighted", METHOD, "both", weighted, budget, conditions=conditions)


def _doubts(reading: Reading, turnings: Sequence[Turning], played_s: float | None) -> Iterator[str]:
    used_s = reading.record.used_s
    if used_s < SHORT_S:
        yield (
            f"Only {used_s:.0f} s were read: parts whose rates are nearer than "
            f"{2 / used_s:.2f} Hz are not told apart."
        )
    if played_s is None and any(one.pack is not None for one in turnings):
        yield (
            "Where the tape stood is not known, so what turns with the packs is found by how its "
            "rate slides; say how much was played for more."
        )
