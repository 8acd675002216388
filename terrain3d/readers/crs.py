"""Which CRS and which unit of height a survey is in, who said so, and whether it can be true."""

import math
import re
from dataclasses import dataclass

import numpy as np
import pyproj
from pyproj.crs import is_wkt
from pyproj.exceptions import CRSError, ProjError

from terrain3d.errors import InputError
from terrain3d.readers.source import Box
from terrain3d.site import GroundSource
from terrain3d.units import UNIT_M, unit_name
from terrain3d.wording import fit, pair

#: Coordinates this far outside the area a CRS is made for deserve a doubt, degrees. Surveys do reach
#: a little past a zone's edge (common practice, no source).
OUTSIDE_DEG = 0.5
#: A survey without a CRS that is no wider than this, at coordinates a globe has, is in degrees.
DEGREES_EXTENT = 0.05
#: Going to latitude and longitude and back must return this close, in metres.
ROUND_TRIP_M = 1.0

#: What programs write where a CRS has no name.
_NO_NAMES = ("", "unnamed", "unknown", "undefined", "user-defined")
_UNIT_WORDS = {"m": "metres", "ft": "international feet", "us-ft": "US survey feet"}
#: What has PROJ open a file while it reads a CRS or works with it: grids, models, files of definitions.
#: WKT can hold such words too, in a method's name or a remark. `@null` is no file, and common.
_NAMES_A_FILE = re.compile(
    r"\b(init|[a-z_]*grids?|file|model|catalog)\s*=(?!\s*@null([\s\"]|$))", re.IGNORECASE
)
_MEND_CRS = '[ground] crs names the CRS the coordinates are in, such as crs = "EPSG:32631"'
_MEND_UNIT = '[ground] vertical_unit says otherwise: "m", "ft" or "us-ft"'


@dataclass(frozen=True)
class Said:
    """What a survey says of its own coordinates; `crs` may still be compound or three-dimensional."""

    crs: pyproj.CRS | None = None
    crs_from: str = ""
    vertical_unit_m: float | None = None
    vertical_unit_from: str = ""
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Settled:
    """The horizontal CRS and the unit of height to work with, and who said so ('': nobody)."""

    crs: pyproj.CRS | None
    crs_from: str
    vertical_unit_m: float
    vertical_unit_from: str
    doubts: tuple[str, ...] = ()


def read_crs(text: str, where: str) -> pyproj.CRS:
    """A CRS from a site file's key.

    Raises
    ------
    InputError
        When the text names no CRS.

    Examples
    --------
    >>> read_crs("EPSG:32631", "site.toml: ground.crs").name
    'WGS 84 / UTM zone 31N'
    """
    try:
        return from_name(text)
    except _FileNamedError:
        raise InputError(
            f"{text!r} names a file, which a CRS may not", where, 'give a code such as "EPSG:32631"'
        ) from None
    except CRSError:
        raise InputError(
            f"{text!r} names no CRS", where, 'give a code such as "EPSG:32631", or the WKT of a CRS'
        ) from None


class _FileNamedError(CRSError):
    """A CRS that PROJ would open a file for."""


def from_name(text: str) -> pyproj.CRS:
    """A CRS by its code, name, PROJ string or WKT.

    Raises
    ------
    CRSError
        Where the text names none, or a file that the CRS would be made with.
    """
    if _NAMES_A_FILE.search(text):
        raise _FileNamedError(f"a CRS that names a file: {text[:60]!r}")
    if "{" in text:
        raise CRSError(f"a CRS in JSON: {text[:60]!r}")
    crs = pyproj.CRS.from_user_input(text)
    # A way to another datum may be bound to a CRS, and is taken off; one that the CRS is made by stays.
    if "PARAMETERFILE" in horizontal(crs).to_wkt():
        raise _FileNamedError(f"a CRS that is made with a file: {text[:60]!r}")
    return crs


