"""Proposed mounts as a table on the terminal, and their coordinates as the site file has them."""

import pyproj
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from terrain3d.caution import SHORT_CAUTION
from terrain3d.frame import Frame
from terrain3d.lengths import given_figure, length_unit, retold
from terrain3d.search.propose import Proposed
from terrain3d.sentences.mounts import closing_words, place_words
from terrain3d.terminal import lay_out
from terrain3d.terrain import Mount

#: A millimetre in metres and feet; 1.1 mm of latitude in degrees.
_DECIMALS, _DECIMALS_OF_DEGREES = 3, 8


def site_place(mount: Mount, frame: Frame, crs: pyproj.CRS | None) -> tuple[float, float]:
    """Where a mount is in the coordinates of its site file, to a millimetre.

    >>> from terrain3d.frame import site_frame
    >>> site_place(Mount("pole", 1.23456, -2.0), site_frame(None, 0, 0), None)
    (1.235, -2.0)
    """
    x, y = frame.from_local([mount.x], [mount.y], crs)
    decimals = decimals_of(crs)
    return round(float(x[0]), decimals) + 0.0, round(float(y[0]), decimals) + 0.0


def decimals_of(crs: pyproj.CRS | None) -> int:
    """How many decimals a coordinate of a CRS takes to be sure of a millimetre."""
    return _DECIMALS_OF_DEGREES if crs is not None and crs.is_geographic else _DECIMALS


def print_mounts(found: Proposed) -> None:
    """Print the table to the standard output."""
    lay_out(mounts_table(found))


def mounts_table(found: Proposed) -> RenderableType:
    """A row for each proposed mount, numbered as on its plan."""
    count = len(found.mounts)
    table = Table(title=Text(f"{found.site.name}: {count} mount{'' if count == 1 else 's'} proposed"))
    table.add_column("", justify="right")
    table.add_column("mount", overflow="fold")
    for words in ("x", "y") if found.crs is None or not found.crs.is_geographic else ("lon", "lat"):
        table.add_column(words, justify="right")
    table.add_column(f"heights {length_unit()}")
    table.add_column("why there", overflow="fold")
    decimals = decimals_of(found.crs)
    for number, proposal in enumerate(found.mounts, 1):
        place = site_place(proposal.mount, found.terrain.frame, found.crs)
        heights = " ".join(given_figure(height) for height in proposal.mount.heights_m)
        x, y = (f"{value:.{decimals}f}" for value in place)
        table.add_row(str(number), Text(proposal.mount.name), x, y, heights, Text(place_words(proposal)))
    doubts = [Text(f"! {retold(doubt)}") for doubt in found.terrain.doubts]
    return Group(table, Text(closing_words(found)), *doubts, Text(SHORT_CAUTION, style="dim"))
