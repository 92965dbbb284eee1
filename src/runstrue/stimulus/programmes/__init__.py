"""The programmes that Runstrue makes itself; each is declared in a TOML file beside this one."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib import resources

import msgspec

from runstrue.errors import InputError
from runstrue.stimulus.programme import Programme
from runstrue.stimulus.section_rows import SectionRow, laid_out

KEYS = (
    "quick-look",
    "full-sheet",
    "record-and-play",
    "tape-types",
    "noise-reduction",
    "erasure",
    "meters",
    "inputs",
    "loop-back",
)
"""In the order in which they are listed."""


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    name: str
    remark: str
    reference_dbfs: float
    reference_hz: float
    section: tuple[SectionRow, ...]


@lru_cache(maxsize=len(KEYS))
def programme(key: str) -> Programme:
    """Return one of our own programmes.

    Raises
    ------
    InputError
        When there is none of that name.
    """
    if key not in KEYS:
        raise InputError(f"There is no programme '{key}'", f"the programmes are {', '.join(KEYS)}")
    text = resources.files(__package__).joinpath(f"{key}.toml").read_text(encoding="utf-8")
    file = msgspec.convert(tomllib.loads(text), _File)
    return Programme(
        key,
        file.name,
        laid_out(file.section),
        file.reference_dbfs,
        reference_hz=file.reference_hz,
        remark=" ".join(file.remark.split()),
    )
