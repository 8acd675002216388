"""`terrain3d pack`: what is handed over to a client, in one folder."""

from pathlib import Path

import click

from terrain3d.cli.options import (
    out_option,
    progress_on_terminal,
    say_done,
    site_argument,
    waiting_for,
    whoever_reads,
)
from terrain3d.cli.pictures import check_drawing, tell_older
from terrain3d.errors import InputError
from terrain3d.pack.names import CONTENTS, GEOJSON, KINDS, ON_EARTH, RESULTS, TABLES, asked
from terrain3d.terminal import say


@click.command("pack")
@site_argument
@out_option(Path("out/pack"), "Folder for the pack.")
@click.option(
    "--only",
    "only",
    type=click.Choice(KINDS),
    multiple=True,
    help="A kind of file to make; give it again for more. All of them where it is not given.",
)
def command(site: Path, out: Path, only: tuple[str, ...]) -> None:
    """Make what is handed over to a client: a report, a scene to turn, plan, drawing, model, maps and tables.

    Looks at every part of a study first. The files appear all at once, or none of them; contents.txt says
    what each is and for whom. GeoJSON and KML need a site with a CRS.
    """
    check_drawing("all")
    from terrain3d.job import judge_ready
    from terrain3d.pack.extra import check_extra
    from terrain3d.paper.folder import RESULTS as MAPS
    from terrain3d.paper.whole import check_folder
    from terrain3d.readers.logos import logo_png
    from terrain3d.ready import ready_site
    from terrain3d.study import study_of

    check_extra()
    ready = ready_site(site)
    is_on_earth = ready.site.site.crs is not None
    if not is_on_earth and (off := [kind for kind in only if kind in ON_EARTH]):
        raise InputError(
            f"{off[0]} needs a place on earth, and the site file is in local metres",
            f"{site}: site.crs",
            "name a CRS, or leave that kind out",
        )
    kinds = asked(only, is_on_earth)
    if "report" in kinds and (logo := ready.site.paper.logo) is not None:
        logo_png(ready.folder / logo)  # what is wrong with it is told before the work
    check_folder(out, [Path(name) for name in (RESULTS, CONTENTS, *_named(kinds), *MAPS)])
    with progress_on_terminal() as progress:
        study = study_of(judge_ready(ready, progress), progress=progress)
        from terrain3d.pack.write import write_pack

        older = write_pack(study, out, kinds, progress, waiting_for(out))
    with whoever_reads():
        say((out / CONTENTS).read_text(encoding="utf-8").rstrip("\n"))
    tell_older(out, older)
    say_done(f"written to {out}")


def _named(kinds: tuple[str, ...]) -> list[str]:
    """Files that are made whatever the site is, and the lists of the folders."""
    named = {
        "report": ["report.pdf"],
        "scene": ["scene.html"],
        "plan": ["plan.svg"],
        "drawing": ["plan.dxf"],
        "model": ["scene.glb"],
        "map": ["site.gpkg"],
        "geojson": [f"{GEOJSON}/units.geojson"],
        "kml": ["site.kml"],
        "tables": ["tables.xlsx", f"{TABLES}/options.csv"],
    }
    return [name for kind in kinds for name in named.get(kind, ())]
