"""Drawn shapes of a site file, checked and moved to local metres."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely

from terrain3d.errors import InputError
from terrain3d.frame import Frame, transformer
from terrain3d.site import (
    ApproachShape,
    BeyondShape,
    BoundaryShape,
    FoliageShape,
    MarkShape,
    MountShape,
    NuisanceShape,
    ProtectShape,
    SectionShape,
    Site,
    SolidShape,
    TreatShape,
    WalkShape,
)
from terrain3d.survey.buildings import WallMount
from terrain3d.survey.classes import Treatment
from terrain3d.survey.leaves import Prism
from terrain3d.survey.outlines import expand
from terrain3d.terrain import (
    LEAF_DB_PER_M,
    Approach,
    Area,
    Beyond,
    Mark,
    Mount,
    Nuisance,
    SectionLine,
    Walk,
)
from terrain3d.units import Floats

_MODELS = {
    "mount": MountShape,
    "mark": MarkShape,
    "protect": ProtectShape,
    "solid": SolidShape,
    "foliage": FoliageShape,
    "treat": TreatShape,
    "walk": WalkShape,
    "approach": ApproachShape,
    "section": SectionShape,
    "nuisance": NuisanceShape,
    "beyond": BeyondShape,
}
#: The kinds of shape in the order they are checked; there is one boundary at most.
_KINDS = (*_MODELS, "boundary")
#: Kinds that stand on their path, which then needs a length; a walk may stay where it is.
_STANDING = ("solid", "foliage", "nuisance")
#: Nobody walks as far about a site, metres; what is looked at along a path grows with its length.
MOST_WALKED_M = 20_000.0
#: Kinds that are gone along.
_WALKED = ("walk", "approach", "section")
#: An outline is a line where its points span less than this share of its length squared.
_FLAT = 1e-9

Shape = (
    MountShape
    | MarkShape
    | ProtectShape
    | SolidShape
    | FoliageShape
    | TreatShape
    | WalkShape
    | ApproachShape
    | SectionShape
    | NuisanceShape
    | BeyondShape
    | BoundaryShape
)


@dataclass(frozen=True)
class Drawn:
    """All shapes of a site, files read, each with the CRS its coordinates are in."""

    mount: tuple[tuple[MountShape, pyproj.CRS | None], ...] = ()
    protect: tuple[tuple[ProtectShape, pyproj.CRS | None], ...] = ()
    solid: tuple[tuple[SolidShape, pyproj.CRS | None], ...] = ()
    foliage: tuple[tuple[FoliageShape, pyproj.CRS | None], ...] = ()
    treat: tuple[tuple[TreatShape, pyproj.CRS | None], ...] = ()
    walk: tuple[tuple[WalkShape, pyproj.CRS | None], ...] = ()
    approach: tuple[tuple[ApproachShape, pyproj.CRS | None], ...] = ()
    nuisance: tuple[tuple[NuisanceShape, pyproj.CRS | None], ...] = ()
    beyond: tuple[tuple[BeyondShape, pyproj.CRS | None], ...] = ()
    boundary: tuple[tuple[BoundaryShape, pyproj.CRS | None], ...] = ()
    mark: tuple[tuple[MarkShape, pyproj.CRS | None], ...] = ()
    section: tuple[tuple[SectionShape, pyproj.CRS | None], ...] = ()


@dataclass(frozen=True, eq=False)
class Placed:
    """The shapes in local metres."""

    mounts: tuple[Mount, ...]
    protect: tuple[Area, ...]
    prisms: tuple[Prism, ...]
    treatments: tuple[Treatment, ...]
    solids: tuple[tuple[SolidShape, Floats], ...] = ()
    walks: tuple[Walk, ...] = ()
    approaches: tuple[Approach, ...] = ()
    nuisances: tuple[Nuisance, ...] = ()
    beyond: tuple[Beyond, ...] = ()
    boundary: Floats | None = None
    wall_mounts: tuple[WallMount, ...] = ()
    marks: tuple[Mark, ...] = ()
    sections: tuple[SectionLine, ...] = ()


def drawn(site: Site, folder: Path, site_crs: pyproj.CRS | None) -> Drawn:
    """Every shape of the site file, those of other files too.

    Raises
    ------
    InputError
        Where an outline crosses itself, with the place where it does, a path that something stands on has
        no length, or a file cannot be read.
    """
    lists: dict[str, Any] = {
        kind: tuple(
            (shape, crs or site_crs) for shape, crs in expand(getattr(site, kind), model, folder, site_crs)
        )
        for kind, model in _MODELS.items()
    }
    lists["boundary"] = () if site.boundary is None else ((site.boundary, site_crs),)
    for kind in _KINDS:
        for number, (shape, _) in enumerate(lists[kind], 1):
            if getattr(shape, "outline", None) is not None:
                check_outline(shape.outline, f"site.toml: {label(kind, shape, number)}")
            if kind in _STANDING and shape.path is not None:
                _check_path(shape.path, f"site.toml: {label(kind, shape)}: path")
    return Drawn(**lists)


def label(kind: str, shape: Shape, number: int = 0) -> str:
    """What a shape is called in messages: its kind and name, or its number where it has none."""
    if isinstance(shape, BoundaryShape):
        return kind
    if isinstance(shape, TreatShape):
        return f"{kind} number {number}"
    return f"{kind} {shape.name!r}" + (": at" if kind in ("mount", "mark") else "")


def corners(shapes: Drawn) -> Iterator[tuple[str, Floats, pyproj.CRS | None]]:
    """Each shape's label, (n, 2) points as they are drawn, and the CRS they are in."""
    for kind in _KINDS:
        for number, (shape, crs) in enumerate(getattr(shapes, kind), 1):
            given = (getattr(shape, key, None) for key in ("path", "outline"))
            points = next((points for points in given if points is not None), None) or [shape.at]
            yield label(kind, shape, number), np.array(points, float), crs


