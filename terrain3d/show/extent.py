"""What part of the site a picture shows: the units' reach and the protected ground, no more."""

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.detector.pose import Detector, head_axes, posed_heads, shut_arcs
from terrain3d.job import Outcome
from terrain3d.terrain import Ground, Solids, Terrain
from terrain3d.units import Floats

#: Ground shown around what matters, metres.
MARGIN_M = 1.5
#: How far a picture grows to hold a solid whole, metres.
SOLID_MARGIN_M = 6.0


@dataclass(frozen=True)
class Extent:
    """A rectangle of whole cells of the ground.

    Parameters
    ----------
    west, south, east, north : float
        Edges of the outermost cells, metres.
    rows, columns : slice
        The cells of the ground's grid.
    """

    west: float
    south: float
    east: float
    north: float
    rows: slice
    columns: slice

    def __hash__(self) -> int:
        # Python 3.11 has no hash of a slice; the edges say which cells they are.
        return hash((self.west, self.south, self.east, self.north))

    @property
    def width_m(self) -> float:
        return self.east - self.west

    @property
    def depth_m(self) -> float:
        return self.north - self.south

    @property
    def centre(self) -> tuple[float, float]:
        return (self.west + self.east) / 2, (self.south + self.north) / 2


def site_extent(outcome: Outcome, aspect: float | None = None) -> Extent:
    """The rectangle that holds all that matters in every option, so that options compare.

    Parameters
    ----------
    outcome : Outcome
    aspect : float, optional
        Width by height of a picture; the rectangle is widened towards it where there is ground.
    """
    points = points_that_matter(outcome)
    low, high = points.min(axis=0) - MARGIN_M, points.max(axis=0) + MARGIN_M
    low, high = _with_whole_solids(outcome.terrain.solids, low, high)
    size = high - low
    wanted = size if aspect is None else np.maximum(size, [aspect * size[1], size[0] / aspect])
    bounds = outcome.terrain.ground.bounds
    west, east = _widened(low[0], high[0], wanted[0], bounds[0], bounds[2])
    south, north = _widened(low[1], high[1], wanted[1], bounds[1], bounds[3])
    return whole_cells(outcome.terrain.ground, west, south, east, north)


def whole_cells(ground: Ground, west: float, south: float, east: float, north: float) -> Extent:
    """The cells of the ground that a rectangle touches, at least two by two.

    >>> ground = Ground(0.0, 0.0, 1.0, np.zeros((5, 5)))
    >>> part = whole_cells(ground, 0.9, -9.0, 2.1, 1.0)
    >>> part.west, part.south, part.east, part.north
    (0.5, -0.5, 2.5, 1.5)
    """
    ny, nx = ground.z.shape
    columns = _span(west, east, ground.x0, ground.cell_m, nx)
    rows = _span(south, north, ground.y0, ground.cell_m, ny)
    left, bottom = ground.bounds[:2]
    cell = ground.cell_m
    return Extent(
        left + cell * columns.start,
        bottom + cell * rows.start,
        left + cell * columns.stop,
        bottom + cell * rows.stop,
        rows,
        columns,
    )


def points_that_matter(outcome: Outcome) -> Floats:
    """(n, 2) corners of what a picture has to show: units, their reach, protected ground."""
    parts = [reach_outline(unit) for option in outcome.options for unit in option.detectors]
    parts += [area.outline for area in outcome.terrain.protect]
    if not parts:
        west, south, east, north = outcome.terrain.ground.bounds
        return np.array([[west, south], [east, north]])
    return np.vstack(parts)


def seen_part(terrain: Terrain, extent: Extent) -> tuple[NDArray[np.uint8], NDArray[np.bool_]] | None:
    """What the ground looks like from above, and where that is known; None where nobody knows."""
    if terrain.colours is None:
        return None
    part = extent.rows, extent.columns
    return terrain.colours.rgb[part], terrain.colours.known[part]


def head_sector(unit: Detector, pan_deg: float, arc_deg: float, radius_m: float) -> Floats:
    """(n, 2) plan of a head's arc at a radius, from its left edge to its right edge."""
    steps = max(2, math.ceil(arc_deg / 2) + 1)
    bearing = np.radians(unit.bearing_deg + pan_deg + np.linspace(-arc_deg / 2, arc_deg / 2, steps))
    return np.column_stack([unit.x + radius_m * np.sin(bearing), unit.y + radius_m * np.cos(bearing)])


def stretch_outline(unit: Detector, head: int, low_deg: float, high_deg: float) -> Floats:
    """(n, 2) ring around all that a head's layers pass over in a stretch of its arc, out to maximum range.

    As verdicts have it, by the axis of each layer as it is tilted and rolled; the unit itself is on the ring.

    Parameters
    ----------
    unit : Detector
    head : int
        Counted from 0.
    low_deg, high_deg : float
        Right of the head's straight ahead.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> level = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> stretch_outline(level, 0, -45, 45).max(axis=0).round(2).tolist()
    [8.49, 12.0]
    """
    posed = posed_heads(unit)[head]
    axes, elevations = (posed.right, posed.forward, posed.up), [one.elevation_deg for one in posed.layers]
    return _ring(unit, np.array(axes), elevations, (low_deg, high_deg), unit.type.max_range)


