"""Write the fault-finding guide from what the program knows, so that both stay one.

Run it with `python docs/make_fault_guide.py`: `docs/fault-guide.md` is written anew. A test holds
the page to it.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import get_args

from runstrue.faults.counts import group_share, groups
from runstrue.faults.models import (
    Area,
    Cause,
    Check,
    Knowledge,
    Likelihood,
    Power,
    RiskWord,
    Symptom,
)
from runstrue.faults.read import read_knowledge
from runstrue.faults.read_intake import read_intake

PAGE = Path(__file__).parent / "fault-guide.md"
WIDTH = 98

AREAS: dict[Area, str] = {
    "power": "Power",
    "drive": "What turns the tape",
    "mechanism": "Keys, doors, counters",
    "tape": "The tape and its path",
    "head": "Heads",
    "signal": "Sound",
    "record": "Recording and erasing",
    "meter": "Meters and lights",
    "logic": "What tells the mechanism when to move",
    "build": "Joints, plugs, earths, earlier repairs",
}
TRIED: dict[Likelihood, str] = {
    "common": "tried first",
    "occasional": "then",
    "rare": "rarely",
}
OWN = """\
causes:
  - id: shim_lost
    name: Shim under the head lost
    area: head
    likelihood: rare
    remedy: Put a shim of 0.1 mm back, then set azimuth.
    parts: [shim]
    tools: [feeler_or_height_gauge]
    effort_min: [10, 40]
    risk: {electrical: low, mechanical: medium}
    cautions: [mark_trimmers, no_magnet_tools]
    basis: [practice]

checks:
  - id: ck_shim
    name: Look for the shim under the head
    area: head
    how: With a lamp from the side.
    tools: [lamp_and_magnifier]
    minutes: 2
    power: off, unplugged
    outcomes:
      - id: missing
        see: no shim
        points_to: [shim_lost]
      - id: there
        see: shim in its place
        makes_unlikely: [shim_lost]

add_to_symptoms:
  - symptom: dull_one
    said: [one side cloudy]
    causes: {rare: [shim_lost]}
    checks: [ck_shim]

add_to_outcomes:
  - check: ck_azimuth_rock
    outcome: no_gain
    points_to: [shim_lost]

synonyms:
  - [dull, cloudy]
