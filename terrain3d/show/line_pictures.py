"""Small pictures in black on white for pages that are set in type: a plan and a section of one unit, as SVG.

They are meant for one ink and wet paper: lines and grey, no colours, no letter smaller than ten points.
"""

import io
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.text import Text

from terrain3d.cover.sighted import SightedUnit
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.fixing.places import known_places
from terrain3d.fixing.unit import UnitFixing
from terrain3d.job import Outcome
from terrain3d.lengths import given, in_metres, in_unit, length
from terrain3d.sentences.along import stretch_note
from terrain3d.show.labels import Box, free_spot, meet, set_apart
from terrain3d.show.lettering import draw_as_meant, fitted_lines, line_width, page_style
from terrain3d.survey.solids import footprints
from terrain3d.terrain import Terrain
from terrain3d.units import Floats, direction
from terrain3d.walktest.plan import WalkPoint

_MM = 1 / 25.4
_INK, _GREY, _PALE = "black", "0.55", "0.86"
#: A section is drawn so many times higher than it is, to show what a tilt does; less where ground is steep.
_HIGHER = 2.0
#: Letters, points: what an installer needs is read on wet paper. A line of them is so high.
_LETTERS, _LINE = 10.0, 13.0
#: Widest that a name is written, sizes of its type.
_NAME = 13.0
#: The disc of a number of a walk test, points.
_DISC = 10.5
#: How far from its place a name is tried, points; a line leads to one that stands off.
_GAPS = (5.0, 16.0, 30.0, 48.0, 70.0)
#: An arrow of a walk is drawn so long at least, points from its middle, or its number would cover it.
_HALF_ARROW = 19.0
#: A place nearer to a unit than this is where it hangs, metres.
_AT_UNIT_M = 0.05
#: Metres around what a plan shows.
_ROOM_M = 1.5
#: A mark that a unit is aimed by is drawn where it is within so many times the unit's reach.
_NEAR_AIM = 1.5
#: A figure nearer to a unit than this is not drawn in its section: it would cover the pole, metres.
_BEFORE_M = 0.5
#: The part of a picture that its frame leaves.
_INSET = 0.003
#: In what these pictures are not as pages are.
_STYLE: dict[Any, Any] = {
    "font.size": _LETTERS, "text.color": _INK, "axes.edgecolor": _INK, "hatch.linewidth": 0.5,
    "svg.fonttype": "path", "svg.hashsalt": "terrain3d",
}  # fmt: skip


@dataclass(frozen=True)
class _Label:
    """Words beside a place in data coordinates; `prefer` is the side that is tried first, (0, 0) on it."""

    x: float
    y: float
    words: str
    prefer: tuple[float, float] = (1.0, 0.0)


@contextmanager
def _picture(width_mm: float, height_mm: float) -> Iterator[tuple[Any, list[str]]]:
    """A figure with one pair of axes; its SVG is put into the list when the block ends."""
    told: list[str] = []
    with page_style(), mpl.rc_context(_STYLE):
        figure = Figure(figsize=(width_mm * _MM, height_mm * _MM))
        axes = figure.add_axes((_INSET, _INSET, 1 - 2 * _INSET, 1 - 2 * _INSET))
        yield axes, told
        draw_as_meant(figure.findobj(Text))
        text = io.StringIO()
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
        told.append(text.getvalue())


