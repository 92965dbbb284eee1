"""The transport file: what is said comes out, whatever is left unknown."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from runstrue.transport import parse_transport, read_transport, turnings
from runstrue.transport.examples import example_names, example_text
from runstrue.transport.lines import line_of, lines_of
from runstrue.transport.simple import simple_text, simple_transport


def test_a_file_is_read_as_its_text(tmp_path: Path) -> None:
    path = tmp_path / "a b.toml"
    path.write_text(example_text("dual-capstan"), encoding="utf-8")
    assert read_transport(path).shafts == parse_transport(path.read_text(), "x").shafts
    assert read_transport(path).source == str(path)


def test_everything_that_is_said_comes_out() -> None:
    transport = parse_transport("""
        name = "all of it"
        deck = "C-14"
        lengths = "mm"
        remark = "measured on a Saturday"
        [speeds.slow]
        tape = "1 7/8 in/s"
        [speeds.fast]
        tape = "3 3/4 in/s"
        motors.motor = { speed = "3200 rpm" }
        [shaft.capstan]
        name = "main shaft"
        capstan = 2.4
        wheels = { flywheel = "60 mm", gear = { teeth = 12, name = "small gear" } }
        rate = "6.3±0.1 Hz"
        at = [0, -1.5]
        [shaft.motor]
        motor = { speed = "1600 rpm", segments = 3, poles = 2 }
        wheels.pulley = { running = 9.5 }
        [shaft.tension]
        wheels.wheel = 12
        [belt.main]
        name = "drive belt"
        over = ["motor", "tension", "capstan.flywheel"]
        outside = ["tension"]
        section = "flat"
        thickness = 0.5
        width = 4
        string = "300±2 mm"
        speeds = ["slow"]
        [roller.guides]
        kind = "guide"
        diameter = "1/4 in"
        count = 2
        [tape]
        name = "C90"
        supply_hub = 23
        """, "all.toml")  # fmt: skip
    assert (transport.name, transport.deck) == ("all of it", "C-14")
    assert transport.remark == "measured on a Saturday"
    assert [one.name for one in transport.speeds] == ["slow", "fast"]
    capstan, motor = transport.shaft("capstan"), transport.shaft("motor")
    assert (capstan.name, capstan.drives_tape) == ("main shaft", True)
    assert capstan.capstan is not None
    assert (capstan.capstan.value, capstan.capstan.unit) == (2.4, "mm")
    assert capstan.place is not None
    assert [one.value for one in capstan.place] == [0.0, -1.5]
    assert capstan.rate is not None
    assert capstan.rate.value == 6.3
    assert [(one.name, one.teeth) for one in capstan.wheels] == [
        ("flywheel", None), ("small gear", 12),
    ]  # fmt: skip
    fast = transport.motor_of(motor, transport.speed("fast"))
    slow = transport.motor_of(motor, transport.speed("slow"))
    assert fast is not None
    assert slow is not None
    assert fast.rate is not None
    assert slow.rate is not None
    assert fast.rate.value == pytest.approx(2 * slow.rate.value)
    (belt,) = transport.belts
    assert belt.over == ("motor.pulley", "tension.wheel", "capstan.flywheel")
    assert belt.outside == {"tension.wheel"}
    assert (belt.name, belt.section) == ("drive belt", "flat")
    assert belt.width is not None
    assert belt.width.value == 4
    assert transport.belts_at(transport.speed("fast")) == ()
    (roller,) = transport.rollers
    assert (roller.kind, roller.count) == ("guide", 2)
    assert roller.diameter is not None
    assert roller.diameter.value == 6.35
    assert transport.tape is not None
    assert transport.tape.supply_hub is not None
    assert transport.tape.supply_hub.value == 23


@pytest.mark.parametrize("word", ["unknown", "Unknown", "?", ""])
def test_unknown_may_be_written_in_several_ways(word: str) -> None:
    transport = parse_transport(
        f'name = "a"\n[shaft.motor]\nwheels.pulley = "{word}"\n[roller.pinch]\ndiameter = "{word}"',
        "a.toml",
    )
    assert transport.shaft("motor").wheels[0].diameter is None
    assert transport.rollers[0].diameter is None


def test_a_capstan_of_unknown_size_is_one_and_no_capstan_is_none() -> None:
    text = 'name = "a"\n[shaft.one]\ncapstan = "unknown"\n[shaft.two]\n'
    transport = parse_transport(text, "a.toml")
    assert [one.drives_tape for one in transport.shafts] == [True, False]


def test_the_file_of_the_usual_transport_reads_back() -> None:
    transport = simple_transport(
        'a "quoted" \\ name', deck="C-14", capstan="2.40±0.02 mm", flywheel="60.0 mm",
        motor_pulley="9.0 mm", motor_speed="2400 rpm", belt_length="300 mm", roller="11.0 mm",
    )  # fmt: skip
    assert transport.name == 'a "quoted" \\ name'
    assert transport.deck == "C-14"
    assert {one.id for one in turnings(transport)} >= {"capstan", "motor", "main-belt"}
    lines = simple_text().splitlines()
    assert max(map(len, lines)) <= 100
    # with nothing known but a tape: hubs, and no guess at anything else
    assert {one.kind for one in turnings(simple_transport())} == {"hub"}


def test_the_remarks_in_the_starter_file_are_right_once_uncommented() -> None:
    text = simple_text(capstan="2.40 mm", flywheel="60 mm", motor_pulley="9 mm",
                       belt_thickness="1 mm", belt_length="306 mm")  # fmt: skip
    opened = "\n".join(
        line.removeprefix("# ") if line.startswith("# ") and " = " in line[:22] else line
        for line in text.splitlines()
    )
    assert opened != text
    transport = parse_transport(opened, "opened.toml")
    assert transport.deck == "C-14"
    assert transport.belts[0].section == "square"
    assert transport.shaft("motor").motor is not None
    assert all(one.place is not None for one in transport.shafts)


def _paths(plain: dict[str, Any], above: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    found = []
    for key, value in plain.items():
        found.append((*above, key))
        if isinstance(value, dict):
            found += _paths(value, (*above, key))
    return found


@pytest.mark.parametrize("name", example_names())
def test_every_key_of_the_examples_has_the_line_where_it_stands(name: str) -> None:
    """Hold the lines against the library that reads TOML but keeps no lines."""
    text = example_text(name)
    lines = lines_of(text)
    rows = text.splitlines()
    for path in _paths(tomllib.loads(text)):
        line = line_of(lines, path)
        assert line is not None, path
        assert path[-1] in rows[line - 1] or path[-2] in rows[line - 1], path


def test_lines_are_found_in_odd_files() -> None:
    text = '''# a remark = 1
name = "x"   # [shaft.no]
remark = """
of several lines
capstan = "2 mm"
"""
[ shaft . "cap-stan" ]
  capstan = "2 mm"
wheels . flywheel = "60 mm"
[belt.main]
over = [
  "a.b",
  "c.d"
]
'''
    lines = lines_of(text)
    tomllib.loads(text)
    assert lines[("shaft", "cap-stan")] == 7
    assert lines[("shaft", "cap-stan", "capstan")] == 8
    assert lines[("shaft", "cap-stan", "wheels", "flywheel")] == 9
    assert lines[("belt", "main", "over")] == 11
    assert ("capstan",) not in lines
    assert line_of(lines, ("shaft", "cap-stan", "wheels", "flywheel", "teeth")) == 9
    assert line_of(lines, ("roller", "x")) is None
