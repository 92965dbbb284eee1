"""What turns in a transport, and how fast: the narrow door between a transport and its readers.

    Turning            something that goes round as one: a shaft with all its wheels, a belt,
    ├── Place          a roller, a hub; where on it an error of size would move the tape
    └── Pack           for what turns with a tape pack: how its radius grows or shrinks

Whoever describes a transport hands these out; attribution, drawing, report and the virtual deck
take nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from runstrue.quantity import Quantity

TurningKind = Literal[
    "capstan", "motor", "shaft", "belt", "roller", "idler", "guide", "hub", "mesh", "pulses"
]
PackSide = Literal["take-up", "supply"]


@dataclass(frozen=True, slots=True)
class Place:
    """A place at which an error of size shows as flutter.

    Parameters
    ----------
    name : str
        In plain words: 'capstan', 'flywheel rim', 'motor pulley', 'thickness of the main belt'.
    um_per_percent : Quantity
        Runout (half of what a dial gauge swings over a turn), or half swing of a thickness, in
        µm, that moves the tape speed by ±1 %. A wheel of radius r mm: 10 r (e / r = 1 %).
    """

    name: str
    um_per_percent: Quantity


@dataclass(frozen=True, slots=True)
class Pack:
    """A tape pack: r² = r₀² + h · played / π, and the same with what is left for a supply pack.

    Parameters
    ----------
    side : {'take-up', 'supply'}
    empty_radius : Quantity
        Radius of the bare hub in mm.
    thickness : Quantity
        Of the tape, in µm.
    length : Quantity
        Of the tape, in m: what both packs hold together.
    """

    side: PackSide
    empty_radius: Quantity
    thickness: Quantity
    length: Quantity


@dataclass(frozen=True, slots=True)
class Turning:
    """Something that goes round as one.

    Parameters
    ----------
    id : str
        Stable within its transport: 'capstan', 'main-belt'.
    name : str
        For people: 'capstan shaft', 'main belt'.
    kind : str
    rate : Quantity
        Turns (rounds, teeth, pulses) a second in Hz at the transport's nominal tape speed. For a
        pack: with half the tape played.
    follows_tape : bool
        Whether the rate keeps in step with the tape speed (all but pulses of the mains).
    scale_shares : tuple of (str, float)
        What the uncertainty of the rate is made of, as relative standard uncertainties by the
        size that they come from: ('capstan diameter', −0.01). Parts that share a size move
        together; the sign says which way the rate goes when the size is larger.
    places : tuple of Place
    pack : Pack or None
        For a hub and whatever turns with it.
    multiples : tuple of int
        Multiples at which faults of this part are usual, strongest first: (1, 2) for a shaft,
        (1, 2, 3, 4, 5, 6) for a roller with a flat.
    """

    id: str
    name: str
    kind: TurningKind
    rate: Quantity
    follows_tape: bool = True
    scale_shares: tuple[tuple[str, float], ...] = ()
    places: tuple[Place, ...] = ()
    pack: Pack | None = None
    multiples: tuple[int, ...] = (1, 2)
