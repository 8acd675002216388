"""`terrain3d view`: the scene in a window."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from terrain3d.cli.options import progress_on_terminal, site_argument

if TYPE_CHECKING:
    from collections.abc import Callable

    from terrain3d.job import Outcome


@click.command("view")
@site_argument
def command(site: Path) -> None:
    """Open the options in a window: turn them, set their units, compare two, save the settings."""
    from terrain3d.job import run
    from terrain3d.show.window.views import check_display, open_window

    check_display()  # before the survey is read, not after
    with progress_on_terminal() as progress:
        # Read first: what changes on disk from here on is someone else's change.
        as_read = site.read_bytes() if site.is_file() else b""
        outcome = run(site, progress)
    open_window(outcome, save=_saver(site, as_read))


def _saver(site: Path, as_read: bytes) -> "Callable[[Outcome], None]":
    """What puts the settings of an outcome into the site file, time after time."""
    from terrain3d.paper.write_back import write_back

    def save(outcome: "Outcome") -> None:
        nonlocal as_read
        as_read = write_back(site, as_read, outcome.options)

    return save
