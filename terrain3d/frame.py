"""World coordinates in, local metres out: the offset of the world is kept here and nowhere else."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pyproj
from numpy.typing import ArrayLike
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion
from pyproj.exceptions import ProjError
from pyproj.network import set_network_enabled  # type: ignore[attr-defined]  # not listed as exported

from terrain3d.errors import InputError
from terrain3d.units import Floats
from terrain3d.wording import fit

# Whatever the machine is set to: a result may not hang on what a server gives today.
set_network_enabled(False)

#: Coordinates without a CRS and farther from zero than this are shifted near zero, in metres.
FAR_FROM_ZERO_M = 10_000.0

_ENGINEERING_WKT = (
    'ENGCRS["Local metres of the site",EDATUM["The site"],CS[Cartesian,2],'
    'AXIS["easting (E)",east,ORDER[1]],AXIS["northing (N)",north,ORDER[2]],'
    'LENGTHUNIT["metre",1]]'
)


@dataclass(frozen=True)
class Frame:
    """The local frame: metres, x east, y north, z up.

    Parameters
    ----------
    wkt : str
        The local CRS: a transverse Mercator of scale 1 centred on the site, on the survey's own
        datum, so that bearings are true and distances are ground distances; an engineering CRS
        where the site file names none.
    origin_lonlat : (lon, lat) or None
        Where local (0, 0) lies, degrees WGS 84; None without a CRS.
    shift : (x, y)
        Added to local metres on the way out; only sites without a CRS and far from zero have one.
    """

    wkt: str
    origin_lonlat: tuple[float, float] | None
    shift: tuple[float, float] = (0.0, 0.0)

    @property
    def is_georeferenced(self) -> bool:
        return self.origin_lonlat is not None

    def to_local(self, x: ArrayLike, y: ArrayLike, src_crs: pyproj.CRS | None) -> tuple[Floats, Floats]:
        """Turn coordinates of `src_crs` into local metres.

        Parameters
        ----------
        x, y : (n,) float
            Easting and northing, or longitude and latitude, in that order whatever the CRS says.
        src_crs : pyproj.CRS or None
            None means that they are local metres already.

        Raises
        ------
        InputError
            Where the CRS cannot hold the coordinates, or a CRS meets a frame without one.

        Examples
        --------
        >>> frame = site_frame(None, 0.0, 0.0)
        >>> frame.to_local([1.0], [2.0], None)
        (array([1.]), array([2.]))
        """
        xs, ys = np.asarray(x, float), np.asarray(y, float)
        if src_crs is None:
            return xs - self.shift[0], ys - self.shift[1]
        if not self.is_georeferenced:
            raise InputError(
                f"coordinates in {fit(src_crs.name)} meet a site in local metres",
                mend="set [site] crs, or leave crs out everywhere and use local metres throughout",
            )
        local_x, local_y = transformer(src_crs.to_wkt(), self.wkt).transform(xs, ys)
        off = ~(np.isfinite(local_x) & np.isfinite(local_y))
        if np.any(off):
            raise _misplaced(float(xs[off].flat[0]), float(ys[off].flat[0]), src_crs)
        return np.asarray(local_x, float), np.asarray(local_y, float)

    def from_local(self, x: ArrayLike, y: ArrayLike, dst_crs: pyproj.CRS | None) -> tuple[Floats, Floats]:
        """Turn local metres into coordinates of `dst_crs`; None gives the site's own metres."""
        xs, ys = np.asarray(x, float), np.asarray(y, float)
        if dst_crs is None or not self.is_georeferenced:
            return xs + self.shift[0], ys + self.shift[1]
        world_x, world_y = transformer(self.wkt, dst_crs.to_wkt()).transform(xs, ys)
        return np.asarray(world_x, float), np.asarray(world_y, float)


def site_frame(crs: pyproj.CRS | None, x: float, y: float) -> Frame:
    """The local frame centred on (x, y), coordinates of `crs`.

    Without a CRS the frame is the coordinates themselves, shifted by whole kilometres only when
    they lie far from zero.

    Examples
    --------
    >>> frame = site_frame(pyproj.CRS("EPSG:4326"), 5.0, 55.0)
    >>> frame.origin_lonlat
    (5.0, 55.0)
    >>> x, y = frame.to_local([5.0], [55.001], pyproj.CRS("EPSG:4326"))
    >>> round(float(y[0]), 1)          # a thousandth of a degree of latitude
    111.3
    """
    if crs is None:
        shift = [1000.0 * round(v / 1000) if abs(v) > FAR_FROM_ZERO_M else 0.0 for v in (x, y)]
        return Frame(_ENGINEERING_WKT, None, (shift[0], shift[1]))
    geodetic = crs.geodetic_crs
    if geodetic is None:
        raise InputError(
            f"{fit(crs.name)} has no geodetic datum, so the site cannot be placed on the earth",
            mend="name a projected or geographic CRS, or leave crs out to work in local metres",
        )
    geodetic = geodetic.to_2d()
    lon, lat = transformer(crs.to_wkt(), geodetic.to_wkt()).transform(x, y)
    lon_wgs, lat_wgs = transformer(crs.to_wkt(), pyproj.CRS("EPSG:4326").to_wkt()).transform(x, y)
    if not (np.all(np.isfinite([lon, lat, lon_wgs, lat_wgs])) and abs(lat_wgs) <= 90 and abs(lon_wgs) <= 360):
        raise _misplaced(x, y, crs)
    local = ProjectedCRS(
        TransverseMercatorConversion(
            latitude_natural_origin=lat,
            longitude_natural_origin=lon,
            false_easting=0,
            false_northing=0,
            scale_factor_natural_origin=1.0,
        ),
        name="Local metres centred on the site",
        geodetic_crs=geodetic,
    )
    return Frame(local.to_wkt(), (float(lon_wgs), float(lat_wgs)))


@lru_cache(maxsize=32)
def transformer(src_wkt: str, dst_wkt: str) -> pyproj.Transformer:
    """What turns coordinates of one CRS, x east and y north, into those of another.

    Raises
    ------
    InputError
        Where PROJ cannot work with one of them.
    """
    source, target = pyproj.CRS(src_wkt).to_2d(), pyproj.CRS(dst_wkt).to_2d()
    try:
        return pyproj.Transformer.from_crs(source, target, always_xy=True)
    except ProjError:
        raise InputError(
            f"no place can be turned from {fit(source.name)!r} into {fit(target.name)!r}: one of them has a"
            " scale, a size of the earth or an origin that cannot be",
            "site.toml: site.crs or ground.crs",
            'give a code such as "EPSG:32631", or mend the numbers of the CRS',
        ) from None


def _misplaced(x: float, y: float, crs: pyproj.CRS) -> InputError:
    return InputError(
        f"the coordinates ({x:.10g}, {y:.10g}) cannot be in {fit(crs.name)}",
        "site.toml: site.crs",
        "name the CRS that the coordinates are in; longitude comes before latitude",
    )