def check_outline(outline: Iterable[tuple[float, float]], where: str) -> None:
    """Refuse an outline that crosses itself or encloses nothing.

    Examples
    --------
    >>> check_outline([(0, 0), (2, 2), (2, 0), (0, 2)], "site.toml: protect 'yard'")
    Traceback (most recent call last):
    terrain3d.errors.InputError: the outline crosses or touches itself at (1, 1)
      where: site.toml: protect 'yard'
      to mend: put its points in order around the area
    """
    points = np.array(list(outline), float)
    spanned = shapely.MultiPoint(points - points.mean(axis=0)).convex_hull
    if not spanned.area > _FLAT * spanned.length**2:
        raise InputError(
            "the outline's points lie on one line and enclose no area",
            where,
            "give at least three points that do not lie on one line",
        )
    polygon = shapely.Polygon(points)
    if not polygon.is_valid:
        reason = shapely.is_valid_reason(polygon)
        place = ", ".join(reason.partition("[")[2].rstrip("]").split())
        at = f" at ({place})" if place else ""
        raise InputError(
            f"the outline crosses or touches itself{at}", where, "put its points in order around the area"
        )


def _check_path(path: Iterable[tuple[float, float]], where: str) -> None:
    points = np.array(list(path), float)
    if not (points != points[0]).any():
        raise _no_length(where)


def _no_length(where: str) -> InputError:
    return InputError("the path has no length", where, "give two points that differ")


def _check_length(at: Floats, where: str) -> None:
    length_m = float(np.hypot(*np.diff(at, axis=0).T).sum())
    if length_m > MOST_WALKED_M:
        raise InputError(
            f"the path is {length_m / 1000:,.0f} km long, and at most {MOST_WALKED_M / 1000:.0f} km are gone "
            "along",
            where,
            "draw the part that lies about the site",
        )


def middle(shapes: Drawn, dst_crs: pyproj.CRS | None) -> tuple[float, float] | None:
    """Centre of the box around mounts and protect outlines (else around all shapes); None without any."""
    first = Drawn(shapes.mount, shapes.protect)
    if not (first.mount or first.protect):
        first = shapes
    points = [turned(drawn_at, crs, dst_crs) for _, drawn_at, crs in corners(first)]
    if not points:
        return None
    low, high = np.vstack(points).min(axis=0), np.vstack(points).max(axis=0)
    return float((low[0] + high[0]) / 2), float((low[1] + high[1]) / 2)


