"""Which belt to buy: what a size would do on the deck, and which of several to take.

Stretch is the way on the deck over the free inner circumference, less one. What the trade
advises is rules of thumb that disagree ('take off 5 %', '6 %', '5 to 10 %', '4 to 10 %'), so a
range is named and the rest is told as slack or tight.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.belt_section import Section, SectionKind
from runstrue.transport.belt_speed import speed_change_percent, with_uncertainty
from runstrue.transport.belt_way import Drive, Way
from runstrue.transport.grip import GRAM_CENTIMETRE_MNM, grip, shaft_load
from runstrue.transport.rubber import USUAL_SHORE_A, Band, creep_percent, modulus, pull
from runstrue.transport.shop import Offer

Fit = Literal["does not grip", "too slack", "a little slack", "fits", "a little tight", "too tight"]
Reach = Literal["", "yes", "no", "too close to call"]

TOO_SLACK_PERCENT, TOO_TIGHT_PERCENT = 2.0, 10.0
"""Under and over these a belt is warned of (trade pages go up to 10 %; the rest from memory)."""
RANGES: dict[SectionKind, tuple[float, float, float]] = {
    "flat": (4.0, 5.0, 6.0),
    "square": (5.0, 6.0, 8.0),
    "round": (5.0, 6.0, 8.0),
}
"""Least, usual and most stretch in %. That flat belts take less is from memory, no source."""
USUAL_LOAD_MNM = 3 * GRAM_CENTIMETRE_MNM
"""Torque at the motor pulley in play, assumed: 3 g·cm."""


@dataclass(frozen=True, slots=True)
class Job:
    """A belt that is sought.

    Parameters
    ----------
    way : Way
    section : Section
        That the deck was built for.
    aim_percent, least_percent, most_percent : float
        Stretch wanted, and the range in which it is right.
    shore_a : float
        Hardness of the rubber.
    load_mnm : float
        Torque at the driving pulley.
    trim : (float, float) or None
        How far the deck's speed can be set down and up from where it stands, in %.
    speed_now_percent : float
        How far the speed is off now.
    """

    way: Way
    section: Section
    aim_percent: float
    least_percent: float
    most_percent: float
    shore_a: float = USUAL_SHORE_A
    load_mnm: float = USUAL_LOAD_MNM
    trim: tuple[float, float] | None = None
    speed_now_percent: float = 0.0

    def free_inner(self, stretch_percent: float | None = None) -> Quantity:
        """Return the inner circumference in mm to order for a stretch, or for the one wanted."""
        share = 1 + (self.aim_percent if stretch_percent is None else stretch_percent) / 100
        return Quantity(self.way.inner.value / share, "mm", self.way.inner.u / share)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a belt would do on the deck.

    Parameters
    ----------
    offer : Offer
    stretch : Quantity
        In %.
    fit : str
        In words.
    tension : Band
        Of each run, in N, while nothing turns.
    bearing : Band or None
        Force on the driving pulley's axis, in N.
    grip : Band or None
        Most torque at the driving pulley, in mN·m.
    margin : Band or None
        That over the load.
    creep : Band or None
        Loss of speed in % under the load.
    speed : Quantity or None
        Change of tape speed in %, against a belt of the deck's own section at the wanted stretch.
    reach : {'', 'yes', 'no', 'too close to call'}
        Whether the speed can be set right after it.
    same_kind, same_size : bool
        Whether the section is the deck's own, in kind and in size.
    """

    offer: Offer
    stretch: Quantity
    fit: Fit
    tension: Band
    bearing: Band | None
    grip: Band | None
    margin: Band | None
    creep: Band | None
    speed: Quantity | None
    reach: Reach
    same_kind: bool
    same_size: bool

    @property
    def suits(self) -> bool:
        """Whether nothing speaks against it but perhaps a little slack or tightness."""
        wrong = self.fit in ("does not grip", "too slack", "too tight") or self.reach == "no"
        slips = self.speed is not None and self.margin is not None and self.margin.middle < 1
        return self.same_kind and not wrong and not slips


def job_for(way: Way, section: Section, stretch_percent: float | None = None) -> Job:
    """Return the job with the stretch that is usual for the section, or a wanted one.

    Raises
    ------
    InputError
        When the stretch wanted is none that a belt is run at.
    """
    least, usual, most = RANGES[section.kind]
    aim = usual if stretch_percent is None else stretch_percent
    if not 0 < aim <= 30:
        raise InputError(
            f"A stretch of {aim:g} % was wanted", "more than 0 and up to 30 % is needed"
        )
    return Job(way, section, aim, min(least, aim), max(most, aim))


