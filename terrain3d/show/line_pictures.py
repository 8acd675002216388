"""Small pictures in black on white for pages that are set in type: a plan and a section of one unit, as SVG.

They are meant for one ink and wet paper: lines and grey, no colours.
"""

import io
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.text import Text

from terrain3d.cover.sighted import SightedUnit
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import Detector, posed_heads
from terrain3d.fixing.places import Known, known_places
from terrain3d.fixing.unit import UnitFixing
from terrain3d.job import Outcome
from terrain3d.lengths import given, in_metres, in_unit, length
from terrain3d.sentences.along import stretch_note
from terrain3d.show.lettering import draw_as_meant, fitted_lines, page_style
from terrain3d.show.shapes import footprints
from terrain3d.terrain import Terrain
from terrain3d.units import Floats, direction
from terrain3d.walktest.plan import WalkPoint

_MM = 1 / 25.4
_INK, _GREY, _PALE = "black", "0.55", "0.86"
#: A section is drawn so many times higher than it is, to show what a tilt does; less where ground is steep.
_HIGHER = 2.0
#: Widest that a name is written, sizes of its type.
_NAME = 15.0
#: Metres around what a plan shows.
_ROOM_M = 1.5
#: In what these pictures are not as pages are.
_STYLE: dict[Any, Any] = {
    "font.size": 7.0, "text.color": _INK, "axes.edgecolor": _INK, "hatch.linewidth": 0.5,
    "svg.fonttype": "path", "svg.hashsalt": "terrain3d",
}  # fmt: skip


@contextmanager
def _picture(width_mm: float, height_mm: float) -> Iterator[tuple[Any, list[str]]]:
    """A figure with one pair of axes; its SVG is put into the list when the block ends."""
    told: list[str] = []
    with page_style(), mpl.rc_context(_STYLE):
        figure = Figure(figsize=(width_mm * _MM, height_mm * _MM))
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        yield axes, told
        draw_as_meant(figure.findobj(Text))
        text = io.StringIO()
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
        told.append(text.getvalue())


def unit_plan_svg(
    outcome: Outcome, one: SightedUnit, fixing: UnitFixing, width_mm: float = 88.0, height_mm: float = 74.0
) -> str:
    """A plan of one unit: what it holds, where it looks, the two tapes, what stands there. North is up."""
    terrain, unit = outcome.terrain, one.unit
    tapes = {tape.name for tape in fixing.tapes}
    places = [place for place in known_places(terrain) if place.name in tapes]
    with _picture(width_mm, height_mm) as (axes, told):
        reach = max(unit.range_of(head) for head in range(len(unit.type.head)))
        xs, ys = [unit.x], [unit.y]
        for head, posed in enumerate(posed_heads(unit)):
            bearing = math.degrees(math.atan2(posed.forward[0], posed.forward[1]))
            arc = _arc(unit, bearing, posed.arc_deg, unit.range_of(head))
            axes.plot(*arc.T, color=_INK, lw=0.9)
            xs += arc[:, 0].tolist()
            ys += arc[:, 1].tolist()
        xs += [place.x for place in places]
        ys += [place.y for place in places]
        _frame(axes, xs, ys, width_mm / height_mm)
        _ground(axes, terrain, one, outcome.figure.height_m)
        east, north = direction(unit.bearing_deg)
        axes.annotate(
            "", (unit.x + 0.45 * reach * east, unit.y + 0.45 * reach * north), (unit.x, unit.y),
            arrowprops={"arrowstyle": "-|>", "lw": 1.2, "color": _INK},
        )  # fmt: skip
        for place in places:
            axes.plot([place.x, unit.x], [place.y, unit.y], color=_INK, lw=0.8, ls=(0, (4, 2)))
            _mark(axes, place)
            taped_m = next(tape.tape_m for tape in fixing.tapes if tape.name == place.name)
            _label(axes, (place.x + unit.x) / 2, (place.y + unit.y) / 2, length(taped_m, 2))
        axes.plot(unit.x, unit.y, "o", color=_INK, ms=5)
        _label(axes, unit.x, unit.y, unit.name, (6, -6))
        _north_and_scale(axes)
    return told[0]


