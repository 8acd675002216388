"""An invented site for the pictures: a slope with a bank, a house, a wall, a hedge, two options.

The verdicts come from plain geometry on the axis of each layer, enough to draw with.
"""

from pathlib import Path

import numpy as np
import trimesh

from terrain3d.cover.cautions import UnitFacts
from terrain3d.cover.option import OptionResult, ProtectedResult
from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import UNKNOWN, VERDICT_KEYS, Codes, Verdict
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.frame import site_frame
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.ranking.reasons import Reason
from terrain3d.terrain import Area, Foliage, Ground, Mount, Solids, Terrain
from terrain3d.units import Floats

PERSON = Figure("person", 1.7, "invented for the pictures")


def flat_ground(size_m: float = 30.0, cell_m: float = 0.25) -> Ground:
    n = round(size_m / cell_m) + 1
    return Ground(-size_m / 2, -size_m / 2, cell_m, np.zeros((n, n)))


def slope_ground() -> Ground:
    """Falls 8 % to the south-east, with a bank of 1.9 m across it and a gap in the survey."""
    ground = flat_ground(48.0)
    x, y = np.meshgrid(ground.xs, ground.ys)
    along = (x - y) / np.sqrt(2)
    z = 20 - 0.08 * along - 1.9 / (1 + np.exp(-(along - 5) / 0.4)) + 0.15 * np.sin(x / 5) * np.cos(y / 4)
    z[(x > 15) & (x < 18) & (y > -4) & (y < 0)] = np.nan
    return Ground(ground.x0, ground.y0, ground.cell_m, z)


def box(
    ground: Ground, name: str, west: float, south: float, east: float, north: float, height: float
) -> Solids:
    low = float(ground.height_at([(west + east) / 2], [(south + north) / 2])[0]) - 0.6
    mesh = trimesh.creation.box(bounds=[[west, south, low], [east, north, low + 0.6 + height]])
    faces = np.asarray(mesh.faces, np.int64)
    return Solids(np.asarray(mesh.vertices, float), faces, np.zeros(len(faces), np.int64), (name,))


def hedge(ground: Ground, west: float, south: float, east: float, north: float, height: float) -> Foliage:
    cell, step = 0.25, 0.25
    xs, ys = np.arange(west + cell / 2, east, cell), np.arange(south + cell / 2, north, cell)
    x, y = np.meshgrid(xs, ys)
    count = round(height / step)
    column = np.arange(x.size, dtype=np.int32).reshape(x.shape)
    above = np.tile(np.arange(count + 1) * step * 1.2, (x.size, 1))
    return Foliage(float(xs[0]), float(ys[0]), cell, column, ground.height_at(x, y).ravel(), step, above)


def slope_terrain() -> Terrain:
    ground = slope_ground()
    solids = box(ground, "house", -12, 4, -4, 12, 3.2).joined(
        box(ground, "garden wall", -3, -7, 4, -6.7, 1.3)
    )
    yard = Area("yard", np.array([[-4.0, -5.5], [7, -5.5], [7, 4], [-4, 4]]))
    gate = Area("gate and the lane beyond it", np.array([[8.0, -12], [13, -12], [13, -6], [8, -6]]))
    mounts = (Mount("house corner", -3.8, 3.8), Mount("north pole", 3.0, 9.0), Mount("old post", -9.0, -4.0))
    return Terrain(
        site_frame(None, 0, 0),
        ground,
        solids,
        hedge(ground, 5, 4.5, 12, 6, 1.5),
        mounts,
        (yard, gate),
        doubts=("a gap of 12 m² in the survey stays unknown",),
    )


def unit(
    terrain: Terrain, name: str, mount: str, kind: str, bearing: float, range_m: float = 12.0
) -> Detector:
    at = terrain.mount(mount)
    ground_z = float(terrain.ground.height_at([at.x], [at.y])[0])
    return Detector(name, load_type(kind, Path()), mount, at.x, at.y, ground_z, 1.0, bearing, range_m=range_m)


