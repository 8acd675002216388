"""The page of a detector type: its shape on level ground from above and from the side, beside its numbers."""

import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.ticker import MultipleLocator
from matplotlib.transforms import Bbox

from terrain3d import palette
from terrain3d.detector.figures import find_figure
from terrain3d.detector.level import LevelLayer, head_at, level_layers, level_lobe
from terrain3d.detector.types import DetectorType, Fixing, Head
from terrain3d.errors import InputError
from terrain3d.lengths import given, given_figure, in_metres, in_unit, lengths_name, scale_words, tick
from terrain3d.sentences.types import Told, fixing_told, height_words, type_sentence, type_told
from terrain3d.show.blocks import Listing, Row, Section, fill
from terrain3d.show.legend import (
    GROUND_LINE,
    RANGE_SETTING,
    SOLID,
    TURNS_FLAT,
    TURNS_ON_BRACKET,
    UNIT,
    WATCH,
    ZONE_EDGE,
    Sign,
    layer_sign,
)
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.on_picture import HALO, boxes_meet, marked
from terrain3d.show.pages.sheet import COLUMN_LEFT, COLUMN_RIGHT, PICTURE, Place, Sheet
from terrain3d.show.pages.size import HEIGHT_PX, WIDTH_PX
from terrain3d.show.silhouettes import silhouette
from terrain3d.units import Floats

#: Where the plan is beside the housing's close-up, and alone; the close-up; the view from the side.
_PLAN: Place = (PICTURE[0] + 0.015, 0.475, 0.435, 0.4)
_PLAN_ALONE: Place = (PICTURE[0] + 0.015, 0.475, 0.64, 0.4)
_HOUSING: Place = (0.535, 0.645, 0.17, 0.23)
_SIDE: Place = (PICTURE[0] + 0.015, 0.265, 0.64, 0.165)
#: First line of the heights under the view from the side, and from one to the next.
_HEIGHTS, _LINE = 0.216, 0.021
_MOST_LAYERS = 4
#: A heading and a line under it.
_LEAST_ROOM = 0.07
#: Numbers of zones and names of heads stand so far out, as shares of the range.
_ZONE_AT, _HEAD_AT, _MARGIN = 1.04, 1.16, 1.24
#: An arc from above, and the lobe of the microwave.
_ARC = Sign("", fill=palette.BLOCK_SIDE, line=palette.UNIT, strength=0.8)
_LOBE = layer_sign("microwave", "microwave")
#: The wall behind a housing, as shares of what is shown of the housing's place.
_WALL = (-0.26, -0.09)


def check_range(kind: DetectorType, range_m: float | None) -> float:
    """The range setting to be shown: that which is asked for, or the longest of the first head.

    Raises
    ------
    InputError
        When no head has it.
    """
    if range_m is None:
        return max(kind.ranges_of(0))
    if head_at(kind, range_m) is None:
        offered = sorted({r for head in range(len(kind.head)) for r in kind.ranges_of(head)})
        raise InputError(
            f"{kind.name} has no range setting of {given(range_m)}",
            "--range",
            f"it has {', '.join(f'{r:g}' for r in offered)}",
        )
    return range_m


def write_type_page(kind: DetectorType, range_m: float, path: Path) -> Path:
    """Draw the page of a type as a picture; the same type gives the same bytes."""
    with page_style():
        return type_sheet(kind, range_m).save(path)


def type_sheet(kind: DetectorType, range_m: float) -> Sheet:
    """The page of a type; `range_m` is a range setting of one of its heads."""
    page = Sheet()
    head = head_at(kind, range_m) or 0
    page.title(kind.name, f"detector type on level ground  |  {kind.about}")
    page.say(type_sentence(kind, head, range_m))
    has_housing = kind.mounting is not None or kind.anti_masking is not None
    _plan(page, kind, _PLAN if has_housing else _PLAN_ALONE)
    if has_housing:
        _housing(page, kind)
    _side(page, kind, head, range_m)
    page.begin_column(COLUMN_LEFT, COLUMN_RIGHT, PICTURE[1] + PICTURE[3], PICTURE[1])
    _numbers(page, type_told(kind))
    page.key(_signs(kind, head))
    return page


