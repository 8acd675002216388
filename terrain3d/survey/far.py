"""The surface of a survey past the ground worked on, in ever coarser rings: what hides the sky there.

A low sun is hidden by a ridge or a wood far outside anybody's range, and all that matters of it is how high
it stands in each direction. So each ring is a grid of tops: of the returns in a cell the highest but
one, so that a single bird or a speck of haze hides nothing. Crowns and roofs are in it as if they were
solid. A cell is a 72nd of the distance at which its ring begins, 0.8 degrees of view: a crest is then in the
right place to half of that, and as high above the horizon as it is to a few tenths of a degree.
"""

import math

import numpy as np
from scipy.ndimage import maximum_filter

from terrain3d.frame import Frame
from terrain3d.readers.source import Box, Cloud, Header, Progress, Surface
from terrain3d.readers.tiles import Survey, pass_tile_tops, pass_tiles, read_tiles
from terrain3d.survey.boxes import grown, holds, joined, meeting
from terrain3d.survey.gaps import Mask
from terrain3d.survey.lattice import Lattice, lattice_over, n_cells
from terrain3d.survey.solids import Indices
from terrain3d.terrain import Ground
from terrain3d.units import Floats

#: Cells of a ring to the distance at which it begins, and how much farther off it ends.
_FINENESS, _GROWTH = 72.0, 4.0
#: A ring larger than this takes larger cells.
_MOST_NODES = 2_000_000
#: Cells are made wide enough for about two returns each.
_POINTS_WIDE = 1.5
#: Wires, their towers and fittings, and points withdrawn for their date (LAS 1.4 R15, table 17): the sun
#: shines through the former, and the latter are not there.
_NO_COVER = (13, 14, 15, 16, 22)
#: How far the earth falls away below a level line of sight, as a share of d^2 / 2R, R in metres: 6/7 with the
#: usual bending of light (GDAL, gdal_viewshed, -cc 0.85714).
_CURVATURE, _EARTH_M = 6.0 / 7.0, 6_378_137.0


def far_surface(
    survey: Survey,
    frame: Frame,
    core: Box,
    middle: Box,
    covered: Box,
    look_m: float,
    progress: Progress | None = None,
) -> tuple[Ground, ...]:
    """The surface of a survey from the ground worked on to the survey's end.

    Parameters
    ----------
    survey : Survey
        From `read_headers`.
    frame : Frame
    core : (west, south, east, north)
        Of the ground worked on, local metres; the rings begin at its edge.
    middle : (west, south, east, north)
        Around the eyes, local metres: distances are from there.
    covered : (west, south, east, north)
        Of the survey, local metres.
    look_m : float
        From the middle to the core's edge, metres; less where the survey ends before.
    progress : callable, optional
        Told the share of the work that is done.

    Returns
    -------
    tuple of Ground
        Nearest first, heights lowered by the curve of the earth; NaN inside a ring, and where nothing was
        measured. Empty where the survey ends with the core.
    """
    header = survey.header
    area_m2 = (covered[2] - covered[0]) * (covered[3] - covered[1])
    between_m = math.sqrt(area_m2 / max(header.n_points, 1))
    rings: list[_Ring] = []
    inner, begins_m = core, look_m
    while not holds(inner, covered):
        outer = meeting(grown(middle, _GROWTH * begins_m), covered)
        cell_m = max(begins_m / _FINENESS, _POINTS_WIDE * between_m)
        rings.append(_Ring(_lattice(outer, cell_m), inner, frame, header))
        inner, begins_m = joined(inner, outer), _GROWTH * begins_m
    if not rings:
        return ()
    tell = progress or (lambda _share: None)
    if header.kind == "cloud":
        pass_tiles(survey, lambda cloud: _to_each(rings, cloud), tell)
    elif header.kind == "raster":
        for number, ring in enumerate(rings):
            wide = max(1, int(ring.lattice.cell_m / 2 / between_m))
            pass_tile_tops(survey, ring.box, wide, ring.take)
            tell((number + 1) / len(rings))
    else:
        surface = read_tiles(survey, None)
        assert isinstance(surface, Surface)
        x, y = frame.to_local(surface.vertices[:, 0], surface.vertices[:, 1], surface.crs)
        vertices = np.column_stack([x, y, surface.vertices[:, 2]])
        for ring in rings:
            ring.note(*_tops(vertices, surface.triangles, ring.lattice))
    return tuple(ring.ground(middle) for ring in rings)


