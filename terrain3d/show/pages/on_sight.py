"""What is drawn over a picture of directions: protected outlines and figures, where an eye sees them."""

from dataclasses import dataclass, replace

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.transforms import Bbox

from terrain3d import palette
from terrain3d.detector.figures import Figure
from terrain3d.show.legend import PROTECTED
from terrain3d.show.pages.on_picture import Label, haloed
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.silhouettes import silhouette
from terrain3d.sight.hits import NEARER, NEARER_M, in_sight
from terrain3d.sight.picture import picture
from terrain3d.terrain import Terrain
from terrain3d.units import Floats

Eye = tuple[float, float, float]
#: Points along an outline, and how high over the ground they are looked at, metres.
_STEP_M, _OVER_M = 0.1, 0.03
#: Directions across and up in which it is told what of a figure is hidden.
_ACROSS, _UP = 41, 81


def seen_at(eye: Eye, points: Floats, ahead_deg: float) -> tuple[Floats, Floats, Floats]:
    """Where points appear to an eye: azimuth from `ahead_deg`, right positive, elevation, slant metres.

    Parameters
    ----------
    eye : (x, y, z)
    points : (n, 3) float
    ahead_deg : float
        Clockwise from north.

    Examples
    --------
    >>> azimuth, elevation, slant = seen_at((0, 0, 1), np.array([[3.0, 0.0, 1.0], [0.0, 1.0, 0.0]]), 90.0)
    >>> azimuth.round(6).tolist(), elevation.round(6).tolist(), slant.round(3).tolist()
    ([0.0, -90.0], [0.0, -45.0], [3.0, 1.414])
    """
    away = points - np.asarray(eye, float)
    flat = np.hypot(away[:, 0], away[:, 1])
    turn = (np.degrees(np.arctan2(away[:, 0], away[:, 1])) - ahead_deg + 180) % 360 - 180
    return turn, np.degrees(np.arctan2(away[:, 2], flat)), np.hypot(flat, away[:, 2])


def outline_in_sight(terrain: Terrain, eye: Eye, outline: Floats, ahead_deg: float) -> tuple[Floats, Floats]:
    """An outline on the ground as an eye sees it.

    Returns
    -------
    (n, 2) float, (n, 2) float
        Azimuth from ahead and elevation; NaN where it is hidden, or where the picture is cut behind the
        eye. Then places on the ground, metres.
    """
    ring = shapely.LinearRing(outline)
    along = np.arange(0.0, ring.length + _STEP_M, _STEP_M)
    places = shapely.get_coordinates(shapely.line_interpolate_point(ring, along))
    z = terrain.ground.height_at(*places.T) + _OVER_M
    points = np.column_stack([places, z])
    azimuth, elevation, _ = seen_at(eye, points, ahead_deg)
    shown = np.column_stack([azimuth, elevation])
    shown[~in_sight(terrain, eye, points)] = np.nan
    shown[np.flatnonzero(np.abs(np.diff(azimuth)) > 180) + 1] = np.nan
    return shown, places


def draw_protected(page: Sheet, axes: Axes, terrain: Terrain, eye: Eye, ahead_deg: float) -> list[Label]:
    """Draw what is in sight of each protected outline; returns the names of those that are."""
    labels = []
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    for area in terrain.protect:
        shown, _ = outline_in_sight(terrain, eye, area.outline, ahead_deg)
        haloed(axes, shown, PROTECTED, 5.5, 2 * PROTECTED.width)
        x, y = shown.T
        within = shown[(x > left) & (x < right) & (y > low) & (y < high)]
        if len(within):
            # At the right end of the outline: the middle of it is where figures stand.
            end = within[within[:, 0].argmax()]
            labels.append(direction_label(page, axes, end, area.name, prefer=(1, 0)))
    return labels


def direction_label(
    page: Sheet,
    axes: Axes,
    at: Floats,
    name: str,
    size: float = 7.2,
    width: float = 0.11,
    prefer: tuple[float, float] = (0, 0),
    weight: str = "normal",
) -> Label:
    """A name of what stands in a direction."""
    x, y = axes.transData.transform(at) - axes.get_window_extent().min
    lines = page.lines(name, width, size, 3, weight)
    return Label("\n".join(lines), float(x), float(y), prefer, size, weight)


