"""One camera for all options of a site: behind and above the units, high enough to see the slope."""

import math
from dataclasses import dataclass

import numpy as np

from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.show.extent import Extent, head_arcs
from terrain3d.show.shapes import Reach, filled_heights, ground_nodes, leaf_ends
from terrain3d.units import Floats, direction

VIEW_ANGLE_DEG = 24.0
#: Turns away from straight behind the units that are tried, the most welcome first.
_TURNS_DEG = (30, -30, 50, -50, 10, 75, -75, 105, -105, 140, -140, 180)
#: The line of sight comes down onto the slope it looks along by this much.
_DOWN_DEG = 40.0
#: Of the sides of the drawn block of ground, as shares of its width: their height where the ground is lowest,
#: and how much taller they may be where it is highest.
_BLOCK_DEPTH, _TALLEST_SIDE = 0.035, 0.2
#: Height of what has to be seen above the ground at the places where the view is tried, metres.
_SEEN_ABOVE_M = 0.3


@dataclass(frozen=True)
class Camera:
    """Where a picture is taken from: positions in local metres, full vertical angle in degrees."""

    position: tuple[float, float, float]
    target: tuple[float, float, float]
    view_angle_deg: float = VIEW_ANGLE_DEG

    @property
    def axes(self) -> Floats:
        """Rows right, up, forward, (3, 3) unit vectors."""
        return _axes(np.subtract(self.target, self.position))

    def project(self, points: Floats, aspect: float) -> Floats:
        """Where points fall on the picture, as shares of it from its lower left.

        Parameters
        ----------
        points : (n, 3) float
        aspect : float
            Width by height of the picture.

        Returns
        -------
        (n, 2) float

        Examples
        --------
        >>> Camera((0, -10, 0), (0, 0, 0)).project(np.zeros((1, 3)), 1.5).tolist()
        [[0.5, 0.5]]
        """
        right, up, depth = ((points - np.asarray(self.position, float)) @ self.axes.T).T
        half = math.tan(math.radians(self.view_angle_deg / 2))
        return np.column_stack([0.5 + right / depth / (2 * half * aspect), 0.5 + up / depth / (2 * half)])


def site_camera(outcome: Outcome, extent: Extent, reach: Reach, aspect: float) -> Camera:
    """The view that hides least of the watched ground, from behind the units where it can be.

    Parameters
    ----------
    outcome : Outcome
    extent : Extent
        What has to be in the picture.
    reach : callable
        Distances from a point along directions to the first thing hit.
    aspect : float
        Width by height of the picture.
    """
    xs, ys, z = ground_nodes(outcome.terrain.ground, filled_heights(outcome.terrain.ground), extent)
    east, north = _mean_slope(xs, ys, z)
    behind = _common_bearing(outcome, east, north)
    looks = np.array([_look(behind + turn, east, north) for turn in _TURNS_DEG])
    hidden = _hidden_share(outcome, reach, -looks)
    # A less welcome view has to show clearly more.
    best = int(np.argmin(hidden + 0.025 * np.arange(len(looks))))
    return fitted_camera(looks[best], framed_points(outcome, extent), aspect)


def framed_points(outcome: Outcome, extent: Extent) -> Floats:
    """(n, 3) what a picture has to hold: the rim and foot of the block, solids and leaves on it."""
    xs, ys, z = ground_nodes(outcome.terrain.ground, filled_heights(outcome.terrain.ground), extent)
    x, y = np.meshgrid(xs, ys)
    rim = np.ones(z.shape, bool)
    rim[1:-1, 1:-1] = False
    top = np.column_stack([x[rim], y[rim], z[rim]])
    foot = top.copy()
    foot[:, 2] = block_foot(xs, ys, z, extent)[rim]
    leaves = leaf_ends(outcome.terrain.foliage, extent)
    standing = np.vstack([outcome.terrain.solids.vertices, leaves])
    inside = (
        (standing[:, 0] > extent.west)
        & (standing[:, 0] < extent.east)
        & (standing[:, 1] > extent.south)
        & (standing[:, 1] < extent.north)
    )
    return np.vstack([top, foot, standing[inside]])


def block_foot(xs: Floats, ys: Floats, z: Floats, extent: Extent) -> Floats:
    """Heights of the foot of the drawn block of ground: level, or leaning with steep ground.

    On a level foot the sides of steep ground would be so tall that they, and not the ground, fill a picture.

    Parameters
    ----------
    xs, ys : (nx,), (ny,) float
    z : (ny, nx) float
    extent : Extent

    Returns
    -------
    (ny, nx) float

    Examples
    --------
    A slope of 10 % stands on a level foot; one of 100 % rises by a fifth of its width over its foot:

    >>> xs, ys = np.array([0.0, 20.0]), np.array([0.0, 20.0])
    >>> whole = Extent(0.0, 0.0, 20.0, 20.0, slice(0, 2), slice(0, 2))
    >>> gentle = np.array([[0.0, 0.0], [2.0, 2.0]])
    >>> (gentle - block_foot(xs, ys, gentle, whole)).round(2).tolist()
    [[0.7, 0.7], [2.7, 2.7]]
    >>> (10 * gentle - block_foot(xs, ys, 10 * gentle, whole)).round(2).tolist()
    [[0.7, 0.7], [4.7, 4.7]]
    """
    size = max(extent.width_m, extent.depth_m)
    east, north = _mean_slope(xs, ys, z)
    rise = abs(east) * extent.width_m + abs(north) * extent.depth_m
    leaning = max(0.0, 1 - _TALLEST_SIDE * size / rise) if rise > 0 else 0.0
    plane = leaning * (east * xs[None, :] + north * ys[:, None])
    return np.asarray(plane + (z - plane).min() - _BLOCK_DEPTH * size)


