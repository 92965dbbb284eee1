"""Values that depend on a few causes only, worked out once for every set of these few.

Of the dozens of causes that all evidence touches together, one symptom or check touches some ten.
What it says about a set follows from those of the ten that are in it: a table of all of them is
small, and a set's value is looked up instead of being worked out anew.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np

from runstrue.faults.network import Finding
from runstrue.faults.sets import MOST, Array, CauseSets, Places, sets_of


class SetTable:
    """A table of values for the sets of a few causes.

    Parameters
    ----------
    touched : array of int
        Places of the few, rising.
    values : array, shape (sets,) or (sets, columns)
        For each of `sets_of(len(touched))`.
    """

    def __init__(self, touched: Places, values: Array) -> None:
        self.touched = touched
        self._side = len(touched) + 1
        cube = np.zeros((self._side,) * MOST + values.shape[1:])
        members = sets_of(len(touched)).members
        for order in permutations(range(MOST)):
            cube[tuple(members[place] for place in order)] = values
        self._cube = cube.reshape(self._side**MOST, *values.shape[1:])

    def of(self, sets: CauseSets, causes: Places) -> Array:
        """Return the values for sets of other causes, the few among them or not.

        Parameters
        ----------
        sets : CauseSets
            Of at most three each.
        causes : array of int
            Places of the causes that the sets are of, rising.

        Returns
        -------
        array, shape (sets,) or (sets, columns)
        """
        own = np.full(len(causes) + 1, self._side - 1, dtype=np.intp)
        known = np.flatnonzero(np.isin(causes, self.touched, assume_unique=True))
        own[known] = np.searchsorted(self.touched, causes[known])
        code = own[sets.members[0]]
        for row in sets.members[1:MOST]:
            code *= self._side
            code += own[row]
        found: Array = np.take(self._cube, code, axis=0)
        return found


class Tabled:
    """A finding with a table of what it says: the same as the finding, and much quicker.

    Parameters
    ----------
    finding : Finding
    """

    def __init__(self, finding: Finding) -> None:
        self.touched = finding.touched
        values = finding.log_likelihood(sets_of(len(self.touched)), self.touched)
        self._table = SetTable(self.touched, values)

    def log_likelihood(self, sets: CauseSets, causes: Places) -> Array:
        """Return the logarithm of its likelihood for each set, shape (sets,)."""
        return self._table.of(sets, causes)
