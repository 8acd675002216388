"""`terrain3d view`: the scene in a window."""

from pathlib import Path

import click

from terrain3d.cli.options import progress_on_terminal, site_argument


@click.command("view")
@site_argument
def command(site: Path) -> None:
    """Open the options in a window: turn them, switch between them, compare two."""
    from terrain3d.job import run
    from terrain3d.show.window import check_display, open_window

    check_display()  # before the survey is read, not after
    with progress_on_terminal() as progress:
        outcome = run(site, progress)
    open_window(outcome)
