"""Shapes of the scene as plain arrays: layer bodies, foliage shells, draped lines."""

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter, label

from terrain3d.detector.pose import Arc, Detector, PosedHead, PosedLayer
from terrain3d.lengths import in_metres
from terrain3d.show.extent import Extent
from terrain3d.terrain import Area, Foliage, Ground
from terrain3d.units import Floats

Ints = NDArray[np.int64]
#: Distances from an eye (3,) along unit directions (n, 3) to the first thing hit; inf for none.
Reach = Callable[[Floats, Floats], Floats]

#: Longest side of the drawn ground in nodes; the verdicts keep their cells whatever it is.
MOST_NODES = 400
#: Width of the bell that takes a survey's roughness out of relief and contours, metres.
SMOOTHED_OVER_M = 0.35
#: Plants that stand in no more than this much of the picture's rim are left out of the scene, metres.
RIM_M = 2.0
#: Leaves are drawn in steps of height of this at least, metres; as so many points of a grid at most; and
#: softened over so many of them, so that the steps of columns do not show.
_LEAST_LEAF_STEP_M = 0.1
_MOST_LEAF_POINTS = 4e6
_LEAF_SOFTNESS = 0.8
#: Elevations at which a layer's far end is found.
LAYER_ROWS = 5
#: Steps of contours, metres or feet.
CONTOUR_STEPS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)


def filled_heights(ground: Ground) -> Floats:
    """(ny, nx) heights with the nearest known one where none is known; zero where nothing is."""
    unknown = ~ground.known
    if not unknown.any():
        return ground.z
    if unknown.all():
        return np.zeros(ground.z.shape)
    rows, columns = distance_transform_edt(unknown, return_distances=False, return_indices=True)
    return np.asarray(ground.z[rows, columns], float)


def smoothed_heights(ground: Ground) -> Floats:
    """(ny, nx) heights without the survey's own roughness, for relief and contours alone.

    A plane stays what it is; NaN where no ground is known.

    >>> slope = Ground(0.0, 0.0, 1.0, np.add.outer(np.zeros(9), np.arange(9.0)))
    >>> round(float(smoothed_heights(slope)[4, 4]), 9)
    4.0
    """
    sigma = SMOOTHED_OVER_M / ground.cell_m
    known = ground.known
    # Laid out past the edges by point reflection, so that a slope does not level off there.
    pad = math.ceil(4 * sigma)
    z = np.pad(filled_heights(ground), pad, mode="reflect", reflect_type="odd")
    smooth = gaussian_filter(z, sigma)[pad:-pad, pad:-pad]
    return np.where(known, smooth, np.nan)


def ground_nodes(ground: Ground, heights: Floats, extent: Extent) -> tuple[Floats, Floats, Floats]:
    """Eastings (nx,), northings (ny,) and heights (ny, nx) of the drawn ground, up to its edges.

    The outermost nodes move out by half a cell, so that the ground ends where its cells end.
    """
    rows, columns = _thinned(extent.rows), _thinned(extent.columns)
    xs, ys = ground.xs[columns].copy(), ground.ys[rows].copy()
    xs[[0, -1]] = extent.west, extent.east
    ys[[0, -1]] = extent.south, extent.north
    return xs, ys, heights[np.ix_(rows, columns)]


def contour_steps_m() -> tuple[float, ...]:
    """Steps that contours may have, metres: round in the unit that is shown."""
    return tuple(map(in_metres, CONTOUR_STEPS))


def contour_levels(z: Floats, steps_m: tuple[float, ...] | None = None) -> tuple[Floats, float]:
    """Heights of the contours over some ground, and the step between them.

    At most fourteen cross the ground; level ground has none. `steps_m` are `contour_steps_m()` where they are
    not given.

    >>> levels, step = contour_levels(np.array([[0.0, 4.0]]))
    >>> step, len(levels)
    (0.5, 7)
    >>> contour_levels(np.full((2, 2), np.nan))[0]
    array([], dtype=float64)
    """
    steps = steps_m or contour_steps_m()
    known = z[np.isfinite(z)]
    if not known.size:
        return np.zeros(0), steps[0]
    low, high = float(known.min()), float(known.max())
    step = next((s for s in steps if (high - low) / s <= 14), steps[-1])
    levels = np.asarray(step * np.arange(math.ceil(low / step), math.floor(high / step) + 1), float)
    # A ground whose rim just touches a level has no line to draw there.
    return levels[(levels > low + 1e-6) & (levels < high - 1e-6)], step