class _Ring:
    """The two highest returns of each cell so far."""

    def __init__(self, lattice: Lattice, inner: Box, frame: Frame, header: Header) -> None:
        self.lattice, self._inner = lattice, inner
        half = lattice.cell_m / 2
        sides = [np.linspace(axis[0] - half, axis[-1] + half, 5) for axis in (lattice.xs, lattice.ys)]
        x, y = (places.ravel() for places in np.meshgrid(*sides))
        there = np.column_stack(frame.from_local(x, y, header.crs))
        # Over one ring two projections differ by a turn and a stretch, to a small part of a cell; fifty
        # million points one by one would take a minute.
        self._centre = there.mean(axis=0)
        design = np.column_stack([there - self._centre, np.ones(len(there))])
        self._turn = np.linalg.lstsq(design, np.column_stack([x, y]), rcond=None)[0]
        low, high = there.min(axis=0), there.max(axis=0)
        self.box: Box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
        self._top = np.full(lattice.nx * lattice.ny, -np.inf)
        self._next = np.full_like(self._top, -np.inf)

    def take(self, cloud: Cloud) -> None:
        """Note the points that lie in the ring."""
        x, y, z = cloud.xyz.T
        west, south, east, north = self.box
        seen = (x >= west) & (x <= east) & (y >= south) & (y <= north) & ~np.isin(cloud.classes, _NO_COVER)
        u, v = x[seen] - self._centre[0], y[seen] - self._centre[1]
        east_m, north_m = (u * a + v * b + c for a, b, c in self._turn.T)
        self.note(east_m, north_m, z[seen])

    def note(self, x: Floats, y: Floats, z: Floats) -> None:
        """Note places in local metres and their heights."""
        i, j, inside = self.lattice.cell_of(x, y)
        inside &= ~self._within(x, y, 2.5)
        if not inside.any():
            return
        cell, height = (j * self.lattice.nx + i)[inside], z[inside]
        order = np.lexsort((height, cell))
        cell, height = cell[order], height[order]
        last = np.flatnonzero(np.append(cell[1:] != cell[:-1], True))
        at, high, second = cell[last], height[last], np.full(len(last), -np.inf)
        several = (last > 0) & (cell[last - 1] == at)
        second[several] = height[last[several] - 1]
        lower = np.minimum(self._top[at], high)
        self._next[at] = np.maximum(lower, np.maximum(self._next[at], second))
        self._top[at] = np.maximum(self._top[at], high)

    def ground(self, middle: Box) -> Ground:
        """The ring as a grid, for eyes about the middle."""
        lattice = self.lattice
        # A cell with a single return has no other to go by.
        z = np.where(np.isfinite(self._next), self._next, self._top).reshape(lattice.ny, lattice.nx)
        empty = np.isneginf(z)
        z[empty] = maximum_filter(z, 3)[empty]
        x, y = lattice.nodes()
        away2 = (x - (middle[0] + middle[2]) / 2) ** 2 + (y - (middle[1] + middle[3]) / 2) ** 2
        unknown = np.isneginf(z) | self._within(x, y, 1.5)
        return Ground(
            lattice.x0,
            lattice.y0,
            lattice.cell_m,
            np.where(unknown, np.nan, z - _CURVATURE * away2 / (2 * _EARTH_M)),
        )

    def _within(self, x: Floats, y: Floats, cells: float) -> Mask:
        """Places more than so many cells inside the ground that is known better."""
        west, south, east, north = grown(self._inner, -cells * self.lattice.cell_m)
        return np.asarray((x > west) & (x < east) & (y > south) & (y < north))


def _to_each(rings: list[_Ring], cloud: Cloud) -> None:
    for ring in rings:
        ring.take(cloud)


def _tops(vertices: Floats, triangles: Indices, lattice: Lattice) -> tuple[Floats, Floats, Floats]:
    """Places of a lattice that lie under a mesh, and the height of its highest face there."""
    import trimesh

    # The rays are single precision: heights near zero keep a tenth of a millimetre.
    origin_z = float(np.median(vertices[:, 2]))
    mesh = trimesh.Trimesh(vertices - [0, 0, origin_z], triangles, process=False)
    x, y = (axis.ravel() for axis in lattice.nodes())
    start = np.column_stack([x, y, np.full(x.size, mesh.vertices[:, 2].max() + 1.0)])
    down = np.tile([0.0, 0.0, -1.0], (x.size, 1))
    place, ray, _ = mesh.ray.intersects_location(start, down, multiple_hits=False)
    return x[ray], y[ray], place[:, 2] + origin_z


def _lattice(box: Box, cell_m: float) -> Lattice:
    while n_cells(box, cell_m) > _MOST_NODES:
        cell_m *= 2
    return lattice_over(box, cell_m)
