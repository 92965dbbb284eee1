"""Levels: what comes out of the deck, left against right, and against a named flux.

A level is that of a sine: 0 dB FS just reaches full scale (AES17). Where the sound card was
calibrated by one known voltage it becomes dBV (0 dBV = 1 V r.m.s.) and dBu (0 dBu = 0.7746 V,
which is 1 mW in 600 Ω); else it stays dB FS and says so.

A flux means little without its scale: on the older German scale the same tape reads 0.75 to 0.92
dB more than by the method of ANSI and AES (McKnight, Cortez, McKnight, J. Audio Eng. Soc., who
found 0.92; 0.75 and 0.83 circulate in the trade). The scale stays with the figure, and a change
of scale brings its own uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from runstrue.dsp.band_power import Spectrum, half_width_hz, level_db, u_level_db
from runstrue.errors import InputError, SignalError
from runstrue.measure.noise import Reference
from runstrue.measure.sections import Stretch
from runstrue.quantity import Budget, Contribution
from runstrue.result import Condition, Result
from runstrue.stimulus.programme import Programme

DBU_OVER_DBV = -10 * math.log10(0.6)
"""0 dBu is √0.6 V: a level in dBu is 2.218 dB higher than in dBV."""

SCALES_DIFFER_DB = (0.75 + 0.92) / 2
U_SCALES_DIFFER_DB = (0.92 - 0.75) / 2 / math.sqrt(3)
"""Between the figures in use; rectangular (JCGM 100 4.3.7)."""

FULL_SCALE_UNIT = "dB FS"


@dataclass(frozen=True, slots=True)
class Calibration:
    """What voltage full scale of the sound card's input is.

    Parameters
    ----------
    full_scale_dbv : float
        Level of the sine that just reaches full scale, in dBV.
    u_db : float
        Standard uncertainty.
    source : str
        The sound card: readings with it share the error.
    """

    full_scale_dbv: float
    u_db: float
    source: str = "sound card"

    @classmethod
    def from_known_voltage(
        cls, volts: float, u_volts: float, level_dbfs: float, source: str = "sound card"
    ) -> Calibration:
        """Calibrate by one tone whose r.m.s. voltage was measured and whose level was read.

        Raises
        ------
        InputError
            When the voltage is not above 0, or the tone stood at full scale, where it is clipped.
        """
        if not (volts > 0 and u_volts >= 0):
            raise InputError(
                f"A voltage of {volts:g} ± {u_volts:g} V was given", "more than 0 V is needed"
            )
        if not -60 < level_dbfs < -0.1:
            raise InputError(
                f"The tone stood at {level_dbfs:.1f} dB FS",
                "between −60 and −0.1 dB FS is needed", "set the level and record it again",
            )  # fmt: skip
        u_db = 20 / math.log(10) * u_volts / volts
        return cls(20 * math.log10(volts) - level_dbfs, u_db, source)


@dataclass(frozen=True, slots=True)
class ToneLevel:
    """Level of a tone in each channel, in dB FS."""

    level_dbfs: tuple[float, ...]
    u_db: tuple[float, ...]


def tone_level(stretch: Stretch) -> ToneLevel:
    """Band power of a section's tone, in each channel; −inf where there is none."""
    tone_hz = stretch.section.frequencies_hz[0] * stretch.found.speed_ratio
    found = [
        Spectrum(samples, stretch.rate_hz).around(tone_hz, half_width_hz(tone_hz))
        for samples in stretch.samples
    ]
    return ToneLevel(
        tuple(level_db(one.power) for one in found), tuple(u_level_db(one) for one in found)
    )


def reference_of(stretch: Stretch, programme: Programme) -> Reference:
    """Make a level tone the reference that noise and the like are told against.

    Its own declared level against the programme's reference is taken off, so that the reference
    is the programme's 0 dB.
    """
    found = tone_level(stretch)
    tone_hz = stretch.section.frequencies_hz[0]
    offset_db = stretch.section.level_db + programme.corrections_db.get(stretch.section.id, 0.0)
    words = f"{tone_hz:g} Hz at the recorded reference level"
    u_db = max(found.u_db)
    if programme.kind == "tape" and programme.flux_nwb_per_m:
        scale = f", {programme.flux_scale} scale" if programme.flux_scale else ""
        words = f"{tone_hz:g} Hz at {programme.flux_nwb_per_m:g} nWb/m{scale}"
        u_db = math.hypot(u_db, programme.tolerance_db / math.sqrt(3))
    return Reference(
        words,
        tuple(level - offset_db for level in found.level_dbfs),
        u_db,
        programme.source,
        programme.flux_nwb_per_m,
        programme.flux_scale,
    )


def flux_step_db(
    from_nwb_per_m: float, to_nwb_per_m: float, from_scale: str = "", to_scale: str = ""
) -> tuple[float, float]:
    """How much louder one flux is than another, in dB, with its standard uncertainty.

    Parameters
    ----------
    from_nwb_per_m, to_nwb_per_m : float
        More than 0.
    from_scale, to_scale : {'', 'ANSI/AES', 'old DIN'}

    Raises
    ------
    InputError
        When only one of the scales is known: the step could be off by 0.9 dB.

    Examples
    --------
    >>> round(flux_step_db(200, 250)[0], 2)
    1.94
    >>> round(flux_step_db(200, 250, "ANSI/AES", "old DIN")[0], 2)
    1.1
    """
    if not (from_nwb_per_m > 0 and to_nwb_per_m > 0):
        raise InputError(
            f"A step from {from_nwb_per_m:g} to {to_nwb_per_m:g} nWb/m was asked for",
            "fluxes above 0 are needed",
        )
    step_db = 20 * math.log10(to_nwb_per_m / from_nwb_per_m)
    if from_scale == to_scale:
        return step_db, 0.0
    if not (from_scale and to_scale):
        known = from_scale or to_scale
        raise InputError(
            f"One flux is on the {known} scale and the other's scale is not known",
            "both are needed, since the scales differ by 0.75 to 0.92 dB",
            "say on which scale it is: ANSI/AES or old DIN",
        )
    # a figure on the old German scale stands for less flux than it says
    sign = -1 if to_scale == "old DIN" else 1
    return step_db + sign * SCALES_DIFFER_DB, U_SCALES_DIFFER_DB