@dataclass(frozen=True)
class Standing:
    """A figure that stands in a picture: the pixels of the page that it takes, and how much is in sight."""

    box: Bbox
    foot: tuple[float, float]
    share: float


def draw_figure(
    axes: Axes, terrain: Terrain, eye: Eye, ahead_deg: float, figure: Figure, place: tuple[float, float]
) -> Standing | None:
    """Draw a figure on the ground, full where an eye sees it and as a line where it is hidden.

    None where no ground is known, or the figure stands at the eye.
    """
    x, y = place
    ground_z = float(terrain.ground.height_at(x, y))
    far = float(np.hypot(x - eye[0], y - eye[1]))
    if not np.isfinite(ground_z) or far < figure.height_m / 4:
        return None
    azimuth = float(seen_at(eye, np.array([[x, y, ground_z]]), ahead_deg)[0][0])
    outlines = []
    for outline in silhouette(figure):
        turn = azimuth + np.degrees(np.arctan2(outline[:, 0], far))
        outlines.append(np.column_stack([turn, _up(ground_z + outline[:, 1] - eye[2], far)]))
    shape = shapely.union_all([shapely.Polygon(outline).buffer(0) for outline in outlines])
    visible, through = _in_sight_of(terrain, eye, ahead_deg, shape, far)
    for part in shapely.get_parts(visible):
        if part.geom_type == "Polygon":
            colour = (palette.FIGURE, 0.3 + 0.6 * through)
            ring = np.asarray(part.exterior.coords)
            axes.add_patch(Polygon(ring, facecolor=colour, edgecolor="none", zorder=3.5))
    for outline in outlines:
        axes.plot(*outline.T, color="white", linewidth=1.0, zorder=3.4)
        axes.plot(*outline.T, color=palette.FIGURE, linewidth=0.6, zorder=3.6)
    low_x, low_y, high_x, high_y = shape.bounds
    corners = axes.transData.transform([[low_x, low_y], [high_x, high_y]])
    foot = (azimuth, float(_up(np.array(ground_z - eye[2]), far)))
    return Standing(Bbox(corners), foot, float(visible.area / shape.area))


def _up(rise_m: Floats, far_m: float) -> Floats:
    return np.asarray(np.degrees(np.arctan2(rise_m, far_m)))


def _in_sight_of(
    terrain: Terrain, eye: Eye, ahead_deg: float, shape: shapely.Geometry, far_m: float
) -> tuple[shapely.Geometry, float]:
    """What of a shape, `far_m` away, is not hidden, and what share of sight leaves let through to it."""
    west, south, east, north = shape.bounds
    wide, deep = (east - west) / _ACROSS, (north - south) / _UP
    across = west + wide * (np.arange(_ACROSS) + 0.5)
    up = south + deep * (np.arange(_UP) + 0.5)
    reach = 1.05 * far_m / float(np.cos(np.radians(min(max(abs(south), abs(north)), 85.0))))
    seen = picture(terrain, eye, ahead_deg + across, up, reach)
    level = seen.distance * np.cos(np.radians(up))[:, None]
    open_to = ~(level < far_m * (1 - NEARER) - NEARER_M)
    rows, columns = np.nonzero(open_to)
    cells = shapely.box(
        west + wide * columns, south + deep * rows, west + wide * (columns + 1), south + deep * (rows + 1)
    )
    visible = shapely.intersection(shapely.union_all(cells), shape)
    within = open_to & shapely.contains_xy(shape, *np.meshgrid(across, up))
    return visible, float(seen.through[within].mean()) if within.any() else 0.0


def at_foot(page: Sheet, axes: Axes, standing: Standing, lines: list[str]) -> Label:
    """What is said of a figure, under its feet."""
    label = direction_label(page, axes, np.array(standing.foot), "", 6.8, prefer=(0, -1))
    return replace(label, text="\n".join(lines))