def _prism(shape: FoliageShape, at: Floats) -> Prism:
    db_per_m = LEAF_DB_PER_M if shape.microwave_db_per_m is None else shape.microwave_db_per_m
    return Prism(_hedge(shape, at), shape.base, shape.height, shape.leaf_density, shape.name, db_per_m)


def placed(shapes: Drawn, frame: Frame) -> Placed:
    """All shapes in the local frame.

    Raises
    ------
    InputError
        Where a CRS cannot hold a shape's coordinates, with the shape's kind and name.
    """
    points = [_local(name, points, crs, frame) for name, points, crs in corners(shapes)]
    local = {kind: [(shape, points.pop(0)) for shape, _ in getattr(shapes, kind)] for kind in _KINDS}
    for kind in _WALKED:
        for shape, at in local[kind]:
            _check_length(at, f"site.toml: {label(kind, shape)}: path")
    return Placed(
        tuple(
            Mount(m.name, float(at[0, 0]), float(at[0, 1]), m.heights, m.not_for, m.wall)
            for m, at in local["mount"]
        ),
        tuple(Area(p.name, _ring(at), p.weight) for p, at in local["protect"]),
        tuple(_prism(f, at) for f, at in local["foliage"]),
        tuple(Treatment(_ring(at), t.take_as) for t, at in local["treat"]),
        tuple((s, at if s.path else _ring(at)) for s, at in local["solid"]),
        tuple(Walk(w.name, at, w.speed, w.figure) for w, at in local["walk"]),
        tuple(Approach(a.name, at) for a, at in local["approach"]),
        tuple(Nuisance(n.name, n.kind, _around(n, at), n.base, n.height) for n, at in local["nuisance"]),
        tuple(Beyond(b.name, b.kind, _ring(at), b.keep_out) for b, at in local["beyond"]),
        next((_ring(at) for _, at in local["boundary"]), None),
        tuple(WallMount(float(at[0, 0]), float(at[0, 1]), m.wall, m.name) for m, at in local["mount"]),
        tuple(Mark(m.name, float(at[0, 0]), float(at[0, 1])) for m, at in local["mark"]),
        tuple(SectionLine(s.name, at) for s, at in local["section"]),
    )


def _hedge(shape: FoliageShape, at: Floats) -> Floats:
    """The ground under foliage: its outline, or a band along its path."""
    if shape.thickness is None:
        return _ring(at)
    return _band(at, shape.thickness / 2, label("foliage", shape))


def _around(shape: NuisanceShape, at: Floats) -> Floats:
    """The ground a nuisance thing stands on: a square about a point, a band along a path."""
    if shape.width is None:
        return _ring(at)
    half = shape.width / 2
    if len(at) == 1:
        return np.asarray(at[0] + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]))
    return _band(at, half, label("nuisance", shape))


def _band(path: Floats, half_m: float, name: str) -> Floats:
    """The outline of a band about a path."""
    band = shapely.LineString(path).buffer(half_m, cap_style="flat", join_style="mitre")
    if not isinstance(band, shapely.Polygon) or band.is_empty:
        # Its points differ as they are drawn, yet not in metres.
        raise _no_length(f"site.toml: {name}: path")
    if band.interiors:
        raise InputError(
            "the path closes upon itself, and a band along it would have a hole",
            f"site.toml: {name}: path",
            "leave the last stretch out, or draw it as two",
        )
    return np.asarray(shapely.get_coordinates(band.exterior)[:-1])


def _local(name: str, points: Floats, crs: pyproj.CRS | None, frame: Frame) -> Floats:
    try:
        x, y = frame.to_local(points[:, 0], points[:, 1], crs)
    except InputError as error:
        raise InputError(error.what, f"site.toml: {name}", error.mend) from None
    return np.column_stack([x, y])


def _ring(corners_m: Floats) -> Floats:
    """Without the closing point that some programs repeat."""
    return corners_m[:-1] if np.array_equal(corners_m[0], corners_m[-1]) else corners_m


def turned(points: Floats, src: pyproj.CRS | None, dst: pyproj.CRS | None) -> Floats:
    """Points of one CRS in another; infinite where that cannot hold them, as they are without a CRS."""
    if src is None or dst is None or src == dst:
        return points
    there = transformer(src.to_wkt(), dst.to_wkt())
    return np.column_stack(there.transform(points[:, 0], points[:, 1]))
