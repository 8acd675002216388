"""What is read of a survey, as ground and what stands on it."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj

from terrain3d.frame import Frame
from terrain3d.readers.crs import crs_words
from terrain3d.readers.source import Box, Cloud, Progress, Raster
from terrain3d.readers.tiles import Survey, read_tiles
from terrain3d.site import Site
from terrain3d.survey.boxes import grown, turned_box
from terrain3d.survey.classes import GROUND, STANDS_ABOVE_M
from terrain3d.survey.colours import of_returns
from terrain3d.survey.ground_points import ground_points
from terrain3d.survey.lattice import Lattice, Relief, lattice_over
from terrain3d.survey.leaf_field import Profiles
from terrain3d.survey.overlaid import check_over, returns_of
from terrain3d.survey.places import place_in
from terrain3d.survey.placing import Placed
from terrain3d.survey.sheets import from_mesh, from_raster
from terrain3d.survey.standing import standing
from terrain3d.survey.surface import ground_returns, surveyed
from terrain3d.terrain import Colours, Returns, Solids

#: A survey is read this much beyond the grid and the widest gap bridged, so that the edge of the grid is
#: as sure as its middle.
_BEYOND_M = 2.0
#: Of heights above ground, what lies within this of the land is land.
_ON_LAND_M = 0.05


@dataclass(frozen=True)
class Source:
    """Where the ground comes from, and what is doubtful before any of it is read."""

    site: Site
    folder: Path
    survey: Survey | None
    surface: Survey | None
    land: Survey | None
    photo_crs: pyproj.CRS | None
    site_crs: pyproj.CRS | None
    frame: Frame
    doubts: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Read:
    """The ground, what stands on it, and doubts; of a cloud the colours and the number of its returns too."""

    relief: Relief
    solids: Solids
    profiles: Profiles | None
    doubts: tuple[str, ...]
    colours: Colours | None = None
    returns: Returns | None = None


def read_around(source: Source, of: Survey, work: Box, progress: Progress) -> tuple[Any, ...]:
    """The survey around a box, and the surface or the land beside it."""
    around = _around(source.site, work)
    read = [read_tiles(of, turned_box(around, source.frame, of.header.crs, to_local=False), progress)]
    for beside in (source.surface, source.land):
        if beside is not None:
            box = turned_box(around, source.frame, beside.header.crs, to_local=False)
            read.append(read_tiles(beside, box))
    return tuple(read)


def _around(site: Site, work: Box) -> Box:
    return grown(work, site.ground.hole_limit + _BEYOND_M + 3 * site.site.cell)


def ground_of(source: Source, of: Survey, local: Placed, work: Box, tiles: tuple[Any, ...]) -> Read:
    """Turn what was read into ground and what stands on it."""
    site, frame, header = source.site, source.frame, of.header
    lattice = lattice_over(work, site.site.cell)
    limit = site.ground.hole_limit
    survey = tiles[0]
    if isinstance(survey, Raster):
        doubts = (
            *survey.doubts,
            "the grid is taken as bare ground: one with roofs and crowns in it would mislead",
        )
        if source.surface is not None:
            relief = from_raster(survey, frame, lattice, limit)
            other = source.surface.header.crs
            if other is not None and header.crs is not None and other != header.crs:
                doubts += (
                    f"the surface is in {crs_words(other)}, the ground in "
                    f"{crs_words(header.crs)}: both are turned into the site's own metres",
                )
            solids, profiles, more = _between(source, source.surface, tiles[1], local, relief)
            return Read(relief, solids, profiles, doubts + more)
        if local.treatments:
            doubts += ("[[treat]] outlines are left aside: a grid has nothing standing on it",)
        return Read(from_raster(survey, frame, lattice, limit), Solids.none(), None, doubts)
    if isinstance(survey, Cloud):
        if source.land is not None:
            land = tiles[-1]
            assert isinstance(land, Raster)
            return _from_heights(survey, land, source, local, lattice)
        return _from_cloud(survey, source, local, lattice)
    x, y = frame.to_local(survey.vertices[:, 0], survey.vertices[:, 1], survey.crs)
    vertices = np.column_stack([x, y, survey.vertices[:, 2]])
    relief, standing, more = from_mesh(
        vertices, survey.triangles, lattice, limit, local.treatments, survey.is_ground
    )
    return Read(relief, standing, None, survey.doubts + more)


def _from_cloud(cloud: Cloud, source: Source, local: Placed, lattice: Lattice) -> Read:
    frame, of_ground = source.frame, source.site.ground
    x, y = frame.to_local(cloud.xyz[:, 0], cloud.xyz[:, 1], cloud.crs)
    xyz = np.column_stack([x, y, cloud.xyz[:, 2]])
    tell = place_in(frame, source.site_crs)
    ground, off, doubts = ground_points(xyz, cloud.classes, local.treatments, tell)
    relief = surveyed(xyz[ground], lattice, of_ground.hole_limit)
    # Returns beyond the edge help what stands there to be as sure as in the middle.
    solids, profiles, more = standing(
        xyz[~off],
        cloud.classes[~off],
        cloud.n_returns[~off],
        ground[~off],
        relief,
        local.treatments,
        local.wall_mounts,
        of_ground.eaves,
        tell,
    )
    colours = None
    # Many a file has room for colours and none in it.
    if cloud.rgb is not None and cloud.rgb.any():
        colours = of_returns(xyz[ground], cloud.rgb[ground], lattice)
    assert relief.spacing_m is not None  # of points there always is one
    per_m2, square_m = ground_returns(xyz[ground], lattice, relief.spacing_m)
    returns = Returns(per_m2, square_m, profiles.guessed_cells)
    return Read(relief, solids, profiles, cloud.doubts + doubts + more, colours, returns)


def _from_heights(cloud: Cloud, land: Raster, source: Source, local: Placed, lattice: Lattice) -> Read:
    """Land from a grid, with what returns show above it: their heights are above the ground."""
    frame, of_ground = source.frame, source.site.ground
    x, y = frame.to_local(cloud.xyz[:, 0], cloud.xyz[:, 1], cloud.crs)
    relief = from_raster(land, frame, lattice, of_ground.hole_limit)
    xyz = np.column_stack([x, y, cloud.xyz[:, 2] + relief.foot_at(x, y)])
    ground = np.isin(cloud.classes, GROUND) | (np.abs(cloud.xyz[:, 2]) <= _ON_LAND_M)
    solids, profiles, more = standing(
        xyz,
        cloud.classes,
        cloud.n_returns,
        ground,
        relief,
        local.treatments,
        local.wall_mounts,
        of_ground.eaves,
        place_in(frame, source.site_crs),
    )
    doubts = tuple(f"of the terrain: {doubt}" for doubt in land.doubts)
    return Read(relief, solids, profiles, cloud.doubts + doubts + more)


def _between(
    source: Source, of: Survey, raster: Raster, local: Placed, relief: Relief
) -> tuple[Solids, Profiles, tuple[str, ...]]:
    """What stands between the ground and a grid of the highest things: each cell of it is one return."""
    assert isinstance(raster, Raster)
    frame = source.frame
    xyz = returns_of(raster, frame, relief)
    doubts = tuple(f"of the surface: {doubt}" for doubt in raster.doubts)
    doubts += check_over(xyz, raster, frame, relief, of)
    ground = xyz[:, 2] - relief.foot_at(xyz[:, 0], xyz[:, 1]) <= STANDS_ABOVE_M
    none, one = np.zeros(len(xyz), np.uint8), np.ones(len(xyz), np.uint8)
    solids, profiles, more = standing(
        xyz,
        none,
        one,
        ground,
        relief,
        local.treatments,
        local.wall_mounts,
        source.site.ground.eaves,
        place_in(frame, source.site_crs),
    )
    doubts += (
        "what stands on the ground is what the surface has above it, one height a cell: of what is open "
        "beneath roofs and crowns nothing is known",
    )
    return solids, profiles, doubts + more