def layer_body(
    unit: Detector, head: PosedHead, layer: PosedLayer, reach: Reach, stretch: Arc | None = None
) -> tuple[Floats, Ints]:
    """The space that one layer senses, ending where it hits something or at maximum range.

    Parameters
    ----------
    unit : Detector
    head : PosedHead
    layer : PosedLayer
    reach : callable
        Distances from an eye along directions, inf for none.
    stretch : (from, to), optional
        Of the head's arc, degrees right of its straight ahead; all of the arc without it.

    Returns
    -------
    points : (n, 3) float
        The eye first, then the far end, row by row from the lowest elevation, left to right.
    triangles : (m, 3) int

    Examples
    --------
    >>> from pathlib import Path
    >>> from terrain3d.detector.pose import posed_heads
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 0)
    >>> head = posed_heads(unit)[0]
    >>> points, _ = layer_body(unit, head, head.layers[0], lambda eye, rays: np.full(len(rays), 5.0))
    >>> float(np.linalg.norm(points[1:] - points[0], axis=1).round(9).max())
    5.0
    """
    left, right = (-head.arc_deg / 2, head.arc_deg / 2) if stretch is None else stretch
    na, ne = math.ceil(right - left) + 1, LAYER_ROWS
    azimuth = np.radians(np.linspace(left, right, na))
    half = layer.thickness_deg / 2
    elevation = np.radians(np.linspace(layer.elevation_deg - half, layer.elevation_deg + half, ne))
    a, e = (v.ravel() for v in np.meshgrid(azimuth, elevation))
    rays = (
        (np.cos(e) * np.sin(a))[:, None] * head.right
        + (np.cos(e) * np.cos(a))[:, None] * head.forward
        + np.sin(e)[:, None] * head.up
    )
    eye = np.array(unit.eye)
    distance = np.minimum(reach(eye, rays), unit.type.max_range)
    points = np.vstack([eye, eye + rays * distance[:, None]])
    return points, _body_triangles(na, ne)


def _body_triangles(na: int, ne: int) -> Ints:
    grid = 1 + np.arange(na * ne).reshape(ne, na)
    a, b, c, d = grid[:-1, :-1].ravel(), grid[:-1, 1:].ravel(), grid[1:, 1:].ravel(), grid[1:, :-1].ravel()
    far_end = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    fans = []
    for rim in (grid[0], grid[-1], grid[:, 0], grid[:, -1]):
        fans.append(np.column_stack([np.zeros(len(rim) - 1, int), rim[:-1], rim[1:]]))
    return np.vstack([far_end, *fans])


def foliage_cells(foliage: Foliage) -> Floats:
    """(n, 2) centres of the columns with leaves, metres."""
    rows, columns = np.nonzero(foliage.column >= 0)
    return np.column_stack([foliage.x0 + foliage.cell_m * columns, foliage.y0 + foliage.cell_m * rows])


def leaf_ends(foliage: Foliage, extent: Extent) -> Floats:
    """(n, 3) lowest and highest points of the leaves near the picture."""
    low, high = _near_leaf_span(foliage, extent)
    rows, columns = np.nonzero(np.isfinite(high))
    x, y = foliage.x0 + foliage.cell_m * columns, foliage.y0 + foliage.cell_m * rows
    return np.vstack([np.column_stack([x, y, z[rows, columns]]) for z in (low, high)])


def leaf_volume(foliage: Foliage, extent: Extent) -> tuple[Floats, Floats, Floats] | None:
    """Where leaves grow near the picture, as a grid of points that is 1 within them and 0 outside, softened.

    Returns
    -------
    values : (nz, ny, nx) float
        About 0.5 where leaves end.
    origin, spacing : (3,) float
        Of the grid, metres; x, y, z. None where nothing grows near the picture.
    """
    low, high = _near_leaf_span(foliage, extent)
    rows, columns = np.nonzero(np.isfinite(high))
    if not len(rows):
        return None
    first, last = (rows.min(), columns.min()), (rows.max() + 1, columns.max() + 1)
    low, high = low[first[0] : last[0], first[1] : last[1]], high[first[0] : last[0], first[1] : last[1]]
    bottom, top = float(np.nanmin(low)), float(np.nanmax(high))
    # A wood is drawn in coarser steps of height, or it would take all the memory.
    step = max(foliage.step_m, _LEAST_LEAF_STEP_M, (top - bottom) * low.size / _MOST_LEAF_POINTS)
    z = bottom + step * (np.arange(math.ceil((top - bottom) / step) + 5) - 2)
    inside = (z[:, None, None] >= low) & (z[:, None, None] <= high)
    values = gaussian_filter(np.pad(inside, ((0, 0), (2, 2), (2, 2))).astype(float), _LEAF_SOFTNESS)
    origin = (
        foliage.x0 + foliage.cell_m * (first[1] - 2), foliage.y0 + foliage.cell_m * (first[0] - 2), z[0],
    )  # fmt: skip
    return values, np.array(origin), np.array([foliage.cell_m, foliage.cell_m, step])


