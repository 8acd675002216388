"""`terrain3d study`: what walks through the options, what else they sense, and how surely they hold."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from terrain3d.cli.options import (
    date_option,
    out_option,
    progress_on_terminal,
    say_done,
    site_argument,
    size_option,
    tell_in,
    whoever_reads,
)
from terrain3d.cli.pictures import (
    check_drawing,
    checked_site,
    pictures,
    stills_option,
    tell_many,
    write_and_tell,
)
from terrain3d.show.pages.names import PART_KINDS

if TYPE_CHECKING:
    from terrain3d.show.pages.context import PageContext

#: The parts, without loading what works them out; a test holds them to `study`.
PARTS = tuple(PART_KINDS)


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
@stills_option()
@size_option
@date_option
def command(
    site: Path, out: Path, parts: tuple[str, ...], draws: int | None, which: str, size: str, date: str
) -> None:
    """Look at what walks through the options, and how far to trust them.

    Walks and pulses, open routes, animals, what lies beyond the boundary, warm evenings, low sun, and
    doubt: the errors of the survey and of fixing by hand. Writes the results of `cover` with them.
    """
    if draws is not None and parts and "doubt" not in parts:
        raise click.UsageError("--draws counts the draws of the doubt; give --part doubt with it")
    check_drawing(which)
    from terrain3d.job import judge_ready
    from terrain3d.paper.folder import RESULTS
    from terrain3d.paper.study import RASTERS, study_json, study_rasters
    from terrain3d.paper.study_lines import print_study
    from terrain3d.show.pages.size import SIZES
    from terrain3d.study import study_of

    parts = parts or PARTS
    kinds = [kind for part in parts for kind in PART_KINDS[part]]
    files = (*RESULTS, *(RASTERS[part] for part in parts if part in RASTERS))
    ready = checked_site(site, out, which, kinds, files)
    tell_many(ready, which)
    tell_in(ready.site.paper.units)
    with progress_on_terminal() as progress:
        result = study_of(judge_ready(ready, progress), parts, progress, draws)

    def context() -> "PageContext":
        from terrain3d.show.pages.context import PageContext

        return PageContext(result.outcome, SIZES[size], date, result)

    drawn = pictures(which, kinds, context)

    def tell() -> None:
        with whoever_reads():
            print_study(result)

    write_and_tell(result.outcome, out, drawn, tell, study_json(result), study_rasters(result))
    say_done(f"written to {out}")