"""
POWER = {
    "off, unplugged": "unplugged",
    "on, covers closed": "power on, covers closed",
    "on, open, low-voltage side only": "power on, open, low-voltage side only",
    "on, open, mains side reachable": "power on, mains side reachable: trained people only",
}


def main() -> None:
    """Write the page."""
    PAGE.write_text(guide(), encoding="utf-8")
    print(f"{PAGE.name} written anew")


def guide() -> str:
    """Return the whole page."""
    knowledge = read_knowledge()
    parts = (
        _opening(knowledge),
        _first_power(knowledge),
        _contents(knowledge),
        *_symptoms(knowledge),
        *_checks(knowledge),
        *_causes(knowledge),
        *_cautions(knowledge),
        *_counts(knowledge),
        *_sources(knowledge),
        *_own_file(),
    )
    return "\n\n".join(parts) + "\n"


def _opening(knowledge: Knowledge) -> str:
    links = sum(len(one.causes) for one in knowledge.symptoms.values())
    return "\n\n".join(
        (
            "# Finding what is wrong",
            "<!-- Written by docs/make_fault_guide.py from the files in "
            "src/runstrue/faults/knowledge. -->",
            _wrapped(
                "What a bench knows about tape decks, cassette first, open reel second: "
                f"{len(knowledge.symptoms)} symptoms, {len(knowledge.causes)} causes, "
                f"{len(knowledge.checks)} checks, {links} links between symptoms and causes. "
                "The program goes the same ways and does the sums; the page stands without it."
            ),
            _wrapped(
                "**Local wiring codes, product-safety and repair-test standards, and the rules on "
                "who may do such work come before anything written here.** Whoever lacks the "
                "training, or the licence where one is asked for, keeps to the looks that are done "
                "unplugged or with the covers closed, and hands the rest to a qualified person. "
                "Nothing here says that a deck is safe."
            ),
            _wrapped(
                "How to read it: find the symptom; read *take care* before anything else; do the "
                "looks from the top, the quick and harmless ones first; what they show speaks for "
                "some causes and against others. 'Speaks against' makes a cause unlikely; it is no "
                "proof."
            ),
            _wrapped(
                "How sure it is: 'tried first', 'then' and 'rarely' are judgement, not measured "
                "rates. So are minutes (for one skilled person, parts to hand) and risks. The only "
                "counts are those of open repair data, [at the end](#counts). Most of the rest is "
                "common practice of the bench, without a source; where there is one, it is named."
            ),
        )
    )


def _first_power(knowledge: Knowledge) -> str:
    intake = read_intake()
    parts = [
        "## Before first power",
        _wrapped(
            "For a deck that has never been powered here, or has stood for a while. It stays "
            "unplugged until every question has its answer and nothing said stop. Where power "
            "waits, do what stands there, then answer anew. In any case:"
        ),
        *_care(_cautions_of(intake.always), knowledge),
        "\n".join(_wrapped(f"- {intake.steps[key].do}", hanging=True) for key in intake.always),
    ]
    told: set[str] = set()
    for question in intake.questions.values():
        lines = []
        for answer in question.answers:
            steps = [
                intake.steps[key].do if key not in told else _first_sentence(intake.steps[key].do)
                for key in answer.steps
            ]
            told.update(answer.steps)
            held = " *Power waits.*" if answer.holds else ""
            said = " ".join(steps) or "go on."
            lines.append(_wrapped(f"- {_large(answer.say)}: {said}{held}", hanging=True))
        parts.append(_wrapped(f"**{question.ask}** {question.why}"))
        brought = [key for answer in question.answers for key in answer.steps]
        parts += _care(_cautions_of(brought), knowledge)
        parts.append("\n".join(lines))
    parts.append(_wrapped(f"At the end, at best: *{intake.closing['through']}*"))
    return "\n\n".join(parts)


def _cautions_of(steps: Sequence[str]) -> list[str]:
    """Return the cautions of some steps, each once."""
    intake = read_intake()
    return list(dict.fromkeys(one for key in steps for one in intake.steps[key].cautions))


def _contents(knowledge: Knowledge) -> str:
    lines = ["## Symptoms", ""]
    for area, words in AREAS.items():
        found = [one for one in knowledge.symptoms.values() if one.area == area]
        if found:
            names = "; ".join(f"[{_small(one.name)}](#{one.id})" for one in found)
            lines.append(_wrapped(f"- **{words}**: {names}", hanging=True))
    return "\n".join(lines)


def _symptoms(knowledge: Knowledge) -> Iterator[str]:
    for area, words in AREAS.items():
        found = [one for one in knowledge.symptoms.values() if one.area == area]
        if found:
            yield f"## {words}: symptoms"
            yield from (_symptom(one, knowledge) for one in found)


def _symptom(symptom: Symptom, knowledge: Knowledge) -> str:
    parts = [f'<a id="{symptom.id}"></a>', f"### {symptom.name}"]
    if symptom.said:
        parts.append(_wrapped("Also: " + "; ".join(f"'{one}'" for one in symptom.said) + "."))
    parts += _care(symptom.cautions, knowledge)
    if symptom.cold_checks_before_power:
        cold = ", ".join(_link(knowledge.checks[key]) for key in symptom.cold_checks_before_power)
        parts.append(_wrapped(f"**Before any power, unplugged:** {cold}."))
    looks = [
        f"{number}. {_link(knowledge.checks[key])}, {_state(knowledge.checks[key])}"
        for number, key in enumerate(symptom.checks, 1)
    ]
    parts.append("\n".join(_wrapped(line, hanging=True) for line in looks))
    causes = []
    for word, tried in TRIED.items():
        ids = [link.cause for link in symptom.causes if link.likelihood == word]
        if ids:
            causes.append(f"{tried}: {_all(ids, knowledge.causes.values())}")
    parts.append(_wrapped("**It can be**, " + "; ".join(causes) + "."))
    return "\n\n".join(parts)


def _checks(knowledge: Knowledge) -> Iterator[str]:
    yield "## Checks"
    for area, words in AREAS.items():
        found = [one for one in knowledge.checks.values() if one.area == area]
        if found:
            yield f"### {words}: checks"
            yield from (_check(one, knowledge) for one in found)


def _check(check: Check, knowledge: Knowledge) -> str:
    parts = [f'<a id="{check.id}"></a>', f"#### {check.name}"]
    needed = [_small(knowledge.tools[key].name) for key in check.tools]
    told = "; ".join((_state(check), *([", ".join(needed)] if needed else [])))
    parts.append(_wrapped(f"{told[0].upper()}{told[1:]}."))
    parts += _care(check.cautions, knowledge)
    parts.append(_wrapped(check.how))
    if check.measures:
        parts.append(f"The program answers it: `{check.measures}`.")
    rows = [
        f"| {outcome.see} | {_all(outcome.points_to, knowledge.causes.values())} "
        f"| {_all(outcome.makes_unlikely, knowledge.causes.values())} |"
        for outcome in check.outcomes
    ]
    parts.append(
        "\n".join(("| what it shows | speaks for | speaks against |", "|---|---|---|", *rows))
    )
    parts += _stands(check.basis)
    return "\n\n".join(parts)


def _causes(knowledge: Knowledge) -> Iterator[str]:
    yield "## Causes and remedies"
    for area, words in AREAS.items():
        found = [one for one in knowledge.causes.values() if one.area == area]
        if found:
            yield f"### {words}: causes"
            yield from (_cause(one, knowledge) for one in found)


def _cause(cause: Cause, knowledge: Knowledge) -> str:
    parts = [f'<a id="{cause.id}"></a>', f"#### {cause.name}"]
    least, most = cause.effort_min
    told = [f"{cause.likelihood} among old decks (judgement)", f"{least:g} to {most:g} min"]
    told += [
        f"{kind} risk {word}"
        for kind, word in (
            ("electrical", cause.risk.electrical),
            ("mechanical", cause.risk.mechanical),
        )
        if word in {"medium", "high"}
    ]
    if cause.parts:
        told.append("parts: " + ", ".join(cause.parts))
    if cause.tools:
        told.append("tools: " + ", ".join(_small(knowledge.tools[key].name) for key in cause.tools))
    words = "; ".join(told)
    parts.append(_wrapped(f"{words[0].upper()}{words[1:]}."))
    parts += _care(cause.cautions, knowledge)
    parts.append(_wrapped(cause.remedy))
    parts += _stands(cause.basis)
    return "\n\n".join(parts)


def _cautions(knowledge: Knowledge) -> Iterator[str]:
    yield "## Cautions"
    lines = [f'- <a id="{one.id}"></a>{one.text}' for one in knowledge.cautions.values()]
    yield "\n".join(_wrapped(line, hanging=True) for line in lines)


def _counts(knowledge: Knowledge) -> Iterator[str]:
    base = group_share(groups()[0]).base
    yield '<a id="counts"></a>'
    yield "## What open repair counts say"
    yield _wrapped(
        f"Of {base} texts on tape machines that name any part, from community repairs. One text "
        "can name several parts, so the shares do not add up to one. Portables outweigh decks, and "
        "nobody aligns heads at a repair table: heads, rollers, alignment and recording are "
        "counted too low. They are a weak start for a guess, no more. Source: Open Repair Alliance "
        "and its data partners, CC BY-SA 4.0; what was counted, and how, is told in "
        "[the note beside the counts](../src/runstrue/faults/open_repair_counts.md)."
    )
    rows = []
    for group in groups():
        share = group_share(group)
        causes = [one.id for one in knowledge.causes.values() if one.prior_group == group]
        rows.append(
            f"| {share.words} | {share.n} | {100 * share.share:.0f} % | "
            f"{100 * share.low:.0f} to {100 * share.high:.0f} % | "
            f"{_all(causes, knowledge.causes.values())} |"
        )
    yield "\n".join(
        (
            "| part | texts | share | 95 % range | causes counted under it |",
            "|---|---|---|---|---|",
            *rows,
        )
    )
    doubts = [f"{one.words}: {one.doubt}" for one in map(group_share, groups()) if one.doubt]
    yield _wrapped("Doubts: " + "; ".join(doubts) + ". A dirty head is counted under dirt.")


def _sources(knowledge: Knowledge) -> Iterator[str]:
    yield "## What it rests on"
    lines = [f"- **{key}**: {words}" for key, words in knowledge.sources.items()]
    yield "\n".join(_wrapped(line, hanging=True) for line in lines)


def _own_file() -> Iterator[str]:
    yield "## What your own bench knows"
    yield _wrapped(
        "Put a file such as `ours.yaml` into the folder `faults` of your bench (the folder of the "
        "logbook). It can add symptoms, causes, checks, cautions, tools, sources and words, and "
        "add to the ones above; an id from this page is what stands behind `#` in its links. "
        "Nothing above can be taken away by it. A slip is told by file and line."
    )
    yield f"```yaml\n{OWN}```"
    yield "\n".join(
        _wrapped(line, hanging=True)
        for line in (
            f"- likelihood: {_one_of(Likelihood)}",
            f"- area: {_one_of(Area)}",
            f"- risk: {_one_of(RiskWord)}; a risky check, or one on an open deck with power on, "
            "needs a caution",
            f"- power: {'; '.join(get_args(Power))}",
            "- prior_group, the part of the open repair counts that a cause belongs to, if any: "
            f"{', '.join(groups())}",
        )
    )


def _one_of(words: object) -> str:
    return ", ".join(get_args(words))


def _care(cautions: Sequence[str], knowledge: Knowledge) -> list[str]:
    if not cautions:
        return []
    words = " ".join(
        f"[{_first_sentence(knowledge.cautions[key].text)}](#{key})" for key in cautions
    )
    return [_wrapped(f"*Take care:* {words}")]


def _stands(basis: Sequence[str]) -> list[str]:
    """Return where something comes from; plain common practice goes without saying."""
    known = [key for key in basis if key not in {"practice", "ordata"}]
    return [f"Basis: {', '.join(basis)}."] if known else []


def _state(check: Check) -> str:
    return f"{POWER[check.power]}, {check.minutes:g} min"


def _link(check: Check) -> str:
    return f"[{_small(check.name)}](#{check.id})"


def _all(ids: Sequence[str], causes: Iterable[Cause]) -> str:
    names = {one.id: one.name for one in causes}
    return ", ".join(f"[{_small(names[key])}](#{key})" for key in ids)


def _small(name: str) -> str:
    """Begin with a small letter, unless the first word is written in capitals."""
    return name if name[:2].isupper() else name[0].lower() + name[1:]


def _large(name: str) -> str:
    return name[0].upper() + name[1:]


def _first_sentence(text: str) -> str:
    return re.split(r"(?<=[.])\s", text, maxsplit=1)[0]


def _wrapped(text: str, *, hanging: bool = False) -> str:
    return textwrap.fill(
        text,
        WIDTH,
        subsequent_indent="  " if hanging else "",
        break_long_words=False,
        break_on_hyphens=False,
    )


if __name__ == "__main__":
    assert set(AREAS) == set(get_args(Area))
    main()
