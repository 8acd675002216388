"""GeoJSON and GeoPackage: shapes drawn in a map program, turned into the site file's own shapes."""

import json
import warnings
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pyogrio
import pyproj
import shapely
from pyogrio.errors import DataLayerError, DataSourceError
from pyproj.exceptions import CRSError

from terrain3d.errors import InputError
from terrain3d.site import (
    ApproachShape,
    BeyondShape,
    FileRef,
    MountShape,
    NuisanceShape,
    ProtectShape,
    WalkShape,
)
from terrain3d.survey.crs import crs_words, horizontal
from terrain3d.survey.wording import counted, pair
from terrain3d.tables import Table, checked

Feature = tuple[shapely.Geometry, dict[str, Any]]
Shape = TypeVar("Shape", bound=Table)

#: Columns that map programs add by themselves (common practice, no source).
_ROW_NUMBERS = {"fid", "id", "ogc_fid", "objectid"}
#: The key that each kind of geometry gives.
_GEOMETRY_KEYS = {"Point": "at", "LineString": "path", "Polygon": "outline"}


def expand(
    entries: Iterable[Shape | FileRef], model: type[Shape], folder: Path
) -> tuple[tuple[Shape, pyproj.CRS | None], ...]:
    """Every entry as a drawn shape, those of files one a feature.

    Parameters
    ----------
    entries : iterable of shapes and FileRef
        A list of the site file, such as `site.solid`.
    model : type
        The shape that its entries are, such as `SolidShape`.
    folder : Path
        Of the site file; names of files are relative to it.

    Returns
    -------
    tuple of (shape, crs)
        In the order of the entries and features. `crs` is that of the file's coordinates; None
        means the site's own, as for whatever is drawn in the site file.

    Raises
    ------
    InputError
        Naming the file and the feature, counted from 1.
    """
    shapes: list[tuple[Shape, pyproj.CRS | None]] = []
    for entry in entries:
        if not isinstance(entry, FileRef):
            shapes.append((entry, None))
            continue
        path = folder / entry.file
        features, crs = read_features(path, entry.layer)
        for number, feature in enumerate(features, 1):
            where = f"{path}: feature {number}"
            shapes.append((checked(model, _keys(feature, entry.also, model, where), where), crs))
    if issubclass(model, MountShape | ProtectShape | WalkShape | ApproachShape | NuisanceShape | BeyondShape):
        _refuse_twins([str(getattr(shape, "name", "")) for shape, _ in shapes], model)
    return tuple(shapes)


def read_features(path: Path, layer: str | None) -> tuple[list[Feature], pyproj.CRS | None]:
    """Geometries with their properties, and the CRS of their coordinates.

    Raises
    ------
    InputError
        Where there is no such file or layer, or several layers and none is named.
    """
    _refuse_strangers(path)
    layers = _layers(path)
    if layer is None and len(layers) > 1:
        raise InputError(
            f"it has {len(layers)} layers: {', '.join(layers)}", str(path), 'name one, such as layer = "..."'
        )
    if layer is not None and layer not in layers:
        raise InputError(
            f"it has no layer {layer!r}", str(path), f"name one of its layers: {', '.join(layers)}"
        )
    with _reading(path):
        meta, _, geometries, columns = pyogrio.raw.read(path, layer=layer or layers[0], force_2d=True)
    crs = _crs(meta["crs"], path)
    features: list[Feature] = []
    for row, wkb in enumerate(geometries if geometries is not None else []):
        if wkb is None:
            raise InputError("it has no geometry", f"{path}: feature {row + 1}", "draw it, or delete it")
        values = {
            str(name): _plain(column[row], name) for name, column in zip(meta["fields"], columns, strict=True)
        }
        features.append((shapely.from_wkb(wkb), {k: v for k, v in values.items() if v is not None}))
    if not features:
        raise InputError("it holds no features", str(path), "draw some, or leave this entry out")
    _refuse_plane_degrees(features, crs, path)
    return features, crs


def _keys(feature: Feature, also: Mapping[str, Any], model: type[Table], where: str) -> dict[str, Any]:
    """The TOML keys that a feature stands for."""
    geometry, properties = feature
    keys = {**also, **{k: v for k, v in properties.items() if k.lower() not in _ROW_NUMBERS}}
    geometry = _single(geometry, where)
    key = _GEOMETRY_KEYS.get(geometry.geom_type)
    takes = [kind for kind, name in _GEOMETRY_KEYS.items() if name in model.model_fields]
    if key is None or key not in model.model_fields:
        raise InputError(
            f"it is a {geometry.geom_type}", where, f"draw it as a {' or a '.join(takes)}, as its kind needs"
        )
    if geometry.is_empty or not np.all(np.isfinite(shapely.get_coordinates(geometry))):
        raise InputError(
            "its geometry is empty or has coordinates that are no numbers", where, "draw it again"
        )
    if geometry.geom_type == "Polygon" and len(geometry.interiors):
        raise InputError(
            f"its outline has {counted(len(geometry.interiors), 'hole')}",
            where,
            "cut it into outlines without holes",
        )
    ring = geometry.exterior.coords[:-1] if geometry.geom_type == "Polygon" else geometry.coords
    points = [(float(x), float(y)) for x, y in ring]
    keys[key] = points[0] if key == "at" else points
    return keys


