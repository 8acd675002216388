"""`terrain3d pack`: what is handed over to a client, in one folder."""

from pathlib import Path

import click

from terrain3d.cli.options import (
    out_option,
    progress_on_terminal,
    say_done,
    site_argument,
    tell_in,
    waiting_for,
    whoever_reads,
)
from terrain3d.cli.pictures import check_drawing, tell_older
from terrain3d.pack.names import CONTENTS, KINDS
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
    from terrain3d.pack.checked import check_pack
    from terrain3d.pack.extra import check_extra
    from terrain3d.ready import ready_site
    from terrain3d.study import study_of

    check_extra()
    ready = ready_site(site)
    kinds = check_pack(ready, str(site), out, only)
    tell_in(ready.site.paper.units)
    with progress_on_terminal() as progress:
        study = study_of(judge_ready(ready, progress), progress=progress)
        from terrain3d.pack.write import write_pack
        from terrain3d.paper.table import print_warnings

        older = write_pack(study, out, kinds, progress, waiting_for(out))
    try:
        with whoever_reads():
            say((out / CONTENTS).read_text(encoding="utf-8").rstrip("\n"))
            print_warnings(study.outcome)
        tell_older(out, older)
    except BaseException as error:
        error.add_note(f"the pack is in {out}")
        raise
    say_done(f"written to {out}")