def walk_plan_svg(
    outcome: Outcome,
    units: Sequence[SightedUnit],
    points: Sequence[WalkPoint],
    width_mm: float,
    height_mm: float,
) -> str:
    """A plan of the points of a walk test, each with an arrow the way it is walked. North is up."""
    terrain = outcome.terrain
    with _picture(width_mm, height_mm) as (axes, told):
        xs = [point.x for point in points] + [one.unit.x for one in units]
        ys = [point.y for point in points] + [one.unit.y for one in units]
        names = {point.taped.name for point in points}
        places = [place for place in known_places(terrain) if place.name in names]
        xs += [place.x for place in places]
        ys += [place.y for place in places]
        _frame(axes, xs, ys, width_mm / height_mm)
        for one in units:
            _ground(axes, terrain, one, outcome.figure.height_m)
        for one in units:
            axes.plot(one.unit.x, one.unit.y, "o", color=_INK, ms=5)
            _label(axes, one.unit.x, one.unit.y, one.unit.name, (6, -6))
        for place in places:
            _mark(axes, place)
        for point in points:
            east, north = direction(point.towards_deg)
            half = point.length_m / 2
            start = point.x - half * east, point.y - half * north
            axes.annotate(
                "", (point.x + half * east, point.y + half * north), start,
                arrowprops={"arrowstyle": "-|>", "lw": 1.1, "color": _INK, "shrinkA": 0, "shrinkB": 0},
            )  # fmt: skip
            axes.text(
                point.x, point.y, str(point.number), ha="center", va="center", fontsize=7.5, weight="bold",
                color="white" if point.lights else _INK, zorder=6,
                bbox={"boxstyle": "circle,pad=0.18", "fc": _INK if point.lights else "white", "ec": _INK,
                "lw": 0.9},
            )  # fmt: skip
        _north_and_scale(axes)
    return told[0]