def _near_leaf_span(foliage: Foliage, extent: Extent) -> tuple[Floats, Floats]:
    """Bottom and top of the leaves of each column, NaN where nothing grows or no plant is in the picture."""
    low, high = _leaf_span(foliage)
    x = foliage.x0 + foliage.cell_m * np.arange(low.shape[1])
    y = foliage.y0 + foliage.cell_m * np.arange(low.shape[0])
    inside = ((x > extent.west) & (x < extent.east))[None, :] & ((y > extent.south) & (y < extent.north))[
        :, None
    ]
    # A plant that only just leans into the picture would be drawn as a slice in the air.
    well_inside = ((x > extent.west + RIM_M) & (x < extent.east - RIM_M))[None, :] & (
        (y > extent.south + RIM_M) & (y < extent.north - RIM_M)
    )[:, None]
    plants, _ = label(inside & np.isfinite(high))
    near = np.isin(plants, np.setdiff1d(plants[well_inside], [0]))
    return np.where(near, low, np.nan), np.where(near, high, np.nan)


def _leaf_span(foliage: Foliage) -> tuple[Floats, Floats]:
    """(ny, nx) bottom and top of the leaves of each column, NaN where nothing grows."""
    low, high = np.full(foliage.column.shape, np.nan), np.full(foliage.column.shape, np.nan)
    leafy = foliage.density > 0
    filled = leafy.any(axis=1)
    first = leafy.argmax(axis=1)
    last = leafy.shape[1] - leafy[:, ::-1].argmax(axis=1)
    grown = foliage.column >= 0
    index = foliage.column[grown]
    low[grown] = np.where(filled, foliage.base_z + first * foliage.step_m, np.nan)[index]
    high[grown] = np.where(filled, foliage.base_z + last * foliage.step_m, np.nan)[index]
    return low, high


def spot_within(area: Area) -> tuple[float, float] | None:
    """A place inside an outline for its name; None for an outline without area.

    >>> spot_within(Area("yard", np.array([[0.0, 0], [4, 0], [4, 2], [0, 2]])))
    (2.0, 1.0)
    >>> spot_within(Area("line", np.array([[0.0, 0], [4, 0], [2, 0]]))) is None
    True
    """
    spot = shapely.Polygon(area.outline).buffer(0).representative_point()
    return None if spot.is_empty else (float(spot.x), float(spot.y))


def draped_lines(ground: Ground, heights: Floats, line: Floats, lift_m: float = 0.05) -> list[Floats]:
    """A plan line laid on the ground, a little above it, with a point every half cell.

    Returns
    -------
    list of (n, 3) float
        The pieces of it that lie on the grid.

    Examples
    --------
    >>> ground = Ground(0.0, 0.0, 1.0, np.zeros((3, 5)))
    >>> (piece,) = draped_lines(ground, ground.z, np.array([[-9.0, 1], [2, 1]]))
    >>> piece.min(axis=0).tolist()
    [-0.5, 1.0, 0.05]
    """
    points = []
    for start, end in pairwise(line):
        count = max(2, math.ceil(float(np.hypot(*(end - start))) / (ground.cell_m / 2)) + 1)
        points.append(start + (end - start) * np.linspace(0, 1, min(count, 2000))[:, None])
    plan = np.vstack(points)
    z = Ground(ground.x0, ground.y0, ground.cell_m, heights).height_at(plan[:, 0], plan[:, 1])
    on_grid = np.isfinite(z)
    laid = np.column_stack([plan, z + lift_m])
    breaks = np.flatnonzero(np.diff(on_grid)) + 1
    pieces = zip(np.split(laid, breaks), np.split(on_grid, breaks), strict=True)
    return [piece for piece, is_on in pieces if is_on[0] and len(piece) > 1]


def dashes(line: Floats, pattern_m: tuple[float, ...]) -> list[Floats]:
    """A plan line cut into dashes: the lengths of a dash and of the gap after it, by turns.

    >>> line = np.array([[0.0, 0.0], [4.0, 0.0]])
    >>> [dash[:, 0].round(1).tolist() for dash in dashes(line, (1.6, 0.9))]
    [[0.0, 1.6], [2.5, 4.0]]
    >>> [dash[:, 0].round(1).tolist() for dash in dashes(line, (2.0, 0.5, 0.5, 0.5))]
    [[0.0, 2.0], [2.5, 3.0], [3.5, 4.0]]
    """
    whole = shapely.LineString(line)
    lengths = np.tile(pattern_m, math.ceil(whole.length / sum(pattern_m)))
    ends = np.minimum(np.cumsum(lengths), whole.length)
    starts = np.concatenate([[0.0], ends[:-1]])
    spans = zip(starts[::2], ends[::2], strict=True)
    pieces = [shapely.ops.substring(whole, a, b) for a, b in spans if b - a > 1e-6]
    return [np.asarray(piece.coords) for piece in pieces]


def _thinned(cells: slice) -> Ints:
    count = cells.stop - cells.start
    step = max(1, math.ceil(count / MOST_NODES))
    return np.unique(np.append(np.arange(cells.start, cells.stop, step), cells.stop - 1))
