"""Shapefile (ESRI white paper, July 1998): the shapes, their table (.dbf) and their CRS (.prj) beside it.

pyshp takes a name for an address or a place in an archive too, so it is handed what was read here.
"""

import codecs
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from pyproj.exceptions import CRSError

from terrain3d.errors import InputError
from terrain3d.outside import beside, content
from terrain3d.readers.cells import cell_value, column_name
from terrain3d.readers.crs import from_wkt
from terrain3d.readers.source import Feature
from terrain3d.units import Floats

#: A drawing of a site is far shorter.
MOST_BYTES = 100_000_000
#: Each hole of a shape is looked for in each of its outlines.
MOST_PARTS = 1000
#: A .prj or .cpg is a line of text.
_MOST_BESIDE = 100_000
_AGAIN = "export it again, or as .gpkg"


def read_shapefile(path: Path, layer: str | None = None) -> tuple[list[Feature], pyproj.CRS | None]:
    """The features of a shapefile, and the CRS that its .prj names; None where there is none.

    Names of columns, which dBase writes in capital letters, come in small ones.

    Raises
    ------
    InputError
        Where it, or what lies beside it, cannot be read, or has another name than the layer asked for.
    """
    if layer is not None and layer != path.stem:
        raise InputError(f"it has no layer {layer!r}", str(path), "leave layer out: it holds one alone")
    shapes = content(path, MOST_BYTES, "keep what lies near the site")
    table_at = beside(path, ".dbf")
    table = None if table_at is None else content(table_at, MOST_BYTES, "keep what lies near the site")
    kinds_and_rows = _read(shapes, table, _encoding(path), path)
    features = []
    for number, (geometry, row) in enumerate(kinds_and_rows, 1):
        where = f"{path}: feature {number}"
        if not geometry or not geometry.get("coordinates"):
            raise InputError("it has no geometry", where, "draw it, or delete it")
        names = {column_name(str(name), where).lower(): value for name, value in row.items()}
        values = {name: cell_value(_text(value), name) for name, value in names.items()}
        features.append(
            Feature(
                geometry["type"],
                _parts(geometry["type"], geometry["coordinates"]),
                {name: value for name, value in values.items() if value is not None},
            )
        )
    return features, _crs(path)


def _read(shapes: bytes, table: bytes | None, encoding: str, path: Path) -> list[tuple[Any, dict[str, Any]]]:
    """Of each shape its geometry, as GeoJSON has it, and its row of the table."""
    import shapefile

    # Its own length, in words of 16 bits: what is cut between two shapes would read as fewer of them.
    claimed = 2 * int.from_bytes(shapes[24:28], "big")
    if len(shapes) < claimed:
        raise InputError(
            f"it should be {claimed} bytes long, and is {len(shapes)}: it was cut short", str(path), _AGAIN
        )
    # What it finds odd, it writes to standard error.
    shapefile.VERBOSE = False
    try:
        reader = shapefile.Reader(
            shp=BytesIO(shapes),
            dbf=None if table is None else BytesIO(table),
            encoding=encoding,
            encodingErrors="replace",
        )
        geometries = [_geometry(shape, path) for shape in reader.iterShapes()]
        rows = [{} for _ in geometries] if table is None else [row.as_dict() for row in reader.iterRecords()]
    except InputError:
        raise
    except Exception as error:
        raise InputError(
            "it cannot be read as a shapefile: it, or the .dbf beside it, is damaged or cut off",
            str(path),
            _AGAIN,
        ) from error
    if len(rows) != len(geometries):
        raise InputError(
            f"it has {len(geometries)} shapes, and the table beside it {len(rows)} rows", str(path), _AGAIN
        )
    return list(zip(geometries, rows, strict=True))


def _geometry(shape: Any, path: Path) -> Any:
    if len(getattr(shape, "parts", ())) > MOST_PARTS:
        raise InputError(f"one shape of it has {len(shape.parts)} parts", str(path), "split it")
    return shape.__geo_interface__


def _text(value: Any) -> Any:
    """Text without the blanks that fill a field of dBase."""
    return value.strip() if isinstance(value, str) else value


def _parts(kind: str, coordinates: Any) -> tuple[tuple[Floats, ...], ...]:
    """Of each single shape its rings."""
    if kind.startswith("Multi"):
        return tuple(part for entry in coordinates for part in _parts(kind.removeprefix("Multi"), entry))
    if kind == "Polygon":
        return (tuple(_points(ring) for ring in coordinates),)
    return ((_points(coordinates if kind == "LineString" else [coordinates]),),)


def _points(positions: Any) -> Floats:
    return np.array([position[:2] for position in positions], float).reshape(-1, 2)


def _encoding(path: Path) -> str:
    """What a .cpg beside it says; else UTF-8, in which what is not shows as such."""
    note = beside(path, ".cpg")
    if note is None:
        return "utf-8"
    word = content(note, _MOST_BESIDE, _AGAIN).decode("ascii", "replace").strip()
    # ESRI writes code pages as bare numbers.
    for name in (word, f"cp{word}", word.replace("ANSI ", "cp")):
        try:
            return codecs.lookup(name).name
        except (LookupError, ValueError):
            continue
    return "utf-8"


def _crs(path: Path) -> pyproj.CRS | None:
    note = beside(path, ".prj")
    if note is None:
        return None
    text = content(note, _MOST_BESIDE, _AGAIN).decode("utf-8", "replace").strip()
    try:
        return from_wkt(text)
    except CRSError:
        raise InputError("it names no CRS that is known here", str(note), _AGAIN) from None