def _single(geometry: Any, where: str) -> Any:
    """Map programs save single shapes as collections of one."""
    if not geometry.geom_type.startswith("Multi"):
        return geometry
    parts = list(geometry.geoms)
    if len(parts) != 1:
        raise InputError(
            f"it is a {geometry.geom_type} of {len(parts)} parts", where, "split it into single shapes"
        )
    return parts[0]


def _plain(value: Any, name: str) -> Any:
    """A cell of a table as TOML would give it; None where it is blank."""
    if isinstance(value, np.ndarray):
        return [_plain(item, name) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value == "" or (isinstance(value, float) and not np.isfinite(value)):
        return None
    if name == "name":  # a column of numbers makes good names
        return str(value)
    if isinstance(value, str):
        # Lists, and numbers that share a column with text, come as text.
        try:
            return json.loads(value)
        except ValueError:
            return value
    return value


def _layers(path: Path) -> list[str]:
    with _reading(path):
        return [str(name) for name, _ in pyogrio.list_layers(path)]


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    """Turn what GDAL raises into one message; what it only warns of shows in the features, checked later."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            yield
    except (DataSourceError, DataLayerError, ValueError) as error:
        raise InputError(_fault(path), str(path), "export it as .geojson or .gpkg again") from error


def _fault(path: Path) -> str:
    """What is wrong with a file that the reader would not take."""
    content = path.read_bytes()
    if content.startswith(b"SQLite"):
        return "it cannot be read as a GeoPackage: it is damaged, cut off or another kind of database"
    try:
        json.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError:
        return "it is not valid GeoJSON: it is not in UTF-8"
    except json.JSONDecodeError as error:
        if not error.doc[error.pos :].strip() or error.msg.startswith("Unterminated"):
            return f"it is not valid GeoJSON: it is cut off in line {error.doc.count(chr(10)) + 1}"
        return f"it is not valid GeoJSON: line {error.lineno}, column {error.colno} is wrong"
    return "it is JSON, but no GeoJSON with shapes in it"


def _refuse_strangers(path: Path) -> None:
    """Only the two formats: others may send the reader to more files, or to the network."""
    try:
        with path.open("rb") as stream:
            start = stream.read(64)
    except FileNotFoundError:
        raise InputError(
            "there is no such file", str(path), "check the path; it is relative to the site file"
        ) from (None)
    except OSError as error:
        raise InputError(f"it cannot be read: {error.strerror}", str(path), "check the path") from None
    if not start.startswith(b"SQLite format 3") and not start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
        raise InputError("it is neither GeoJSON nor GeoPackage", str(path), "export it as .geojson or .gpkg")


def _crs(text: str | None, path: Path) -> pyproj.CRS | None:
    """The layer's CRS; GDAL gives GeoJSON the one of its standard (RFC 7946: WGS 84 degrees)."""
    if not text:
        return None
    try:
        crs = horizontal(pyproj.CRS.from_user_input(text))
    except CRSError:
        raise InputError(
            f"its CRS, {text[:60]!r}, cannot be understood", str(path), "export it again"
        ) from None
    # A GeoPackage's "undefined Cartesian" is tied to nothing: the site's own coordinates.
    return None if crs.is_engineering else crs


def _refuse_plane_degrees(features: list[Feature], crs: pyproj.CRS | None, path: Path) -> None:
    if crs is None or not crs.is_geographic:
        return
    for number, (geometry, _) in enumerate(features, 1):
        points = shapely.get_coordinates(geometry)
        if len(points) and (np.abs(points[:, 0]).max() > 360 or np.abs(points[:, 1]).max() > 90):
            raise InputError(
                f"{pair(*points[0])} is no longitude and latitude, and its CRS is {crs_words(crs)}",
                f"{path}: feature {number}",
                "GeoJSON without a crs member is in EPSG:4326: export it so, or as GeoPackage with its CRS",
            )


def _refuse_twins(names: list[str], model: type[Table]) -> None:
    kind = model.__name__.removesuffix("Shape").lower()
    for name in names:
        if names.count(name) > 1:
            raise InputError(
                f"two of {kind} are named {name!r}",
                f"site.toml: {kind} {name!r}",
                "names must differ, those in files too",
            )
