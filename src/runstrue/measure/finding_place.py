"""From the chain of runs to the place of every section, and why a section has none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from runstrue.measure.finding_chain import Chain, has_a_tone
from runstrue.measure.finding_edges import SHARP_S, Knot, Playing, edge_near, playings
from runstrue.measure.finding_evidence import NEEDED, Evidence
from runstrue.measure.finding_features import Features
from runstrue.measure.finding_runs import Run, Tonal
from runstrue.stimulus.programme import Programme, Section

ROUGH_S = 0.06  # how well the ends of a run are known
SLOW_TONE_HZ, SLOW_ROUGH_S = 250.0, 0.17  # where windows are 0.34 s long
STEP_S, PULSE_STEP_S, MOST_TRIED = 0.1, 0.02, 10_000
NEEDED_ANYWHERE, SURE_SHARE = 0.8, 0.9
PULSED = ("polarity", "bursts")
AGREES_S = 0.12
FAR_S = 60.0
"""Farther from a known edge than this, wow and drift leave the time only about right."""
WHOLE = frozenset({"ramp", "sweep", "pilot", "bursts"})
"""Kinds of which a part is of no use."""
LEAST_SHARE, LEAST_S, ENOUGH_S = 0.5, 0.4, 3.0
WHOLE_SHARE = 0.97


@dataclass(frozen=True, slots=True)
class Place:
    """Where a section lies: its edges in the recording, and how it was played.

    `known_s` is how well the edges are known.
    """

    starts_s: float
    ends_s: float
    speed_ratio: float
    known_s: float = SHARP_S


class Placing:
    """Places of all sections of a programme.

    Parameters
    ----------
    programme : Programme
    features, tonal, runs, chain, evidence
        What was heard and which runs are which sections.
    """

    def __init__(
        self,
        programme: Programme,
        features: Features,
        tonal: Tonal,
        runs: Sequence[Run],
        chain: Chain,
        evidence: Evidence,
    ) -> None:
        self.programme, self.features, self.tonal = programme, features, tonal
        self.evidence, self.exact = evidence, programme.kind == "made"
        self.speed = chain.speed_ratio
        self.anchors = {number: runs[run] for number, run in chain.pairs}
        self.sharp: dict[int, tuple[bool, bool]] = {}
        self.own = {number: self._own_place(number, run) for number, run in self.anchors.items()}
        self.playings = playings(self._knots(), self.speed)

    def place(self, number: int) -> Place | str:
        """Return the place of a section, or why it has none: the end of a sentence."""
        section = self.programme.sections[number]
        found = self._anchored(number) if number in self.own else self._looked_for(number)
        if isinstance(found, str):
            return found
        end_s = self.features.duration_s
        inside = Place(max(found.starts_s, 0.0), min(found.ends_s, end_s), found.speed_ratio,
                       found.known_s)  # fmt: skip
        there_s = inside.ends_s - inside.starts_s
        whole_s = section.lasts_s / found.speed_ratio
        needed = WHOLE_SHARE if section.kind in WHOLE else LEAST_SHARE
        enough = there_s >= needed * whole_s or (needed < WHOLE_SHARE and there_s >= ENOUGH_S)
        if not enough or there_s < LEAST_S:
            cut = "begins" if found.starts_s < 0 else "ends"
            if found.starts_s >= 0 and found.ends_s <= end_s:
                return f"only {there_s:.1f} s of its {whole_s:.1f} s are there"
            return f"the recording {cut} within it: {max(there_s, 0):.1f} s of {whole_s:.1f} s"
        return inside

    def _own_place(self, number: int, run: Run) -> Place:
        section = self.programme.sections[number]
        channel = int(np.argmax(run.level_db))
        begin = edge_near(self.features, run.starts_s, True, channel, run.hz)
        end = edge_near(self.features, run.ends_s, False, channel, run.hz)
        self.sharp[number] = (
            begin is not None and begin.known_s <= SHARP_S,
            end is not None and end.known_s <= SHARP_S,
        )
        rough_s = ROUGH_S if run.hz >= SLOW_TONE_HZ else SLOW_ROUGH_S
        inside = self.tonal.hz[run.first + 1 : run.last]
        inside = inside[np.abs(inside / run.hz - 1) < 0.03]
        speed = float(inside.mean()) / section.frequencies_hz[0] if inside.size else self.speed
        begin_s = run.starts_s if begin is None else begin.at_s
        end_s = run.ends_s if end is None else end.at_s
        # hiss makes an edge uncertain: the inner one of the two roads to it is the safe one
        return Place(
            begin_s if self.sharp[number][0] else max(begin_s, run.starts_s),
            end_s if self.sharp[number][1] else min(end_s, run.ends_s),
            speed,
            rough_s if begin is None or end is None else max(begin.known_s, end.known_s),
        )

    def _knots(self) -> list[Knot]:
        """Edges of the sections that are runs, as far as they can be trusted."""
        knots: list[Knot] = []
        for number, place in sorted(self.own.items()):
            section = self.programme.sections[number]
            off_s = place.ends_s - place.starts_s - section.lasts_s / place.speed_ratio
            begin = Knot(section.starts_s, place.starts_s, place.known_s)
            end = Knot(section.ends_s, place.ends_s, place.known_s)
            if self._is_whole(number, place) or not self.exact:
                knots += [begin, end]
            elif abs(off_s) < 2 * AGREES_S:
                knots.append(replace(begin, known_s=max(place.known_s, ROUGH_S)))
            elif number == min(self.own):  # where a recording begins within a section
                knots.append(end)
            elif number == max(self.own):
                knots.append(begin)
        return knots or [
            Knot(self.programme.sections[number].starts_s, place.starts_s, ROUGH_S)
            for number, place in sorted(self.own.items())
        ]

    def _anchored(self, number: int) -> Place | str:
        """Take a run's own edges, or those that the programme's time gives where they agree."""
        section, own = self.programme.sections[number], self.own[number]
        if not self.exact:
            return own
        if self._is_whole(number, own):
            return own
        best, off_s = own, AGREES_S
        for playing in self._nearest(section):
            begin_s = playing.seen(section.starts_s, own.speed_ratio)
            end_s = playing.seen(section.ends_s, own.speed_ratio)
            # a run may lack its faint beginning, or run into the next tone of the same pitch
            nearer_s = min(abs(begin_s - own.starts_s), abs(end_s - own.ends_s))
            if begin_s >= own.starts_s and end_s <= own.ends_s:
                nearer_s = 0.0  # hum of the tone's pitch, or another such tone, went on
            if nearer_s >= off_s:
                continue
            if section.kind == "tone":
                begin_s, end_s = self._as_far_as_heard(section, own, begin_s, end_s)
            # an edge of its own that is sharp is better than one by the time of others
            begin_is_sharp, end_is_sharp = self.sharp[number]
            if begin_is_sharp and abs(begin_s - own.starts_s) < AGREES_S:
                begin_s = own.starts_s
            if end_is_sharp and abs(end_s - own.ends_s) < AGREES_S:
                end_s = own.ends_s
            known_s = 2 * playing.known_s
            best, off_s = Place(begin_s, end_s, own.speed_ratio, known_s), nearer_s
        return best

    def _as_far_as_heard(
        self, section: Section, own: Place, begin_s: float, end_s: float
    ) -> tuple[float, float]:
        """Cut what the programme's time adds to a run, unless the tone is faintly there."""
        heard = self.evidence.heard_between
        if own.starts_s - begin_s > AGREES_S and not heard(
            section, own.speed_ratio, begin_s, own.starts_s
        ):
            begin_s = own.starts_s
        if end_s - own.ends_s > AGREES_S and not heard(section, own.speed_ratio, own.ends_s, end_s):
            end_s = own.ends_s
        return begin_s, end_s

    def _is_whole(self, number: int, place: Place) -> bool:
        """Whether both edges are sharp and as far apart as the programme says."""
        lasts_s = self.programme.sections[number].lasts_s / place.speed_ratio
        off_s = abs(place.ends_s - place.starts_s - lasts_s)
        return place.known_s <= SHARP_S and off_s < 0.012 + 0.0004 * lasts_s

    def _looked_for(self, number: int) -> Place | str:
        """Look for a section that is no run: where the programme's time puts it, or in between."""
        section = self.programme.sections[number]
        low_s, high_s = self._room(number)
        speed = self._speed_near(number)
        lasts_s = section.lasts_s / speed
        tried: list[float] = []
        best_share, best = 0.0, None
        for playing in self._nearest(section):
            begin_s = playing.seen(section.starts_s, speed)
            tried.append(begin_s)
            if begin_s < low_s - 0.3 or begin_s + lasts_s > high_s + 0.3:
                continue
            share = self.evidence.share(section, begin_s, speed)
            if share > best_share and self.evidence.shows(section, begin_s, speed):
                near = self.exact and playing.away_s(section.starts_s) < FAR_S
                known_s = 2 * playing.known_s if near else 2 * ROUGH_S
                best_share = share
                best = self._sharpened(section, begin_s, begin_s + lasts_s, speed, known_s)
        if best_share < SURE_SHARE and (not self.exact or len(self.playings) > 1):
            best = self._searched(section, low_s, high_s, speed, best_share) or best
        return best or self._why_not(section, tried, lasts_s)

    def _searched(
        self, section: Section, low_s: float, high_s: float, speed: float, better_than: float
    ) -> Place | None:
        """Try every place between the neighbours; return one that shows more than was found."""
        lasts_s = section.lasts_s / speed
        step_s = PULSE_STEP_S if section.kind in PULSED else STEP_S
        # a section of which a part is missing is not searched for: it would be found anywhere
        low_s, high_s = max(low_s - AGREES_S, 0.0), min(high_s + AGREES_S, self.features.duration_s)
        starts = np.arange(low_s, high_s - lasts_s, step_s)
        if not 0 < starts.size <= MOST_TRIED:
            return None
        shares = np.array([self.evidence.share(section, float(at), speed) for at in starts])
        best = float(shares.max())
        if best < max(NEEDED.get(section.kind, 0.0), NEEDED_ANYWHERE, better_than + 0.05):
            return None
        # of equally good places the middle one
        level = np.flatnonzero(shares >= best - 0.01)
        begin_s = float(starts[level[len(level) // 2]])
        return self._sharpened(section, begin_s, begin_s + lasts_s, speed, 2 * ROUGH_S)

    def _sharpened(
        self, section: Section, begin_s: float, end_s: float, speed: float, known_s: float
    ) -> Place:
        """Take the edges of the sound itself where the programme's time is only about right."""
        if known_s < ROUGH_S or section.kind in ("silence", *PULSED):
            return Place(begin_s, end_s, speed, known_s)
        powers = self.features.cell_power.sum(axis=1)
        channel = int(np.argmax(powers))
        begin = edge_near(self.features, begin_s, True, channel, 1000.0)
        end = edge_near(self.features, end_s, False, channel, 1000.0)
        return Place(
            begin_s if begin is None else begin.at_s,
            end_s if end is None else end.at_s,
            speed,
            known_s,
        )

    def _room(self, number: int) -> tuple[float, float]:
        """Where the neighbours that were found leave room."""
        before = [place.ends_s for other, place in self.own.items() if other < number]
        behind = [place.starts_s for other, place in self.own.items() if other > number]
        reach_s = self.features.duration_s
        return max(before, default=-reach_s), min(behind, default=2 * reach_s)

    def _nearest(self, section: Section) -> list[Playing]:
        return sorted(self.playings, key=lambda one: one.away_s(section.starts_s))[:3]

    def _speed_near(self, number: int) -> float:
        """Speed of the anchors on both sides."""
        near = [
            self.own[other].speed_ratio
            for other in sorted(self.own, key=lambda other: abs(other - number))[:2]
        ]
        return float(np.mean(near)) if near else self.speed

    def _why_not(self, section: Section, tried: list[float], lasts_s: float) -> str:
        end_s = self.features.duration_s
        if tried and all(begin_s + lasts_s < 0.3 for begin_s in tried):
            return "it lies before the beginning of the recording"
        if tried and all(begin_s > end_s - 0.3 for begin_s in tried):
            return "it lies behind the end of the recording"
        begin_s = tried[0] if tried else 0.0
        if begin_s < 0 or begin_s + lasts_s > end_s:
            cut = "begins" if begin_s < 0 else "ends"
            there_s = max(min(begin_s + lasts_s, end_s) - max(begin_s, 0.0), 0.0)
            return f"the recording {cut} within it: {there_s:.1f} s of {lasts_s:.1f} s"
        if section.kind == "silence":
            return f"it is not quiet around {begin_s:.1f} s, where it should lie"
        if has_a_tone(section):
            return f"no such tone is heard around {begin_s:.1f} s, where it should lie"
        return f"nothing of that kind is heard around {begin_s:.1f} s, where it should lie"
