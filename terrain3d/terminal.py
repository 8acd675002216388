"""The one place that prints: what came from files is made fit to be shown on the way to the terminal."""

from typing import TYPE_CHECKING

import click

from terrain3d.wording import fit

if TYPE_CHECKING:
    from rich.console import RenderableType

#: Letters of a line where there is no terminal that has a width: without one, lines would break at 80.
_WIDTH = 120


def say(text: str, err: bool = False) -> None:
    """Print lines to the standard output, or to standard error.

    >>> say("a bell, \\x07, and\\na line of its own")
    a bell, ␇, and
    a line of its own
    """
    click.echo("\n".join(map(fit, text.split("\n"))), err=err)


def lay_out(lines: "RenderableType") -> None:
    """Print a table, or lines with a style, to the standard output."""
    # A command that prints no table does not wait for this.
    from rich.console import Console

    console = Console()
    if not console.is_terminal:
        console = Console(width=_WIDTH)
    _make_fit(lines)
    console.print(lines)


def _make_fit(lines: "RenderableType") -> None:
    """Make every text in what is to be printed fit, in its place."""
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    if isinstance(lines, Group):
        for part in lines.renderables:
            _make_fit(part)
    elif isinstance(lines, Table):
        if isinstance(lines.title, Text):
            _make_fit(lines.title)
        for column in lines.columns:
            for cell in (column.header, *column.cells):
                _make_fit(cell)
    elif isinstance(lines, Text) and (shown := "\n".join(map(fit, lines.plain.split("\n")))) != lines.plain:
        lines.plain = shown
