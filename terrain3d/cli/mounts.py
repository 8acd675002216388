"""`terrain3d mounts`: where a unit could be fixed."""

from pathlib import Path

import click

from terrain3d.cli.options import out_option, progress_on_terminal, site_argument


@click.command("mounts")
@site_argument
@click.option(
    "--every",
    type=click.FloatRange(0.5, 100),
    default=5.0,
    metavar="M",
    show_default=True,
    help="Metres between mounts along walls and boundaries; no two are nearer than half of it.",
)
@out_option(Path("out"), "Folder for mounts.png, a plan with every mount at its number.")
@click.option("--write", is_flag=True, help="Add them to the site file; every other byte of it stays.")
def command(site: Path, every: float, out: Path, write: bool) -> None:
    """Propose mounts: at corners, on walls, along boundaries and beside protected ground.

    They stand clear of solids and leaves, on the site's own land and on ground that is known, within reach
    of what is to be held, and clear of the mounts that the site file names.
    """
    from terrain3d.paper.mounts import print_mounts
    from terrain3d.paper.whole import whole_folder
    from terrain3d.paper.write_mounts import write_mounts
    from terrain3d.search.propose import propose_for
    from terrain3d.show.pages.mounts import write_mounts_page

    as_read = site.read_bytes() if site.is_file() else b""
    with progress_on_terminal() as progress:
        found = propose_for(site, every, progress)
        with whole_folder(out) as scratch:
            progress("drawing", 0.0)
            write_mounts_page(found, scratch / "mounts.png")
    print_mounts(found)
    click.echo(f"plan written to {out / 'mounts.png'}")
    if write and found.mounts:
        write_mounts(site, as_read, found.mounts, found.terrain.frame, found.crs)
        click.echo(f"{len(found.mounts)} added to {site}")
