"""A transport file that cannot be: one sentence that says which line, and what to do."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runstrue.errors import DescriptionError, FileError, InputError
from runstrue.transport import parse_transport, read_transport, turnings
from runstrue.transport.examples import example_text
from runstrue.transport.simple import simple_transport

WHOLE = example_text("three-belts")


def _line(text: str, start: str) -> int:
    return next(n for n, line in enumerate(text.splitlines(), 1) if line.startswith(start))


# what is put in the place of what, the line that is to be named, and words of the sentence
CHANGED = {
    "no unit": ('lengths = "mm"', 'remark = ""', "at = [0, 0]", "'0' has no unit"),
    "zero": ('"64.0±0.2 mm"', '"0 mm"', "wheels = {", "above zero is needed"),
    "negative": ('"64.0±0.2 mm"', '"-64 mm"', "wheels = {", "above zero is needed"),
    "other unit": ('"64.0±0.2 mm"', '"64 kg"', "wheels = {", "has the unit 'kg'"),
    "an inch for a millimetre": ('"2.000±0.010 mm"', '"2.0 in"', "capstan =",
                                 "'2.0 in' is 50.8 mm; a capstan has 0.5 mm to 30 mm"),
    "a metre for a millimetre": ('"9.1±0.1 mm"', '"9.1 m"', "wheels.motor-pulley",
                                 "look at the figure and its unit"),
    "no wheel": ('"take-up-clutch"]', '"take-up-clutsh"]', 'over = ["capstan.take',
                 "there is no wheel 'take-up-clutsh'"),
    "several wheels": ('"capstan.flywheel"', '"capstan"', 'over = ["motor"',
                       "the wheels are 'capstan.flywheel', 'capstan.take-up-step'"),
    "one wheel": ('["take-up-spindle", "counter"]', '["counter"]', 'over = ["counter"',
                  "it runs over 1 wheel; two are needed"),
    "a wheel twice": ('["take-up-spindle", "counter"]', '["counter", "counter"]',
                      'over = ["counter"', "'counter.counter-pulley' is named twice"),
    "outside another belt": ('string = "291±3 mm"', 'outside = ["counter"]', "outside",
                             "it does not run over 'counter.counter-pulley'"),
    "length and string": ('string = "291±3 mm"', 'string = "291 mm"\nlength = "292 mm"', "string",
                          "there is a length too"),
    "section": ('section = "flat"', 'section = "vee"', "section", "'vee' was found; one of"),
    "key": ('width = "4.0 mm"', 'widht = "4.0 mm"', "widht", "is 'width' meant"),
    "key of a motor": ("segments = 3", "segmants = 3", "motor = {", "is 'segments' meant"),
    "odd poles": ("poles = 2", "poles = 3", "motor = {", "they come in pairs"),
    "half a pole": ("poles = 2", "poles = 2.5", "motor = {", "2.5 was found"),
    "no text": ('name = "C60"', "name = 60", 'name = 60', "a text in quotes is needed"),
    "no list": ('["take-up-spindle", "counter"]', '"counter"', 'over = "counter"',
                "a list in square brackets is needed"),
    "a place with one figure": ("at = [-78, -30]", "at = [-78]", "at = [-78]", "[-78] was found"),
    "lengths": ('lengths = "mm"', 'lengths = "km"', "lengths", "'km' was found"),
    "a hub twice": ("[shaft.counter]", '[shaft.counter]\nhub =  "take-up"', "hub =  ",
                    "carries that hub too"),
    "a hub and a capstan": ('capstan = "2.000±0.010 mm"', 'capstan = "2.0 mm"\nhub = "supply"',
                            "hub = \"supply\"", "the same shaft carries a capstan"),
    "one name twice": ("[belt.take-up-belt]", "[belt.counter]", "[belt.counter]",
                       "'counter' is the name of another part (shaft)"),
    "a name with spaces": ("[belt.take-up-belt]", '[belt."a belt"]', '[belt."a belt"]',
                           "small letters, digits and hyphens are needed"),
    "both speeds": ("[shaft.motor]", '[speeds.fast]\ntape = "9.5 cm/s"\n[shaft.motor]', "speed =",
                    "there are [speeds] too"),
    "no such speed": ('string = "291±3 mm"', 'speeds = ["fast"]', "speeds =",
                      "there is no speed 'fast'"),
    "wheels that overlap": ("at = [-78, -30]", "at = [-20, -5]", "[belt.main-belt]",
                            "the motor pulley and the flywheel overlap"),
    "a tape of no length": ('name = "C60"', 'length = "86 mm"', 'length = "86',
                            "'86 mm' is 0.086 m; a tape has 1 m to 5000 m"),
    "hub as large as the pack": ('name = "C60"', 'hub = "50 mm"\nfull = "40 mm"', "full",
                                 "both are diameters"),
    "no rollers": ("[roller.pinch-roller]", "[roller.pinch-roller]\ncount = 0", "count",
                   "1 to 20 are needed"),
    "a mains motor of kind dc": ("segments = 3", 'mains = "50 Hz"', "motor = {",
                                 "does not run from the mains"),
}  # fmt: skip


@pytest.mark.parametrize("case", CHANGED)
def test_what_cannot_be_is_told_with_its_line(case: str) -> None:
    old, new, start, words = CHANGED[case]
    text = WHOLE.replace(old, new, 1)
    assert text != WHOLE
    with pytest.raises(DescriptionError) as error:
        parse_transport(text, "c32.toml")
    said = str(error.value)
    assert said.startswith(f"'c32.toml', line {_line(text, start)}, "), said
    assert words in said, said
    assert said.endswith(".")
    assert "msgspec" not in said
    assert "Expected" not in said


SHORT = {
    'name = ""': "a name is needed",
    "": "'name' is missing",
    'name = "a"\nshaft = 3': "a table [shaft.NAME] is needed",
    'name = "a"\n[shaft]\nmotor = 3': "a table [shaft.NAME] is needed",
    'name = "a"\ntape = 3': "a table [tape] is needed",
    'name = "a"\n[motor]': "is no key of a transport file",
    'name = "a"\n[belt.main]\n': "'over' is missing",
    'name = "a"\n[shaft.a.wheels]\nw = { teeth = 1 }': "1 teeth were given; 3 to 2000 are needed",
    'name = "a"\n[shaft.a]\nwheels.w = "5 mm"\n[gears.g]\nbetween = ["a"]': "two are needed",
    'name = "a"\n[shaft.a]\nwheels.w = "5 mm"\n[idler.i]\ntouches = []': "it touches nothing",
    'name = "a"\n[shaft.a]\nwheels.w = "5 mm"\n[idler.i]\ntouches = ["i"]': "it touches itself",
    'name = "a"\n[shaft.a]\nwheels = { w = "5 mm", x = "6 mm" }\n[rims.g]\n'
    'between = ["a.w", "a.x"]': "both wheels are on one shaft",
    'name = "a"\n[shaft.a]\nwheels.w = "5 mm"\nat = ["0 mm", "0 mm"]\n[idler.i]\n'
    'touches = ["a"]\nat = ["0 mm", "0 mm"]': "stand at one place",
    'name = "a"\n[speeds.x]\nmotors.b = { poles = 4 }\n[shaft.a]': "there is no shaft 'b'",
    'name = "a"\n[speeds.""]': "a speed has no name",
    "name = 'a'\nname = 'b'": "is not TOML",
    "just words": "is not TOML",
}  # fmt: skip


@pytest.mark.parametrize("text", SHORT)
def test_short_files_that_cannot_be_are_refused(text: str) -> None:
    with pytest.raises(DescriptionError) as error:
        parse_transport(text, "a.toml")
    assert SHORT[text] in str(error.value)
    assert str(error.value).startswith("'a.toml'")


def test_a_belt_that_cannot_lie_over_its_wheels_is_refused() -> None:
    text = example_text("dual-capstan").replace('outside = ["guide-wheel"]', "outside = []")
    words = (
        r"line 27, \[belt.main-belt\]: the belt would not touch the guide rim.*its back runs on it"
    )
    with pytest.raises(DescriptionError, match=words):
        parse_transport(text, "c60.toml")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such file"):
        read_transport(tmp_path / "gone.toml")
    with pytest.raises(FileError, match="is a directory"):
        read_transport(tmp_path)
    sound = tmp_path / "sound.toml"
    sound.write_bytes(b"RIFF\xff\xfe\x00\x01")
    with pytest.raises(DescriptionError, match="is not a text file"):
        read_transport(sound)


def test_flags_are_refused_as_files_are() -> None:
    with pytest.raises(DescriptionError, match=r"\[shaft.capstan\] capstan: '2.4' has no unit"):
        simple_transport(capstan="2.4")


@given(st.text(max_size=200))
def test_any_text_is_a_transport_or_refused(text: str) -> None:
    with contextlib.suppress(DescriptionError):
        parse_transport(text, "any.toml")


# Any value in the place of any other: what a mistyped file may hold.
VALUES = st.sampled_from(
    ["3", "-3", "0", "1e400", "nan", "true", '"x"', '"3 mm"', '"3 in"', '"-3 mm"', '"0 mm"', "[]",
     '["a"]', "[1, 2]", "{}", "{ x = 1 }", "1979-05-27", '"unknown"', '"1/0 mm"']
)  # fmt: skip
VALUED = [number for number, line in enumerate(WHOLE.splitlines()) if " = " in line]


@given(st.sampled_from(VALUED), VALUES)
def test_any_value_at_any_place_is_used_or_refused(number: int, value: str) -> None:
    lines = WHOLE.splitlines()
    lines[number] = f"{lines[number].partition(' = ')[0]} = {value}"
    said = "'any.toml'."
    try:
        turnings(parse_transport("\n".join(lines), "any.toml"))
    except InputError as error:
        said = str(error)
    assert said.startswith("'any.toml'")
    assert said.endswith(".")
