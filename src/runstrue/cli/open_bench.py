"""`runstrue open`: the bench in the browser."""

from __future__ import annotations

import os

import click

from runstrue.cli.bench import Bench, bench_option
from runstrue.cli.teach import ExampleCommand

PORT = 7315


@click.command("open", cls=ExampleCommand, short_help="Open the bench in the browser.")
@click.option("--port", type=click.IntRange(0, 65_535), default=PORT, show_default=True,
              help="Of this machine; 0 for any that is free.")  # fmt: skip
@click.option("--lan", is_flag=True, help="Let devices of the local network in, by a token each.")
@click.option("--no-browser", is_flag=True, help="Only print the address.")
@bench_option
@click.pass_context
def open_bench(ctx: click.Context, port: int, lan: bool, no_browser: bool) -> None:
    """Open the bench in the browser: live readings, and the whole job on one card.

      runstrue open
      runstrue open --lan
      runstrue open --bench demo/bench --no-browser

    It answers this machine alone. With --lan, a phone beside the deck can show the same numbers:
    the terminal prints a link and its code, which lets one device in; then it prints another one.
    Ctrl-C ends it; what was heard and kept is safe.
    """
    # live windows are short: more threads than one only wait for each other, at full load
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    from runstrue.cli.layout import out, wrapped
    from runstrue.web.serve import serve

    def told(address: str) -> None:
        out(wrapped(f"The bench is open at {address} (Ctrl-C ends it)."))

    serve(
        ctx.ensure_object(Bench), port, lan=lan, told=told, token_told=_token_told,
        browser=not no_browser,
    )  # fmt: skip


def _token_told(link: str) -> None:
    """Print a link that lets one device in, and its code to scan."""
    import io

    import segno

    from runstrue.cli.layout import out, wrapped

    drawn = io.StringIO()
    segno.make(link, error="m").terminal(drawn, compact=True, border=2)
    out("")
    out(wrapped("One device of the local network comes in by this link or code:"))
    out(f"  {link}")
    click.echo(drawn.getvalue())


open = open_bench
"""The command, by the name that it is called by."""
