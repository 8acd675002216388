"""A grid beside a survey: of the highest things over bare ground, or of the land beneath heights above
ground."""

from pathlib import Path

import numpy as np

from terrain3d.errors import InputError
from terrain3d.frame import Frame
from terrain3d.readers.crs import crs_words
from terrain3d.readers.source import Raster
from terrain3d.readers.tiles import Survey, read_headers
from terrain3d.site import GroundSource
from terrain3d.survey.classes import STANDS_ABOVE_M
from terrain3d.survey.gaps import Mask
from terrain3d.survey.lattice import Relief
from terrain3d.terrain import Ground
from terrain3d.units import Floats
from terrain3d.wording import plain

_KEY = "site.toml: ground.surface"
#: A surface this far below its ground over such a share of it is none of this ground: it lies on it
#: or above, but for the noise of both (common practice, no source).
REFUSED_BELOW_M, REFUSED_SHARE = 0.5, 0.25
#: A surface meets its ground somewhere, over such a share of it: one that is higher everywhere is told, and
#: one that is higher than any tree counts in another unit or from another zero (common practice, no source).
_MEETS_M, _REFUSED_ABOVE_M, _SOMEWHERE = 2.0, 60.0, 0.01
#: A share of the ground that is worth a sentence; and where nothing stands higher, so that the grids may have
#: been taken for each other.
_WORTH_SAYING, _WORTH_SAYING_ALONE = 0.02, 0.001


def read_surface_headers(source: GroundSource, of: Survey, folder: Path) -> Survey | None:
    """What is known of the grid of the highest things before it is read; None where the site file names none.

    Parameters
    ----------
    source : GroundSource
    of : Survey
        The ground it lies over.
    folder : Path
        Of the site file.

    Raises
    ------
    InputError
        Where it is no grid, lies over none, or in no CRS that goes with the ground's.
    """
    if source.surface is None:
        return None
    if of.header.kind != "raster":
        raise InputError(
            "a surface goes with an elevation grid, and file names none: points and meshes have what stands "
            "on the ground in themselves",
            _KEY,
            "leave surface out, or name the grid of bare ground as file",
        )
    return _grid_headers(source.surface, source, of, folder)


def read_land_headers(source: GroundSource, of: Survey, folder: Path) -> Survey | None:
    """What is known of the grid of the land that heights of a cloud are above; None where none is named.

    Parameters and errors are those of `read_surface_headers`, and `of` must be a cloud.
    """
    if source.terrain is None:
        return None
    if of.header.kind != "cloud":
        raise InputError(
            f"heights above ground go with points, and file is {of.header.form}",
            "site.toml: ground.heights",
            "leave heights and terrain out",
        )
    return _grid_headers(source.terrain, source, of, folder)


def _grid_headers(names: str | tuple[str, ...], source: GroundSource, of: Survey, folder: Path) -> Survey:
    """Headers of a grid that lies over or under a survey, in a CRS that goes with its."""
    found = read_headers(names, source, folder)
    if found.header.kind != "raster":
        raise InputError(
            f"it is no elevation grid but {found.header.form}", found.named, "name a grid such as a GeoTIFF"
        )
    ground_crs = of.header.crs
    if found.header.crs is None and ground_crs is not None:
        lent = source.model_copy(update={"crs": ground_crs.to_wkt()})
        return read_headers(names, lent, folder)
    if found.header.crs is not None and ground_crs is None:
        raise InputError(
            f"it is in {crs_words(found.header.crs)}, and the ground beneath it names no CRS",
            found.named,
            "name the CRS of both with [ground] crs",
        )
    return found


def returns_of(raster: Raster, frame: Frame, relief: Relief) -> Floats:
    """(n, 3) the middles of the cells over the ground worked on, with their heights: local metres."""
    rows, columns = np.nonzero(np.isfinite(raster.z))
    t, right, down = raster.transform, columns + 0.5, rows + 0.5
    x, y = frame.to_local(t.a * right + t.b * down + t.c, t.d * right + t.e * down + t.f, raster.crs)
    west, south, east, north = relief.ground.bounds
    near = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    return np.column_stack([x[near], y[near], raster.z[rows[near], columns[near]]])


def check_over(xyz: Floats, raster: Raster, frame: Frame, relief: Relief, of: Survey) -> tuple[str, ...]:
    """Doubts of a surface that leaves its ground, in plan or downward.

    Parameters
    ----------
    xyz : (n, 3) float
        From `returns_of`.
    raster : Raster
        The surface.
    frame : Frame
    relief : Relief
    of : Survey
        The surface, for messages.

    Raises
    ------
    InputError
        Where it covers none of the ground, or lies far below it over much of it, or far above all of it.
    """
    ground = relief.ground
    x, y = np.meshgrid(ground.xs[::2], ground.ys[::2])
    known = np.isfinite(ground.z[::2, ::2])
    seen = _sees(raster, frame, x[known], y[known])
    if not len(xyz) or not seen.any():
        raise InputError(
            "it covers none of the ground where the site lies", of.named, "name one that covers the site"
        )
    doubts = []
    bare = 1.0 - float(seen.mean())
    if bare > _WORTH_SAYING:
        doubts.append(
            f"{bare:.0%} of the ground has no surface over it: what stands there is not known, and here "
            "nothing does"
        )
    over = xyz[:, 2] - ground.height_at(xyz[:, 0], xyz[:, 1])
    over = over[np.isfinite(over)]
    below = -over[over < -STANDS_ABOVE_M]
    share = len(below) / max(len(over), 1)
    alike = (
        "check that file is the bare ground and surface the highest things, and that both count heights in "
        "one unit from one zero"
    )
    if share > REFUSED_SHARE and float(np.median(below)) > REFUSED_BELOW_M:
        raise InputError(
            f"the surface lies {plain(float(np.median(below)), 2)} m (median) below its ground over "
            f"{share:.0%} of it",
            of.named,
            alike,
        )
    nearest = float(np.quantile(over, _SOMEWHERE)) if len(over) else 0.0
    if nearest > _REFUSED_ABOVE_M:
        raise InputError(
            f"the surface lies {plain(nearest, 2)} m and more above its ground everywhere", of.named, alike
        )
    if nearest > _MEETS_M:
        doubts.append(
            f"the surface lies {plain(nearest, 2)} m and more above its ground everywhere, and is taken "
            f"for what stands there; {alike}"
        )
    stands = (over > STANDS_ABOVE_M).any()
    if share > (_WORTH_SAYING if stands else _WORTH_SAYING_ALONE):
        doubts.append(
            f"the surface lies below its ground by more than {STANDS_ABOVE_M:g} m over {share:.1%} of it, "
            f"{plain(float(below.max()), 2)} m at most: nothing stands there here, so check both grids"
        )
    return tuple(doubts)


def _sees(raster: Raster, frame: Frame, x: Floats, y: Floats) -> Mask:
    """Which places lie in a cell, or beside the middles of cells, that the surface knows."""
    there = np.where(np.isfinite(raster.z), 0.0, np.nan)
    t = ~raster.transform
    x, y = frame.from_local(x, y, raster.crs)
    column, row = t.a * x + t.b * y + t.c, t.d * x + t.e * y + t.f
    return np.isfinite(Ground(0.0, 0.0, 1.0, there).height_at(column - 0.5, row - 0.5))
