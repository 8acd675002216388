"""`terrain3d study`: what walks through the options, what else they sense, and how surely they hold."""

from pathlib import Path

import click

from terrain3d.cli.options import date_option, out_option, progress_on_terminal, site_argument, size_option

#: The parts, without loading what works them out; a test holds them to `study`.
PARTS = ("walks", "routes", "animals", "beyond", "heat", "sun", "doubt")


@click.command("study")
@site_argument
@out_option(Path("out"), "Folder for results.json, the maps and stills/.")
@click.option(
    "--part",
    "parts",
    type=click.Choice(PARTS),
    multiple=True,
    help="A part to look at; give it again for more. All of them where it is not given.",
)
@click.option(
    "--draws", type=click.IntRange(1), metavar="N", help="Draws of the doubt; else the site file's."
)
@size_option
@date_option
@click.option("--stills/--no-stills", default=True, show_default=True, help="Draw a page of each part.")
def command(
    site: Path, out: Path, parts: tuple[str, ...], draws: int | None, size: str, date: str, stills: bool
) -> None:
    """Look at what walks through the options, and how far to trust them.

    Walks and pulses, open routes, animals, what lies beyond the boundary, warm evenings, low sun, and
    doubt: the errors of the survey and of fixing by hand. Writes the results of `cover` with them.
    """
    from terrain3d.paper.folder import write_results
    from terrain3d.paper.study import study_json, study_rasters
    from terrain3d.paper.study_lines import print_study
    from terrain3d.show.pages.size import SIZES
    from terrain3d.show.pages.study_stills import write_study_stills
    from terrain3d.study import study

    with progress_on_terminal() as progress:
        result = study(site, parts or PARTS, progress, draws)

        def draw(_outcome: object, folder: Path) -> object:
            return write_study_stills(
                result, folder, lambda share: progress("drawing", share), SIZES[size], date
            )

        write_results(
            result.outcome, out, draw if stills else None, study_json(result), study_rasters(result)
        )
    print_study(result)
    click.echo(f"written to {out}")
