"""`terrain3d stills`: the pictures alone."""

import math
from pathlib import Path

import click

from terrain3d.cli.options import date_option, out_option, progress_on_terminal, site_argument, size_option

#: What can be drawn and for what, without loading what draws it; a test holds them to `show`.
KINDS = ("contact", "side-by-side", "plan", "oblique", "section", "outlook")


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
    type=click.FloatRange(-360, 360),
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
    view, a section of each unit along each head's facing, and the outlook: what each unit sees.
    """
    if bearing is not None and kinds and "section" not in kinds:
        raise click.UsageError("--bearing is for sections: add --kind section, or leave --bearing out")
    if bearing is not None and not math.isfinite(bearing):
        raise click.UsageError("--bearing takes a number of degrees, such as 135")
    from terrain3d.job import run
    from terrain3d.paper.whole import whole_folder
    from terrain3d.show.pages import size as page_size
    from terrain3d.show.pages.stills import Lines, write_stills

    with progress_on_terminal() as progress:
        outcome = run(site, progress)
        with whole_folder(out) as scratch:
            folder = scratch / "stills"
            folder.mkdir()
            drawn = write_stills(
                outcome,
                folder,
                lambda fraction: progress("drawing", fraction),
                kinds or KINDS,
                page_size.SIZES[size],
                date,
                Lines(units, bearing),
            )
    for still in drawn:
        click.echo(out / "stills" / still.name)
