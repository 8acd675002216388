"""`terrain3d walktest`: the walks that prove or break the map of an option, and what their answers say."""

import datetime
from pathlib import Path

import click

from terrain3d.cli.options import (
    out_option,
    progress_on_terminal,
    say_done,
    site_argument,
    site_bytes,
    tell_in,
    whoever_reads,
)
from terrain3d.cli.pictures import write_and_tell


@click.command("walktest")
@site_argument
@click.option(
    "--option",
    "name",
    metavar="NAME",
    help="The option that is walked; the one ranked first where not given.",
)
@out_option(Path("out"), "Folder for walktest.pdf, walktest.csv and results.json.")
@click.option(
    "--read",
    "sheet",
    type=click.Path(path_type=Path),
    metavar="FILE.csv",
    help="Read the sheet that was filled in: what differs, and what explains it.",
)
@click.option(
    "--write",
    is_flag=True,
    help="With --read: put the walk test into the site file, and the option as its units hang.",
)
@click.option(
    "--on",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="With --write: the day of the walk test, such as 2026-05-03.",
)
def command(
    site: Path, name: str | None, out: Path, sheet: Path | None, write: bool, on: datetime.datetime | None
) -> None:
    """Choose the short walks that tell most of how the units hang, or read what was seen on them."""
    if write and sheet is None:
        raise click.UsageError("--write goes with --read: it puts back what was seen")
    if write and on is None:
        raise click.UsageError("--write tells the day of the walk test: give --on, such as --on 2026-05-03")
    from terrain3d.errors import one_named
    from terrain3d.job import judge_ready
    from terrain3d.paper.folder import RESULTS, check_place
    from terrain3d.paper.pages import WALK_PDF
    from terrain3d.paper.walktest import NEXT, SHEET
    from terrain3d.ready import ready_site
    from terrain3d.survey.build import crs_of_site
    from terrain3d.walktest.answers import read_answers

    as_read = site_bytes(site)
    ready = ready_site(site)
    tell_in(ready.site.paper.units)
    if name is not None:
        one_named(name, ready.site.option, "option")
    check_place(out, (*RESULTS, *((SHEET, WALK_PDF) if sheet is None else (NEXT,))))
    answers = None if sheet is None else read_answers(sheet)
    crs = crs_of_site(ready.site, ready.folder)
    with progress_on_terminal() as progress:
        outcome = judge_ready(ready, progress)
        option = outcome.ranking[0] if name is None else name
        if answers is None:
            from terrain3d.walktest.plan import plan_walks

            plan = plan_walks(outcome, option, progress)
        else:
            from terrain3d.walktest.read import read_walks

            reading = read_walks(outcome, option, answers, crs, str(sheet), progress)
    from terrain3d.pack.on_site import next_files, walk_files
    from terrain3d.paper import walktest as paper
    from terrain3d.sentences.walktest import plan_lines, reading_lines

    if answers is None:
        lines, text = plan_lines(plan), paper.plan_json(outcome, plan)
        files = walk_files(outcome, plan, crs)
    else:
        lines, text = reading_lines(reading), paper.reading_json(outcome, reading)
        files = next_files(outcome, answers, reading, crs)
    written = ""

    def put() -> None:
        nonlocal written
        if write and on is not None:
            is_new = paper.write_reading(site, as_read, outcome, reading, on.date())
            also = " and the option as its units hang" if is_new else ""
            written = f"the walk test{also} {'are' if is_new else 'is'} in {site}"

    def tell() -> None:
        with whoever_reads():
            paper.print_lines(f'{outcome.site_name}, walk test of "{option}"', lines)

    write_and_tell(outcome, out, None, tell, text, files, put)
    say_done(f"written to {out}")
    if written:
        say_done(written)
