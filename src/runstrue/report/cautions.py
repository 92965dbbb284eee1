"""Cautions for anyone who opens a deck: general, and never a go-ahead.

Local wiring codes, product safety and repair test standards rule (in Europe for instance
EN 50678 and EN 50699 for tests after repair; from memory), and so do the rules on who may do
such work. Common practice of the trade, no source, unless said beside a line.
"""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "This record tells how the deck plays; it does not say that the deck is safe. Electrical "
    "safety is tested by other means, under the codes of the place where the deck is used, and "
    "by people trained and, where the law asks for it, licensed to do so.",
    "Mains: pull the plug before the cover comes off, and work on the mains side only if "
    "trained for it. Check voltage setting, fuse (same current, speed, voltage) and lead before "
    "the deck is powered; a fuse that blows twice has a cause.",
    "Earth: a deck built to be earthed keeps its earth; one with the double square is not earthed.",
    "Stored charge: capacitors can hold a dangerous voltage after the plug is out. Discharge "
    "through a resistor, and measure before touching.",
    "Old suppression capacitors across the mains crack with age and can smoke or burn; they are "
    "renewed with certified parts of the same class.",
    # Capstan flywheel and roller: common practice, no source.
    "Moving parts: keep fingers, hair, sleeves and leads away from capstan, roller, belts and "
    "reels while the motor turns.",
    "Solvents: isopropyl alcohol burns and its vapour collects; air the room, no sparks or "
    "flames, and none of it on rubber or polyurethane unless known to be harmless. Old manuals "
    "name solvents that are not to be used today, such as carbon tetrachloride.",
    "A demagnetiser is kept well away from test tapes and recordings, and switched on and off "
    "at arm's length.",
)
