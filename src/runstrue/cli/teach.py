"""Help that teaches by example: indented lines of a docstring stand as they were written."""

from __future__ import annotations

import inspect

import click


class ExampleCommand(click.Command):
    """A command whose help keeps its examples in lines of their own."""

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the docstring: paragraphs are wrapped, indented lines are not."""
        write_help(self.help, formatter)


class ExampleGroup(click.Group):
    """A group that does the same, and shows its help when it is called alone."""

    command_class = ExampleCommand

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the docstring: paragraphs are wrapped, indented lines are not."""
        write_help(self.help, formatter)


def show_group_help(ctx: click.Context) -> None:
    """Print the help of a group that was called without a command."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def write_help(text: str | None, formatter: click.HelpFormatter) -> None:
    """Write a docstring as help."""
    for paragraph in inspect.cleandoc(text or "").split("\n\n"):
        formatter.write_paragraph()
        with formatter.indentation():
            plain: list[str] = []
            for line in [*paragraph.splitlines(), "  "]:
                example = line.startswith(("  ", "runstrue "))
                if not example:
                    plain.append(line)
                    continue
                if plain:
                    formatter.write_text(" ".join(plain))
                    plain = []
                if line.strip():
                    written = "  " + line.removeprefix("  ")
                    formatter.write(" " * formatter.current_indent + written + "\n")
