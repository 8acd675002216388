"""GeoJSON (RFC 7946), read as the JSON it is: whatever else a text in braces orders is not obeyed."""

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from pyproj.exceptions import CRSError

from terrain3d.errors import InputError
from terrain3d.outside import content
from terrain3d.readers.cells import cell_value, column_name
from terrain3d.readers.crs import from_name
from terrain3d.readers.source import Feature
from terrain3d.units import Floats

#: Text in memory as lists of numbers takes some ten times its length.
MOST_BYTES = 100_000_000
_GEOMETRIES = (
    "Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon", "GeometryCollection",
)  # fmt: skip
_IN_DEGREES = "export it in EPSG:4326, as GeoJSON is since RFC 7946, or as GeoPackage with its CRS"


def read_geojson(path: Path, layer: str | None = None) -> tuple[list[Feature], pyproj.CRS]:
    """The features of a GeoJSON file, and the CRS of their coordinates.

    A bare feature or geometry is a list of one. The CRS is WGS 84 degrees (RFC 7946, section 4), or the
    one that a `crs` member names (GeoJSON 2008, section 3).

    Raises
    ------
    InputError
        Where it is no GeoJSON, has another name than the layer that is asked for, or takes its CRS from
        an address or a file.
    """
    document = _parsed(path)
    known = (path.stem, document.get("name") if isinstance(document, dict) else None)
    if layer is not None and layer not in known:
        raise InputError(f"it has no layer {layer!r}", str(path), "leave layer out: GeoJSON holds one alone")
    crs = _crs(document, path)
    features = [
        _feature(entry, f"{path}: feature {n}") for n, entry in enumerate(_entries(document, path), 1)
    ]
    return features, crs


class _TwiceError(ValueError):
    """A name that stands twice in one object: readers differ in which they take."""


def _parsed(path: Path) -> Any:
    text = content(path, MOST_BYTES, "keep what lies near the site, or export it as GeoPackage")
    try:
        return json.loads(text.decode("utf-8-sig"), object_pairs_hook=_once)
    except UnicodeDecodeError:
        fault = "it is not in UTF-8"
    except json.JSONDecodeError as error:
        if not error.doc[error.pos :].strip() or error.msg.startswith("Unterminated"):
            fault = f"it is cut off in line {error.doc.count(chr(10)) + 1}"
        elif error.msg == "Extra data":
            fault = f"more follows after its end in line {error.lineno}; one collection has to hold all"
        else:
            fault = f"line {error.lineno}, column {error.colno} is wrong"
    except _TwiceError as error:
        fault = f"one of its objects holds {str(error)[:60]!r} twice"
    except ValueError:
        fault = "a number in it has thousands of digits"
    except RecursionError:
        fault = "its lists or objects lie too deep in each other"
    raise InputError(f"it is not valid GeoJSON: {fault}", str(path), "export it as .geojson or .gpkg again")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        ((twice, _),) = Counter(name for name, _ in pairs).most_common(1)
        raise _TwiceError(twice)
    return found


def _entries(document: Any, path: Path) -> Iterator[Any]:
    """Each feature, or a bare geometry as one without properties."""
    kind = document.get("type") if isinstance(document, dict) else None
    if kind == "FeatureCollection" and isinstance(document.get("features"), list):
        return iter(document["features"])
    if kind == "Feature":
        return iter([document])
    if kind in _GEOMETRIES:
        return iter([{"type": "Feature", "geometry": document}])
    raise InputError(
        "it is JSON, but no GeoJSON with shapes in it", str(path), "export it as .geojson or .gpkg again"
    )


def _feature(entry: Any, where: str) -> Feature:
    if not isinstance(entry, dict) or entry.get("type") != "Feature":
        raise InputError("it is no GeoJSON feature", where, "export the file again")
    geometry, properties = entry.get("geometry"), entry.get("properties")
    if geometry is None:
        raise InputError("it has no geometry", where, "draw it, or delete it")
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if kind not in _GEOMETRIES:
        raise InputError("its geometry is of no kind that GeoJSON has", where, "draw it again")
    if not isinstance(properties, dict | None):
        raise InputError("its properties are no table of names and values", where, "export the file again")
    try:
        parts = _parts(kind, geometry.get("coordinates") or [])
    except (TypeError, ValueError, OverflowError):
        fault = "its coordinates are no lists of numbers as its kind has"
        raise InputError(fault, where, "draw it again") from None
    values = {column_name(name, where): cell_value(value, name) for name, value in (properties or {}).items()}
    return Feature(kind, parts, {name: value for name, value in values.items() if value is not None})


def _parts(kind: str, coordinates: list[Any]) -> tuple[tuple[Floats, ...], ...]:
    """Of each single shape its rings."""
    if not coordinates or kind == "GeometryCollection":
        return ()
    if kind.startswith("Multi"):
        return tuple(part for entry in coordinates for part in _parts(kind.removeprefix("Multi"), entry))
    if kind == "Polygon":
        return (tuple(_points(ring) for ring in coordinates),)
    return ((_points(coordinates if kind == "LineString" else [coordinates]),),)


def _points(positions: list[Any]) -> Floats:
    """(n, 2) from positions of two numbers and more; a third is a height (RFC 7946, section 3.1.1)."""
    flat = [(x, y) for x, y, *_ in positions]
    # True and "5" would pass for numbers.
    if not all(type(value) in (int, float) for pair in flat for value in pair):
        raise ValueError
    return np.array(flat, float).reshape(-1, 2)


def _crs(document: Any, path: Path) -> pyproj.CRS:
    member = document.get("crs") if isinstance(document, dict) else None
    if member is None:
        return pyproj.CRS.from_epsg(4326)
    kind = member.get("type") if isinstance(member, dict) else None
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if kind == "EPSG" and isinstance(properties, dict) and isinstance(properties.get("code"), int):
        name = f"EPSG:{properties['code']}"
    elif kind != "name" or not isinstance(name, str):
        told = f", and is of the type {kind[:20]!r}" if isinstance(kind, str) else ""
        raise InputError(f"its crs member names no CRS{told}", str(path), _IN_DEGREES)
    try:
        if "://" in name or "=" in name:
            raise CRSError(name)
        crs = from_name(name)
    except CRSError:
        raise InputError(
            f"its crs member names {name[:60]!r}, which is no CRS", str(path), _IN_DEGREES
        ) from None
    # Longitude comes before latitude in both, here as everywhere in this program.
    return pyproj.CRS.from_epsg(4326) if name.upper().endswith("CRS84") else crs
