"""Layers as a drawing in DXF: metres, text upright, each option on layers of its own, the best one on."""

import io
import textwrap
from collections.abc import Mapping
from typing import Any

import numpy as np
import pyproj
import shapely

from terrain3d import palette
from terrain3d.cover.verdict import VERDICT_KEYS
from terrain3d.frame import Frame
from terrain3d.pack.layers import Feature, Layer, placed
from terrain3d.show.shapes import spot_within
from terrain3d.terrain import Area
from terrain3d.units import Floats, direction

#: Height of a name, metres; letters a line of it has at most.
_NAME_M, _MOST_LETTERS = 0.35, 60
_APP = "TERRAIN3D"
#: Ground outside every arc and range would be most of what is drawn.
_LEFT_OFF = "outside"
#: The longest text of extended data, bytes.
_MOST_BYTES = 255
_COLOURS = {
    "units": palette.UNIT,
    "mounts": palette.QUIET_INK,
    "arcs": palette.UNIT,
    "protected": palette.PROTECTED,
    "solids": palette.SOLID_EDGE,
    "foliage": palette.FOLIAGE_EDGE,
    "routes": palette.FIGURE,
    "walktest": palette.FIGURE,
    "boundary": palette.BOUNDARY,
    **{key: palette.VERDICT_COLOURS[verdict] for verdict, key in VERDICT_KEYS.items()},
}


def metric_crs(crs: pyproj.CRS | None) -> pyproj.CRS | None:
    """The CRS that a drawing is in: the site's where it is in metres in plan, else None: local metres.

    >>> metric_crs(pyproj.CRS("EPSG:4326")) is None, metric_crs(pyproj.CRS("EPSG:32631")).to_epsg()
    (True, 32631)
    """
    if crs is None or not crs.is_projected:
        return None
    is_metric = all(axis.unit_conversion_factor == 1.0 for axis in crs.axis_info)
    return crs if is_metric else None


def dxf_bytes(
    layers: tuple[Layer, ...], notes: tuple[str, ...], frame: Frame, crs: pyproj.CRS | None
) -> bytes:
    """The bytes of a DXF file (2010, UTF-8); the same layers give the same bytes.

    Parameters
    ----------
    layers : tuple of Layer
    notes : tuple of str
        Written under the drawing.
    frame : Frame
    crs : pyproj.CRS or None
        Of `metric_crs`.
    """
    import ezdxf

    library: Any = ezdxf
    options = library.options

    before = options.write_fixed_meta_data_for_testing
    # Neither the day it was made nor numbers drawn at random.
    options.write_fixed_meta_data_for_testing = True
    try:
        stream = io.StringIO(newline="\n")
        _drawing(layers, notes, frame, crs).write(stream)
    finally:
        options.write_fixed_meta_data_for_testing = before
    return stream.getvalue().encode("utf-8", "surrogateescape")


def _drawing(layers: tuple[Layer, ...], notes: tuple[str, ...], frame: Frame, crs: pyproj.CRS | None) -> Any:
    import ezdxf
    from ezdxf import units
    from ezdxf.lldxf.const import BOUNDARY_PATH_EXTERNAL, BYLAYER

    library: Any = ezdxf
    document = library.new("R2010", units=units.M)
    document.appids.add(_APP)
    space = document.modelspace()
    corners: list[Floats] = []

    def on_layer(name: str, colour: str, is_on: bool) -> dict[str, Any]:
        if name not in document.layers:
            red, green, blue = (int(value) for value in palette.rgb(colour))
            layer = document.layers.add(name, true_color=(red << 16) + (green << 8) + blue)
            if not is_on:
                layer.off()
        return {"layer": name}

    def outline(points: Floats, is_closed: bool, attributes: dict[str, Any]) -> None:
        space.add_lwpolyline(points[:-1] if is_closed else points, close=is_closed, dxfattribs=attributes)

    def write(text: str, at: Floats, attributes: dict[str, Any]) -> None:
        for row, line in enumerate(textwrap.wrap(text, _MOST_LETTERS)):
            place = (float(at[0]), float(at[1]) - 1.5 * row * _NAME_M)
            space.add_text(_literal(line), height=_NAME_M, dxfattribs={**attributes, "insert": place})

    # What lies beneath is drawn first.
    for layer in sorted(layers, key=lambda layer: layer.name != "verdicts"):
        for feature in layer.features:
            name, is_on = _layer_name(layer, feature.values)
            attributes = on_layer(name, _COLOURS[str(feature.values.get("verdict") or layer.name)], is_on)
            shape = placed(feature.shape, frame, crs)
            if feature.values.get("verdict") != _LEFT_OFF:
                corners.append(np.reshape(shape.bounds, (2, 2)))
            for part in shapely.get_parts(shape):
                if part.geom_type == "Point":
                    _point(space, feature, part, frame, crs, attributes)
                elif part.geom_type == "LineString":
                    outline(shapely.get_coordinates(part), False, attributes)
                elif layer.name == "verdicts":
                    hatch = space.add_hatch(color=BYLAYER, dxfattribs=attributes)
                    flags = BOUNDARY_PATH_EXTERNAL
                    for ring in (part.exterior, *part.interiors):
                        hatch.paths.add_polyline_path(list(ring.coords)[:-1], is_closed=True, flags=flags)
                        flags = 0
                    hatch.set_xdata(_APP, _facts(feature.values))
                else:
                    for ring in (part.exterior, *part.interiors):
                        outline(shapely.get_coordinates(ring), True, attributes)
            named = feature.values.get("name")
            if named is not None:
                at = _corner(shape) if layer.name == "boundary" else _spot(shape, layer.name == "units")
                write(str(named), at, attributes)
    bounds = np.vstack(corners)
    low = bounds.min(axis=0)
    about = on_layer("NOTES", palette.INK, True)
    row = 0
    for note in notes:
        for line in textwrap.wrap(note, 2 * _MOST_LETTERS):
            place = (float(low[0]), float(low[1]) - 1.5 * (row + 2) * _NAME_M)
            space.add_text(_literal(line), height=_NAME_M, dxfattribs={**about, "insert": place})
            row += 1
    _north(space, bounds, frame, crs, about)
    # ezdxf would name the kinds of what is in the file in the order of a set.
    for kind in sorted({entity.dxftype() for entity in document.entitydb.values()}):
        document.classes.add_class(kind)
    return document