def fitted_camera(look: Floats, points: Floats, aspect: float, room: float = 0.97) -> Camera:
    """The nearest camera that looks along `look` and has every point in the picture.

    Parameters
    ----------
    look : (3,) float
    points : (n, 3) float
    aspect : float
        Width by height of the picture.
    room : float
        Share of the picture that the points may fill.

    Notes
    -----
    In the camera's axes a point is inside when its sideways offset is at most its depth times the
    half angle's tangent: two half planes a side, whose corner is the nearest place to stand.

    Examples
    --------
    >>> camera = fitted_camera(np.array([0, 1.0, 0]), np.array([[-1.0, 0, 0], [1, 0, 0]]), 1.0, 1.0)
    >>> camera.project(np.array([[-1.0, 0, 0], [1, 0, 0]]), 1.0).round(6).tolist()
    [[0.0, 0.5], [1.0, 0.5]]
    """
    axes = _axes(look)
    across, up, depth = (points @ axes.T).T
    tangent = math.tan(math.radians(VIEW_ANGLE_DEG / 2)) * room
    stands = []
    for offset, slope in ((across, tangent * aspect), (up, tangent)):
        right, left = (offset - depth * slope).max(), (offset + depth * slope).min()
        stands.append((left - right) / (2 * slope))
    stand = min(stands)
    middle = [_middle(offset, depth - stand) for offset in (across, up)]
    position = np.array([*middle, stand]) @ axes
    target = position + axes[2] * (depth.mean() - stand)
    return Camera((*map(float, position),), (*map(float, target),))  # type: ignore[arg-type]


def _middle(offset: Floats, depth: Floats) -> float:
    """Where to stand sideways for the same room on both sides of the picture."""
    middle = float(offset.mean())
    for _ in range(40):
        seen = (offset - middle) / depth
        middle += float((seen.max() + seen.min()) / 2 * depth.min())
    return middle


def _axes(look: Floats) -> Floats:
    forward = look / np.linalg.norm(look)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    return np.array([right, np.cross(right, forward), forward])


def _mean_slope(xs: Floats, ys: Floats, z: Floats) -> tuple[float, float]:
    """Rise to the east and to the north of the plane nearest to the ground."""
    x, y = np.meshgrid(xs - xs.mean(), ys - ys.mean())
    return float((x * z).sum() / (x * x).sum()), float((y * z).sum() / (y * y).sum())


def _common_bearing(outcome: Outcome, east: float, north: float) -> float:
    """The bearing most units face; uphill where they face every way, so that the slope faces us."""
    units = [unit for option in outcome.options for unit in option.detectors]
    facing = np.sum([direction(unit.bearing_deg) for unit in units], axis=0) if units else np.zeros(2)
    if np.hypot(*facing) < 0.2 * max(1, len(units)):
        facing = np.array([east, north]) if math.hypot(east, north) > 0.01 else np.array([0.0, 1.0])
    return math.degrees(math.atan2(facing[0], facing[1]))


def _look(bearing_deg: float, east: float, north: float) -> Floats:
    ahead = np.array(direction(bearing_deg))
    fall_deg = math.degrees(math.atan(-float(ahead @ [east, north])))
    down = math.radians(min(max(_DOWN_DEG + fall_deg, 24.0), 58.0))
    return np.array([*(math.cos(down) * ahead), -math.sin(down)])


def _hidden_share(outcome: Outcome, reach: Reach, towards: Floats) -> Floats:
    """(n,) share of the watched places from which the camera in each direction cannot be seen."""
    places = _watched_places(outcome)
    if not len(places):
        return np.zeros(len(towards))
    return np.asarray(np.mean([np.isfinite(reach(place, towards)) for place in places], axis=0))


def _watched_places(outcome: Outcome, most: int = 30) -> Floats:
    """(n, 3) units and places spread over what they watch and over protected ground."""
    units = [unit for option in outcome.options for unit in option.detectors]
    plan = [place for unit in units for place in _error_sizes(unit)]
    plan += [tuple(area.outline.mean(axis=0)) for area in outcome.terrain.protect]
    if not plan:
        return np.zeros((0, 3))
    x, y = np.array(plan[:: math.ceil(len(plan) / most)]).T
    z = outcome.terrain.ground.height_at(x, y) + _SEEN_ABOVE_M
    return np.column_stack([x, y, z])[np.isfinite(z)]


def _error_sizes(unit: Detector) -> list[tuple[float, float]]:
    places = []
    for pan, arc in head_arcs(unit):
        for turn, share in ((-0.35, 0.8), (0.0, 0.3), (0.0, 0.9), (0.35, 0.55)):
            ahead = direction(unit.bearing_deg + pan + turn * arc)
            far = share * unit.type.max_range
            places.append((unit.x + far * ahead[0], unit.y + far * ahead[1]))
    return places
