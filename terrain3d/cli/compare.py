"""`terrain3d compare`: rank the options in a table."""

from pathlib import Path

import click

from terrain3d.cli.options import judge_and_write, out_option, site_argument


@click.command("compare")
@site_argument
@out_option(Path("out"), "Folder for results.json, verdicts.tif and stills/.")
def command(site: Path, out: Path) -> None:
    """Rank the options by the protected ground they hold with both layers."""
    from terrain3d.paper.table import print_comparison

    outcome = judge_and_write(site, out)
    print_comparison(outcome)
    click.echo(f"written to {out}")