def _layer_name(layer: Layer, values: Mapping[str, Any]) -> tuple[str, bool]:
    """What a layer of the drawing is called, and whether it is on; names of the site are no part of it."""
    if "place" not in values:
        return layer.name.upper(), True
    place = values["place"]
    kind = f"VERDICT-{values['verdict']}".replace("_", "-") if layer.name == "verdicts" else layer.name
    return f"{place:02d}-{kind}".upper(), place == 1 and values.get("verdict") != _LEFT_OFF


def _point(
    space: Any, feature: Feature, point: Any, frame: Frame, crs: pyproj.CRS | None, attributes: dict[str, Any]
) -> None:
    """A mount or a unit, with the way it faces."""
    space.add_point((point.x, point.y), dxfattribs=attributes)
    space.add_circle((point.x, point.y), 0.15, dxfattribs=attributes)
    bearing = feature.values.get("bearing_deg")
    if bearing is not None:
        ahead = feature.shape.x, feature.shape.y
        east, north = direction(float(bearing))
        tip = placed(shapely.Point(ahead[0] + east, ahead[1] + north), frame, crs)
        space.add_line((point.x, point.y), (tip.x, tip.y), dxfattribs=attributes)


def _spot(shape: Any, is_unit: bool) -> Floats:
    """Where a name starts: beside a place, a unit's over its mount's; at a line's end; in an area."""
    if shape.geom_type == "Point":
        return np.array([shape.x + 0.25, shape.y + (0.25 if is_unit else -0.5)])
    if shape.geom_type == "LineString":
        return np.array(shape.coords[-1]) + 0.15
    largest = max(shapely.get_parts(shape), key=lambda part: part.area)
    spot = spot_within(Area("", shapely.get_coordinates(largest.exterior)[:-1]))
    return np.array(spot or largest.bounds[:2])


def _corner(shape: Any) -> Floats:
    """Where the name of a boundary starts: over its north-west corner, for within it would name what is
    there."""
    ends = shapely.get_coordinates(shape)
    return np.array(ends[int(np.argmin(ends[:, 0] - ends[:, 1]))]) + 0.15


def _facts(values: Mapping[str, Any]) -> list[tuple[int, Any]]:
    """What is known of verdict ground, as extended data of its hatch."""
    told = [
        f"{key}: {values[key]}" for key in ("option", "verdict", "layer", "cause", "taken_by") if values[key]
    ]
    cut = [_literal(text).encode()[:_MOST_BYTES].decode(errors="ignore") for text in told]
    return [*((1000, text) for text in cut), (1040, float(values["area_m2"]))]


def _north(
    space: Any, bounds: Floats, frame: Frame, crs: pyproj.CRS | None, attributes: dict[str, Any]
) -> None:
    """An arrow to true north, two metres long, beside the drawing; its letter is upright."""
    foot = np.array([bounds[:, 0].max() + 1.5, bounds[:, 1].max() - 2.0])
    ends = placed(shapely.LineString([(0.0, 0.0), (0.0, 2.0)]), frame, crs)
    start, end = shapely.get_coordinates(ends)
    along = end - start
    across = np.array([along[1], -along[0]])
    tip = foot + along
    arrow = [foot, tip, tip - 0.25 * along + 0.1 * across, tip, tip - 0.25 * along - 0.1 * across]
    space.add_lwpolyline([tuple(point) for point in arrow], dxfattribs=attributes)
    place = (float(tip[0]) - 0.12, float(tip[1]) + 0.15)
    space.add_text("N", height=_NAME_M, dxfattribs={**attributes, "insert": place})


def _literal(text: str) -> str:
    """A text that means itself: what starts a code of DXF is parted from what would follow it.

    >>> _literal("100 %%c ^I \\\\U+0041")
    '100 % %c ^ I \\\\ U+0041'
    """
    for code in ("%%", "\\U+", "\\M+"):
        text = text.replace(code, f"{code[0]} {code[1:]}")
    return text.replace("^", "^ ")