def from_wkt(text: str) -> pyproj.CRS:
    """A CRS that a file spells out.

    Raises
    ------
    CRSError
        Where the text is no WKT, or names a file that the CRS would be made with.

    Examples
    --------
    >>> from_wkt(pyproj.CRS("EPSG:32631").to_wkt()).name
    'WGS 84 / UTM zone 31N'
    """
    if not is_wkt(text):
        raise CRSError(f"not WKT: {text[:60]!r}")
    return from_name(text)


def horizontal(crs: pyproj.CRS) -> pyproj.CRS:
    """The part of a CRS that x and y are in, without its height.

    >>> horizontal(pyproj.CRS("EPSG:2240+6360")).name
    'NAD83 / Georgia West (ftUS)'
    """
    if crs.is_bound and crs.source_crs is not None:
        return horizontal(crs.source_crs)
    if crs.is_compound:
        return horizontal(crs.sub_crs_list[0])
    return crs.to_2d() if len(crs.axis_info) == 3 and not crs.is_geocentric else crs


def vertical_unit(crs: pyproj.CRS) -> float | None:
    """Metres in one unit of the CRS's heights; None when it says nothing of heights.

    >>> vertical_unit(pyproj.CRS("EPSG:2240+5703")), vertical_unit(pyproj.CRS("EPSG:2240"))
    (1.0, None)
    """
    if crs.is_bound and crs.source_crs is not None:
        return vertical_unit(crs.source_crs)
    if crs.is_compound:
        return next((unit for part in crs.sub_crs_list[1:] if (unit := vertical_unit(part))), None)
    if crs.is_vertical:
        return float(crs.axis_info[0].unit_conversion_factor) if crs.axis_info else None
    if len(crs.axis_info) == 3 and not crs.is_geocentric:
        return float(crs.axis_info[2].unit_conversion_factor)
    return None


def metres_per_unit(crs: pyproj.CRS | None, y: float = 0.0) -> tuple[float, float]:
    """Metres in one unit of x and of y, at latitude `y` where the CRS is geographic; (1, 1) without one.

    >>> [round(v) for v in metres_per_unit(pyproj.CRS("EPSG:4326"), 60.0)]
    [55660, 111319]
    """
    if crs is None:
        return 1.0, 1.0
    factor = float(crs.axis_info[0].unit_conversion_factor) if crs.axis_info else 1.0
    if not crs.is_geographic:
        return factor, factor
    # factor is radians; a sphere of the equator's radius is close enough for spacings.
    radius = crs.ellipsoid.semi_major_metre if crs.ellipsoid else 6378137.0
    return factor * radius * math.cos(factor * y), factor * radius


def plan_scale(unit_m: float, crs: pyproj.CRS | None) -> float:
    """What x and y in a unit of the file's own are multiplied with, to be in that of the CRS; metres without.

    Units that differ as the two feet do are one and the same, said carelessly: at two million feet from the
    origin they would be a metre apart. Degrees are no unit that lengths turn into.

    >>> plan_scale(0.001, None), round(plan_scale(1.0, pyproj.CRS("EPSG:2240")), 6)
    (0.001, 3.280833)
    >>> plan_scale(0.3048, pyproj.CRS("EPSG:2240"))
    1.0
    """
    if crs is not None and crs.is_geographic:
        return 1.0
    ratio = unit_m / metres_per_unit(crs)[0]
    return 1.0 if math.isclose(ratio, 1.0, rel_tol=1e-5) else ratio


def crs_to_take(said: pyproj.CRS | None, ground: GroundSource) -> pyproj.CRS | None:
    """The horizontal CRS that `settle` will take: the site file's before the survey's."""
    crs = said if ground.crs is None else read_crs(ground.crs, "[ground] crs")
    return None if crs is None else horizontal(crs)


