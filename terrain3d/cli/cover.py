"""`terrain3d cover`: judge every option and write the results."""

from pathlib import Path

import click

from terrain3d.cli.options import judge_and_write, out_option, site_argument


@click.command("cover")
@site_argument
@out_option(Path("out"), "Folder for results.json, verdicts.tif and stills/.")
def command(site: Path, out: Path) -> None:
    """Show which ground each option holds with both layers, one or none, and why."""
    from terrain3d.paper.table import print_areas

    outcome = judge_and_write(site, out)
    print_areas(outcome)
    click.echo(f"written to {out}")