def unit_plan_svg(
    outcome: Outcome, one: SightedUnit, fixing: UnitFixing, width_mm: float = 88.0, height_mm: float = 71.0
) -> str:
    """A plan of one unit: what it holds, where it looks, the two tapes, what it is aimed by, what stands
    there. North is up."""
    terrain, unit = outcome.terrain, one.unit
    at = unit.x, unit.y
    reach = max(unit.range_of(head) for head in range(len(unit.type.head)))
    places = [(tape, _away(at, tape.bearing_deg + 180, tape.level_m)) for tape in fixing.tapes]
    aim = None
    if fixing.mark is not None and fixing.mark.distance_m <= _NEAR_AIM * reach:
        aim = _away(at, fixing.mark.bearing_deg, fixing.mark.distance_m)
    arcs = [
        _arc(unit, math.degrees(math.atan2(posed.forward[0], posed.forward[1])), posed.arc_deg,
        unit.range_of(head)) for head, posed in enumerate(posed_heads(unit))
    ]  # fmt: skip
    shown = np.vstack([*arcs, *(place for _, place in places), at, *([] if aim is None else [aim])])
    with _picture(width_mm, height_mm) as (axes, told):
        _frame(axes, shown[:, 0].tolist(), shown[:, 1].tolist(), width_mm / height_mm)
        _ground(axes, terrain, one, outcome.figure.height_m)
        for arc in arcs:
            axes.plot(*arc.T, color=_INK, lw=0.9)
        labels = [_Label(*at, unit.name)]
        facing = _away(at, unit.bearing_deg, 0.45 * reach)
        axes.annotate("", facing, at, arrowprops={"arrowstyle": "-|>", "lw": 1.2, "color": _INK})
        for tape, (x, y) in places:
            axes.plot([x, unit.x], [y, unit.y], color=_INK, lw=0.8, ls=(0, (4, 2)))
            axes.plot(x, y, "^", color=_INK, ms=6)
            labels.append(_Label(x, y, tape.name))
            labels.append(_Label((x + unit.x) / 2, (y + unit.y) / 2, length(tape.tape_m, 2), (0.0, 0.0)))
        if fixing.mark is not None and aim is not None:
            axes.plot(*zip(at, aim, strict=True), color=_INK, lw=0.8, ls=(0, (1, 2)))
            axes.plot(*aim, "^", color=_INK, mfc="white", ms=6)
            if fixing.mark.name not in {tape.name for tape, _ in places}:
                labels.append(_Label(*aim, fixing.mark.name))
        axes.plot(*at, "o", color=_INK, ms=5)
        lines = [[at, (x, y)] for _, (x, y) in places] + [[at, facing]]
        _write(axes, labels, _north_and_scale(axes, [at, *(place for _, place in places)]), lines)
    return told[0]


def walk_plan_svg(
    outcome: Outcome, one: SightedUnit, points: Sequence[WalkPoint], width_mm: float, height_mm: float
) -> str:
    """A plan of the points of a walk test of one unit, each with an arrow the way it is walked. North is
    up."""
    terrain = outcome.terrain
    with _picture(width_mm, height_mm) as (axes, told):
        names = {point.taped.name for point in points}
        places = [place for place in known_places(terrain) if place.name in names]
        xs = [one.unit.x, *(point.x for point in points), *(place.x for place in places)]
        ys = [one.unit.y, *(point.y for point in points), *(place.y for place in places)]
        _frame(axes, xs, ys, width_mm / height_mm)
        _ground(axes, terrain, one, outcome.figure.height_m)
        axes.plot(one.unit.x, one.unit.y, "o", color=_INK, ms=6)
        labels = [_Label(one.unit.x, one.unit.y, one.unit.name)]
        for place in places:
            if math.hypot(place.x - one.unit.x, place.y - one.unit.y) >= _AT_UNIT_M:
                axes.plot(place.x, place.y, "^", color=_INK, ms=6)
            labels.append(_Label(place.x, place.y, place.name, (-1.0, 0.0)))
        shortest_m = _HALF_ARROW * _metres_a_point(axes)
        for point in points:
            half = max(point.length_m / 2, shortest_m)
            ends = [_away((point.x, point.y), point.towards_deg, by) for by in (half, -half)]
            arrow = {"arrowstyle": "-|>", "lw": 1.1, "color": _INK, "shrinkA": 0, "shrinkB": 0}
            axes.annotate("", ends[0], ends[1], arrowprops=arrow)
        taken = _north_and_scale(axes, [(label.x, label.y) for label in labels])
        wanted = [_in_points(axes, point.x, point.y) for point in points]
        room = (0.0, 0.0, *_size_in_points(axes))
        for point, was, disc in zip(points, wanted, set_apart(wanted, _DISC, room), strict=True):
            off = disc[0] - was[0], disc[1] - was[1]
            if math.hypot(*off) > 1.0:
                axes.plot(point.x, point.y, "o", color=_INK, ms=3.5, zorder=5)
            axes.annotate(
                str(point.number), (point.x, point.y), off, textcoords="offset points", ha="center",
                va="center_baseline", fontsize=_LETTERS, weight="bold", zorder=6,
                color="white" if point.lights else _INK,
                bbox={"boxstyle": "circle,pad=0.16", "fc": _INK if point.lights else "white", "ec": _INK,
                "lw": 0.9}, arrowprops={"arrowstyle": "-", "lw": 0.7, "color": _INK, "shrinkB": 0},
            )  # fmt: skip
            taken.append((disc[0] - _DISC, disc[1] - _DISC, disc[0] + _DISC, disc[1] + _DISC))
        _write(axes, labels, taken)
    return told[0]