def _numbers(page: Sheet, told: tuple[Told, ...]) -> None:
    """Headings with their rows, as far as there is room; the terminal has all of them."""
    for heading, rows in told:
        if page.room() < _LEAST_ROOM:
            return
        items = tuple((Row(what, (figure,), size="small"),) for what, figure in rows)
        fill(page, [Section(heading, (Listing(items, where="on the terminal"),))])


def _signs(kind: DetectorType, head: int) -> list[Sign]:
    signs = [UNIT, RANGE_SETTING, ZONE_EDGE]
    signs += [layer_sign(layer.name) for layer in kind.head[head].layer[:2]]
    signs += [_LOBE] * (kind.microwave is not None)
    if kind.mounting is not None:
        signs += [TURNS_FLAT] + [TURNS_ON_BRACKET] * (kind.mounting.bracket is not None)
    signs += [WATCH] * (kind.anti_masking is not None)
    return signs


def fan(middle_deg: float, arc_deg: float, radius_m: float, inner_m: float = 0.0) -> Floats:
    """(n, 2) outline of a fan about a direction, clockwise from straight ahead, which is up.

    >>> fan(0.0, 90.0, 2.0)[[0, 1, -1]].round(3).tolist()
    [[0.0, 0.0], [-1.414, 1.414], [1.414, 1.414]]
    """
    angles = np.radians(middle_deg + np.linspace(-arc_deg / 2, arc_deg / 2, max(round(arc_deg), 2) + 1))
    ring = np.column_stack([np.sin(angles), np.cos(angles)])
    foot = inner_m * ring[::-1] if inner_m else np.zeros((0 if arc_deg >= 360 else 1, 2))
    return np.vstack([foot, radius_m * ring])


def _ray(angle_deg: float, lengths: tuple[float, float]) -> Floats:
    angle = math.radians(angle_deg)
    return np.outer(lengths, [math.sin(angle), math.cos(angle)])


def _plan(page: Sheet, kind: DetectorType, place: Place) -> None:
    """From above, straight ahead up: arcs with their zones and range settings, and the microwave's lobe."""
    axes = page.picture_axes(place)
    reach = kind.max_range
    outlines = [fan(head.pan, head.arc, _MARGIN * reach) for head in kind.head]
    if kind.microwave is not None:
        lobe = fan(0.0, kind.microwave.arc, kind.microwave.range)
        outlines.append(lobe * 1.02)
        axes.add_patch(Polygon(lobe, zorder=2, **_LOBE.patch))
        axes.add_patch(Polygon(lobe, zorder=5, **{**_LOBE.rim, "linewidth": 1.2}))
    _fit(axes, place, np.vstack([*outlines, [[0.0, -0.05 * reach]]]))
    names, ranges, zones = [], [], []
    for number, head in enumerate(kind.head, 1):
        outline = fan(head.pan, head.arc, reach)
        axes.add_patch(Polygon(outline, zorder=1, **_ARC.patch))
        axes.add_patch(Polygon(outline, zorder=6, **{**_ARC.rim, "linewidth": UNIT.width}))
        zones += _zones(axes, head, reach)
        for range_m in kind.ranges_of(number - 1):
            ring = fan(head.pan, head.arc, range_m)[0 if head.arc >= 360 else 1 :]
            if range_m < reach:
                axes.plot(*ring.T, zorder=4, **RANGE_SETTING.stroke)
            if range_m < 0.97 * reach:
                ranges.append((head.pan, range_m, given_figure(range_m)))
        if len(kind.head) > 1:
            names.append((head.pan, _HEAD_AT * reach, f"head {number}"))
    written = _write(axes, names, [], fontsize=7.5, weight="bold")
    written = _write(axes, ranges, written, fontsize=7, path_effects=HALO)
    _write(axes, zones, written, fontsize=6.8)
    marked(axes, np.zeros(2), UNIT, 10)
    _metres(axes)
    _caption(page, place, f"from above, straight ahead is up: range settings in {lengths_name()}")


def _fit(axes: Axes, place: Place, points: Floats) -> None:
    """Show all points, metres alike both ways, in the middle of a place."""
    low, high = points.min(axis=0), points.max(axis=0)
    aspect = place[2] * WIDTH_PX / (place[3] * HEIGHT_PX)
    wide, tall = high - low
    more = (np.array([max(wide, aspect * tall), max(tall, wide / aspect)]) - (high - low)) / 2
    low, high = low - more, high + more
    axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]))


