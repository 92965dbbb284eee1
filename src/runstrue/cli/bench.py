"""Where the logbook of this bench lies, and the option that names another place."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from runstrue.logbook import Logbook

VARIABLE = "RUNSTRUE_BENCH"


@dataclass(slots=True)
class Bench:
    """The bench folder that was named, if any."""

    named: Path | None = None

    @property
    def folder(self) -> Path:
        """Named by option, else by the environment, else the user's data folder."""
        if self.named is not None:
            return self.named
        if os.environ.get(VARIABLE):
            return Path(os.environ[VARIABLE]).expanduser()
        return user_data_folder() / "runstrue"

    def open(self, *, create: bool = False) -> Logbook:
        """Open the logbook; begin one only where that is asked for."""
        from runstrue.logbook import Logbook

        return Logbook.open(self.folder, create=create)

    def open_if_there(self) -> Logbook | None:
        """Open the logbook where there is one; None else."""
        from runstrue.logbook.database import DATABASE_NAME

        return self.open() if (self.folder / DATABASE_NAME).exists() else None


def user_data_folder() -> Path:
    """Return where this system keeps a user's data.

    References
    ----------
    XDG Base Directory Specification 0.8; Apple's and Microsoft's usual folders (common practice).
    """
    home = Path.home()
    if sys.platform == "darwin":
        return home / "Library" / "Application Support"
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    named = os.environ.get("XDG_DATA_HOME", "")
    return Path(named) if named.startswith("/") else home / ".local" / "share"


def bench_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add ``--bench``; it may stand before or after the command's name."""
    return click.option(
        "--bench",
        "bench",
        metavar="FOLDER",
        expose_value=False,
        callback=_name_bench,
        is_eager=True,
        help=f"Folder of the logbook; else {VARIABLE}, else your data folder.",
    )(function)


def _name_bench(ctx: click.Context, option: click.Parameter, value: str | None) -> None:
    bench = ctx.ensure_object(Bench)
    if value is not None:
        bench.named = Path(value).expanduser()