def unit_section_svg(
    outcome: Outcome, fixing: UnitFixing, width_mm: float = 88.0, height_mm: float = 71.0
) -> str:
    """A section along the middle of a unit's first head: ground, axes, and where a staff is to be stood."""
    unit, aim = fixing.unit, fixing.aims[0]
    ground = outcome.terrain.ground
    east, north = direction(aim.bearing_deg)
    reach = max(unit.range_of(0), 4.0)
    along = np.linspace(-1.0, reach + 1.0, 240)
    z = ground.height_at(unit.x + along * east, unit.y + along * north) - unit.ground_z
    posed = posed_heads(unit)[0]
    with _picture(width_mm, height_mm) as (axes, told):
        known = np.isfinite(z)
        low, high = float(np.min(z[known], initial=0.0)), float(np.max(z[known], initial=0.0))
        top = max(unit.height_m, high) + 1.2
        bottom = low - 0.8
        middle, span = float(along[0] + along[-1]) / 2, float(along[-1] - along[0])
        at_scale = span * height_mm / width_mm
        tall = max(top - bottom, at_scale / _HIGHER)
        shown = max(tall, 1.15 * (top - bottom))
        axes.set_xlim(middle - span / 2, middle + span / 2)
        axes.set_ylim(bottom - 0.15 * tall, bottom - 0.15 * tall + shown)
        _plain(axes)
        axes.fill_between(along, np.where(known, z, np.nan), bottom - tall, color=_PALE, lw=0)
        axes.plot(along, z, color=_INK, lw=1.2)
        axes.plot([0, 0], [0, unit.height_m], color=_INK, lw=2.2)
        axes.plot(0, unit.height_m, "s", color=_INK, ms=5)
        labels: list[_Label] = []
        lines: list[list[tuple[float, float]]] = [[(0.0, 0.0), (0.0, unit.height_m)]]
        if aim.staff_m is not None and aim.lower_m is not None:
            foot = float(np.interp(aim.staff_m, along, z))
            axes.plot([aim.staff_m] * 2, [foot, foot + 2.0], color=_INK, lw=1.0, ls=(0, (1, 1)))
            axes.plot(aim.staff_m, foot + aim.lower_m, "o", color=_INK, ms=5)
            labels.append(
                _Label(
                    aim.staff_m,
                    foot + aim.lower_m,
                    f"staff {given(aim.staff_m)} off: {length(aim.lower_m, 2)}",
                    (1, -1),
                )
            )
        tall_m = outcome.figure.height_m
        for near, far in aim.lights_m[:1]:
            for away in sorted({near, far}):
                if away >= _BEFORE_M:
                    foot = float(np.interp(away, along, z))
                    axes.plot([away] * 2, [foot, foot + tall_m], color=_GREY, lw=3.0, solid_capstyle="butt")
                    labels.append(_Label(away, foot + tall_m, length(away), (0, 1)))
                    lines.append([(away, foot), (away, foot + tall_m)])
        for layer in posed.layers:
            e = math.radians(layer.elevation_deg)
            ray = math.cos(e) * posed.forward + math.sin(e) * posed.up
            slope = float(ray[2] / math.hypot(ray[0], ray[1]))
            out = np.linspace(0.0, reach, 200)
            over = np.interp(out, along, np.where(known, z, -np.inf))
            line = unit.height_m + slope * out
            below = np.flatnonzero(line < over)
            stop = int(below[0]) + 1 if len(below) else len(out)
            is_lower = layer.name == "lower"
            axes.plot(out[:stop], line[:stop], color=_INK, lw=0.9, ls="-" if is_lower else (0, (5, 2)))
            # Up a steep hill a layer leaves by the top of the picture: its name stands where it does.
            in_sight = np.flatnonzero(line[:stop] <= axes.get_ylim()[1])
            last = int(in_sight[-1])
            labels.append(_Label(out[last], line[last], layer.name, (0, -1) if is_lower else (0, 1)))
            lines.append([(0.0, unit.height_m), (out[last], line[last])])
        said = f"along {round(aim.bearing_deg) % 360}°, {stretch_note(round(at_scale / shown, 1))}"
        axes.annotate(said, (0, 0), (4, 5), xycoords="axes fraction", textcoords="offset points")
        _write(axes, labels, [(0.0, 0.0, 1e3, _LINE + 5)], lines)
    return told[0]


