"""The plan of an option as SVG, to scale on its sheet: north up, millimetres of paper."""

import unicodedata
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import shapely

from terrain3d import palette
from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import VERDICT_KEYS, Verdict
from terrain3d.job import Outcome
from terrain3d.lengths import area_words, given, in_metres, length_unit
from terrain3d.pack.layers import Feature, Layer
from terrain3d.sentences.paper import foot_words
from terrain3d.sentences.walked import walked_briefly
from terrain3d.sentences.words import figure_words, place_in_ranking
from terrain3d.show.extent import Extent, site_extent, whole_cells
from terrain3d.show.legend import (
    BOUNDARY,
    FOLIAGE,
    LEAST_LIKELY,
    PROTECTED,
    SOLID,
    UNIT,
    Sign,
    verdict_sign,
)
from terrain3d.show.shapes import spot_within
from terrain3d.terrain import Area
from terrain3d.units import Floats

#: The sheet (A3, lying), its margin, the column at its right, what is over and under the plan, millimetres.
_WIDTH, _HEIGHT, _MARGIN, _COLUMN, _HEAD, _FOOT = 420.0, 297.0, 12.0, 92.0, 20.0, 16.0
#: Denominators of scales that people have on a ruler.
SCALES = (20, 25, 50, 100, 200, 250, 500, 1000, 2000, 2500, 5000, 10000)
#: Millimetres of type: a title, a name, the small print; and of a point of a line.
_TITLE, _NAME, _SMALL, _POINT = 6.0, 3.2, 2.6, 25.4 / 72
#: Letters of a line of a name, and how wide one is at most, sizes of type.
_NAME_LETTERS, _LETTER = 34, 0.65
#: Keeps an edge of a cell from touching the next one by rounding.
_HAIR_M = 1e-6
_FAMILY = "DejaVu Sans, Noto Sans, Liberation Sans, sans-serif"
#: Layers from the ground up, each with its sign.
_SIGNS = {
    "foliage": FOLIAGE, "solids": SOLID, "boundary": BOUNDARY, "arcs": UNIT, "protected": PROTECTED,
    "routes": LEAST_LIKELY,
}  # fmt: skip


def scale_for(width_m: float, depth_m: float) -> int:
    """The denominator of the largest scale at which a plan fits its place on the sheet.

    >>> scale_for(30.0, 34.0), scale_for(3000.0, 20.0)
    (200, 10000)
    """
    room_x, room_y = _room()
    needed = max(1000 * width_m / room_x, 1000 * depth_m / room_y)
    return next((scale for scale in SCALES if scale >= needed), SCALES[-1])


def _room() -> tuple[float, float]:
    return _WIDTH - 3 * _MARGIN - _COLUMN, _HEIGHT - 2 * _MARGIN - _HEAD - _FOOT


def _shown(outcome: Outcome) -> tuple[Extent, int]:
    """What the plan shows and its scale: the site, and as much ground about it as there is room for."""
    ground = outcome.terrain.ground
    tight = site_extent(outcome)
    # A cell more, for whole cells are shown.
    scale = scale_for(tight.width_m + ground.cell_m, tight.depth_m + ground.cell_m)
    wide, deep = (side * scale / 1000 - 2 * ground.cell_m for side in _room())
    x, y = tight.centre
    floor_x, floor_y, end_x, end_y = ground.bounds
    # A hair less, or rounding would take in one more row of cells.
    return whole_cells(
        ground,
        min(tight.west, max(floor_x, x - wide / 2)) + _HAIR_M,
        min(tight.south, max(floor_y, y - deep / 2)) + _HAIR_M,
        max(tight.east, min(end_x, x + wide / 2)) - _HAIR_M,
        max(tight.north, min(end_y, y + deep / 2)) - _HAIR_M,
    ), scale