def measure_levels(
    stretches: Iterable[Stretch],
    programme: Programme,
    channels: Sequence[str],
    calibration: Calibration | None = None,
    zero_dbfs: float | None = None,
) -> tuple[Result, ...]:
    """Output level and balance from level tones that both channels carry alike.

    Parameters
    ----------
    stretches : iterable of Stretch
        Sections that serve `level.output`.
    programme : Programme
        With a bought tape's flux, tolerance and corrections.
    channels : sequence of str
    calibration : Calibration, optional
        Else levels are in dB FS.
    zero_dbfs : float, optional
        Level in the recording that the deck's 0 dB gives.

    Returns
    -------
    tuple of Result
        By channel `level.output`, and where calibrated `output.voltage` in mV; with a bought
        tape's flux and `zero_dbfs` `level.flux`, how far the deck's 0 dB stands above that flux;
        `level.balance` (left over right) from the first tone on both channels.

    Raises
    ------
    SignalError
        When no level tone was heard.
    """
    results: list[Result] = []
    balanced = False
    for stretch in stretches:
        found = tone_level(stretch)
        conditions: dict[str, Condition] = {
            "tone": f"{stretch.section.frequencies_hz[0]:g} Hz",
            "level": stretch.section.level_db,
        }
        if programme.flux_nwb_per_m:
            conditions["flux"] = programme.flux_nwb_per_m
            if programme.flux_scale:
                conditions["flux scale"] = programme.flux_scale
        for index, name in enumerate(channels):
            if math.isfinite(found.level_dbfs[index]):
                results += _output(
                    found.level_dbfs[index], found.u_db[index], name, programme, calibration,
                    conditions,
                )  # fmt: skip
                if zero_dbfs is not None and programme.flux_nwb_per_m:
                    results.append(
                        _flux(found.level_dbfs[index], found.u_db[index], name, stretch,
                              programme, zero_dbfs, conditions)
                    )  # fmt: skip
        if not balanced and stretch.section.channels == "both" and len(channels) == 2:
            left, right = (list(channels).index(name) for name in ("left", "right"))
            both = (found.level_dbfs[left], found.level_dbfs[right])
            if all(math.isfinite(level) for level in both):
                budget = Budget((Contribution("noise", math.hypot(*found.u_db), "random"),))
                results.append(
                    Result("level.balance", "band-power/1", "both",
                           budget.quantity(both[0] - both[1], "dB"), budget,
                           conditions=conditions)
                )  # fmt: skip
                balanced = True
    if not results:
        raise SignalError("No level tone was heard", "one is needed to read levels")
    return tuple(results)


def _flux(
    level_dbfs: float,
    u_db: float,
    channel: str,
    stretch: Stretch,
    programme: Programme,
    zero_dbfs: float,
    conditions: dict[str, Condition],
) -> Result:
    """How far the deck's 0 dB stands above the flux of the tape's reference level."""
    section = stretch.section
    carried_db = section.level_db + programme.corrections_db.get(section.id, 0.0)
    budget = Budget(
        (
            Contribution("noise", u_db, "random"),
            Contribution(
                "tolerance of the test tape", programme.tolerance_db / math.sqrt(3), "shared",
                programme.source,
            ),
        )
    )  # fmt: skip
    return Result("level.flux", "band-power/1", channel,
                  budget.quantity(zero_dbfs - level_dbfs + carried_db, "dB"), budget,
                  conditions=conditions)  # fmt: skip


def _output(
    level_dbfs: float,
    u_db: float,
    channel: str,
    programme: Programme,
    calibration: Calibration | None,
    conditions: dict[str, Condition],
) -> list[Result]:
    parts = [Contribution("noise", u_db, "random")]
    if programme.tolerance_db:
        parts.append(
            Contribution(
                "tolerance of the test tape", programme.tolerance_db / math.sqrt(3), "shared",
                programme.source,
            )
        )  # fmt: skip
    if calibration is None:
        budget = Budget(tuple(parts))
        doubt = (
            "The sound card is not calibrated: the level is against its full scale, not in volts; "
            "`runstrue card calibrate` takes one known voltage."
        )
        return [
            Result("level.output", "band-power/1", channel,
                   budget.quantity(level_dbfs, FULL_SCALE_UNIT), budget, conditions=conditions,
                   doubts=(doubt,))
        ]  # fmt: skip
    parts.append(
        Contribution(
            "calibration of the sound card", calibration.u_db, "shared", calibration.source
        )
    )
    budget = Budget(tuple(parts))
    dbv = level_dbfs + calibration.full_scale_dbv
    millivolts = 1000 * 10 ** (dbv / 20)
    in_millivolts = Budget(
        tuple(
            Contribution(part.name, part.u * millivolts * math.log(10) / 20, part.kind, part.source)
            for part in parts
        )
    )
    told: dict[str, Condition] = {**conditions, "dBu": round(dbv + DBU_OVER_DBV, 2)}
    return [
        Result("level.output", "band-power/1", channel, budget.quantity(dbv, "dBV"), budget,
               conditions=told),
        Result("output.voltage", "band-power/1", channel,
               in_millivolts.quantity(millivolts, "mV"), in_millivolts, conditions=told),
    ]  # fmt: skip
