"""Mounts and areas to be held against the ground as it is known: what is refused, and what is doubted."""

import numpy as np
import shapely

from terrain3d.errors import InputError
from terrain3d.frame import Frame
from terrain3d.site import Site
from terrain3d.survey.lattice import Relief
from terrain3d.survey.placing import Drawn, Placed
from terrain3d.survey.source import Header
from terrain3d.terrain import Ground, Mount

#: A mount on a wall stands under its eaves, where no survey from the air sees ground: it is carried on
#: from ground known this near.
_UNDER_EAVES_M = 1.5
#: A share of ground, bridged or unknown, that is worth a sentence.
_WORTH_SAYING = 0.02


def check_on_survey(local: Placed, shapes: Drawn, frame: Frame, header: Header) -> None:
    """Refuse a mount beyond the survey before anything is read."""
    west, south, east, north = header.bounds
    system = "local metres" if header.crs is None else header.crs.name
    for mount, (shape, _) in zip(local.mounts, shapes.mount, strict=True):
        x, y = (float(v[0]) for v in frame.from_local([mount.x], [mount.y], header.crs))
        if not (west <= x <= east and south <= y <= north):
            raise InputError(
                f"the mount {mount.name!r} at {_pair(*shape.at)} is off the survey: it lies at "
                f"{_pair(x, y)} in {system}, and the survey covers {_pair(west, south)} to "
                f"{_pair(east, north)}",
                f"mount {mount.name!r}: at",
                "check its coordinates, [site] crs and [ground] crs, or name a survey that covers it",
            )


def check_on_ground(local: Placed, shapes: Drawn, relief: Relief, site: Site) -> None:
    """Refuse a mount without known ground below it."""
    west, south, east, north = relief.ground.bounds
    for mount, (shape, _) in zip(local.mounts, shapes.mount, strict=True):
        if np.isfinite(relief.ground.height_at([mount.x], [mount.y])[0]):
            continue
        why = (
            f"the ground covers {_pair(west, south)} to {_pair(east, north)} in local metres, and the mount "
            f"lies at {_pair(mount.x, mount.y)} there"
        )
        mend = "move the mount, or give ground around it"
        if site.ground.file is not None:
            why = (
                f"it lies in a gap of the survey wider than hole_limit, {site.ground.hole_limit:g} m, or at "
                "its edge (under a building, on water, or where nothing was measured)"
            )
            mend = "move the mount off it, or raise [ground] hole_limit"
        raise InputError(
            f"no ground is known at the mount {mount.name!r}, {_pair(*shape.at)}: {why}",
            f"mount {mount.name!r}: at",
            mend,
        )


def under_mounts(relief: Relief, mounts: tuple[Mount, ...]) -> tuple[Relief, tuple[str, ...]]:
    """Give mounts close to known ground a foot on it, marked as bridged."""
    ground = relief.ground
    z, filled = ground.z.copy(), ground.filled.copy()
    x, y = np.meshgrid(ground.xs, ground.ys)
    ny, nx = z.shape
    doubts = []
    for mount in mounts:
        away = np.hypot(x - mount.x, y - mount.y)[ground.known].min(initial=np.inf)
        if away > _UNDER_EAVES_M or np.isfinite(ground.height_at([mount.x], [mount.y])[0]):
            continue
        i = min(max(int((mount.x - ground.x0) / ground.cell_m), 0), nx - 2)
        j = min(max(int((mount.y - ground.y0) / ground.cell_m), 0), ny - 2)
        patch = (slice(j, j + 2), slice(i, i + 2))
        filled[patch] |= np.isnan(z[patch])
        z[patch] = np.where(np.isnan(z[patch]), relief.feet_z[patch], z[patch])
        doubts.append(
            f"the ground under the mount {mount.name!r} was not seen: it is carried on from {away:.1f} m away"
        )
    under = Ground(ground.x0, ground.y0, ground.cell_m, z, filled)
    return Relief(under, relief.feet_z, relief.spacing_m), tuple(doubts)


def ground_doubts(relief: Relief, local: Placed) -> tuple[str, ...]:
    """What the ground leaves open: its spacing, gaps, and areas to be held that are not known."""
    ground, cell = relief.ground, relief.ground.cell_m
    doubts = []
    if relief.spacing_m is not None and relief.spacing_m > 2 * cell:
        doubts.append(
            f"the survey is too coarse for the cell: its ground points are {relief.spacing_m:.2g} m apart "
            f"and cells {cell:g} m; banks and kerbs between the points are not in it"
        )
    filled = float(ground.filled.mean())
    if filled > _WORTH_SAYING:
        doubts.append(f"{filled:.0%} of the ground was not measured but bridged across gaps of the survey")
    unknown = float((~ground.known).mean())
    if unknown > _WORTH_SAYING:
        doubts.append(f"{unknown:.0%} of the ground worked on is not known: nothing is said about it")
    x, y = np.meshgrid(ground.xs, ground.ys)
    for area in local.protect:
        polygon = shapely.Polygon(area.outline)
        shapely.prepare(polygon)
        inside = shapely.contains_xy(polygon, x, y)
        # What lies beyond the grid is not known either.
        known_m2 = float((inside & ground.known).sum()) * cell**2
        missing = 1 - known_m2 / polygon.area
        # Cells at the rim count whole or not at all, which is no gap.
        if missing > max(_WORTH_SAYING, cell * polygon.length / polygon.area / 2):
            doubts.append(f"{missing:.0%} of the area to be held {area.name!r} lies where no ground is known")
    return tuple(doubts)


def _pair(x: float, y: float) -> str:
    """Coordinates as a person would compare them: metres to a millimetre, degrees to a centimetre."""
    x, y = (round(v, 7 if abs(v) <= 360 else 3) + 0.0 for v in (x, y))
    return f"({x:.10g}, {y:.10g})"