def plan_doubts(unit_m: float, crs: pyproj.CRS | None, said_by_whom: str) -> tuple[str, ...]:
    """What a person should know where `plan_scale` changes x and y."""
    if plan_scale(unit_m, crs) == 1.0:
        return ()
    target = "metres" if crs is None else f"those of {crs_words(crs)}"
    return (
        f"its x and y are in {unit_words(unit_m)}, said by {said_by_whom}, and are turned into {target}: "
        "draw the site's shapes in these",
    )


def unit_words(unit_m: float) -> str:
    """A unit of length in plain words.

    >>> unit_words(0.3048), unit_words(0.9144)
    ('international feet', 'units of 0.9144 m')
    """
    name = unit_name(unit_m)
    return _UNIT_WORDS[name] if name else f"units of {unit_m:.9g} m"


def crs_words(crs: pyproj.CRS) -> str:
    """A CRS by its name, or by what else is known of it.

    >>> crs_words(pyproj.CRS("EPSG:32631"))
    'WGS 84 / UTM zone 31N'
    >>> crs_words(pyproj.CRS("+proj=lcc +lat_1=44 +lat_2=45 +units=us-ft"))
    'a CRS without a name, projected (Lambert Conic Conformal (2SP)), in US survey feet'
    """
    return fit(str(crs.name)) if has_name(crs) else f"a CRS without a name, {crs_kind(crs)}"


def has_name(crs: pyproj.CRS) -> bool:
    """Whether a CRS has a name of its own."""
    return crs.name.strip().lower() not in _NO_NAMES


def crs_kind(crs: pyproj.CRS) -> str:
    """How a CRS lays out the earth, and its unit.

    >>> crs_kind(pyproj.CRS("EPSG:32631")), crs_kind(pyproj.CRS("EPSG:4326"))
    ('projected (Transverse Mercator), in metres', 'longitude and latitude')
    """
    if crs.is_geographic:
        return "longitude and latitude"
    operation = crs.coordinate_operation
    kind = f"projected ({operation.method_name})" if crs.is_projected and operation else "not projected"
    return f"{kind}, in {unit_words(metres_per_unit(crs)[0])}"


def said_by(crs: pyproj.CRS, source: str) -> Said:
    """What a CRS found in a file says of plan and of height; `source` tells where it stood."""
    if crs.is_vertical and not crs.is_compound:
        return Said(None, "", vertical_unit(crs), source)
    return Said(crs, source, vertical_unit(crs), source if vertical_unit(crs) else "")


def settle(said: Said, ground: GroundSource, path: str, bounds: Box, n_points: int) -> Settled:
    """Decide the CRS and the unit of height: the site file first, then the survey, then a doubt.

    Parameters
    ----------
    said : Said
        What the survey says.
    ground : GroundSource
        The site file's [ground] table.
    path : str
        The survey, for messages.
    bounds : (west, south, east, north)
    n_points : int

    Raises
    ------
    InputError
        Where the CRS cannot hold the coordinates, or coordinates in degrees come without a CRS.
    """
    doubts = list(said.doubts)
    crs, crs_from, vertical_of_key = said.crs, said.crs_from, None
    if ground.crs is not None:
        crs, crs_from = read_crs(ground.crs, "[ground] crs"), "[ground] crs"
        vertical_of_key = vertical_unit(crs)
        if said.crs is not None and not _same(crs, said.crs):
            doubts.append(
                f"[ground] crs says {crs_words(horizontal(crs))}, the survey itself says "
                f"{crs_words(horizontal(said.crs))}: the site file's is taken"
            )
    if crs is not None:
        _refuse_unfit(crs, crs_from, path)
        crs, local_doubts = _local_as_none(horizontal(crs), path)
        doubts += local_doubts
    if crs is None:
        _refuse_degrees(bounds, n_points, path)
        if not crs_from:
            doubts.append(f"the survey names no CRS, so its x and y are taken as local metres; {_MEND_CRS}")
    else:
        doubts += _place_doubts(crs, crs_from, bounds, path)
    unit_m, unit_from, unit_doubts = _settle_vertical(said, ground, vertical_of_key, crs)
    return Settled(crs, crs_from, unit_m, unit_from, tuple(doubts + unit_doubts))


