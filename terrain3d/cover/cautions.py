"""Where a client would be misled by a picture: warnings about a unit and its option."""

import numpy as np

from terrain3d.cover.areas import cells_within
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.sight.hits import inside_solid, solid_distances
from terrain3d.sight.panorama import Panorama
from terrain3d.terrain import Area, Ground, Terrain

#: A head whose middle looks onto a solid nearer than this faces into the thing it is fixed to.
FACING_M = 0.6


def unit_warnings(terrain: Terrain, seen: Panorama, unit: Detector) -> list[str]:
    """Warnings about one unit as it is fixed."""
    warnings = []
    low, high = unit.type.mount_height
    if not low - 1e-9 <= unit.height_m <= high + 1e-9:
        warnings.append(
            f"{unit.name} at {unit.height_m:g} m is outside the {low:g} to {high:g} m"
            f" that {unit.type.name} allows: its layers do not lie as its maker means"
        )
    if len(terrain.solids.triangles):
        if inside_solid(terrain.solids, unit.eye):
            warnings.append(f"{unit.name} is inside a solid: move mount {unit.mount!r} in front of it")
        elif (facing := _faces_into_solid(terrain, unit)) is not None:
            warnings.append(f"{unit.name} faces into a solid {facing:.1f} m away: turn it or move its mount")
    # Unknown ground with a building on it opens no sight: only what is seen across counts.
    seen_across = seen.across_unknown & (np.diff(seen.piece_start) > 0)
    blind = float(seen_across.sum()) * terrain.ground.cell_m**2
    if blind > 0.02 * np.pi * unit.type.max_range**2:
        warnings.append(
            f"{unit.name} looks across ground that is not known to {blind:.0f} m2 in its reach;"
            " the sight there is taken as open"
        )
    return warnings


def option_warnings(ground: Ground, units: tuple[Detector, ...], protect: tuple[Area, ...]) -> list[str]:
    """Warnings about protected ground that no unit of an option can reach, or that is not known."""
    warnings = []
    reached = np.zeros(ground.z.shape, bool)
    for unit in units:
        reached |= np.hypot(ground.xs - unit.x, (ground.ys - unit.y)[:, None]) <= unit.type.max_range
    for area in protect:
        within = cells_within(ground, area)
        total = float(within.sum())
        if total == 0:
            warnings.append(f"{area.name!r} holds no cell of the known survey")
            continue
        beyond = float((within & ~reached).sum())
        if beyond > 0.01 * total:
            warnings.append(
                f"{beyond * ground.cell_m**2:.0f} m2 of {area.name!r} ({beyond / total:.0%})"
                " lie beyond the reach of every unit"
            )
        unknown = float((within & ~ground.known).sum())
        if unknown > 0.01 * total:
            warnings.append(
                f"no ground is known under {unknown * ground.cell_m**2:.0f} m2 of {area.name!r}"
                f" ({unknown / total:.0%}); that part counts as not held"
            )
    return warnings


def _faces_into_solid(terrain: Terrain, unit: Detector) -> float | None:
    """Distance to the solid that the middle of some head looks onto close by; None for none."""
    nearest = []
    for head in posed_heads(unit):
        angles = np.radians(np.linspace(-20, 20, 9))
        rays = np.cos(angles)[:, None] * head.forward + np.sin(angles)[:, None] * head.right
        distance = solid_distances(terrain.solids, unit.eye, rays)
        if np.mean(distance < FACING_M) > 0.5:
            nearest.append(float(distance.min()))
    return min(nearest) if nearest else None
