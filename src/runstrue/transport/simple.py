"""The usual transport from a few sizes: one motor, one belt, one capstan.

It is made as a file with a remark beside every line, so that it can be filled in and grown later,
and read like any other.
"""

from __future__ import annotations

from runstrue.transport.description import Transport
from runstrue.transport.read import parse_transport

USUAL_SPEED = "4.76 cm/s"


def simple_transport(
    name: str = "a transport",
    *,
    deck: str = "",
    speed: str = USUAL_SPEED,
    capstan: str = "unknown",
    flywheel: str = "unknown",
    motor_pulley: str = "unknown",
    motor_speed: str = "unknown",
    belt_length: str = "unknown",
    belt_thickness: str = "unknown",
    roller: str = "unknown",
    tape: str = "C90",
) -> Transport:
    """Describe a transport of one motor, one belt and one capstan.

    Parameters
    ----------
    name, deck : str
    speed, capstan, flywheel, motor_pulley, motor_speed, belt_length, belt_thickness, roller : str
        With units, as in a file: '2.40±0.02 mm', '2400 rpm'; or 'unknown'. Wheels by their
        diameters.
    tape : str
        'C46', 'C60', 'C90' or 'C120', of which the usual sizes are known; or another name.

    Raises
    ------
    DescriptionError
        When a size cannot be used.
    """
    text = simple_text(
        name, deck=deck, speed=speed, capstan=capstan, flywheel=flywheel, motor_pulley=motor_pulley,
        motor_speed=motor_speed, belt_length=belt_length, belt_thickness=belt_thickness,
        roller=roller, tape=tape,
    )  # fmt: skip
    return parse_transport(text, name)


def simple_text(
    name: str = "a transport",
    *,
    deck: str = "",
    speed: str = USUAL_SPEED,
    capstan: str = "unknown",
    flywheel: str = "unknown",
    motor_pulley: str = "unknown",
    motor_speed: str = "unknown",
    belt_length: str = "unknown",
    belt_thickness: str = "unknown",
    roller: str = "unknown",
    tape: str = "C90",
) -> str:
    """Return the file of such a transport; parameters as of `simple_transport`."""
    belongs = f"deck = {_quoted(deck)}" if deck else '# deck = "C-14"'
    return f"""\
# A transport: what turns in a deck. A size needs its unit: "2.40 mm", "2.40±0.02 mm", "3/32 in".
# After ± stands what it surely lies within; without it a caliper's ±0.05 mm is allowed for.
# What nobody knows stays "unknown"; what follows from the rest is worked out.

name = {_quoted(name)}
{belongs:<31} # the deck of the logbook that it belongs to
speed = {_quoted(speed):<23} # of the tape: "4.76 cm/s", "1 7/8 in/s"

[shaft.capstan]                 # everything on one axis turns as one
capstan = {_quoted(capstan):<21} # its diameter
wheels.flywheel = {_quoted(flywheel):<13} # diameter where the belt runs: rim, or bottom of groove
# at = ["0 mm", "0 mm"]         # of the axis, to the right and up; for the drawing

[shaft.motor]
wheels.motor-pulley = {_quoted(motor_pulley)}
# at = ["-80 mm", "-30 mm"]
[shaft.motor.motor]
speed = {_quoted(motor_speed):<23} # "2400 rpm", from its plate or data
# segments = 3                  # of the commutator
# poles = 2

[belt.main-belt]
over = ["motor.motor-pulley", "capstan.flywheel"]   # SHAFT.WHEEL, in the order of its way
# section = "square"            # or "flat", "round"
thickness = {_quoted(belt_thickness)}
length = {_quoted(belt_length):<22} # on the deck; or string = "…", of a string in its place

[roller.pinch-roller]
diameter = {_quoted(roller)}

[tape]
name = {_quoted(tape):<24} # C46, C60, C90, C120: usual sizes are known
# length = "135 m"
# thickness = "12 µm"
# hub = "22.0 mm"               # diameter of the bare hub
"""


def _quoted(text: str) -> str:
    plain = text.strip().replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(one for one in plain if one.isprintable()) + '"'