def unit_section_svg(
    outcome: Outcome, fixing: UnitFixing, width_mm: float = 88.0, height_mm: float = 74.0
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
        axes.fill_between(along, np.where(known, z, np.nan), bottom - tall, color=_PALE, lw=0)
        axes.plot(along, z, color=_INK, lw=1.2)
        axes.plot([0, 0], [0, unit.height_m], color=_INK, lw=2.2)
        axes.plot(0, unit.height_m, "s", color=_INK, ms=4)
        for layer in posed.layers:
            e = math.radians(layer.elevation_deg)
            ray = math.cos(e) * posed.forward + math.sin(e) * posed.up
            slope = float(ray[2] / math.hypot(ray[0], ray[1]))
            out = np.linspace(0.0, reach, 200)
            over = np.interp(out, along, np.where(known, z, -np.inf))
            line = unit.height_m + slope * out
            below = np.flatnonzero(line < over)
            stop = int(below[0]) + 1 if len(below) else len(out)
            axes.plot(
                out[:stop], line[:stop], color=_INK, lw=0.9, ls="-" if layer.name == "lower" else (0, (5, 2))
            )
            last = min(stop, len(out)) - 1
            axes.text(out[last], line[last], f"{layer.name} ", fontsize=6.5, va="bottom", ha="right")
        if aim.staff_m is not None and aim.lower_m is not None:
            foot = float(np.interp(aim.staff_m, along, z))
            axes.plot([aim.staff_m] * 2, [foot, foot + 2.0], color=_INK, lw=1.0, ls=(0, (1, 1)))
            axes.plot(aim.staff_m, foot + aim.lower_m, "o", color=_INK, ms=3.5)
            axes.text(
                aim.staff_m + 0.2, foot + aim.lower_m,
                f"{length(aim.lower_m, 2)} on a staff\n{given(aim.staff_m)} off", fontsize=6.5, va="top",
                bbox={"fc": "white", "ec": "none", "pad": 0.6, "alpha": 0.85}, zorder=7,
            )  # fmt: skip
        tall_m = outcome.figure.height_m
        for near, far in aim.lights_m[:1]:
            for away in sorted({near, far}):
                foot = float(np.interp(away, along, z))
                axes.plot([away] * 2, [foot, foot + tall_m], color=_GREY, lw=3.0, solid_capstyle="butt")
                axes.text(away, foot + tall_m, f" {length(away)}", fontsize=6.5, va="bottom", ha="center")
        axes.text(
            0.02, 0.02, f"along {round(aim.bearing_deg) % 360}°, {stretch_note(round(at_scale / shown, 1))}",
            fontsize=6.5, transform=axes.transAxes,
        )  # fmt: skip
        axes.set_aspect("auto")
        _plain(axes)
    return told[0]


def _frame(axes: Any, xs: Sequence[float], ys: Sequence[float], wide: float) -> None:
    west, east, south, north = min(xs) - _ROOM_M, max(xs) + _ROOM_M, min(ys) - _ROOM_M, max(ys) + _ROOM_M
    height = max(north - south, (east - west) / wide)
    x, y = (west + east) / 2, (south + north) / 2
    axes.set_xlim(x - height * wide / 2, x + height * wide / 2)
    axes.set_ylim(y - height / 2, y + height / 2)
    axes.set_aspect("equal")
    _plain(axes)


def _plain(axes: Any) -> None:
    axes.set_xticks([])
    axes.set_yticks([])


def _ground(axes: Any, terrain: Terrain, one: SightedUnit, figure_height_m: float) -> None:
    """What the unit holds in grey, what stands there hatched, protected outlines dashed."""
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
        axes.plot(*closed.T, color=_INK, lw=0.7, ls=(0, (1, 2)))


def _arc(unit: Detector, bearing_deg: float, arc_deg: float, reach_m: float) -> Floats:
    at = np.array([unit.x, unit.y])
    angles = np.linspace(bearing_deg - arc_deg / 2, bearing_deg + arc_deg / 2, 40)
    rim = at + reach_m * np.column_stack([np.sin(np.radians(angles)), np.cos(np.radians(angles))])
    return np.vstack([at, rim, at])


def _mark(axes: Any, place: Known) -> None:
    axes.plot(place.x, place.y, "^", color=_INK, ms=5)
    _label(axes, place.x, place.y, place.name, (5, 4))


def _label(axes: Any, x: float, y: float, words: str, offset: tuple[float, float] = (0, 0)) -> None:
    (line,) = fitted_lines(words, _NAME, 1)
    axes.annotate(
        line, (x, y), offset, textcoords="offset points", fontsize=7, zorder=7,
        ha="center" if offset == (0, 0) else "left",
        bbox={"fc": "white", "ec": "none", "pad": 0.6, "alpha": 0.85},
    )  # fmt: skip


def _north_and_scale(axes: Any) -> None:
    west, east = axes.get_xlim()
    south, north = axes.get_ylim()
    length = in_metres(next((m for m in (50.0, 20.0, 10.0, 5.0, 2.0) if m <= in_unit(east - west) / 4), 1.0))
    x, y = west + 0.04 * (east - west), south + 0.05 * (north - south)
    axes.plot([x, x + length], [y, y], color=_INK, lw=2.0, solid_capstyle="butt", zorder=8)
    axes.text(x + length / 2, y, given(length), ha="center", va="bottom", fontsize=7, zorder=8)
    axes.annotate(
        "N", (0.95, 0.97), (0.95, 0.83), xycoords="axes fraction", ha="center", fontsize=8, weight="bold",
        arrowprops={"arrowstyle": "-|>", "lw": 1.1, "color": _INK},
    )  # fmt: skip
