"""`terrain3d compare`: rank the options in a table."""

from pathlib import Path

import click

from terrain3d.cli.options import out_option, site_argument
from terrain3d.cli.pictures import judge_and_write, stills_option


@click.command("compare")
@site_argument
@out_option(Path("out"), "Folder for results.json, maps and stills/.")
@stills_option()
def command(site: Path, out: Path, which: str) -> None:
    """Rank the options by the protected ground they hold with both layers."""
    from terrain3d.paper.table import print_comparison

    judge_and_write(site, out, which, print_comparison)
