"""What holds for everything at this bench: training, tools, and whether its own repairs count."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand
from runstrue.errors import InputError

if TYPE_CHECKING:
    from runstrue.cli.fault_bench import FaultBench
    from runstrue.faults.models import Knowledge


@click.command("settings", cls=ExampleCommand, short_help="Say what holds for this bench.")
@click.option("--trained", type=click.Choice(("yes", "no")), help="For work on mains sets.")
@click.option("--tools", metavar="IDS", help="At hand, comma between them; or 'all'.")
@click.option("--own-counts", type=click.Choice(("on", "off")), help="Repairs of this bench.")
@bench_option
@click.pass_context
def settings(
    ctx: click.Context, trained: str | None, tools: str | None, own_counts: str | None
) -> None:
    """Say what holds for everything at this bench, or show it.

    runstrue fault settings --trained no --tools multimeter,lamp_and_magnifier
    """
    from runstrue.cli.fault_bench import ALL, NO, OWN_COUNTS, TOOLS, TRAINED, YES, keep_setting
    from runstrue.cli.layout import out
    from runstrue.faults.read import knowledge_of_bench

    bench = ctx.ensure_object(Bench)
    knowledge = knowledge_of_bench(bench.folder)
    if tools is not None:
        at_hand = tools_of(tools, knowledge)
        keep_setting(bench, TOOLS, ALL if at_hand is None else " ".join(sorted(at_hand)))
    if trained is not None:
        keep_setting(bench, TRAINED, YES if trained == "yes" else NO)
    if own_counts is not None:
        keep_setting(bench, OWN_COUNTS, YES if own_counts == "on" else NO)
    out(settings_lines(bench, knowledge))


def settings_lines(bench: Bench, knowledge: Knowledge) -> Iterator[str]:
    """Say what the settings are, and which tools there are to name."""
    from runstrue.cli.fault_bench import Settings, read_settings
    from runstrue.cli.fault_show import tool_words, two_columns
    from runstrue.cli.layout import bold, faint, wrapped

    book = bench.open_if_there()
    held = Settings()
    if book is not None:
        with book:
            held = read_settings(book)
    yield bold("Settings of this bench")
    tools = (
        "all, as far as was said"
        if held.tools is None
        else tool_words(sorted(held.tools), knowledge)
    )
    trained = (
        "you said that you are; mains-side steps are offered, with their cautions"
        if held.trained
        else "nobody said so: mains-side steps are never offered as the next best one"
    )
    yield from two_columns(
        [
            ("trained for mains work", trained),
            ("tools at hand", tools),
            ("repairs of this bench", "sharpen the chances" if held.own_counts
             else "are kept, but do not count"),
        ]
    )  # fmt: skip
    for line in wrapped("Tools that can be named: " + ", ".join(knowledge.tools) + ".", "  "):
        yield faint(line)


def tools_of(text: str, knowledge: Knowledge) -> frozenset[str] | None:
    """Read a list of tools; None for all of them.

    Raises
    ------
    InputError
        When there is no such tool.
    """
    from runstrue.faults.lines import near

    if text.strip() == "all":
        return None
    names = [one.strip() for one in text.split(",") if one.strip()]
    for name in names:
        if name not in knowledge.tools:
            raise InputError(
                f"There is no tool '{name}'", near(name, knowledge.tools),
                "see runstrue fault settings",
            )  # fmt: skip
    return frozenset(names)


def own_counts_lines(held: FaultBench) -> Iterator[str]:
    """Say how far this bench's own repairs count."""
    from runstrue.cli.layout import faint, wrapped

    total = sum(held.own_counts.values())
    if not total:
        return
    many = "" if total != 1 else "s"
    how = (
        f"count{many} in the chances; runstrue fault settings --own-counts off leaves them out"
        if held.settings.own_counts
        else f"do{'es' if total == 1 else ''} not count in the chances; runstrue fault settings "
        "--own-counts on lets them"
    )
    repairs = "repair" if total == 1 else "repairs"
    for line in wrapped(f"{total} {repairs} of this bench {how}.", "  "):
        yield faint(line)
