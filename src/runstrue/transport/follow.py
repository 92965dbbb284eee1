"""Work out what follows from what is known, and notice where two facts do not agree.

Every equation with one open figure gives that figure. Of all that can be found so, the surest is
taken first, so that each figure comes by the way that leaves the least uncertainty; an equation
that is left over then is a check of what was found otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from runstrue.transport.known import Known
from runstrue.transport.relations import Relation

# Twice the standard uncertainty of the difference; what is given as limits seldom gets there.
AGREES_WITHIN = 2.0


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two ways to one figure that lead to two values.

    Parameters
    ----------
    relation : Relation
        The one that does not hold.
    name : str
        The figure.
    taken, otherwise : Known
        What is taken for it, and what the relation makes of the others.
    apart : float
        By how much they differ, as a share.
    explained : float
        How much of that the sizes' uncertainty explains, as a share.
    sizes : tuple of str
        What the difference rests on, what matters most first.
    """

    relation: Relation
    name: str
    taken: Known
    otherwise: Known
    apart: float
    explained: float
    sizes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Followed:
    """All that is known in the end.

    Parameters
    ----------
    values : mapping of str to Known
    found_by : mapping of str to Relation
        How the ones that were not given were found.
    disagreements : tuple of Disagreement
    """

    values: Mapping[str, Known]
    found_by: Mapping[str, Relation]
    disagreements: tuple[Disagreement, ...]


def follow(relations: Sequence[Relation], given: Mapping[str, Known]) -> Followed:
    """Solve what can be solved.

    Parameters
    ----------
    relations : sequence of Relation
    given : mapping of str to Known
        What is known from the start.
    """
    values = dict(given)
    found_by: dict[str, Relation] = {}
    while True:
        best: tuple[float, str, Known, Relation] | None = None
        for relation in relations:
            missing = [name for name in relation.names() if name not in values]
            if len(missing) != 1:
                continue
            found = relation.solved(missing[0], values)
            if found is not None and (best is None or found.relative_u < best[0]):
                best = found.relative_u, missing[0], found, relation
        if best is None:
            break
        _, name, found, relation = best
        values[name], found_by[name] = found, relation
    used = set(map(id, found_by.values()))
    checks = [_check(one, values, given) for one in relations if id(one) not in used]
    return Followed(values, found_by, tuple(check for check in checks if check is not None))


def _check(
    relation: Relation, values: Mapping[str, Known], given: Mapping[str, Known]
) -> Disagreement | None:
    """Hold a relation against what is known; None where it agrees or cannot be held."""
    names = list(relation.names())
    if any(name not in values for name in names):
        return None
    # told best by a size that somebody wrote down
    for name in sorted(names, key=lambda one: one not in given):
        otherwise = relation.solved(name, values)
        if otherwise is None:
            continue
        taken = values[name]
        ratio = otherwise.times(taken, -1)
        apart, u = abs(math.log(ratio.value)), ratio.relative_u
        if apart <= AGREES_WITHIN * u + 1e-9:
            return None
        sizes = sorted(ratio.shares, key=lambda size: -abs(ratio.shares[size]))
        return Disagreement(
            relation, name, taken, otherwise, apart, AGREES_WITHIN * u, tuple(sizes)
        )
    return None
