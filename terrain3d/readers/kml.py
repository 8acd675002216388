"""KML (OGC 12-007r2): the placemarks that stand in the file itself; its links are not followed."""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import numpy as np
import pyproj

from terrain3d.errors import InputError
from terrain3d.outside import content
from terrain3d.readers.cells import cell_value, column_name
from terrain3d.readers.markup import Tag, tree
from terrain3d.readers.source import Feature
from terrain3d.units import Floats
from terrain3d.wording import listed

#: A drawing of a site is far shorter.
MOST_BYTES = 50_000_000
_HOLDERS = ("kml", "Document", "Folder")
_GEOMETRIES = ("Point", "LineString", "LinearRing", "Polygon", "MultiGeometry")
_AGAIN = "save the places as KML again"


def read_kml(path: Path, layer: str | None = None) -> tuple[list[Feature], pyproj.CRS]:
    """The placemarks of a KML file, and WGS 84 degrees, which is the one CRS that KML has.

    Parameters
    ----------
    path : Path
    layer : str or None
        The name of a folder or document in it; None is all of it.

    Raises
    ------
    InputError
        Where it is no KML, has no such folder, or keeps its places elsewhere.
    """
    root = tree(BytesIO(content(path, MOST_BYTES, "save what lies near the site alone")), str(path), "KML")
    if root.name != "kml":
        raise InputError(f"it is XML, but no KML: it begins with <{root.name[:40]}>", str(path), _AGAIN)
    holders = [root] if layer is None else [tag for tag in _holders(root) if tag.content_of("name") == layer]
    if not holders:
        known = sorted({tag.content_of("name") for tag in _holders(root)} - {""})
        raise InputError(
            f"it has no folder {layer!r}",
            str(path),
            f"it has {listed(known)}" if known else "leave layer out",
        )
    found = [
        _feature(tag, f"{path}: placemark {number}")
        for number, tag in enumerate((tag for holder in holders for tag in _placemarks(holder)), 1)
    ]
    if not found and any(tag.all("NetworkLink") for tag in _holders(root)):
        raise InputError(
            "its places lie elsewhere: it holds links (NetworkLink), which are not followed",
            str(path),
            "open it in a map program and save the places themselves as KML",
        )
    return found, pyproj.CRS.from_epsg(4326)


def _holders(tag: Tag) -> Iterator[Tag]:
    """A tag and the folders within it, however deep."""
    yield tag
    for child in tag.children:
        if child.name in _HOLDERS:
            yield from _holders(child)


def _placemarks(holder: Tag) -> Iterator[Tag]:
    for tag in _holders(holder):
        yield from tag.all("Placemark")


def _feature(placemark: Tag, where: str) -> Feature:
    shapes = [child for child in placemark.children if child.name in _GEOMETRIES]
    if not shapes:
        raise InputError("it has no point, line or polygon", where, "draw it, or delete it")
    kind, parts = _shape(shapes[0], where)
    values = {"name": cell_value(placemark.content_of("name"), "name")}
    for tag in placemark.children:
        if tag.name != "ExtendedData":
            continue
        cells = [(data, data.content_of("value")) for data in tag.all("Data")]
        cells += [
            (cell, cell.content.strip())
            for table in tag.all("SchemaData")
            for cell in table.all("SimpleData")
        ]
        for cell, text in cells:
            name = column_name(cell.attributes.get("name", ""), where)
            values[name] = cell_value(text, name)
    return Feature(kind, parts, {name: value for name, value in values.items() if value is not None})


def _shape(tag: Tag, where: str) -> tuple[str, tuple[tuple[Floats, ...], ...]]:
    """The kind of a shape, and of each single shape in it its rings."""
    if tag.name == "MultiGeometry":
        shapes = [_shape(child, where) for child in tag.children if child.name in _GEOMETRIES]
        kinds = {kind for kind, _ in shapes}
        if len(kinds) != 1 or any(kind.startswith(("Multi", "Geometry")) for kind in kinds):
            return "GeometryCollection", ()
        return f"Multi{kinds.pop()}", tuple(part for _, parts in shapes for part in parts)
    if tag.name != "Polygon":
        return tag.name.replace("LinearRing", "LineString"), (
            (_points(tag.content_of("coordinates"), where),),
        )
    borders = [tag.one("outerBoundaryIs"), *tag.all("innerBoundaryIs")]
    rings = [border.content_of("LinearRing", "coordinates") for border in borders if border is not None]
    return "Polygon", (tuple(_points(ring, where) for ring in rings),)


def _points(text: str, where: str) -> Floats:
    """(n, 2) from "lon,lat[,alt]" with blanks between places (OGC 12-007r2, kml:coordinates)."""
    try:
        places = [[float(word) for word in place.split(",")] for place in text.split()]
        return np.array([(lon, lat) for lon, lat, *_ in places], float).reshape(-1, 2)
    except ValueError:
        raise InputError(
            f"its coordinates begin {text[:40]!r}, and are no places as longitude,latitude", where, _AGAIN
        ) from None
