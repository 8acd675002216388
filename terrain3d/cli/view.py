"""`terrain3d view`: the scene in a window."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from terrain3d.cli.options import progress_on_terminal, site_argument, site_bytes, tell_in
from terrain3d.cli.study import PARTS

if TYPE_CHECKING:
    from collections.abc import Callable

    from terrain3d.job import Outcome


@click.command("view")
@site_argument
@click.option("--study", "is_studied", is_flag=True, help="Study the options first, all parts, and show it.")
@click.option(
    "--part",
    "parts",
    type=click.Choice(PARTS),
    multiple=True,
    help="A part to study and show; give it again for more.",
)
@click.option(
    "--draws", type=click.IntRange(1), metavar="N", help="Draws of the doubt; else the site file's."
)
def command(site: Path, is_studied: bool, parts: tuple[str, ...], draws: int | None) -> None:
    """Open the options in a window: turn them, set their units, compare two, save the settings.

    With --study or --part the window also shows the ways in, ground of animals, the chance of holding,
    what lies beyond the boundary, warm evenings and low sun, as long as the settings are those studied.
    """
    from terrain3d.job import run
    from terrain3d.show.libraries import WINDOW, check_libraries
    from terrain3d.show.window.views import check_display, open_window
    from terrain3d.study import study_of

    if draws is not None and not is_studied and "doubt" not in parts:
        raise click.UsageError("--draws counts the draws of the doubt; give --study or --part doubt with it")

    # Before the survey is read, not after.
    check_display()
    check_libraries(WINDOW)
    with progress_on_terminal() as progress:
        # Read first: what changes on disk from here on is someone else's change.
        as_read = site_bytes(site)
        outcome, found = run(site, progress), None
        if is_studied or parts:
            found = study_of(outcome, parts or PARTS, progress, draws)
    tell_in(outcome.site.file.paper.units)
    open_window(outcome, save=_saver(site, as_read), study=found)


def _saver(site: Path, as_read: bytes) -> "Callable[[Outcome], None]":
    """What puts the settings of an outcome into the site file, time after time."""
    from terrain3d.paper.write_back import write_back

    def save(outcome: "Outcome") -> None:
        nonlocal as_read
        as_read = write_back(site, as_read, outcome.options)

    return save
