"""The example transports: whole, consistent, and a wrong size in any of them is noticed."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from runstrue.errors import DescriptionError, InputError
from runstrue.transport import Transport, parse_transport
from runstrue.transport.belt_path import belt_path
from runstrue.transport.examples import example, example_names, example_text
from runstrue.transport.explain import disagreement_words, facts_of
from runstrue.transport.geometry import given_spots, pulleys_of
from runstrue.transport.rates import Study, study, turnings_of


def _studies() -> Iterator[tuple[str, Study]]:
    for name in example_names():
        transport = example(name)
        for speed in transport.speeds:
            yield f"{name} {speed.name}".strip(), study(transport, speed.name)


STUDIES = dict(_studies())


def test_there_is_one_for_each_usual_kind_of_transport() -> None:
    transports = [example(name) for name in example_names()]
    assert len(transports) == 6
    assert sorted(len(one.belts) for one in transports) == [0, 1, 1, 1, 1, 3]
    assert max(sum(shaft.drives_tape for shaft in one.shafts) for one in transports) == 2
    assert max(sum(shaft.motor is not None for shaft in one.shafts) for one in transports) == 2
    assert any(shaft.is_idler for one in transports for shaft in one.shafts)
    assert any(
        shaft.motor and shaft.motor.kind == "synchronous"
        for one in transports
        for shaft in one.shafts
    )


@pytest.mark.parametrize("name", STUDIES)
def test_nothing_in_an_example_contradicts_anything(name: str) -> None:
    assert [disagreement_words(STUDIES[name], one)
            for one in STUDIES[name].followed.disagreements] == []  # fmt: skip


@pytest.mark.parametrize("name", STUDIES)
def test_every_part_of_an_example_has_its_rate(name: str) -> None:
    studied = STUDIES[name]
    transport, speed = studied.transport, studied.speed
    lifted = {shaft.id for shaft in transport.shafts if shaft.is_idler} - {
        wheel.partition(".")[0] for pair in transport.pairs_at(speed) for wheel in pair.between
    }
    turned = {one.id for one in turnings_of(studied)}
    assert turned >= {one.id for one in transport.shafts} - lifted
    assert turned >= {one.id for one in transport.belts_at(speed)}
    assert turned >= {one.id for one in transport.rollers}
    assert sum(one.pack is not None for one in turnings_of(studied)) >= 2
    unknown = [fact for fact in facts_of(studied) if fact.figure is None]
    assert {fact.part for fact in unknown} <= {"idler, slow", "idler, fast"}


@pytest.mark.parametrize("name", STUDIES)
def test_belts_of_an_example_lie_as_long_as_is_said(name: str) -> None:
    studied = STUDIES[name]
    for belt in studied.transport.belts_at(studied.speed):
        laid = pulleys_of(studied.transport, belt, studied.values,
                          given_spots(studied.transport))  # fmt: skip
        assert laid is not None
        length = studied.values[f"length.{belt.id}"]
        # places are taken with a ruler (0.4 mm each way, two axes), the string with ±3 mm
        assert belt_path(*laid).length_mm == pytest.approx(length.value, abs=4)


SIZE = re.compile(r'^((?:capstan|wheels\.[\w-]+) = "|.* = \{ running = ")([\d.]+)')


def _wrong_sizes() -> Iterator[tuple[str, int]]:
    """Yield every line with a wheel or capstan that another fact could contradict."""
    for name in ("one-belt", "two-motors", "dual-capstan", "idler-drive", "open-reel"):
        for number, line in enumerate(example_text(name).splitlines()):
            # a guide wheel drives nothing, and of the reels' small pulley only the places speak,
            # which a ruler gives within 0.5 mm
            if SIZE.match(line) and "guide" not in line and "reel-pulley" not in line:
                yield name, number


@pytest.mark.parametrize(("name", "number"), list(_wrong_sizes()))
def test_a_size_that_is_a_fifth_off_is_noticed(name: str, number: int) -> None:
    lines = example_text(name).splitlines()
    if name == "one-belt":  # give the pulley, which follows there
        lines = [one.replace('motor-pulley = "unknown"', 'motor-pulley = "8.5±0.1 mm"')
                 for one in lines]  # fmt: skip
    found = SIZE.match(lines[number])
    assert found is not None
    lines[number] = lines[number].replace(found[2], f"{float(found[2]) * 1.2:.3f}", 1)
    try:
        transport = parse_transport("\n".join(lines), "wrong.toml")
    except DescriptionError as error:
        told = str(error)
        assert "overlap" in told  # larger flywheels may meet their neighbours
        return
    said = [
        disagreement_words(studied, one)
        for studied in _all(transport)
        for one in studied.followed.disagreements
    ]
    assert said, lines[number]
    assert all("apart" in words and "Measure again" in words for words in said)


def _all(transport: Transport) -> Iterator[Study]:
    for speed in transport.speeds:
        yield study(transport, speed.name)


def test_a_belt_that_cannot_reach_is_told_with_its_line() -> None:
    text = example_text("one-belt").replace('"300 mm"', '"280 mm"')
    studied = study(parse_transport(text, "short.toml"))
    (one,) = studied.followed.disagreements
    words = disagreement_words(studied, one)
    line = text.splitlines().index("[belt.main-belt]") + 1
    assert f"way of the main belt (line {line}): 280.0 mm are given" in words
    assert "it cannot reach" in words
    longer = study(parse_transport(text.replace('"280 mm"', '"320 mm"'), "long.toml"))
    assert "it would hang loose" in disagreement_words(longer, longer.followed.disagreements[0])


def test_there_is_no_such_example() -> None:
    with pytest.raises(InputError, match="no example 'seven-belts'; one of one-belt"):
        example("seven-belts")