def _zones(axes: Axes, head: Head, reach: float) -> list[tuple[float, float, str]]:
    """Draw the edges of the zones that are numbered; returns the numbers and where they go."""
    edges = head.pan + np.linspace(-head.arc / 2, head.arc / 2, head.zones + 1)
    for edge in edges[1:-1]:
        axes.plot(*_ray(edge, (0.0, reach)).T, zorder=3, **ZONE_EDGE.stroke)
    middles = (edges[:-1] + edges[1:]) / 2
    return [(float(at), _ZONE_AT * reach, str(zone)) for zone, at in enumerate(middles, 1)]


def _write(axes: Axes, texts: list[tuple[float, float, str]], taken: list[Bbox], **look: Any) -> list[Bbox]:
    """Write texts at a direction and a distance each, but those that would cover one that is there."""
    for angle, distance, text in texts:
        x, y = _ray(angle, (distance, 0.0))[0]
        artist = axes.text(x, y, text, ha="center", va="center", zorder=9, **look)
        box = artist.get_window_extent().padded(2.0)
        if any(boxes_meet(box, other) for other in taken):
            artist.remove()
        else:
            taken = [*taken, box]
    return taken


def _metres(axes: Axes, most: int = 16) -> None:
    """Metres along both sides, at so many places at most."""
    span = axes.get_xlim()[1] - axes.get_xlim()[0]
    step = next(s for s in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100) if in_unit(span) / s <= most)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MultipleLocator(in_metres(step)))
        axis.set_major_formatter(scale_words(tick))
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)


def _caption(page: Sheet, place: Place, text: str) -> None:
    (line,) = page.lines(text, place[2], 7.5, 1)
    page.text(place[0], place[1] + place[3] + 0.008, line, 7.5, va="baseline", color=palette.QUIET_INK)


def _housing(page: Sheet, kind: DetectorType) -> None:
    """The housing on its wall, close up: how far it turns, and what its watch needs free."""
    axes = page.picture_axes(_HOUSING)
    watch = kind.anti_masking
    length = 1.35 * watch.reach if watch is not None else 0.5
    limits: list[tuple[Fixing, Sign]] = [] if kind.mounting is None else [(kind.mounting, TURNS_FLAT)]
    if kind.mounting is not None and kind.mounting.bracket is not None:
        limits.append((kind.mounting.bracket, TURNS_ON_BRACKET))
    corners = [[-1.05 * length, _WALL[0] * length], [1.05 * length, 1.05 * length]]
    if watch is not None and watch.arc > 180:
        corners.append([0.0, -1.05 * watch.reach])
    _fit(axes, _HOUSING, np.array(corners))
    (left, right), (bottom, _) = axes.get_xlim(), axes.get_ylim()
    wall = [[left, bottom], [right, bottom], [right, _WALL[1] * length], [left, _WALL[1] * length]]
    axes.add_patch(Polygon(wall, facecolor=SOLID.fill, edgecolor=SOLID.line, linewidth=SOLID.width, zorder=2))
    if watch is not None:
        outline = fan(0.0, watch.arc, watch.reach)
        axes.add_patch(Polygon(outline, zorder=3, **WATCH.patch))
        axes.add_patch(Polygon(outline, zorder=4, **WATCH.rim))
    for turns, sign in limits:
        for side in (-1, 1):
            axes.plot(*_ray(side * turns.swivel, (0.0, length)).T, zorder=6, **sign.stroke)
    marked(axes, np.zeros(2), UNIT, 10)
    _metres(axes, 8)
    _caption(page, _HOUSING, "on a wall, close up")
    page.begin_column(_HOUSING[0] - 0.02, _HOUSING[0] + _HOUSING[2], _HOUSING[1] - 0.035, 0.45)
    _numbers(page, fixing_told(kind))


