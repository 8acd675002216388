"""Small sites on which every setting can be judged one by one, and that judging, for tests of the search."""

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
from shapes import box, ground, leaves

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.option import judge_option
from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.frame import site_frame
from terrain3d.search.settings import Space
from terrain3d.sight.panorama import eye_over
from terrain3d.terrain import Area, Mount, Terrain

FIGURE = Figure("person", 1.7, "for tests")
NAMES = ("one-head-90", "two-head-180")
KINDS = tuple(load_type(name, Path()) for name in NAMES)


def hillside(mounts=(), protect=None, beyond=(), cell_m=0.5) -> Terrain:
    """A hillside with a house and a hedge on it, 24 m square, two protected areas that overlap."""
    land = ground(lambda x, y: 0.1 * x + 0.4 * np.sin(x / 4) * np.cos(y / 3), cell_m=cell_m, extent_m=24.0)
    hedge = leaves(land, lambda x, y: (np.abs(x + 5) < 1) & (np.abs(y) < 5), 0.3, 1.4, 0.8)
    areas = (
        Area("yard", np.array([[-9.0, -8], [6, -8], [6, 4], [-9, 4]]), 1.0),
        Area("gate", np.array([[2.0, 0], [10, 0], [10, 9], [2, 9]]), 3.0),
    )
    return Terrain(
        site_frame(None, 0, 0), land, box((3, 3, -1), (6, 6, 3)), hedge, tuple(mounts),
        areas if protect is None else protect, beyond=tuple(beyond),
    )  # fmt: skip


def coarse(kinds=KINDS, step_deg=30.0, tilts_deg=(-3.0, 0.0), ranges_m=(6.0, 12.0)) -> Space:
    """A space of few settings."""
    return Space(kinds, tuple(kind.name for kind in kinds), step_deg, tilts_deg, ranges_m)


def every_setting(space: Space, mount: Mount):
    """(kind, height, bearing, tilt, range) of all settings of a mount."""
    for k in space.types_on(mount):
        yield from itertools.product(
            [k], mount.heights_m, space.bearings_deg.tolist(), space.tilts_deg, space.ranges_of(k)
        )


def held_by_cover(terrain: Terrain, space: Space, mount: Mount, setting, figure_height_m=1.7):
    """(ny, nx) bool: what `judge_option` says a setting holds wherever within its tolerance it is aimed."""
    k, height, bearing, tilt, range_m = setting
    held = np.ones(terrain.ground.z.shape, bool)
    step, slip = space.bearing_step_deg, space.tilt_slip_deg
    for turn, nod in itertools.product((-step, 0, step), (-slip, 0, slip)):
        aim = (height, (bearing + turn) % 360, tilt + nod, range_m, figure_height_m)
        held &= held_as_aimed(terrain, space.detector_types[k], mount, aim)
    return held


#: What was judged already, with what it was judged of: an aim lies within the tolerance of several settings,
#: and what a height sees does not hang on the aim.
_SEEN: dict[tuple, tuple] = {}
_HELD: dict[tuple, tuple] = {}


def held_as_aimed(terrain: Terrain, kind, mount: Mount, aim):
    """(ny, nx) bool: what `judge_option` says is held with one aim."""
    height, bearing, tilt, range_m, figure_height_m = aim
    place = (id(terrain), id(kind), mount, height)
    if place not in _SEEN:
        x, y, ground_z = eye_over(terrain.ground, mount.x, mount.y, 0.0)
        at = Detector("D1", kind, mount.name, x, y, ground_z, height, bearing, tilt, 0.0, range_m)
        # Kept with what they are of: no other may get its `id`.
        _SEEN[place] = sighted(terrain, at), terrain, kind
    seen = _SEEN[place][0]
    if (place, aim) not in _HELD:
        unit = replace(seen.unit, bearing_deg=bearing, tilt_deg=tilt, range_m=range_m)
        verdicts = judge_option(terrain, "one", (seen.set_to(unit),), "any", figure_height_m).verdicts
        _HELD[place, aim] = (verdicts == Verdict.BOTH,)
    return _HELD[place, aim][0]


def weight_of(terrain: Terrain):
    """(ny, nx) weight of each cell."""
    return protected_weight(terrain.ground, terrain.protect)