def _settle_vertical(
    said: Said, ground: GroundSource, of_key: float | None, crs: pyproj.CRS | None
) -> tuple[float, str, list[str]]:
    key_m, key = of_key, "[ground] crs"
    if ground.vertical_unit is not None:
        key_m, key = UNIT_M[ground.vertical_unit], "[ground] vertical_unit"
    if key_m is not None:
        if said.vertical_unit_m is None or math.isclose(key_m, said.vertical_unit_m, rel_tol=1e-7):
            return key_m, key, []
        clash = (
            f"{key} says heights are in {unit_words(key_m)}, the survey itself says "
            f"{unit_words(said.vertical_unit_m)}: the site file's is taken"
        )
        return key_m, key, [clash]
    if said.vertical_unit_m is not None:
        return said.vertical_unit_m, said.vertical_unit_from, []
    taken_m = 1.0 if crs is None or crs.is_geographic else metres_per_unit(crs)[0]
    why = "" if crs is None or crs.is_geographic else ", the horizontal unit,"
    doubt = f"the unit of height is not stated: {unit_words(taken_m)}{why} are taken; {_MEND_UNIT}"
    return taken_m, "", [doubt]


def _same(one: pyproj.CRS, other: pyproj.CRS) -> bool:
    return horizontal(one).equals(horizontal(other), ignore_axis_order=True)


def _refuse_unfit(crs: pyproj.CRS, source: str, path: str) -> None:
    flat = horizontal(crs)
    if flat.is_geocentric:
        raise InputError(
            f"its CRS, {flat.name}, is geocentric (metres from the earth's centre), said by {source}",
            path,
            f"a survey needs map coordinates: {_MEND_CRS}",
        )
    if flat.is_vertical:
        raise InputError(
            f"{flat.name} is a CRS of heights alone, said by {source}",
            path,
            f"name one for x and y: {_MEND_CRS}",
        )
    parts = crs.sub_crs_list if crs.is_compound else []
    if any(part.is_vertical and part.axis_info and part.axis_info[0].direction == "down" for part in parts):
        raise InputError(
            f"its CRS, {crs.name}, counts depth downwards", path, "convert the survey to heights, upwards"
        )


def _local_as_none(crs: pyproj.CRS, path: str) -> tuple[pyproj.CRS | None, list[str]]:
    """An engineering CRS is not tied to the earth: good for local metres, and for nothing else."""
    if not crs.is_engineering:
        return crs, []
    unit_m = metres_per_unit(crs)[0]
    if not math.isclose(unit_m, 1.0, rel_tol=1e-7):
        raise InputError(
            f"its CRS, {crs_words(crs)!r}, is a local one in {unit_words(unit_m)}",
            path,
            f"local coordinates must be metres; or {_MEND_CRS}",
        )
    name = f", {crs.name!r}," if has_name(crs) else ""
    return None, [f"the survey's CRS{name} is a local one: x and y are taken as local metres"]


def _looks_like_degrees(bounds: Box, n_points: int) -> bool:
    west, south, east, north = bounds
    inside = max(abs(west), abs(east)) <= 180 and max(abs(south), abs(north)) <= 90
    width = max(east - west, north - south)
    return n_points > 1 and inside and 0 < width <= DEGREES_EXTENT


def _refuse_degrees(bounds: Box, n_points: int, path: str) -> None:
    if _looks_like_degrees(bounds, n_points):
        west, south, east, north = bounds
        raise InputError(
            f"no CRS is named, and x from {west:.6f} to {east:.6f} with y from {south:.6f} to {north:.6f} "
            "look like degrees",
            path,
            'set [ground] crs = "EPSG:4326" if they are longitude and latitude (WGS 84)',
        )


