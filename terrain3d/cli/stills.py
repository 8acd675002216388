"""`terrain3d stills`: the pictures alone."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from terrain3d.cli.options import (
    Finite,
    date_option,
    out_option,
    progress_on_terminal,
    say_done,
    site_argument,
    size_option,
    tell_in,
    waiting_for,
)
from terrain3d.cli.pictures import check_drawing, checked_site, pictures
from terrain3d.show.pages.names import ASKED_KINDS, BOUNDARY, KINDS, check_lines, check_units

if TYPE_CHECKING:
    from terrain3d.site import Site


@click.command("stills")
@site_argument
@out_option(Path("out"), "Folder for stills/.")
@size_option
@click.option(
    "--kind",
    "kinds",
    type=click.Choice((*KINDS, *ASKED_KINDS)),
    multiple=True,
    help="A kind of picture to draw; give it again for more. All but films where it is not given: these are"
    " walks as moving pictures, GIF.",
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
@click.option(
    "--along",
    metavar="NAME",
    multiple=True,
    help="Cut sections along a [[section]], a [[walk]] or an [[approach]] of this name, laid out straight, or"
    ' along the "boundary"; give it again for more. In place of the sections of the units.',
)
@date_option
def command(
    site: Path,
    out: Path,
    size: str,
    kinds: tuple[str, ...],
    units: tuple[str, ...],
    bearing: float | None,
    along: tuple[str, ...],
    date: str,
) -> None:
    """Draw the options, without a display.

    A contact sheet of all options, up to four side by side, and how good the survey is where; then of each
    option a plan, an oblique view, a section of each unit along each head's facing or along lines that are
    drawn, the outlook: what each unit sees, views: what is seen of the units, frames of each walk, and the
    causes: what takes each layer. Pictures of kinds that are not asked for stay.
    """
    if bearing is not None and kinds and "section" not in kinds:
        raise click.UsageError("--bearing is for sections: add --kind section, or leave --bearing out")
    if along and kinds and "section" not in kinds:
        raise click.UsageError("--along is for sections: add --kind section, or leave --along out")
    if along and bearing is not None:
        raise click.UsageError("a section runs along a line or along a bearing: give --along or --bearing")
    check_drawing("all")
    from terrain3d.job import judge_ready
    from terrain3d.paper.folder import STILLS, write_pictures
    from terrain3d.show.pages.size import SIZES

    kinds = kinds or KINDS
    ready = checked_site(site, out, "all", kinds, ())
    check_units(units, [unit.name for option in ready.site.option for unit in option.detector])
    _check_lines(along, ready.site)
    tell_in(ready.site.paper.units)
    with progress_on_terminal() as progress:
        outcome = judge_ready(ready, progress)
    from terrain3d.show.pages.context import Lines, PageContext

    context = PageContext(outcome, SIZES[size], date, lines=Lines(units, bearing, along))
    drawn = pictures("all", kinds, lambda: context)
    write_pictures(out, drawn, waiting_for(out))
    for name in sorted(drawn.names):
        say_done(str(out / STILLS / name))


def _check_lines(along: tuple[str, ...], site: "Site") -> None:
    """Refuse a line that is not drawn; where a file draws some, its names are known once it is read."""
    from terrain3d.site import ApproachShape, SectionShape, WalkShape

    shapes = [*site.section, *site.walk, *site.approach]
    named = [shape.name for shape in shapes if isinstance(shape, SectionShape | WalkShape | ApproachShape)]
    if len(named) == len(shapes):
        check_lines(along, [*named, *([BOUNDARY] if site.boundary is not None else [])])