def svg_bytes(outcome: Outcome, layers: tuple[Layer, ...], option: OptionResult) -> bytes:
    """The bytes of an SVG file; the same layers give the same bytes.

    Parameters
    ----------
    outcome : Outcome
    layers : tuple of Layer
    option : OptionResult
        The one that is shown.
    """
    extent, scale = _shown(outcome)
    mm = 1000 / scale
    left, top = _MARGIN, _MARGIN + _HEAD
    width, depth = extent.width_m * mm, extent.depth_m * mm

    def on_paper(points: Floats) -> Floats:
        return np.column_stack(
            [left + (points[:, 0] - extent.west) * mm, top + (extent.north - points[:, 1]) * mm]
        )

    root = ET.Element(
        "svg", xmlns="http://www.w3.org/2000/svg", version="1.1", width=f"{_WIDTH:g}mm",
        height=f"{_HEIGHT:g}mm", viewBox=f"0 0 {_WIDTH:g} {_HEIGHT:g}", role="img",
    )  # fmt: skip
    root.set("font-family", _FAMILY)
    title = f"{option.name}: plan, 1:{scale}"
    _add(root, "title", text=title)
    _add(root, "desc", text=SHORT_CAUTION)
    _patterns(root, (left, top, width, depth))
    _add(root, "rect", width=_WIDTH, height=_HEIGHT, fill=palette.PAPER)
    plan = _add(root, "g", id="plan")
    plan.set("clip-path", "url(#frame)")
    shown = {layer.name: [one for one in layer.features if _is_of(one, option)] for layer in layers}
    for feature in shown.get("verdicts", ()):
        sign = verdict_sign(_CODES[str(feature.values["verdict"])])
        _area(plan, on_paper, feature.shape, sign, str(feature.values["verdict"]))
    names = _add(root, "g", id="names")
    for name, sign in _SIGNS.items():
        group = _add(plan, "g", id=name)
        for feature in shown.get(name, ()):
            if name == "routes":
                _line(group, on_paper, feature, sign)
            else:
                masked = feature.values.get("state") == "masked"
                _area(group, on_paper, feature.shape, sign, name, masked)
            if name in ("solids", "foliage", "protected"):
                at = on_paper(_spot(feature.shape))[0]
                if left < at[0] < left + width and top < at[1] < top + depth:
                    _name(names, str(feature.values["name"]), at, (left, top, width, depth))
    for feature in shown.get("units", ()):
        _unit(names, on_paper, feature)
    _add(root, "rect", x=left, y=top, width=width, height=depth, fill="none", stroke=palette.INK, **_hair())
    _head(root, outcome, option, scale)
    _column(root, option, scale, {key: bool(value) for key, value in shown.items()}, left + width + _MARGIN)
    ET.indent(root, " ")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + bytes(ET.tostring(root, "utf-8")) + b"\n"


_CODES = {key: int(verdict) for verdict, key in VERDICT_KEYS.items()}


def _is_of(feature: Feature, option: OptionResult) -> bool:
    return feature.values.get("option", option.name) == option.name


def _hair() -> dict[str, Any]:
    return {"stroke-width": _number(0.6 * _POINT)}


def _patterns(root: ET.Element, frame: tuple[float, float, float, float]) -> None:
    """Stripes of the verdicts, and what the plan is cut to."""
    defs = _add(root, "defs")
    left, top, width, depth = frame
    cut = _add(defs, "clipPath", id="frame")
    _add(cut, "rect", x=left, y=top, width=width, height=depth)
    signs = [(key, verdict_sign(verdict)) for verdict, key in VERDICT_KEYS.items()]
    for name, sign in (*signs, ("solids", SOLID), ("foliage", FOLIAGE)):
        stripe = sign.stripe
        if not stripe.hatch:
            continue
        pattern = _add(
            defs, "pattern", id=f"{name}-stripe", width=1.6, height=1.6, patternUnits="userSpaceOnUse"
        )
        turn = {1: 45, -1: -45}.get(stripe.slant, 0)
        pattern.set("patternTransform", f"rotate({turn})")
        if stripe.hatch[0] == ".":
            _add(pattern, "circle", cx=0.8, cy=0.8, r=0.22, fill=stripe.colour)
            continue
        _add(pattern, "rect", y=0.6, width=1.6, height=0.3, fill=stripe.colour)
        if stripe.hatch[0] == "x":
            _add(pattern, "rect", x=0.6, width=0.3, height=1.6, fill=stripe.colour)


