"""Ground, walls and leaves with known answers, for tests."""

import math

import numpy as np
import trimesh

from terrain3d.cover.option import OptionResult, judge_option
from terrain3d.cover.sighted import sighted
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import DetectorType
from terrain3d.frame import site_frame
from terrain3d.terrain import Area, Foliage, Ground, Solids, Terrain


def square(extent_m: float = 30.0, cell_m: float = 0.25) -> tuple[np.ndarray, np.ndarray]:
    """Eastings and northings of a square grid about the origin, cells covering it exactly."""
    n = round(extent_m / cell_m)
    axis = -extent_m / 2 + cell_m / 2 + cell_m * np.arange(n)
    return np.meshgrid(axis, axis)


def ground(heights, cell_m: float = 0.25, extent_m: float = 30.0) -> Ground:
    """Ground whose heights are a function of (x, y)."""
    x, y = square(extent_m, cell_m)
    z = np.broadcast_to(np.asarray(heights(x, y), float), x.shape).copy()
    return Ground(float(x[0, 0]), float(y[0, 0]), cell_m, z)


def plane(rise: float, towards_deg: float = 0.0, **size) -> Ground:
    """A plane through the origin that rises by `rise` (m/m) towards a bearing."""
    east, north = math.sin(math.radians(towards_deg)), math.cos(math.radians(towards_deg))
    return ground(lambda x, y: rise * (x * east + y * north), **size)


def terrain(
    on: Ground, solids: Solids | None = None, foliage: Foliage | None = None, protect: tuple[Area, ...] = ()
) -> Terrain:
    """A site in local metres."""
    return Terrain(
        site_frame(None, 0, 0), on, solids or Solids.none(), foliage or Foliage.none(), (), protect
    )


def box(low, high, turn_deg: float = 0.0) -> Solids:
    """An upright box between two corners, turned clockwise about the origin."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    mesh = trimesh.creation.box(high - low)
    mesh.apply_translation((low + high) / 2)
    mesh.apply_transform(trimesh.transformations.rotation_matrix(-math.radians(turn_deg), [0, 0, 1]))
    faces = np.asarray(mesh.faces, np.int64)
    return Solids(np.asarray(mesh.vertices, float), faces, np.zeros(len(faces), np.int64), ("box",))


def leaves(on: Ground, within, base_m: float, top_m: float, density: float, step_m: float = 0.1) -> Foliage:
    """Foliage of one density on the cells where `within(x, y)` holds."""
    x, y = np.meshgrid(on.xs, on.ys)
    mask = within(x, y)
    column = np.full(on.z.shape, -1, np.int32)
    column[mask] = np.arange(mask.sum())
    edges = step_m * np.arange(math.ceil(top_m / step_m - 1e-9) + 1)
    running = density * np.clip(edges - base_m, 0, top_m - base_m)
    return Foliage(
        on.x0, on.y0, on.cell_m, column, on.z[mask], step_m, np.tile(running, (int(mask.sum()), 1))
    )


def unit(
    kind: DetectorType, height_m: float = 1.0, bearing_deg: float = 0.0, mount: str = "pole", **setting
) -> Detector:
    """A detector at the origin, with the ground there at height zero."""
    return Detector("D1", kind, mount, 0.0, 0.0, 0.0, height_m, bearing_deg, **setting)


def judged(site: Terrain, *units: Detector, combine: str = "any", figure_height_m: float = 1.7,
           name: str = "option") -> OptionResult:  # fmt: skip
    """An option of some units, each seen from its own eye."""
    return judge_option(site, name, tuple(sighted(site, one) for one in units), combine, figure_height_m)
