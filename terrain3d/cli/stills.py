"""`terrain3d stills`: the pictures alone."""

from pathlib import Path

import click

from terrain3d.cli.options import out_option, progress_on_terminal, site_argument


@click.command("stills")
@site_argument
@out_option(Path("out"), "Folder for stills/.")
def command(site: Path, out: Path) -> None:
    """Draw plan and oblique view of each option, without a display."""
    from terrain3d.job import run
    from terrain3d.paper.whole import whole_folder
    from terrain3d.show.stills import write_stills

    with progress_on_terminal() as progress:
        outcome = run(site, progress)
        with whole_folder(out) as scratch:
            folder = scratch / "stills"
            folder.mkdir()
            drawn = write_stills(outcome, folder, lambda fraction: progress("drawing", fraction))
    for still in drawn:
        click.echo(out / "stills" / still.name)