def _area(into: ET.Element, on_paper: Any, shape: Any, sign: Sign, name: str, masked: bool = False) -> None:
    """Filled where its sign is; then its stripes; then its edge."""
    path = " ".join(
        "M" + " L".join(f"{x:.3f},{y:.3f}" for x, y in on_paper(np.asarray(ring.coords)[:-1])) + " Z"
        for part in shapely.get_parts(shape)
        for ring in (part.exterior, *part.interiors)
    )
    fills = []
    if sign.fill and sign.strength:
        fills.append(sign.fill)
    if sign.stripe.hatch:
        fills.append(f"url(#{name}-stripe)")
    for fill in fills:
        drawn = _add(into, "path", d=path, fill=fill)
        drawn.set("fill-rule", "evenodd")
        if fill == sign.fill and sign.strength < 1:
            drawn.set("fill-opacity", _number(sign.strength))
    if name not in VERDICT_KEYS.values():
        edge = _add(into, "path", d=path, fill="none", stroke=sign.line)
        edge.set("stroke-width", _number(sign.width * _POINT))
        dashes = (1.5, 1.5) if masked else sign.dashes
        if dashes:
            edge.set("stroke-dasharray", " ".join(_number(one * sign.width * _POINT) for one in dashes))


def _line(into: ET.Element, on_paper: Any, feature: Feature, sign: Sign) -> None:
    """A way in, with its letter where it starts."""
    points = on_paper(shapely.get_coordinates(feature.shape))
    path = "M" + " L".join(f"{x:.3f},{y:.3f}" for x, y in points)
    for colour, width in ((palette.PAPER, sign.width + 1.6), (sign.line, sign.width)):
        drawn = _add(into, "path", d=path, fill="none", stroke=colour)
        drawn.set("stroke-width", _number(width * _POINT))
        drawn.set("stroke-linejoin", "round")
    _write(into, str(feature.values["letter"]), points[0][0] + 1.2, points[0][1] - 1.2, _NAME, 4)


def _unit(into: ET.Element, on_paper: Any, feature: Feature) -> None:
    (x, y), mark = on_paper(shapely.get_coordinates(feature.shape))[0], UNIT.mark
    rim = _add(into, "circle", cx=x, cy=y, r=mark.size / 2 * _POINT, fill=mark.fill, stroke=mark.rim)
    rim.set("stroke-width", _number(mark.rim_width * _POINT))
    _add(into, "circle", cx=x, cy=y, r=mark.dot / 2 * _POINT, fill=mark.rim)
    values = feature.values
    told = (
        f"{values['name']}: {given(float(values['height_m'] or 0.0))} high, facing {values['bearing_deg']:g}°"
    )
    _write(into, told, x + 2.6, y + 1.1, _NAME, 40)


def _head(root: ET.Element, outcome: Outcome, option: OptionResult, scale: int) -> None:
    place = place_in_ranking(outcome, option)
    tested = outcome.site.walk_tested(option.name)
    _write(root, option.name, _MARGIN, _MARGIN + _TITLE, _TITLE, 78, most=1)
    told = [
        outcome.site_name,
        f"plan, north up, 1:{scale} on A3",
        f"figure: {figure_words(outcome.figure)}",
        place,
        "" if tested is None else walked_briefly(tested),
    ]
    _write(root, "  |  ".join(text for text in told if text), _MARGIN, _MARGIN + 13.0, _NAME, 150, most=2)
    foot = _HEIGHT - _MARGIN
    _write(root, SHORT_CAUTION, _MARGIN, foot - 8.0, _SMALL, 240, most=2)
    _write(root, foot_words(outcome.site), _MARGIN, foot, _SMALL, 240, most=1)


def _column(
    root: ET.Element, option: OptionResult, scale: int, is_there: dict[str, bool], left: float
) -> None:
    """North, scale bar and key, beside the plan."""
    y = _MARGIN + _HEAD
    _add(root, "path", d=f"M{left + 4:g},{y:g} l3,10 l-3,-2.4 l-3,2.4 Z", fill=palette.INK)
    _write(root, "N", left + 10.0, y + 7.0, 5.0, 2)
    y += 20.0
    step = next(
        one
        for one in (1000, 500, 200, 100, 50, 20, 10, 5, 2, 1, 0.5)
        if in_metres(one) * 2000 / scale <= _COLUMN - 12
    )
    mm = in_metres(step) * 1000 / scale
    for k, colour in enumerate((palette.INK, palette.PAPER)):
        _add(
            root,
            "rect",
            x=left + k * mm,
            y=y,
            width=mm,
            height=2.0,
            fill=colour,
            stroke=palette.INK,
            **_hair(),
        )
    for k in range(3):
        _write(
            root,
            f"{k * step:g}" + (f" {length_unit()}" if k == 2 else ""),
            left + k * mm,
            y + 6.0,
            _SMALL,
            8,
            "middle",
        )
    y += 16.0
    for verdict, key in VERDICT_KEYS.items():
        sign = verdict_sign(verdict)
        area_m2 = "" if verdict == Verdict.OUTSIDE else f": {area_words(option.area_m2[key])}"
        _swatch(root, left, y, sign, key)
        _write(root, f"{sign.text}{area_m2}", left + 12.0, y + 4.0, _NAME, 44)
        y += 8.0
    for name, sign in _SIGNS.items():
        if is_there.get(name):
            _swatch(root, left, y, sign, name)
            _write(root, "way in" if name == "routes" else sign.text, left + 12.0, y + 4.0, _NAME, 44)
            y += 8.0


