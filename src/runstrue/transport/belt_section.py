"""The section of a belt, and the four ways in which its length is told.

    inner circumference    what a moulded or cut belt is ordered by
    middle length          inner circumference + π · thickness, for any loop that turns once round
    inner diameter         inner circumference / π
    lay-flat               half the inner circumference, folded flat and read inside

A belt bends about its middle; a loop at a distance c outside of another that turns once round is
longer by 2π c (plane geometry). A figure of eight turns by nothing: both lengths are then equal.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from runstrue.errors import InputError
from runstrue.quantity import Quantity
from runstrue.transport.sizes import CALIPER, Instrument, read_size

SectionKind = Literal["square", "flat", "round"]
KINDS: tuple[SectionKind, ...] = ("square", "flat", "round")
THINNEST_MM, THICKEST_MM, WIDEST_MM = 0.2, 8.0, 30.0
"""Beyond these a figure is no section of a belt: an inch taken for a millimetre, or a slip."""
SAMPLE = "'square 1.2 mm', 'flat 4 x 0.5 mm' or 'round 1.5 mm'"


@dataclass(frozen=True, slots=True)
class Section:
    """The section of a belt that is not stretched.

    Parameters
    ----------
    kind : {'square', 'flat', 'round'}
    thickness : Quantity
        Across the bend, in mm; the side of a square, the diameter of a round belt.
    width : Quantity
        Along the pulley's axis, in mm.
    """

    kind: SectionKind
    thickness: Quantity
    width: Quantity

    @property
    def area_mm2(self) -> float:
        """Area of the section."""
        whole = self.thickness.value * self.width.value
        return whole * math.pi / 4 if self.kind == "round" else whole

    def __str__(self) -> str:
        """Name it as a shop would: 'flat 4 × 0.5 mm'."""
        sizes = f"{self.thickness.value:.3g} mm"
        return f"{self.kind} " + (f"{self.width.value:.3g} × " * (self.kind == "flat")) + sizes

    def thickness_at(self, stretch_percent: float) -> float:
        """Thickness in mm when stretched: t / √(1 + e), since rubber keeps its volume."""
        return self.thickness.value / math.sqrt(1 + stretch_percent / 100)


def read_section(text: str, instrument: Instrument = CALIPER, *, bare_unit: str = "mm") -> Section:
    """Read a section.

    Parameters
    ----------
    text : str
        'square 1.2', 'flat 4 x 0.5 mm', '1/16 in round'. A unit after the last size holds for
        both.
    instrument : Instrument
        What it was taken with, where no ± is written.
    bare_unit : str
        Unit of sizes without one; empty: they are refused.

    Raises
    ------
    InputError
        When it cannot be understood or is no size of a belt.

    Examples
    --------
    >>> str(read_section("flat 4 x 0.5")), str(read_section("3/64 in square"))
    ('flat 4 × 0.5 mm', 'square 1.19 mm')
    """
    plain = " ".join(text.replace("×", "x").split())
    named = [kind for kind in KINDS if re.search(rf"\b{kind}\b", plain, re.IGNORECASE)]
    if len(named) != 1:
        raise InputError(f"'{text}' was read as the section of a belt", f"{SAMPLE} is needed")
    kind = named[0]
    rest = re.sub(rf"\b{kind}\b(\s+belt)?", "", plain, flags=re.IGNORECASE).strip(" ,")
    written = [part.strip() for part in re.split(r"\s*\bx\b\s*|(?<=[\d\s])x(?=[\d\s])", rest)]
    unit = re.search(r"""(?:mm|cm|in|inch|inches|"|″)$""", written[-1])
    if unit:
        written = [one if re.search(r"[a-z\"″]", one) else f"{one} {unit[0]}" for one in written]
    sizes = [read_size(one, "length", instrument, bare_unit=bare_unit) for one in written]
    thickness, width = _thickness_and_width(kind, sizes, text)
    for size, most in ((thickness, THICKEST_MM), (width, WIDEST_MM)):
        if not THINNEST_MM <= size.value <= most:
            raise InputError(
                f"'{text}' would be a belt of {size.value:.4g} mm",
                f"{THINNEST_MM:g} to {most:g} mm is needed",
                "check the figure and its unit",
            )
    return Section(kind, thickness, width)


def _thickness_and_width(
    kind: SectionKind, sizes: list[Quantity], text: str
) -> tuple[Quantity, Quantity]:
    if kind == "flat":
        if len(sizes) != 2:
            raise InputError(
                f"'{text}' gives {len(sizes)} size for a flat belt" + "s" * (len(sizes) > 2),
                "width and thickness are needed",
                "write 'flat 4 x 0.5 mm'",
            )
        thickness, width = sorted(sizes, key=lambda size: size.value)
        return thickness, width
    if len(sizes) > 2 or abs(sizes[0].value - sizes[-1].value) > 1e-9:
        raise InputError(
            f"'{text}' gives different sizes for a {kind} belt",
            "one size is needed",
            f"write '{kind} {sizes[0].value:.3g} mm', or say that it is flat",
        )
    return sizes[0], sizes[0]


def middle_length(inner_mm: float, thickness_mm: float) -> float:
    """Length along the middle of a belt, in mm, from its inner circumference."""
    return inner_mm + math.pi * thickness_mm


def inner_diameter(inner_mm: float) -> float:
    """Inner diameter of a belt laid in a circle, in mm."""
    return inner_mm / math.pi


def lay_flat(inner_mm: float) -> float:
    """Length of a belt folded flat, in mm, read inside."""
    return inner_mm / 2
