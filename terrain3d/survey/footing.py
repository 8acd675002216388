"""What is drawn against the ground as it is known: what is refused, and what is doubted."""

from collections.abc import Iterator

import numpy as np
import shapely

from terrain3d.errors import InputError
from terrain3d.frame import Frame
from terrain3d.readers.crs import crs_words
from terrain3d.readers.source import Header
from terrain3d.site import Site
from terrain3d.survey.lattice import Relief
from terrain3d.survey.placing import Drawn, Placed, label
from terrain3d.survey.solids import wall_plan
from terrain3d.terrain import Ground, Mount
from terrain3d.units import Floats
from terrain3d.wording import listed, pair, plain

#: A mount on a wall stands under its eaves, where no survey from the air sees ground: it is carried on
#: from ground known this near.
_UNDER_EAVES_M = 1.5
#: The slope there is that of the known ground this much farther than the nearest.
_SLOPE_FROM_M = 2.0
#: A share of ground, bridged or unknown, that is worth a sentence.
_WORTH_SAYING = 0.02
#: A survey may lie so much wider than two cells before it is called coarse: a grid of half a metre is one
#: of 0.5002 m on the ground, for map projections stretch.
_STRETCH = 1.05


def check_on_survey(local: Placed, shapes: Drawn, frame: Frame, header: Header) -> None:
    """Refuse a mount beyond the survey before anything is read."""
    west, south, east, north = header.bounds
    system = "local metres" if header.crs is None else crs_words(header.crs)
    for mount, (shape, _) in zip(local.mounts, shapes.mount, strict=True):
        x, y = (float(v[0]) for v in frame.from_local([mount.x], [mount.y], header.crs))
        if not (west <= x <= east and south <= y <= north):
            raise InputError(
                f"the mount {mount.name!r} at {pair(*shape.at)} is off the survey: it lies at "
                f"{pair(x, y)} in {system}, and the survey covers {pair(west, south)} to "
                f"{pair(east, north)}",
                f"site.toml: {label('mount', shape)}",
                "check its coordinates, [site] crs and [ground] crs, or name a survey that covers it",
            )


def check_on_ground(local: Placed, shapes: Drawn, relief: Relief, site: Site) -> None:
    """Refuse a mount without known ground below it."""
    west, south, east, north = relief.ground.bounds
    for mount, (shape, _) in zip(local.mounts, shapes.mount, strict=True):
        if np.isfinite(relief.ground.height_at([mount.x], [mount.y])[0]):
            continue
        why = (
            f"the ground covers {pair(west, south)} to {pair(east, north)} in local metres, and the mount "
            f"lies at {pair(mount.x, mount.y)} there"
        )
        mend = "move the mount, or give ground around it"
        if site.ground.file is not None:
            why = (
                f"it lies in a gap of the survey wider than hole_limit, {site.ground.hole_limit:g} m, or at "
                "its edge (under a building, on water, or where nothing was measured)"
            )
            mend = "move the mount off it, or raise [ground] hole_limit"
        raise InputError(
            f"no ground is known at the mount {mount.name!r}, {pair(*shape.at)}: {why}",
            f"site.toml: {label('mount', shape)}",
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
        z[patch] = np.where(np.isnan(z[patch]), _carried_on(ground, x, y, mount, patch), z[patch])
        doubts.append(
            f"the ground under the mount {mount.name!r} was not seen: it is carried on from {away:.1f} m away"
        )
    under = Ground(ground.x0, ground.y0, ground.cell_m, z, filled)
    return Relief(under, relief.feet_z, relief.spacing_m), tuple(doubts)


def _carried_on(ground: Ground, x: Floats, y: Floats, mount: Mount, patch: tuple[slice, slice]) -> Floats:
    """Heights of a patch on the plane of the measured ground nearest to a mount.

    On a slope the nearest height alone would be wrong by the slope.
    """
    measured = ground.known & ~ground.filled
    known = measured if measured.any() else ground.known
    away = np.where(known, np.hypot(x - mount.x, y - mount.y), np.inf)
    near = away <= away.min() + _SLOPE_FROM_M
    weight = 1.0 / (away[near] + ground.cell_m)
    design = np.column_stack([x[near] - mount.x, y[near] - mount.y, np.ones(near.sum())])
    fit = np.linalg.lstsq(design * weight[:, None], ground.z[near] * weight, rcond=None)[0]
    return np.asarray(fit[0] * (x[patch] - mount.x) + fit[1] * (y[patch] - mount.y) + fit[2])


def ground_doubts(relief: Relief) -> tuple[str, ...]:
    """What the ground leaves open: its spacing and its gaps."""
    ground, cell = relief.ground, relief.ground.cell_m
    doubts = []
    if relief.spacing_m is not None and relief.spacing_m > 2 * cell * _STRETCH:
        doubts.append(
            f"the survey is too coarse for the cell: its ground points are {plain(relief.spacing_m, 2)} m "
            f"apart and cells {cell:g} m; banks and kerbs between the points are not in it"
        )
    filled = float(ground.filled.mean())
    if filled > _WORTH_SAYING:
        doubts.append(f"{filled:.0%} of the ground was not measured but bridged across gaps of the survey")
    unknown = float((~ground.known).mean())
    if unknown > _WORTH_SAYING:
        doubts.append(f"{unknown:.0%} of the ground worked on is not known: nothing is said about it")
    return tuple(doubts)


def off_ground(on: Ground, shapes: Drawn, local: Placed, part: str = "the verdicts") -> tuple[str, ...]:
    """A doubt about walls, blocks, hedges and treatments that meet no cell of the ground.

    The grid is a rectangle and everything that a verdict looks at lies on it, so what lies off it blocks
    none of that sight.
    """
    ground = shapely.box(*on.bounds)
    off = {
        name: float(plan.distance(ground))
        for name, plan in _plans(shapes, local)
        if not plan.intersection(ground).area > 0
    }
    if not off:
        return ()
    nearest = min(off.values())
    one = len(off) == 1
    return (
        f"{listed(list(off))} {'lies' if one else 'lie'} wholly off the ground worked on, "
        f"{'' if one else 'the nearest '}{nearest:.{0 if nearest >= 10 else 1}f} m from it, and "
        f"{'plays' if one else 'play'} no part in {part}: check {'its' if one else 'their'} "
        "coordinates and [site] crs",
    )


def _plans(shapes: Drawn, local: Placed) -> Iterator[tuple[str, shapely.Geometry]]:
    """Each of them by kind and name, with the ground it stands on."""
    for shape, points in local.solids:
        on = shapely.Polygon(points) if shape.path is None else wall_plan(points, shape.thickness or 0.0)
        yield f"solid {shape.name!r}", on
    for (hedge, _), prism in zip(shapes.foliage, local.prisms, strict=True):
        yield f"foliage {hedge.name!r}", shapely.Polygon(prism.outline)
    for number, treatment in enumerate(local.treatments, 1):
        yield f"treat number {number}", shapely.Polygon(treatment.outline)