def _swatch(root: ET.Element, left: float, top: float, sign: Sign, name: str) -> None:
    box = shapely.MultiPolygon([shapely.box(left, top, left + 8.0, top + 5.0)])
    if name in ("arcs", "routes", "boundary", "protected"):
        drawn = _add(root, "path", d=f"M{left:g},{top + 2.5:g} h8", fill="none", stroke=sign.line)
        drawn.set("stroke-width", _number(sign.width * _POINT))
        if sign.dashes:
            drawn.set("stroke-dasharray", " ".join(_number(one * sign.width * _POINT) for one in sign.dashes))
        return
    _area(root, lambda points: points, box, sign, name)
    if name in VERDICT_KEYS.values():
        _add(root, "rect", x=left, y=top, width=8.0, height=5.0, fill="none", stroke=sign.line, **_hair())


def _spot(shape: Any) -> Floats:
    largest = max(shapely.get_parts(shape), key=lambda part: part.area)
    spot = spot_within(Area("", shapely.get_coordinates(largest.exterior)[:-1]))
    return np.array([spot or largest.bounds[:2]])


def _name(into: ET.Element, text: str, at: Floats, frame: tuple[float, float, float, float]) -> None:
    """What a thing is called, in its middle, or as near to it as lies whole in the frame."""
    left, top, width, depth = frame
    lines = _lines(text, _NAME_LETTERS)
    half = _LETTER * _NAME * max(map(_columns, lines)) / 2
    below = 1.2 * _NAME * (len(lines) - 1)
    x = min(max(at[0], left + half), left + width - half)
    y = min(max(at[1], top + 1.2 * _NAME), top + depth - below - 0.4 * _NAME)
    _write(into, text, x, y, _NAME, _NAME_LETTERS, "middle")


def _write(
    into: ET.Element,
    text: str,
    x: float,
    y: float,
    size: float,
    width: int,
    anchor: str = "start",
    most: int = 4,
) -> None:
    """A text in lines of so many letters, with a halo of paper; letters of twice the width count twice."""
    for row, line in enumerate(_lines(text, width)[:most]):
        drawn = _add(into, "text", line, x=x, y=y + 1.2 * size * row, fill=palette.INK)
        drawn.set("font-size", _number(size))
        drawn.set("text-anchor", anchor)
        drawn.set("stroke", palette.PAPER)
        drawn.set("stroke-width", _number(size / 6))
        drawn.set("paint-order", "stroke")


def _lines(text: str, width: int) -> list[str]:
    """A text broken between words, and within one that is longer than a line.

    >>> _lines("the yard behind the house", 9), _lines("abcdefghijkl", 5)
    (['the yard', 'behind', 'the house'], ['abcde', 'fghij', 'kl'])
    """
    lines = [""]
    for word in text.split(" "):
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if _columns(joined) <= width:
            lines[-1] = joined
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if lines[-1] and _columns(lines[-1] + letter) > width:
                lines.append("")
            lines[-1] += letter
    return [line for line in lines if line]


def _columns(text: str) -> int:
    return sum(2 if unicodedata.east_asian_width(letter) in "WF" else 1 for letter in text)


def _number(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _add(parent: ET.Element, tag: str, text: str | None = None, **attributes: Any) -> ET.Element:
    """An element within another; numbers to a thousandth of a millimetre."""
    child = ET.SubElement(parent, tag)
    child.text = text
    for name, value in attributes.items():
        child.set(name, _number(float(value)) if isinstance(value, (int, float)) else str(value))
    return child
