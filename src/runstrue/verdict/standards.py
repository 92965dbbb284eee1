"""Minimum requirements of standards, offered for comparison where a sheet says nothing.

They are nobody's promise for this deck: a verdict on one carries the name of the standard.
"""

from __future__ import annotations

from collections.abc import Iterable

from runstrue.catalogue import KINDS
from runstrue.verdict.models import Limit

DIN_45500 = "DIN 45 500 sheet 4 (minimum for hi-fi)"
IASA_TC04 = "IASA-TC 04, 5.4.5 (archive replay)"


def _limit(source: str, quantity_id: str, words: str, **fields: object) -> Limit:
    return Limit(
        ids=(quantity_id,),
        unit=KINDS[quantity_id].unit,
        words=words,
        source=source,
        **fields,  # type: ignore[arg-type]  # the fields of Limit by name
    )


# DIN 45 500 sheet 4, reel and cassette machines: limits as listed at tonbandmuseum.info
# (die-din-45500-fuer-bandgeraete), edition not stated; items 2.1 to 2.3 confirmed by a magazine
# series of 1977 (hifimuseum.de, klangbild-artikel-1977-bandger-2). The weighting of the 56 dB is
# not stated there, so it is left ambiguous.
DIN_45500_LIMITS: tuple[Limit, ...] = (
    _limit(DIN_45500, "speed.deviation", "mean speed within ±1.5 % over 30 s",
           low=-1.5, high=1.5, notes=("DIN 45 500",), conditions={"duration": "30 s"}),
    _limit(DIN_45500, "flutter.weighted_peak", "weighted wow and flutter ±0.2 %",
           high=0.2, notes=("DIN 45 500",)),
    _limit(DIN_45500, "noise.unweighted", "unweighted noise at least 46 dB", low=46.0,
           notes=("DIN 45 500",), conditions={"reference": "full level"}),
    Limit(ids=("noise.quasi_peak_468", "noise.a"), unit="dB", low=56.0, source=DIN_45500,
          words="weighted noise at least 56 dB, each channel", sure="ambiguous",
          question="By which curve are the 56 dB of DIN 45 500 weighted?",
          notes=("DIN 45 500",), conditions={"reference": "full level"}),
    _limit(DIN_45500, "distortion.third", "third harmonic at most 3 % at 333 Hz, full level",
           high=3.0, notes=("DIN 45 500",),
           conditions={"tone": "333 Hz", "reference": "full level"}),
    _limit(DIN_45500, "separation.channels", "stereo crosstalk at least 20 dB at 1 kHz",
           low=20.0, notes=("DIN 45 500",), conditions={"tone": "1 kHz"}),
    _limit(DIN_45500, "separation.sides", "crosstalk of other tracks at least 60 dB at 1 kHz",
           low=60.0, notes=("DIN 45 500",), conditions={"tone": "1 kHz"}),
    _limit(DIN_45500, "level.balance", "channel balance within 2 dB on the calibration tape",
           low=-2.0, high=2.0, notes=("DIN 45 500",)),
    _limit(DIN_45500, "erasure.depth", "erasure at least 60 dB at 1 kHz", low=60.0,
           notes=("DIN 45 500",), conditions={"tone": "1 kHz"}),
    _limit(DIN_45500, "response.band", "response within 5 dB from 250 to 6300 Hz",
           band_low_hz=250.0, band_high_hz=6300.0, tolerance_window_db=5.0,
           notes=("DIN 45 500",)),
    _limit(DIN_45500, "response.band", "response within 7 dB from 40 to 12500 Hz",
           band_low_hz=40.0, band_high_hz=12500.0, tolerance_window_db=7.0,
           notes=("DIN 45 500",)),
)  # fmt: skip

# IASA-TC 04, 5.4.5, machines for the transfer of cassettes; it does not say by which detector
# the 0.1 % is read.
IASA_TC04_LIMITS: tuple[Limit, ...] = (
    _limit(IASA_TC04, "speed.deviation", "speed variation better than 0.3 %", low=-0.3, high=0.3),
    Limit(ids=("flutter.weighted_peak", "flutter.weighted_rms"), unit="%", high=0.1,
          words="weighted wow and flutter better than 0.1 %", sure="ambiguous", source=IASA_TC04,
          question="Is the 0.1 % of IASA-TC 04 a weighted peak or a weighted r.m.s.?"),
)  # fmt: skip


def for_comparison(
    sheet: Iterable[Limit], standard: Iterable[Limit] = DIN_45500_LIMITS
) -> tuple[Limit, ...]:
    """Limits of a standard for whatever a deck's own sheet says nothing about.

    Parameters
    ----------
    sheet : iterable of Limit
        The deck's own; whatever kind of reading they cover is left out. Any figure for wow and
        flutter covers all of wow and flutter, any figure for noise all of noise.
    standard : iterable of Limit
    """
    covered = {_family(quantity_id) for limit in sheet for quantity_id in limit.ids}
    return tuple(limit for limit in standard if _family(limit.ids[0]) not in covered)


def _family(quantity_id: str) -> str:
    family, _, _ = quantity_id.partition(".")
    return family if family in ("flutter", "noise") else quantity_id