def _place_doubts(crs: pyproj.CRS, source: str, bounds: Box, path: str) -> list[str]:
    """Doubts on whether coordinates can be in a CRS; an error where they cannot."""
    west, south, east, north = bounds
    x, y = (west + east) / 2, (south + north) / 2
    lon, lat, back_m = _lonlat(crs, x, y)
    off_the_globe = not math.isfinite(lon + lat) or abs(lat) > 90 or abs(lon) > 360
    if crs.is_geographic:
        to_deg = math.degrees(crs.axis_info[0].unit_conversion_factor)
        off_the_globe = max(abs(south), abs(north)) * to_deg > 90 or max(abs(west), abs(east)) * to_deg > 360
    if off_the_globe or back_m > ROUND_TRIP_M:
        raise InputError(
            f"its coordinates, near {pair(x, y)}, cannot be in {crs_words(crs)}, said by {source}",
            path,
            f"the survey names the wrong CRS; {_MEND_CRS}",
        )
    area = _registered(crs).area_of_use
    away = _degrees_outside(lon, lat, (area.west, area.south, area.east, area.north)) if area else 0.0
    if area and away > OUTSIDE_DEG:
        return [
            f"the survey would lie at longitude {lon:.3f}, latitude {lat:.3f}, which is {away:.1f} degrees "
            f"outside the area {crs_words(crs)} is made for ({area.name}): its CRS, said by {source}, is "
            f"probably wrong; {_MEND_CRS}"
        ]
    return []


def lies_within(crs: pyproj.CRS, x: float, y: float) -> bool:
    """Whether a place can be in a CRS, and is in the area or beside the area that it is made for.

    >>> [lies_within(pyproj.CRS("EPSG:32631"), *at) for at in ((5e5, 6e6), (6e6, 5e5))]
    [True, False]
    """
    lon, lat, back_m = _lonlat(crs, x, y)
    if not math.isfinite(lon + lat) or abs(lat) > 90 or abs(lon) > 360 or back_m > ROUND_TRIP_M:
        return False
    area = _registered(crs).area_of_use
    bounds = (area.west, area.south, area.east, area.north) if area else (-180.0, -90.0, 180.0, 90.0)
    return _degrees_outside(lon, lat, bounds) <= OUTSIDE_DEG


def _registered(crs: pyproj.CRS) -> pyproj.CRS:
    """A CRS written out as WKT carries no area of use: take the registered one that it is, if any."""
    code = None if crs.area_of_use is not None else crs.to_epsg(min_confidence=70)
    return crs if code is None else pyproj.CRS.from_epsg(code)


def _lonlat(crs: pyproj.CRS, x: float, y: float) -> tuple[float, float, float]:
    """Longitude and latitude on the CRS's own datum, and how far the way back misses, metres."""
    if crs.is_geographic:
        scale = math.degrees(crs.axis_info[0].unit_conversion_factor)
        return x * scale, y * scale, 0.0
    geodetic = crs.geodetic_crs
    if geodetic is None:
        return math.nan, math.nan, math.inf
    try:
        there = pyproj.Transformer.from_crs(crs, geodetic.to_2d(), always_xy=True)
        lon, lat = there.transform(x, y)
        back_x, back_y = there.transform(lon, lat, direction="INVERSE")
    except ProjError:
        return math.nan, math.nan, math.inf
    miss = np.hypot(back_x - x, back_y - y) * metres_per_unit(crs)[0]
    scale = math.degrees(geodetic.axis_info[0].unit_conversion_factor)
    return float(lon) * scale, float(lat) * scale, float(miss)


def _degrees_outside(lon: float, lat: float, area: Box) -> float:
    west, south, east, north = area
    middle = (west + (east if east >= west else east + 360)) / 2
    half = ((east - west) % 360 or 360) / 2
    away_lon = max(0.0, abs((lon - middle + 180) % 360 - 180) - half)
    return max(away_lon, south - lat, lat - north, 0.0)