def _side(page: Sheet, kind: DetectorType, head: int, range_m: float) -> None:
    """From the side, straight ahead of a head: layers, microwave, a person at the range setting, heights."""
    axes = page.picture_axes(_SIDE)
    layers, lobe = level_layers(kind, head, range_m), level_lobe(kind)
    end = max(kind.max_range, kind.reach_m)
    left, right = -0.16 * end, 1.05 * end
    tops = [layer.at(d, 1.0) for layer in layers for d in np.linspace(0.0, kind.max_range, 60)]
    top = min(max(np.nanmax(tops), 2.0) + 0.25, 4.0)
    axes.set(xlim=(left, right), ylim=(-0.12 * top, top))
    if lobe is not None:
        _body(axes, lobe, _LOBE)
    for layer in layers:
        _body(axes, layer, layer_sign(layer.name))
    for outline in silhouette(find_figure("person")):
        axes.add_patch(
            Polygon(
                np.add(outline, (range_m, 0.0)),
                facecolor=palette.FIGURE,
                edgecolor="white",
                linewidth=0.5,
                zorder=7,
            )
        )
    axes.plot([left, right], [0, 0], color=GROUND_LINE.line, linewidth=GROUND_LINE.width, zorder=6)
    axes.plot([0, 0], [0, kind.nominal_height], color=palette.POLE, linewidth=3, zorder=7)
    marked(axes, np.array([0.0, kind.nominal_height]), UNIT, 9)
    step = in_metres(next(s for s in (1, 2, 4, 5, 10, 20, 50) if in_unit(end) / s <= 7))
    axes.xaxis.set_major_locator(MultipleLocator(step))
    axes.yaxis.set_major_locator(MultipleLocator(in_metres(0.5 if in_unit(top) <= 4 else 1.0)))
    axes.xaxis.set_major_formatter(scale_words(lambda value: given(value) if value >= 0 else ""))
    axes.yaxis.set_major_formatter(scale_words(lambda value: given(value) if value >= 0 else ""))
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
    stretch = (_SIDE[3] * HEIGHT_PX / (1.12 * top)) / (_SIDE[2] * WIDTH_PX / (right - left))
    of_head = f" of head {head + 1}" if len(kind.head) > 1 else ""
    view = f"from the side, straight ahead{of_head}, set to {given(range_m)}"
    view = f"{view}, heights stretched {stretch:.1f} times"
    _caption(page, _SIDE, f"{view}; a person stands at the range setting")
    _heights(page, layers, lobe, (left, right), step, end)


def _body(axes: Axes, layer: LevelLayer, sign: Sign) -> None:
    """A layer between its edges, over the ground and within its reach; its axis dashed."""
    angles = np.radians(layer.elevation_deg + layer.thickness_deg / 2 * np.linspace(-1, 1, 41))
    rim = layer.reach_m * np.column_stack([np.cos(angles), np.sin(angles)])
    # What would be in the ground ends on it.
    under = rim[:, 1] < -layer.height_m
    rim[under] *= (layer.height_m / -rim[under, 1])[:, None]
    body = np.add(np.vstack([[0.0, 0.0], rim]), (0.0, layer.height_m))
    axes.add_patch(Polygon(body, zorder=3, **sign.patch))
    axes.add_patch(Polygon(body, zorder=4, **{**sign.rim, "linewidth": 0.9}))
    end = rim[20]
    axes.plot(
        [0.0, end[0]],
        np.array([0.0, end[1]]) + layer.height_m,
        color=sign.line,
        lw=0.9,
        ls=(0, (7, 3)),
        zorder=5,
    )


def _heights(
    page: Sheet,
    layers: tuple[LevelLayer, ...],
    lobe: LevelLayer | None,
    sides: tuple[float, float],
    step: float,
    end: float,
) -> None:
    """Under the metres of the view from the side: how high each layer is there, its axis and its edges."""
    rows = [*layers, *([lobe] if lobe is not None else [])][:_MOST_LAYERS]
    distances = np.arange(step, end + 1e-9, step)
    for row, layer in enumerate(rows):
        y = _HEIGHTS - row * _LINE
        (name,) = page.lines(layer.name, 0.07, 7, 1)
        page.left = _SIDE[0]
        page.swatch(y, layer_sign(layer.name))
        page.text(_SIDE[0] + 0.029, y, name, 7, va="baseline")
        for distance in distances:
            x = _SIDE[0] + _SIDE[2] * (distance - sides[0]) / (sides[1] - sides[0])
            page.text(x, y, height_words(layer, float(distance)), 6.6, ha="center", va="baseline")
    note = f"height over the ground in {lengths_name()}: axis, and from its lower edge to its upper"
    page.text(_SIDE[0], _HEIGHTS - len(rows) * _LINE, note, 6.6, va="baseline", color=palette.QUIET_INK)
