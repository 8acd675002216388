"""`terrain3d stills`: the pictures alone."""

from pathlib import Path

import click

from terrain3d.cli.options import (
    Finite,
    date_option,
    out_option,
    progress_on_terminal,
    site_argument,
    size_option,
)
from terrain3d.cli.pictures import check_drawing, checked_site, pictures
from terrain3d.show.pages.names import KINDS, check_units


@click.command("stills")
@site_argument
@out_option(Path("out"), "Folder for stills/.")
@size_option
@click.option(
    "--kind",
    "kinds",
    type=click.Choice(KINDS),
    multiple=True,
    help="A kind of picture to draw; give it again for more. All of them where it is not given.",
)
@click.option(
    "--unit",
    "units",
    metavar="NAME",
    multiple=True,
    help="A unit to draw sections and outlooks of; give it again for more. Every unit where it is not given.",
)
@click.option(
    "--bearing",
    type=Finite(-360, 360),
    metavar="DEG",
    help="Cut sections along this bearing, clockwise from true north; along each head's facing without it.",
)
@date_option
def command(
    site: Path,
    out: Path,
    size: str,
    kinds: tuple[str, ...],
    units: tuple[str, ...],
    bearing: float | None,
    date: str,
) -> None:
    """Draw the options, without a display.

    A contact sheet of all options and up to four side by side; then of each option a plan, an oblique
    view, a section of each unit along each head's facing, the outlook: what each unit sees, and the causes:
    what takes each layer. Pictures of kinds that are not asked for stay.
    """
    if bearing is not None and kinds and "section" not in kinds:
        raise click.UsageError("--bearing is for sections: add --kind section, or leave --bearing out")
    check_drawing("all")
    from terrain3d.job import judge_ready
    from terrain3d.paper.folder import STILLS, write_pictures
    from terrain3d.show.pages.size import SIZES

    kinds = kinds or KINDS
    ready = checked_site(site, out, "all", kinds, ())
    check_units(units, [unit.name for option in ready.site.option for unit in option.detector])
    with progress_on_terminal() as progress:
        outcome = judge_ready(ready, progress)
    from terrain3d.show.pages.context import Lines, PageContext

    context = PageContext(outcome, SIZES[size], date, lines=Lines(units, bearing))
    drawn = pictures("all", kinds, lambda: context)
    write_pictures(out, drawn)
    for name in sorted(drawn.names):
        click.echo(out / STILLS / name)