def rough_verdicts(ground: Ground, units: tuple[Detector, ...]) -> Codes:
    """Best verdict of the units with each layer taken as its axis over bare ground."""
    x, y = np.meshgrid(ground.xs, ground.ys)
    best = np.zeros(x.shape, np.uint8)
    for one in units:
        dx, dy = x - one.x, y - one.y
        far = np.hypot(dx, dy)
        turn = (np.degrees(np.arctan2(dx, dy)) - one.bearing_deg + 180) % 360 - 180
        height = one.ground_z + one.height_m - ground.z
        lower = height - far * one.type.nominal_height / one.range_m
        holds_upper, holds_lower = (height > 0) & (height < 1.7), (lower > 0) & (lower < 1.7)
        inside = np.zeros(x.shape, bool)
        for head in one.type.head:
            inside |= np.abs(turn - head.pan) <= head.arc / 2
        inside &= far <= one.type.max_range
        code = np.where(
            holds_upper & holds_lower,
            Verdict.BOTH,
            np.where(
                holds_upper, Verdict.UPPER_ONLY, np.where(holds_lower, Verdict.LOWER_ONLY, Verdict.DEAD)
            ),
        )
        best = np.maximum(best, np.where(inside, code, Verdict.OUTSIDE).astype(np.uint8))
    best[~ground.known] = UNKNOWN
    return best


def option(
    terrain: Terrain, name: str, units: tuple[Detector, ...], off_known_share: float = 0.0
) -> OptionResult:
    codes = rough_verdicts(terrain.ground, units)
    cell_m2 = terrain.ground.cell_m**2
    areas = {VERDICT_KEYS[v]: float((codes == v).sum()) * cell_m2 for v in Verdict}
    protect = tuple(_protected(terrain, area, codes) for area in terrain.protect)
    return OptionResult(
        name=name,
        units=tuple(sighted(terrain, one) for one in units),
        verdicts=codes,
        area_m2=areas,
        protect=protect,
        causes={},
        lost_m2={},
        facts=tuple(UnitFacts(False, None, 0.0, off_known_share, 94.0) for _ in units),
    )


def _protected(terrain: Terrain, area: Area, codes: Codes) -> ProtectedResult:
    (west, south), (east, north) = area.outline.min(axis=0), area.outline.max(axis=0)
    x, y = np.meshgrid(terrain.ground.xs, terrain.ground.ys)
    inside = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    held = float((codes[inside] == Verdict.BOTH).mean())
    return ProtectedResult(area.name, float(inside.sum()) * terrain.ground.cell_m**2, held, area.weight)


def slope_outcome() -> Outcome:
    terrain = slope_terrain()
    one = option(
        terrain,
        "House corner, two heads",
        (unit(terrain, "D1", "house corner", "two-head-180", 135, 10.0),),
        0.3,
    )
    two = option(
        terrain,
        "North pole and house corner, one head each",
        (
            unit(terrain, "D1", "north pole", "one-head-90", 195, 8.0),
            unit(terrain, "D2", "house corner", "one-head-90", 140),
        ),
    )
    found = (Reason(two.name, "lower", "lands short", 12.0, of_m2=20.0),)
    return Outcome(site_of(terrain, "Demo hillside (invented)"), (one, two), (one.name, two.name), found)


def plane_reach(terrain: Terrain):  # type: ignore[no-untyped-def]
    """Distances to the ground by plain stepping: slow, and independent of the package's own rays."""

    def reach(eye: Floats, directions: Floats) -> Floats:
        steps = np.arange(0.1, 30, 0.1)
        points = eye + directions[:, None, :] * steps[None, :, None]
        ground = terrain.ground.height_at(points[..., 0], points[..., 1])
        below = points[..., 2] < ground
        return np.where(below.any(axis=1), steps[below.argmax(axis=1)], np.inf)

    return reach