def _away(at: tuple[float, float], bearing_deg: float, by_m: float) -> tuple[float, float]:
    east, north = direction(bearing_deg)
    return at[0] + by_m * east, at[1] + by_m * north


def _frame(axes: Any, xs: Sequence[float], ys: Sequence[float], wide: float) -> None:
    west, east, south, north = min(xs) - _ROOM_M, max(xs) + _ROOM_M, min(ys) - _ROOM_M, max(ys) + _ROOM_M
    height = max(north - south, (east - west) / wide)
    x, y = (west + east) / 2, (south + north) / 2
    axes.set_xlim(x - height * wide / 2, x + height * wide / 2)
    axes.set_ylim(y - height / 2, y + height / 2)
    _plain(axes)


def _plain(axes: Any) -> None:
    axes.autoscale(False)
    axes.set_xticks([])
    axes.set_yticks([])


def _ground(axes: Any, terrain: Terrain, one: SightedUnit, figure_height_m: float) -> None:
    """What the unit holds in grey, what stands there hatched, protected outlines in dashes and dots."""
    ground = terrain.ground
    held = (one.verdicts(ground, figure_height_m) == Verdict.BOTH).astype(float)
    if held.any():
        axes.contourf(ground.xs, ground.ys, held, levels=[0.5, 1.5], colors=[_PALE])
    for region in footprints(terrain.solids):
        for polygon in getattr(region, "geoms", [region]):
            if not polygon.is_empty and polygon.geom_type == "Polygon":
                axes.fill(*polygon.exterior.xy, facecolor="white", edgecolor=_INK, lw=0.6, hatch="////")
    leaves = terrain.foliage
    if len(leaves.base_z):
        grown = (leaves.column >= 0).astype(float)
        x = leaves.x0 + leaves.cell_m * np.arange(grown.shape[1])
        y = leaves.y0 + leaves.cell_m * np.arange(grown.shape[0])
        if min(grown.shape) >= 2:
            axes.contour(x, y, grown, levels=[0.5], colors=[_GREY], linewidths=0.7)
    for area in terrain.protect:
        closed = np.vstack([area.outline, area.outline[:1]])
        axes.plot(*closed.T, color=_INK, lw=0.7, ls=(0, (6, 2, 1, 2)))


def _arc(unit: Detector, bearing_deg: float, arc_deg: float, reach_m: float) -> Floats:
    at = np.array([unit.x, unit.y])
    angles = np.linspace(bearing_deg - arc_deg / 2, bearing_deg + arc_deg / 2, 40)
    rim = at + reach_m * np.column_stack([np.sin(np.radians(angles)), np.cos(np.radians(angles))])
    return np.vstack([at, rim, at])


def _size_in_points(axes: Any) -> tuple[float, float]:
    width, height = axes.figure.get_size_inches()
    return 72 * width * (1 - 2 * _INSET), 72 * height * (1 - 2 * _INSET)


def _in_points(axes: Any, x: float, y: float) -> tuple[float, float]:
    """A place in points from the lower left corner of the axes."""
    (west, east), (south, north) = axes.get_xlim(), axes.get_ylim()
    width, height = _size_in_points(axes)
    return (x - west) / (east - west) * width, (y - south) / (north - south) * height


def _metres_a_point(axes: Any) -> float:
    return float((axes.get_xlim()[1] - axes.get_xlim()[0]) / _size_in_points(axes)[0])


