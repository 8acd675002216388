"""What the plans of a site share, and which part of it a plan shows at which scale."""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely

from terrain3d.job import Outcome
from terrain3d.show.drape import relief
from terrain3d.show.extent import Extent, site_extent, whole_cells
from terrain3d.show.pages.size import HEIGHT_PX, WIDTH_PX, Size, scale_for
from terrain3d.show.shapes import foliage_cells, smoothed_heights
from terrain3d.survey.solids import footprints
from terrain3d.terrain import Terrain
from terrain3d.units import Floats

#: Keeps an edge of a cell from touching the next one by rounding.
_HAIR_M = 1e-6
#: Ground shown around lines that a plan must hold, metres.
_MARGIN_M = 1.2


@dataclass(frozen=True, eq=False)
class Base:
    """What the plans of all options share.

    Parameters
    ----------
    extent : Extent
        The part of the site to show.
    smooth : (ny, nx) float
        Heights for contours, metres.
    shade : (ny, nx) float
        Brightness of the ground.
    solids : list
        Footprint of each solid, shapely.
    leaves : shapely geometry
        Ground under foliage.
    scale : int or None
        Denominator of a printed plan's scale; None to fill the picture.
    """

    extent: Extent
    smooth: Floats
    shade: Floats
    solids: list[Any]
    leaves: Any
    scale: int | None = None


def plan_base(outcome: Outcome, extent: Extent, scale: int | None = None) -> Base:
    """Work out what the plans of all options share."""
    return Base(extent, *_lie_of(outcome.terrain), scale)


@lru_cache(maxsize=2)
def _lie_of(terrain: Terrain) -> tuple[Floats, Floats, list[Any], Any]:
    """Smoothed heights, relief, footprints and ground under leaves: the same on every page of a site."""
    smooth = smoothed_heights(terrain.ground)
    half = terrain.foliage.cell_m / 2
    corners = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    cells = foliage_cells(terrain.foliage)
    leaves = shapely.union_all(shapely.polygons(cells[:, None, :] + corners))
    return smooth, relief(smooth, terrain.ground.cell_m), footprints(terrain.solids), leaves


def plan_extent(outcome: Outcome, size: Size, place: tuple[float, float]) -> tuple[Extent, int]:
    """What a printed plan shows, and the scale at which it shows it.

    Parameters
    ----------
    outcome : Outcome
    size : Size
        Must be paper.
    place : (width, height)
        Of the picture, as shares of the page.
    """
    tight = site_extent(outcome)
    paper = _paper_m(size, place)
    scale = scale_for((tight.width_m, tight.depth_m), paper)
    wide = site_extent(outcome, paper[0] / paper[1])
    # A cell less on either side, or the whole cells of the extent would not fit on the paper.
    half_x, half_y = (max(scale * side / 2 - outcome.terrain.ground.cell_m, 0.0) for side in paper)
    x, y = tight.centre
    return whole_cells(
        outcome.terrain.ground,
        min(tight.west, max(wide.west, x - half_x)) + _HAIR_M,
        min(tight.south, max(wide.south, y - half_y)) + _HAIR_M,
        max(tight.east, min(wide.east, x + half_x)) - _HAIR_M,
        max(tight.north, min(wide.north, y + half_y)) - _HAIR_M,
    ), scale


def printed_base(outcome: Outcome, size: Size, place: tuple[float, float], screen: Base) -> Base:
    """What plans of one place on a page share: to scale on paper, filling the place on a screen."""
    if size.width_mm is None:
        aspect = place[0] * size.width_px / (place[1] * size.height_px)
        return replace(screen, extent=site_extent(outcome, aspect))
    extent, scale = plan_extent(outcome, size, place)
    return replace(screen, extent=extent, scale=scale)


def plan_with(
    outcome: Outcome, lines: list[Floats], base: Base, size: Size, place: tuple[float, float]
) -> Base:
    """What a plan shows that must hold some lines too: to scale on paper, filling its place on a screen."""
    tight, ground = site_extent(outcome), outcome.terrain.ground
    walked = np.vstack(lines)
    low = np.minimum([tight.west, tight.south], walked.min(axis=0) - _MARGIN_M)
    high = np.maximum([tight.east, tight.north], walked.max(axis=0) + _MARGIN_M)
    floor, ceiling = np.reshape(ground.bounds, (2, 2))
    low, high = np.maximum(low, floor), np.minimum(high, ceiling)
    wide, deep = high - low
    if size.width_mm is None:
        scale, aspect = None, place[0] * WIDTH_PX / (place[1] * HEIGHT_PX)
        wanted = np.array([max(wide, aspect * deep), max(deep, wide / aspect)])
    else:
        paper = _paper_m(size, place)
        scale = scale_for((wide + ground.cell_m, deep + ground.cell_m), paper)
        # A cell less, or the whole cells of the extent would not fit on the paper.
        wanted = np.maximum(scale * np.array(paper) - 2 * ground.cell_m, [wide, deep])
    room = (wanted - [wide, deep]) / 2
    low, high = np.maximum(low - room, floor), np.minimum(high + room, ceiling)
    # A hair less, or rounding would take in one more row of cells.
    extent = whole_cells(ground, *(low + _HAIR_M), *(high - _HAIR_M))
    return replace(base, extent=extent, scale=scale)


def _paper_m(size: Size, place: tuple[float, float]) -> tuple[float, float]:
    return size.paper_m(place[0]), size.paper_m(place[1] * size.height_px / size.width_px)
