"""One door to every file of drawn shapes: look at what it is, then hand it to the reader of its format."""

from pathlib import Path

import numpy as np
import pyproj

from terrain3d.apart import read_apart
from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.crs import crs_words, horizontal
from terrain3d.readers.dxf import is_dxf
from terrain3d.readers.source import Feature
from terrain3d.wording import pair

# The readers are imported inside the function: most sites have their shapes in the site file.


def read_features(
    path: Path, layer: str | None, site_crs: pyproj.CRS | None = None
) -> tuple[list[Feature], pyproj.CRS | None]:
    """The features of a file, and the horizontal CRS of their coordinates; None is that of the site.

    Raises
    ------
    InputError
        Where there is no such file or layer, or several layers and none is named.
    """
    with opened(path) as stream:
        start = stream.read(4096)
    if start.startswith(b"SQLite format 3\0"):
        from terrain3d.readers.geopackage import read_geopackage

        features, crs = read_apart(read_geopackage, [path], path, layer)
    elif start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
        from terrain3d.readers.geojson import read_geojson

        features, crs = read_geojson(path, layer)
    elif start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        from terrain3d.readers.kml import read_kml

        features, crs = read_kml(path, layer)
    elif start.startswith(b"\x00\x00\x27\x0a"):
        from terrain3d.readers.shapefile import read_shapefile

        features, crs = read_shapefile(path, layer)
    elif is_dxf(start):
        from terrain3d.readers.dxf import read_dxf

        features, crs = read_dxf(path, layer, site_crs)
    else:
        raise _stranger(start, path)
    if not features:
        raise InputError("it holds no features", str(path), "draw some, or leave this entry out")
    crs = None if crs is None else horizontal(crs)
    _refuse_plane_degrees(features, crs, path)
    return features, crs


def _stranger(start: bytes, path: Path) -> InputError:
    suffix = path.suffix.lower()
    if start.startswith(b"PK\x03\x04"):
        return InputError(
            "it is a ZIP archive, such as a KMZ", str(path), "unpack it, and name the file inside"
        )
    if suffix in (".shx", ".dbf", ".prj", ".cpg"):
        return InputError("it is a part of a shapefile", str(path), "name the .shp that lies beside it")
    if start.startswith(b"AC10"):
        return InputError("it is a DWG drawing", str(path), "save it as DXF")
    return InputError(
        "it is neither GeoJSON, GeoPackage, KML, Shapefile nor DXF",
        str(path),
        "export it as .geojson or .gpkg",
    )


def _refuse_plane_degrees(features: list[Feature], crs: pyproj.CRS | None, path: Path) -> None:
    if crs is None or not crs.is_geographic:
        return
    for number, feature in enumerate(features, 1):
        points = [ring for part in feature.parts for ring in part if len(ring)]
        if any((np.abs(ring) > (360, 90)).any() for ring in points):
            raise InputError(
                f"{pair(*points[0][0])} is no longitude and latitude, and its CRS is {crs_words(crs)}",
                f"{path}: feature {number}",
                "GeoJSON without a crs member and KML are in EPSG:4326, longitude first: export it so, or as "
                "GeoPackage with its CRS",
            )
