"""`terrain3d mounts`: where a unit could be fixed."""

from pathlib import Path

import click

from terrain3d.cli.options import (
    Finite,
    out_option,
    progress_on_terminal,
    say_done,
    site_argument,
    site_bytes,
    tell_in,
    waiting_for,
    whoever_reads,
)
from terrain3d.cli.pictures import check_drawing, check_out, stills_option

#: The plan with every mount at its number; it shows no option, so that `best` draws it as `all` does.
PLAN = "mounts.png"


@click.command("mounts")
@site_argument
@click.option(
    "--every",
    type=Finite(0.5, 100),
    default=5.0,
    metavar="M",
    show_default=True,
    help="Metres between mounts along walls and boundaries; no two are nearer than half of it.",
)
@out_option(Path("out"), "Folder for mounts.png, a plan with every mount at its number.")
@click.option("--write", is_flag=True, help="Add them to the site file; every other byte of it stays.")
@stills_option("Draw the plan (all and best alike), or nothing.")
def command(site: Path, every: float, out: Path, write: bool, which: str) -> None:
    """Propose mounts: at corners, on walls, along boundaries and beside protected ground.

    They stand clear of solids and leaves, on the site's own land and on ground that is known, within reach
    of what is to be held, and clear of the mounts that the site file names.
    """
    check_drawing(which)
    from terrain3d.paper.mounts import print_mounts
    from terrain3d.paper.site_file import before_of
    from terrain3d.paper.whole import whole_folder, writing_to
    from terrain3d.paper.write_mounts import check_takes_mounts, write_mounts
    from terrain3d.search.propose import propose_for

    if which != "none":
        check_out(out, "none", (), list, (PLAN,))
    as_read = site_bytes(site)
    if write and as_read:
        check_takes_mounts(site, as_read)
    with progress_on_terminal() as progress:
        found = propose_for(site, every, progress)
    tell_in(found.site.file.paper.units)
    with whoever_reads():
        print_mounts(found)
    is_added = write and bool(found.mounts)
    if is_added:
        write_mounts(site, as_read, found.mounts, found.terrain.frame, found.crs)
    added = f"{len(found.mounts)} added to {site}; as it was before it is in {before_of(site, as_read)}"
    try:
        if which != "none":
            from terrain3d.show.pages.mounts import write_mounts_page

            with (
                writing_to(out, waiting_for(out)),
                progress_on_terminal() as progress,
                whole_folder(out) as scratch,
            ):
                progress("drawing", 0.0)
                write_mounts_page(found, scratch / PLAN)
            say_done(f"plan written to {out / PLAN}")
    except BaseException as error:
        if is_added:
            error.add_note(f"{added}; the plan was not drawn")
        raise
    if is_added:
        say_done(added)
