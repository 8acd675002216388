"""Drawn shapes of a site file, checked and moved to local metres."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyproj
import shapely

from terrain3d.errors import InputError
from terrain3d.frame import Frame
from terrain3d.site import FoliageShape, MountShape, ProtectShape, Site, SolidShape, TreatShape
from terrain3d.survey.above import Treatment
from terrain3d.survey.leaves import Prism
from terrain3d.survey.outlines import expand
from terrain3d.terrain import Area, Mount
from terrain3d.units import Floats

#: A drawn shape with the CRS of its coordinates.
Mounts = tuple[tuple[MountShape, pyproj.CRS | None], ...]


@dataclass(frozen=True)
class Drawn:
    """All shapes of a site, files read, each with the CRS its coordinates are in."""

    mount: tuple[tuple[MountShape, pyproj.CRS | None], ...]
    protect: tuple[tuple[ProtectShape, pyproj.CRS | None], ...]
    solid: tuple[tuple[SolidShape, pyproj.CRS | None], ...]
    foliage: tuple[tuple[FoliageShape, pyproj.CRS | None], ...]
    treat: tuple[tuple[TreatShape, pyproj.CRS | None], ...]


@dataclass(frozen=True)
class Placed:
    """The shapes in local metres."""

    mounts: tuple[Mount, ...]
    protect: tuple[Area, ...]
    prisms: tuple[Prism, ...]
    treatments: tuple[Treatment, ...]
    solids: tuple[tuple[SolidShape, Floats], ...] = field(default=())


def drawn(site: Site, folder: Path, site_crs: pyproj.CRS | None) -> Drawn:
    """Every shape of the site file, those of other files too.

    Raises
    ------
    InputError
        Where an outline crosses itself, with the place where it does, or a file cannot be read.
    """
    lists = Drawn(
        expand(site.mount, MountShape, folder),
        expand(site.protect, ProtectShape, folder),
        expand(site.solid, SolidShape, folder),
        expand(site.foliage, FoliageShape, folder),
        expand(site.treat, TreatShape, folder),
    )
    for kind in ("protect", "solid", "foliage", "treat"):
        for number, (shape, _) in enumerate(getattr(lists, kind), 1):
            if shape.outline is not None:
                name = getattr(shape, "name", None)
                check_outline(shape.outline, f"{kind} {name!r}" if name else f"{kind} number {number}")
    named = {
        kind: tuple((shape, crs or site_crs) for shape, crs in getattr(lists, kind))
        for kind in ("mount", "protect", "solid", "foliage", "treat")
    }
    return Drawn(**named)


def check_outline(outline: Iterable[tuple[float, float]], where: str) -> None:
    """Refuse an outline that crosses itself or encloses nothing.

    Examples
    --------
    >>> check_outline([(0, 0), (2, 2), (2, 0), (0, 2)], "protect 'yard'")
    Traceback (most recent call last):
    terrain3d.errors.InputError: the outline crosses or touches itself at (1, 1)
      where: protect 'yard'
      to mend: put its points in order around the area
    """
    polygon = shapely.Polygon(list(outline))
    if not polygon.is_valid:
        reason = shapely.is_valid_reason(polygon)
        place = ", ".join(reason.partition("[")[2].rstrip("]").split())
        at = f" at ({place})" if place else ""
        raise InputError(
            f"the outline crosses or touches itself{at}", where, "put its points in order around the area"
        )
    if not polygon.area > 0:
        raise InputError("the outline encloses no area", where, "give three points that are not in line")


def middle(shapes: Drawn, dst_crs: pyproj.CRS | None) -> tuple[float, float] | None:
    """Centre of the box around mounts and protect outlines (else around all shapes); None without any."""
    points = [_turned(np.array([m.at]), crs, dst_crs) for m, crs in shapes.mount]
    points += [_turned(np.array(p.outline), crs, dst_crs) for p, crs in shapes.protect]
    if not points:
        points += [_turned(np.array(s.path or s.outline), crs, dst_crs) for s, crs in shapes.solid]
        points += [_turned(np.array(f.outline), crs, dst_crs) for f, crs in shapes.foliage]
    if not points:
        return None
    low, high = np.vstack(points).min(axis=0), np.vstack(points).max(axis=0)
    return float((low[0] + high[0]) / 2), float((low[1] + high[1]) / 2)


def placed(shapes: Drawn, frame: Frame) -> Placed:
    """All shapes in the local frame."""

    def local(points: object, crs: pyproj.CRS | None) -> Floats:
        corners = np.array(points, float)
        x, y = frame.to_local(corners[:, 0], corners[:, 1], crs)
        return np.column_stack([x, y])

    def ring(points: object, crs: pyproj.CRS | None) -> Floats:
        corners = local(points, crs)
        return corners[:-1] if np.array_equal(corners[0], corners[-1]) else corners

    mounts = []
    for shape, crs in shapes.mount:
        (x, y) = local([shape.at], crs)[0]
        mounts.append(Mount(shape.name, float(x), float(y), shape.heights))
    return Placed(
        tuple(mounts),
        tuple(Area(p.name, ring(p.outline, crs), p.weight) for p, crs in shapes.protect),
        tuple(Prism(ring(f.outline, crs), f.base, f.height, f.density) for f, crs in shapes.foliage),
        tuple(Treatment(ring(t.outline, crs), t.take_as) for t, crs in shapes.treat),
        tuple((s, local(s.path, crs) if s.path else ring(s.outline, crs)) for s, crs in shapes.solid),
    )


def _turned(points: Floats, src: pyproj.CRS | None, dst: pyproj.CRS | None) -> Floats:
    if src is None or dst is None or src == dst:
        return points
    turn = pyproj.Transformer.from_crs(src.to_2d(), dst.to_2d(), always_xy=True)
    x, y = turn.transform(points[:, 0], points[:, 1])
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise InputError(
            f"coordinates near ({points[0, 0]:.6g}, {points[0, 1]:.6g}) cannot be in {src.name}",
            "site.toml: site.crs",
            "name the CRS that the coordinates of the site file are in",
        )
    return np.column_stack([x, y])