def outcome_of(job: Job, offer: Offer) -> Outcome:
    """Work out what one belt would do."""
    stretch = with_uncertainty(
        lambda way, free: (way / free - 1) * 100, (job.way.inner, offer.inner), "%"
    )
    rubber = modulus(job.shore_a)
    tension = _tension(offer.section, rubber, stretch.value)
    bearing = gripped = margin = creep = None
    drive = job.way.drive
    if drive is not None:
        radius = drive.motor.value / 2 + offer.section.thickness_at(stretch.value) / 2
        creep = _creep(offer.section, rubber, stretch.value, job.load_mnm / radius)
        if drive.motor_wrap_rad is not None:
            bearing = shaft_load(tension, drive.motor_wrap_rad)
            gripped = grip(tension, radius, drive.motor_wrap_rad)
            margin = gripped.times(1 / job.load_mnm, " ") if job.load_mnm > 0 else None
    speed = _speed(job, drive, offer.section, stretch.value, creep) if drive else None
    ours = job.section
    return Outcome(
        offer=offer,
        stretch=stretch,
        fit=fit_of(job, stretch.value),
        tension=tension,
        bearing=bearing,
        grip=gripped,
        margin=margin,
        creep=creep,
        speed=speed,
        reach=reach_of(job, speed),
        same_kind=offer.section.kind == ours.kind,
        same_size=all(
            abs(one.value - other.value) <= 0.05 + 1e-9
            for one, other in (
                (offer.section.thickness, ours.thickness),
                (offer.section.width, ours.width),
            )
        ),
    )


def choose(job: Job, offers: Sequence[Offer]) -> list[Outcome]:
    """Return what each belt would do, the one to take first."""

    def order(one: Outcome) -> tuple[bool, bool, float, float]:
        off = abs(one.speed.value) if one.speed is not None else 0.0
        return not one.suits, not one.same_size, abs(one.stretch.value - job.aim_percent), off

    return sorted((outcome_of(job, offer) for offer in offers), key=order)


def fit_of(job: Job, stretch_percent: float) -> Fit:
    """Say in words what a stretch is."""
    if stretch_percent <= 0:
        return "does not grip"
    if stretch_percent < TOO_SLACK_PERCENT:
        return "too slack"
    if stretch_percent > TOO_TIGHT_PERCENT:
        return "too tight"
    # a tenth of a per cent is nothing that a string could tell
    if stretch_percent < job.least_percent - 0.1:
        return "a little slack"
    return "a little tight" if stretch_percent > job.most_percent + 0.1 else "fits"


def reach_of(job: Job, speed: Quantity | None) -> Reach:
    """Say whether the trim can take what the speed is then off."""
    if job.trim is None or speed is None:
        return ""
    low, high = job.trim
    needed, half = -(job.speed_now_percent + speed.value), speed.expanded()
    if low <= needed - half and needed + half <= high:
        return "yes"
    return "no" if needed + half < low or needed - half > high else "too close to call"


def _tension(section: Section, rubber: Band, stretch_percent: float) -> Band:
    def at(one: float) -> float:
        return pull(section.area_mm2, one, stretch_percent)

    return Band(at(rubber.low), at(rubber.middle), at(rubber.high), "N")


def _creep(section: Section, rubber: Band, stretch_percent: float, difference_n: float) -> Band:
    """Creep under a load; soft rubber creeps most, so the ends change places."""

    def at(one: float) -> float:
        rest = pull(section.area_mm2, one, stretch_percent)
        return creep_percent(section.area_mm2, one, rest, difference_n)

    return Band(at(rubber.high), at(rubber.middle), at(rubber.low), "%")


def _speed(
    job: Job, drive: Drive, section: Section, stretch_percent: float, creep: Band | None
) -> Quantity | None:
    """Change of tape speed by the pitch line and by creep.

    The creep of both belts hangs on the same unknown rubber. Its difference is taken to lie
    between both ends of the band, all alike (rectangular, JCGM 100:2008, 4.3.7).
    """
    if not drive.sets_speed or stretch_percent <= 0:
        return None

    def change(motor: float, flywheel: float, ours: float, theirs: float) -> float:
        return speed_change_percent(
            motor,
            flywheel,
            ours / math.sqrt(1 + job.aim_percent / 100),
            theirs / math.sqrt(1 + stretch_percent / 100),
        )

    sizes = (drive.motor, drive.flywheel, job.section.thickness, section.thickness)
    by_thickness = with_uncertainty(change, sizes, "%")
    if creep is None:
        return by_thickness
    radius = drive.motor.value / 2 + job.section.thickness_at(job.aim_percent) / 2
    own = _creep(job.section, modulus(job.shore_a), job.aim_percent, job.load_mnm / radius)
    ends = sorted((own.low - creep.low, own.middle - creep.middle, own.high - creep.high))
    middle, half = (ends[0] + ends[-1]) / 2, (ends[-1] - ends[0]) / 2
    return Quantity(
        by_thickness.value + middle, "%", math.hypot(by_thickness.u, half / math.sqrt(3))
    )
