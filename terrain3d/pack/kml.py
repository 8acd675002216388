"""Layers as KML: a folder for each option, the best one shown, each verdict in the colour of the pages."""

import xml.etree.ElementTree as ET
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely

from terrain3d import palette
from terrain3d.caution import CAUTION
from terrain3d.cover.verdict import VERDICT_KEYS
from terrain3d.frame import Frame
from terrain3d.pack.geojson import lonlat
from terrain3d.pack.layers import Feature, Layer, Value
from terrain3d.sentences.verdicts import VERDICT_WORDS

_NAMESPACE = "http://www.opengis.net/kml/2.2"
_WORDS = {key: VERDICT_WORDS[verdict] for verdict, key in VERDICT_KEYS.items()}
#: Ground outside every arc and range would cover the whole picture beneath.
_LEFT_OUT = "outside"
#: Line colour, its width in pixels, fill; of each layer but the verdicts.
_LOOKS = {
    "units": (palette.UNIT, 2.0, ""),
    "mounts": (palette.QUIET_INK, 2.0, ""),
    "arcs": (palette.UNIT, 2.0, ""),
    "protected": (palette.PROTECTED, 3.0, ""),
    "solids": (palette.SOLID_EDGE, 1.5, palette.SOLID),
    "foliage": (palette.FOLIAGE_EDGE, 1.5, ""),
    "routes": (palette.FIGURE, 4.0, ""),
    "boundary": (palette.BOUNDARY, 2.0, ""),
}
_FILL_STRENGTH = 0.7


def kml_bytes(title: str, layers: tuple[Layer, ...], frame: Frame) -> bytes:
    """The bytes of a KML file; the same layers give the same bytes.

    Parameters
    ----------
    title : str
    layers : tuple of Layer
    frame : Frame
        With a place on earth.
    """
    root = ET.Element("kml", xmlns=_NAMESPACE)
    document = _within(root, "Document")
    _within(document, "name", title)
    _within(document, "description", CAUTION)
    for name, (line, width, fill) in _LOOKS.items():
        _style(document, name, line, width, fill)
    for verdict, key in VERDICT_KEYS.items():
        _style(document, key, palette.QUIET_INK, 0.0, palette.VERDICT_COLOURS[verdict])
    site = _within(document, "Folder")
    _within(site, "name", "site")
    for layer in layers:
        if "option" not in layer.columns:
            _folder(site, layer, layer.features, frame, True)
    options = {
        int(str(feature.values["place"])): str(feature.values["option"])
        for layer in layers
        for feature in layer.features
        if "option" in layer.columns
    }
    for place in sorted(options):
        folder = _within(document, "Folder")
        _within(folder, "name", f"{place}. {options[place]}")
        _within(folder, "visibility", "1" if place == 1 else "0")
        for layer in layers:
            if "option" in layer.columns:
                own = [one for one in layer.features if one.values["place"] == place]
                _folder(folder, layer, own, frame, place == 1)
    ET.indent(root, " ")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + bytes(ET.tostring(root, "utf-8")) + b"\n"


def _folder(
    into: ET.Element, layer: Layer, features: Iterable[Feature], frame: Frame, is_shown: bool
) -> None:
    shown = [one for one in features if one.values.get("verdict") != _LEFT_OUT]
    if not shown:
        return
    folder = _within(into, "Folder")
    _within(folder, "name", layer.name)
    for feature in shown:
        placemark = _within(folder, "Placemark")
        _within(placemark, "name", _name(layer, feature.values))
        if not is_shown:
            _within(placemark, "visibility", "0")
        _within(placemark, "styleUrl", f"#{feature.values.get('verdict') or layer.name}")
        data = _within(placemark, "ExtendedData")
        for column, value in feature.values.items():
            if value is not None:
                one = _within(data, "Data")
                one.set("name", column)
                _within(one, "value", str(value))
        _geometry(placemark, lonlat(feature.shape, frame))


def _name(layer: Layer, values: Any) -> str:
    """What a placemark is called in a list."""
    if layer.name == "verdicts":
        why = f": {values['cause']}" if values["cause"] else ""
        return f"{_WORDS[values['verdict']]}{why}"
    if layer.name == "arcs":
        return f"{values['unit']}, head {values['head']}, {values['state']}"
    if layer.name == "routes":
        return f"{values['letter']}, {values['area']}: {values['what']}"
    named: Value = values["name"]
    return str(named)


def _geometry(into: ET.Element, shape: Any) -> None:
    """A shape that lies on the ground."""
    parts = list(shapely.get_parts(shape))
    if len(parts) > 1:
        into = _within(into, "MultiGeometry")
    for part in parts:
        if part.geom_type == "Polygon":
            polygon = _within(into, "Polygon")
            _within(polygon, "tessellate", "1")
            rings = [("outerBoundaryIs", part.exterior), *(("innerBoundaryIs", r) for r in part.interiors)]
            for which, ring in rings:
                line = _within(_within(polygon, which), "LinearRing")
                _within(line, "coordinates", _coordinates(ring))
        elif part.geom_type == "LineString":
            line = _within(into, "LineString")
            _within(line, "tessellate", "1")
            _within(line, "coordinates", _coordinates(part))
        else:
            _within(_within(into, "Point"), "coordinates", _coordinates(part))


def _coordinates(shape: Any) -> str:
    """Longitude and latitude, to a tenth of a millimetre."""
    points = np.round(shapely.get_coordinates(shape), 9) + 0.0
    return " ".join(f"{x:.9f},{y:.9f}" for x, y in points)


def _style(into: ET.Element, name: str, line: str, width: float, fill: str) -> None:
    style = _within(into, "Style")
    style.set("id", name)
    drawn = _within(style, "LineStyle")
    _within(drawn, "color", _colour(line, 1.0))
    _within(drawn, "width", f"{width:g}")
    filled = _within(style, "PolyStyle")
    if fill:
        _within(filled, "color", _colour(fill, _FILL_STRENGTH))
    else:
        _within(filled, "fill", "0")


def _colour(colour: str, strength: float) -> str:
    """As KML writes it: strength, blue, green, red.

    >>> _colour("#66c0e5", 1.0)
    'ffe5c066'
    """
    red, green, blue = (int(value) for value in palette.rgb(colour))
    return f"{round(255 * strength):02x}{blue:02x}{green:02x}{red:02x}"


def _within(parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
    child = ET.SubElement(parent, tag)
    child.text = text
    return child
