"""Shapes that cannot belong to the site, for their coordinates lie on another part of the earth."""

from functools import lru_cache

import numpy as np
import pyproj

from terrain3d.errors import InputError
from terrain3d.readers.crs import crs_words
from terrain3d.readers.source import Box, Header
from terrain3d.site import Site
from terrain3d.survey.placing import Drawn, corners, turned
from terrain3d.units import Floats
from terrain3d.wording import pair

#: No site is so wide: a shape farther away is in other coordinates than it says (common practice, no source).
FAR_M = 100_000.0

_EARTH = pyproj.Geod(ellps="WGS84")


def check_whereabouts(shapes: Drawn, site: Site, header: Header | None, site_crs: pyproj.CRS | None) -> None:
    """Refuse a shape whose coordinates its CRS cannot hold, or that lies 100 km or more from the site.

    The site is where its ground is: the survey, the spot levels or the plane; a plane that floats with
    the shapes is where the first of them is.

    Raises
    ------
    InputError
        With the shape's kind and name, its coordinates and the CRS they were taken in.

    Examples
    --------
    >>> from pathlib import Path
    >>> from terrain3d.survey.placing import drawn
    >>> site = Site.model_validate({
    ...     "site": {"name": "slope"}, "ground": {"plane": {"fall": 10, "towards": 90, "extent": 40}},
    ...     "solid": [{"name": "wall", "path": ((5e5, 6e6), (5e5, 6e6 + 9)), "height": 1, "thickness": 0.2}]})
    >>> check_whereabouts(drawn(site, Path(), None), site, None, None)
    Traceback (most recent call last):
    terrain3d.errors.InputError: (500000, 6000009) in local metres lies 6021 km from the drawn plane
      where: site.toml: solid 'wall'
      to mend: check its coordinates, and that [site] crs names the CRS they are in
    """
    of_crs: dict[int, list[tuple[str, Floats, pyproj.CRS | None]]] = {}
    for one in corners(shapes):
        of_crs.setdefault(id(one[2]), []).append(one)
    # All corners in a CRS at once, and each shape for itself only where one of them is at fault: tens of
    # thousands of shapes would turn theirs one after the other for a minute.
    for alike in of_crs.values():
        crs, points = alike[0][2], np.vstack([points for _, points, _ in alike])
        if crs is not None and _geodetic(crs) is not None and not np.isfinite(_lonlat(points, crs)).all():
            for name, own, _ in alike:
                _refuse_misplaced(name, own, crs, site_crs)
    home = _home(shapes, site, header, site_crs)
    if home is None:
        return
    what, box, home_crs = home
    for alike in of_crs.values():
        crs, points = alike[0][2], np.vstack([points for _, points, _ in alike])
        if (crs is None) != (home_crs is None):
            continue  # placing them says what is wrong
        if _away_m(points, crs, box, home_crs).max() <= FAR_M:
            continue
        for name, own, _ in alike:
            away_m = _away_m(own, crs, box, home_crs)
            k = int(np.argmax(away_m))
            if away_m[k] > FAR_M:
                key = "[site] crs" if crs == site_crs else "its file"
                system = "local metres" if crs is None else crs_words(crs)
                mend = f"check its coordinates, and that {key} names the CRS they are in" + (
                    "" if header is None else " and [ground] crs that of the survey"
                )
                if _lies_there(own[:, ::-1], crs, box, home_crs):
                    first = "longitude" if crs is not None and crs.is_geographic else "east"
                    mend = f"put {first} first, as the site does: {pair(*own[k, ::-1])}"
                raise InputError(
                    f"{pair(*own[k])} in {system} lies {away_m[k] / 1000:.0f} km from {what}",
                    f"site.toml: {name}",
                    mend,
                )


def _refuse_misplaced(name: str, points: Floats, crs: pyproj.CRS, site_crs: pyproj.CRS | None) -> None:
    bad = ~np.isfinite(_lonlat(points, crs)).all(axis=1)
    if bad.any():
        where = f"site.toml: site.crs, for {name}" if crs == site_crs else f"site.toml: {name}"
        raise InputError(
            f"the coordinates {pair(*points[bad][0])} cannot be in {crs_words(crs)}",
            where,
            "name the CRS that the coordinates are in; longitude comes before latitude",
        )


def _home(
    shapes: Drawn, site: Site, header: Header | None, site_crs: pyproj.CRS | None
) -> tuple[str, Box, pyproj.CRS | None] | None:
    """Where the site is: in words, as a box, and the CRS of that box."""
    if header is not None:
        return "the survey", header.bounds, header.crs
    if site.ground.points is not None:
        levels = np.array(site.ground.points, float)[:, :2]
        if site_crs is not None and _geodetic(site_crs) is not None:
            _refuse_misplaced("ground.points", levels, site_crs, site_crs)
        return "the spot levels", _box(levels), site_crs
    if site_crs is None and site.ground.plane is not None:
        half = site.ground.plane.extent / 2
        return "the drawn plane", (-half, -half, half, half), None
    first = next(corners(shapes), None)
    return None if first is None else (f"the {first[0].removesuffix(': at')}", _box(first[1]), first[2])


def _box(points: Floats) -> Box:
    (west, south), (east, north) = points.min(axis=0), points.max(axis=0)
    return float(west), float(south), float(east), float(north)


def _away_m(points: Floats, crs: pyproj.CRS | None, box: Box, box_crs: pyproj.CRS | None) -> Floats:
    """Metres from each point to the nearest place of a box; 0 where nobody can tell."""
    low, high = np.array(box[:2]), np.array(box[2:])
    there = turned(points, crs, box_crs)
    there = np.where(np.isfinite(there.sum(axis=1))[:, None], there, (low + high) / 2)
    nearest = np.clip(there, low, high)
    if crs is None or box_crs is None:
        return np.asarray(np.hypot(*(points - nearest).T))
    one, other = _lonlat(points, crs), _lonlat(nearest, box_crs)
    known = np.isfinite(other.sum(axis=1) + one.sum(axis=1))
    away = np.zeros(len(points))
    away[known] = _EARTH.inv(*one[known].T, *other[known].T)[2]
    return away


def _lies_there(points: Floats, crs: pyproj.CRS | None, box: Box, box_crs: pyproj.CRS | None) -> bool:
    """Whether all of these points can be in their CRS and lie on the site."""
    if crs is not None and not np.isfinite(_lonlat(points, crs)).all():
        return False
    return bool((_away_m(points, crs, box, box_crs) <= FAR_M).all())


def _lonlat(points: Floats, crs: pyproj.CRS) -> Floats:
    """(n, 2) degrees on the CRS's own datum; NaN where it cannot hold the point."""
    geodetic = _geodetic(crs)
    if geodetic is None:
        return np.full(points.shape, np.nan)
    degrees = turned(points, crs, geodetic) * np.degrees(geodetic.axis_info[0].unit_conversion_factor)
    on_globe = np.all(np.abs(degrees) <= (360, 90), axis=1, keepdims=True)
    return np.where(on_globe, degrees, np.nan)


@lru_cache(maxsize=32)
def _geodetic(crs: pyproj.CRS) -> pyproj.CRS | None:
    """Longitude and latitude on the CRS's own datum; None for one that is not tied to the earth."""
    return None if crs.geodetic_crs is None else crs.geodetic_crs.to_2d()
