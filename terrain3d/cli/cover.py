"""`terrain3d cover`: judge every option and write the results."""

from pathlib import Path

import click

from terrain3d.cli.options import out_option, site_argument
from terrain3d.cli.pictures import judge_and_write, stills_option


@click.command("cover")
@site_argument
@out_option(Path("out"), "Folder for results.json, maps and stills/.")
@stills_option()
def command(site: Path, out: Path, which: str) -> None:
    """Show which ground each option holds with both layers, one or none, and why."""
    from terrain3d.paper.table import print_areas

    judge_and_write(site, out, which, print_areas)