def _write(
    axes: Any, labels: Sequence[_Label], taken: list[Box], lines: Sequence[Sequence[tuple[float, float]]] = ()
) -> None:
    """Write names beside their places: none over another, none over the rim, over a line where there is no
    other room; a thin line leads to a name that stands off its place."""
    width, height = _size_in_points(axes)
    places = [_in_points(axes, label.x, label.y) for label in labels]
    used = [*taken, *((x - 3, y - 3, x + 3, y + 3) for x, y in places)]
    crossed = [box for ends in lines for box in _along(*(_in_points(axes, *end) for end in ends))]
    for label, at in zip(labels, places, strict=True):
        (line,) = fitted_lines(label.words, _NAME, 1)
        size = _LETTERS * line_width(line) + 4, _LINE
        is_on = label.prefer == (0.0, 0.0)
        own = (at[0] - 3, at[1] - 3, at[0] + 3, at[1] + 3)
        others = [box for box in used if not (is_on and box == own)]
        box = _spot(at, size, (width, height), others, [] if is_on else crossed, label.prefer)
        used.append(box)
        middle = (box[0] + box[2]) / 2 - at[0], (box[1] + box[3]) / 2 - at[1]
        off = max(abs(middle[0]) - size[0] / 2, abs(middle[1]) - size[1] / 2)
        leader = {"arrowstyle": "-", "lw": 0.5, "color": _INK, "shrinkA": 0, "shrinkB": 2}
        axes.annotate(
            line, (label.x, label.y), middle,
            textcoords="offset points", ha="center", va="center", zorder=7,
            bbox={"fc": "white", "ec": "none", "pad": 0.6, "alpha": 0.85},
            arrowprops=leader if off > 2 * _GAPS[0] else None,
        )  # fmt: skip


def _spot(
    at: tuple[float, float],
    size: tuple[float, float],
    room: tuple[float, float],
    used: Sequence[Box],
    crossed: Sequence[Box],
    prefer: tuple[float, float],
) -> Box:
    """Where a name stands: near its place and off the lines, then over a line, then further away."""
    within = (0.0, 0.0, *room)
    tries = [(gap, extra) for gap in _GAPS for extra in (crossed, ())]
    for gap, extra in [(_GAPS[0], crossed), (_GAPS[1], crossed), *tries]:
        box = free_spot(at, size, within, [*used, *extra], prefer, gap, is_beside=True)
        if box is not None:
            return box
    # No spot is free: it is better over something than not there.
    x = min(max(at[0] + size[0] / 2 + 5, size[0] / 2), room[0] - size[0] / 2)
    y = min(max(at[1], size[1] / 2), room[1] - size[1] / 2)
    return (x - size[0] / 2, y - size[1] / 2, x + size[0] / 2, y + size[1] / 2)


def _along(start: tuple[float, float], end: tuple[float, float]) -> list[Box]:
    """Small boxes along a line, in whose way no name should stand."""
    steps = max(int(math.hypot(end[0] - start[0], end[1] - start[1]) / 3), 1)
    share = np.linspace(0.0, 1.0, steps + 1)
    xs, ys = start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])
    return [(x - 1, y - 1, x + 1, y + 1) for x, y in zip(xs.tolist(), ys.tolist(), strict=True)]


def _north_and_scale(axes: Any, kept: Sequence[tuple[float, float]]) -> list[Box]:
    """Draw both, the scale in a lower corner off the places that are kept; the room that they take,
    points."""
    width, height = _size_in_points(axes)
    metres = _metres_a_point(axes)
    most = in_unit(width * metres / 4)
    length_m = in_metres(next((long for long in (50.0, 20.0, 10.0, 5.0, 2.0) if long <= most), 1.0))
    long = length_m / metres
    white = {"fc": "white", "ec": "none", "pad": 0.6, "alpha": 0.85}
    by = {"xycoords": "axes points", "ha": "center", "zorder": 8}
    wide = max(long, 30.0)
    marks = [_in_points(axes, *place) for place in kept]
    corners = [(4.0, 4.0, 12 + wide, 26.0), (width - 12 - wide, 4.0, width - 4.0, 26.0)]
    is_met = [any(meet(box, (x, y, x, y), 6.0) for x, y in marks) for box in corners]
    room = corners[1 if is_met[0] and not is_met[1] else 0]
    left = (room[0] + room[2] - long) / 2
    axes.plot(
        [left / width, (left + long) / width], [8 / height] * 2, color=_INK, lw=2.5, solid_capstyle="butt",
        zorder=8, transform=axes.transAxes,
    )  # fmt: skip
    axes.annotate(given(length_m), (left + long / 2, 11), va="bottom", bbox=white, **by)
    axes.annotate(
        "N", (width - 13, height - 6), (width - 13, height - 38), weight="bold", bbox=white,
        textcoords="axes points", arrowprops={"arrowstyle": "-|>", "lw": 1.3, "color": _INK}, **by,
    )  # fmt: skip
    return [room, (width - 24, height - 42, width, height)]
