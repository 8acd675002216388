"""`terrain3d sheet`: what an installer takes along to fix the units of an option."""

import datetime
from pathlib import Path

import click

from terrain3d.cli.options import (
    out_option,
    progress_on_terminal,
    say_done,
    site_argument,
    tell_in,
    whoever_reads,
)
from terrain3d.cli.pictures import write_and_tell


@click.command("sheet")
@site_argument
@click.option(
    "--option", "name", metavar="NAME", help="The option that is fixed; the one ranked first where not given."
)
@out_option(Path("out"), "Folder for sheet.pdf and results.json.")
@click.option(
    "--on",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="The day for which is told what a compass shows; else [site] date.",
)
def command(site: Path, name: str | None, out: Path, on: datetime.datetime | None) -> None:
    """Say where each unit of an option goes, how high, which way, how steep, how set, and what to see."""
    from terrain3d.errors import one_named
    from terrain3d.fixing.magnetism import check_day
    from terrain3d.fixing.unit import option_fixing
    from terrain3d.job import judge_ready
    from terrain3d.paper.fixing import fixing_json, print_fixing
    from terrain3d.paper.folder import RESULTS, check_place
    from terrain3d.paper.pages import SHEET_PDF
    from terrain3d.ready import ready_site
    from terrain3d.survey.build import crs_of_site

    if on is not None:
        check_day(on.date(), "--on")
    ready = ready_site(site)
    tell_in(ready.site.paper.units)
    if name is not None:
        one_named(name, ready.site.option, "option")
    check_place(out, (*RESULTS, SHEET_PDF))
    day = ready.site.site.date if on is None else on.date()
    with progress_on_terminal() as progress:
        outcome = judge_ready(ready, progress)
        option = outcome.ranking[0] if name is None else name
        progress("looking along each unit", 0.0)
        units = option_fixing(outcome, option, crs_of_site(ready.site, ready.folder), day)

        progress("drawing the pages", 0.9)
        from terrain3d.pack.on_site import sheet_files

        files = sheet_files(outcome, option, units)

    def tell() -> None:
        with whoever_reads():
            print_fixing(outcome, option, units)

    write_and_tell(outcome, out, None, tell, fixing_json(outcome, option, units), files)
    say_done(f"written to {out}")
