"""Layers as GeoJSON (RFC 7946): longitude and latitude, WGS 84, outer rings anticlockwise."""

import json
from typing import Any

import pyproj
import shapely

from terrain3d.caution import CAUTION
from terrain3d.frame import Frame
from terrain3d.pack.layers import Layer, placed

#: Degrees to a tenth of a millimetre: cells keep their edges.
_DECIMALS = 9


def geojson_text(layer: Layer, frame: Frame) -> str:
    """The text of a GeoJSON file, a feature a line; the same layer gives the same text.

    Parameters
    ----------
    layer : Layer
    frame : Frame
        With a place on earth.
    """
    lines = [_text(_feature(feature.shape, feature.values, frame)) for feature in layer.features]
    head = _text({"type": "FeatureCollection", "name": layer.name, "caution": CAUTION})
    return "\n".join([f'{head[:-1]}, "features": [', ",\n".join(lines), "]}", ""])


def lonlat(shape: Any, frame: Frame) -> Any:
    """A shape of local metres in degrees of longitude and latitude, WGS 84."""
    return placed(shape, frame, pyproj.CRS("EPSG:4326"))


def _feature(shape: Any, values: Any, frame: Frame) -> dict[str, Any]:
    # Rings are turned once they are in degrees, whatever way a frame mirrors them.
    there = lonlat(shape, frame)
    if there.geom_type.endswith("Polygon"):
        there = shapely.orient_polygons(there)
    geometry = shapely.geometry.mapping(there)
    return {
        "type": "Feature",
        "properties": dict(values),
        "geometry": {"type": geometry["type"], "coordinates": _rounded(geometry["coordinates"])},
    }


def _text(value: dict[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _rounded(coordinates: Any) -> Any:
    """Nested coordinates, rounded and never minus zero."""
    if isinstance(coordinates, float):
        return round(coordinates, _DECIMALS) + 0.0
    return [_rounded(one) for one in coordinates]
