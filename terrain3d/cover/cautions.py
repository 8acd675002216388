"""Where a client would be misled by a picture: what there is to warn of about a unit and its option."""

from dataclasses import dataclass

import numpy as np

from terrain3d.cover.areas import cells_within, off_grid_m2
from terrain3d.cover.sighted import SightedUnit
from terrain3d.cover.watch import Near, things_near
from terrain3d.detector.fixing import off_wall
from terrain3d.detector.pose import Detector, is_open, posed_heads
from terrain3d.sight.hits import inside_solid, solid_hits
from terrain3d.terrain import Area, Ground, Terrain

#: A head whose middle looks onto a solid nearer than this faces into the thing it is fixed to.
FACING_M = 0.6

#: Share of a unit's arc and range that may lie off the known ground without a word.
OFF_GROUND_SHARE = 0.1


@dataclass(frozen=True)
class UnitFacts:
    """What may mislead about one unit, as numbers.

    Parameters
    ----------
    is_inside_solid : bool
    solid_ahead_m : float or None
        Slant distance to a solid right before a head; None where none stands within FACING_M.
    across_unknown_m2 : float
        Ground in its reach that it sees across ground that is not known.
    off_known_share, off_known_m2 : float
        Of its arcs, out to its maximum range, what lies off the known ground.
    near : tuple of Near or None
        What stands in its watch against covering; None where its type has none.
    into_wall_deg : float or None
        What the wall of its mount faces, degrees, where the unit faces into that wall; else None.
    """

    is_inside_solid: bool
    solid_ahead_m: float | None
    across_unknown_m2: float
    off_known_share: float
    off_known_m2: float
    near: tuple[Near, ...] | None = None
    into_wall_deg: float | None = None


@dataclass(frozen=True)
class AreaFacts:
    """Of one protected area: all its ground, and what of it no unit reaches or nobody knows, m2.

    What lies off the grid is not known; how much of that is out of reach is not told.
    """

    name: str
    area_m2: float
    out_of_reach_m2: float
    unknown_m2: float


def unit_facts(terrain: Terrain, sighted: SightedUnit) -> UnitFacts:
    """What may mislead about one unit as it is fixed."""
    unit, seen = sighted.unit, sighted.seen
    inside, ahead = False, None
    if len(terrain.solids.triangles):
        inside = bool(inside_solid(terrain.solids, unit.eye))
        ahead = None if inside else _faces_into_solid(terrain, unit)
    # Unknown ground with a building on it opens no sight: only what is seen across counts.
    seen_across = seen.across_unknown & (np.diff(seen.piece_start) > 0)
    across_m2 = float(seen_across.sum()) * terrain.ground.cell_m**2
    watch = unit.type.anti_masking
    wall_deg = terrain.wall_of(unit.mount)
    near = None if watch is None else things_near(terrain, unit, watch, wall_deg)
    is_into_wall = wall_deg is not None and bool(abs(off_wall(unit.bearing_deg, wall_deg)) > 90)
    into_wall_deg = wall_deg if is_into_wall else None
    return UnitFacts(inside, ahead, across_m2, *_off_known_ground(terrain.ground, unit), near, into_wall_deg)


def area_facts(
    ground: Ground, units: tuple[Detector, ...], protect: tuple[Area, ...]
) -> tuple[AreaFacts, ...]:
    """What no unit of an option reaches of each protected area, and what of it is not known."""
    reached = np.zeros(ground.z.shape, bool)
    for unit in units:
        reached |= np.hypot(ground.xs - unit.x, (ground.ys - unit.y)[:, None]) <= unit.type.reach_m
    facts = []
    for area in protect:
        within = cells_within(ground, area)
        parts = (within, within & ~reached, within & ~ground.known)
        whole, far, unknown = (float(part.sum()) * ground.cell_m**2 for part in parts)
        off = off_grid_m2(ground, area)
        facts.append(AreaFacts(area.name, whole + off, far, unknown + off))
    return tuple(facts)


def _faces_into_solid(terrain: Terrain, unit: Detector) -> float | None:
    """Distance to the solid that the middle of some head looks onto close by; None for none."""
    nearest = []
    for head in posed_heads(unit):
        angles = np.radians(np.linspace(-20, 20, 9))
        rays = np.cos(angles)[:, None] * head.forward + np.sin(angles)[:, None] * head.right
        distance, _ = solid_hits(terrain.solids, unit.eye, rays)
        if np.mean(distance < FACING_M) > 0.5:
            nearest.append(float(distance.min()))
    return min(nearest) if nearest else None


def _off_known_ground(ground: Ground, unit: Detector) -> tuple[float, float]:
    """Share and area of a unit's arcs, out to its range, that lie off the known ground."""
    radius = unit.type.max_range * np.sqrt((np.arange(40) + 0.5) / 40)  # rings of equal area
    off, whole_m2 = [], 0.0
    for head in posed_heads(unit):
        facing = np.arctan2(head.forward[0], head.forward[1])
        share = (np.arange(60) + 0.5) / 60 - 0.5
        angle = facing + np.radians(head.arc_deg) * share[is_open(head, head.arc_deg * share)]
        x = unit.x + radius[:, None] * np.sin(angle)
        y = unit.y + radius[:, None] * np.cos(angle)
        open_deg = sum(high - low for low, high in head.open_deg)
        if len(angle):
            off.append(np.isnan(ground.height_at(x, y)).mean())
        whole_m2 += np.radians(open_deg) / 2 * unit.type.max_range**2
    off_share = float(np.mean(off)) if off else 0.0
    return off_share, off_share * whole_m2
