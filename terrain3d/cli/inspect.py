"""`terrain3d inspect`: what a survey file holds."""

from pathlib import Path

import click


@click.command("inspect")
@click.argument("survey", type=click.Path(path_type=Path), metavar="FILE...", nargs=-1, required=True)
@click.option("--crs", metavar="CRS", help="CRS of the file, where it does not say or says it wrong.")
@click.option(
    "--vertical-unit", type=click.Choice(["m", "ft", "us-ft"]), help="Unit of its heights, likewise."
)
@click.option("--layer", metavar="NAME", help="Layer of a DXF, or surface of a LandXML, to look at.")
def command(survey: tuple[Path, ...], crs: str | None, vertical_unit: str | None, layer: str | None) -> None:
    """Say what a survey holds, how good it is, and every doubt about it.

    FILE is a file, a folder of tiles that meet, or a pattern of their names; several are joined.
    """
    from terrain3d.cli.options import progress_on_terminal
    from terrain3d.site import GroundSource
    from terrain3d.survey.inspect import inspect, report_lines
    from terrain3d.tables import checked
    from terrain3d.terminal import say

    files = [str(each) for each in survey]
    given = {"file": files, "crs": crs, "vertical_unit": vertical_unit, "layer": layer}
    source = checked(GroundSource, {k: v for k, v in given.items() if v is not None}, "inspect")
    with progress_on_terminal() as progress:
        report = inspect(survey, source, lambda share: progress("reading the survey", share))
    for line in report_lines(report):
        say(line)
