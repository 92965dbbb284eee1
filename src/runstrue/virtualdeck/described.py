"""What all parts of a description share: finite figures, and refusals in one form."""

from __future__ import annotations

import math
from dataclasses import fields

from runstrue.errors import InputError


class Described:
    """Shared check: every number of a description is finite."""

    __slots__ = ()

    def __post_init__(self) -> None:
        for part in fields(self):  # type: ignore[arg-type]  # always a dataclass here
            value = getattr(self, part.name)
            if isinstance(value, int | float) and not math.isfinite(value):
                raise InputError(
                    f"{type(self).__name__}: {part.name} is {value}", "a finite figure is needed"
                )

    def need(self, met: bool, seen: str, needed: str) -> None:
        """Refuse what is not met."""
        if not met:
            raise InputError(f"{type(self).__name__}: {seen}", needed)