def lobe_outline(unit: Detector) -> Floats | None:
    """The same ring around what a unit's microwave looks over, out to its range; None where it has none.

    >>> from terrain3d.detector.types import load_type
    >>> level = Detector("D1", load_type("one-head-90-microwave"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> lobe_outline(level).max(axis=0).round(1).tolist()      # 100 degrees, 3 down
    [9.2, 12.0]
    """
    lobe = unit.type.microwave
    if lobe is None:
        return None
    axes = head_axes(unit.bearing_deg, unit.tilt_deg, unit.roll_deg)
    return _ring(unit, axes, [lobe.elevation], (-lobe.arc / 2, lobe.arc / 2), lobe.range)


def _ring(
    unit: Detector, axes: Floats, elevations_deg: list[float], arc_deg: tuple[float, float], range_m: float
) -> Floats:
    low, high = arc_deg
    azimuth = np.radians(np.linspace(low, high, max(2, math.ceil((high - low) / 2) + 1)))
    right, forward, up = axes
    eye = np.array([unit.x, unit.y])
    sectors = []
    for elevation in elevations_deg:
        e = math.radians(elevation)
        rays = math.cos(e) * (np.sin(azimuth)[:, None] * right + np.cos(azimuth)[:, None] * forward)
        rays = rays + math.sin(e) * up
        sectors.append(shapely.Polygon(np.vstack([eye, eye + range_m * rays[:, :2]])).buffer(0))
    whole = shapely.union_all(sectors)
    largest = max(shapely.get_parts(whole), key=lambda part: part.area)
    return np.asarray(largest.exterior.coords)


def head_arcs(unit: Detector) -> list[tuple[float, float]]:
    """(middle off the unit's bearing, arc) of all that is left open of a unit's heads, degrees."""
    return [(middle, arc) for _, middle, arc in head_stretches(unit)]


def head_stretches(unit: Detector) -> list[tuple[int, float, float]]:
    """The same with the head of each stretch, counted from 0."""
    return [
        (head, unit.pan_of(head) + (low + high) / 2, high - low)
        for head in range(len(unit.type.head))
        for low, high in unit.open_arcs(head)
    ]


def reach_outline(unit: Detector) -> Floats:
    """(n, 2) the unit and the arcs of its heads at their maximum range."""
    return np.vstack([[[unit.x, unit.y]], *open_outlines(unit)])


def open_outlines(unit: Detector) -> list[Floats]:
    """`stretch_outline` of all that is left open of a unit's heads."""
    return [
        stretch_outline(unit, head, *arc)
        for head in range(len(unit.type.head))
        for arc in unit.open_arcs(head)
    ]


def masked_outlines(unit: Detector) -> list[Floats]:
    """The same of all that is masked."""
    return [
        stretch_outline(unit, head, *arc)
        for head, kind in enumerate(unit.type.head)
        for arc in shut_arcs(kind, unit.head(head))
    ]


def _with_whole_solids(solids: Solids, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Take in the rest of solids that are partly in the picture, so that no building is cut.

    What runs on for more than `SOLID_MARGIN_M`, such as a long wall, is cut after all.
    """
    floor, ceiling = low - SOLID_MARGIN_M, high + SOLID_MARGIN_M
    first, last = low, high
    for owner in range(len(solids.names)):
        corners = solids.vertices[np.unique(solids.triangles[solids.owners == owner])][:, :2]
        if not len(corners):
            continue
        west_south, east_north = corners.min(axis=0), corners.max(axis=0)
        if (west_south < last).all() and (east_north > first).all():
            low = np.minimum(low, np.maximum(west_south - 0.5, floor))
            high = np.maximum(high, np.minimum(east_north + 0.5, ceiling))
    return low, high


def _widened(low: float, high: float, wanted: float, floor: float, ceiling: float) -> tuple[float, float]:
    """Grow an interval to the wanted size, moving rather than leaving the ground where it can."""
    if wanted >= ceiling - floor:
        return floor, ceiling
    start = (low + high - wanted) / 2
    start = min(max(start, floor), ceiling - wanted)
    return start, start + wanted


def _span(low: float, high: float, first: float, cell: float, count: int) -> slice:
    # The nudge keeps an edge that lies on a cell's edge from taking in the next cell.
    start = math.floor((low - first) / cell + 0.5 + 1e-9)
    stop = math.ceil((high - first) / cell + 0.5 - 1e-9)
    start = min(max(start, 0), count - 2)
    return slice(start, max(min(stop, count), start + 2))
