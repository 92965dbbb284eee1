"""Virtual decks with one electrical fault each: the whole sheet of each says what it is.

The decks say themselves what is wrong with them (`runstrue.virtualdeck.presets_electrical`); they
share no code with what measures them.
"""

from __future__ import annotations

import pytest
from tests.measure.test_whole_sheet import sheet

from runstrue.faults.findings import findings_of, read_findings
from runstrue.faults.infer import FaultFinder
from runstrue.faults.read import read_knowledge

# deck: what is found, and causes that its fault is, in the words of the knowledge
EXPECTED: dict[str, tuple[dict[str, str], set[str]]] = {
    "sound": ({}, set()),
    "azimuth-off": (
        {"ms_treble": "falls_with_square", "ms_azimuth": "off_steady"}, {"azimuth_off"},
    ),
    "dirty-head": ({"ms_treble": "falls_with_frequency"}, {"head_dirty"}),
    "hum-supply": ({"ms_hum": "twice_mains"}, {"reservoir_dry"}),
    "hum-transformer": ({"ms_hum": "mains_only"}, {"hum_induced"}),
    "wrong-eq": ({"ms_treble": "shelf"}, {"eq_switch"}),
    "worn-head": ({"ms_treble": "falls_with_square"}, {"head_worn"}),
    "bias-low": ({"ms_distortion": "odd"}, {"bias_misset"}),
    "magnetised-head": ({"ms_distortion": "even"}, {"head_magnetised"}),
    # the programme of the sheet tells nothing of erasure; the tone left over is no hum
    "weak-erase": ({}, set()),
    # a level control of one side: what is low is told, and that first
    "channel-low": ({"ms_channels": "one_low"}, {"pot_dirty"}),
}  # fmt: skip


@pytest.mark.parametrize("key", sorted(EXPECTED))
def test_the_sheet_of_a_deck_says_what_is_wrong_with_it(key: str) -> None:
    outcomes, causes = EXPECTED[key]
    measured = sheet(key).measured
    assert {one.key: one.answer for one in findings_of(measured)} == outcomes
    # what is as it should be speaks too: a treble that falls with azimuth in line is no azimuth
    evidence = [one.evidence for one in read_findings(measured)]
    first = [row.cause.id for row in FaultFinder(read_knowledge()).posterior(evidence).suspects[:2]]
    assert causes <= set(first)
