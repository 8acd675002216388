"""What a pack holds of a site as layers of shapes with columns: the same for every format."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pyproj
import shapely

from terrain3d.cover.causes import CAUSE_KEYS, LayerMaps, deciding
from terrain3d.cover.layer_outcomes import BROKEN, NO_TAKER, taker_names
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN, VERDICT_KEYS, Verdict
from terrain3d.detector.pose import Detector, shut_arcs
from terrain3d.frame import Frame
from terrain3d.job import Outcome
from terrain3d.lengths import lengths_in
from terrain3d.pack.polygons import polygons_in, polygons_of
from terrain3d.paper.rounded import area, share, size
from terrain3d.readers.crs import horizontal
from terrain3d.sentences.routes import start_words
from terrain3d.sentences.walktest import should_words
from terrain3d.show.extent import stretch_outline
from terrain3d.show.ways import drawn_routes
from terrain3d.site import Site
from terrain3d.study import Study
from terrain3d.survey.build import crs_of_site
from terrain3d.survey.solids import footprints
from terrain3d.terrain import SURVEYED_LEAVES, Terrain
from terrain3d.units import Floats, direction
from terrain3d.walk.routes import OpenRoutes
from terrain3d.walk.ways_in import ClearRoute, Crossing, WayIn
from terrain3d.walktest.plan import WalkTest

Form = Literal["Point", "LineString", "MultiPolygon"]
#: A column holds one of these, or None where a feature has no such thing.
Value = str | float | int | None


@dataclass(frozen=True, eq=False)
class Feature:
    """A shape in local metres and its row of the table."""

    shape: Any
    values: Mapping[str, Value]


@dataclass(frozen=True, eq=False)
class Layer:
    """Features of one kind; all have the same columns, whose names end in their units."""

    name: str
    form: Form
    columns: Mapping[str, type]
    features: tuple[Feature, ...]


@lengths_in("m")
def layers_of(study: Study, walks: WalkTest | None = None) -> tuple[Layer, ...]:
    """All layers of a site that have anything in them, in the order of a table of contents.

    What differs from option to option has the option's name and its place in the ranking in its columns.

    Parameters
    ----------
    study : Study
        With its routes, where the ways in are wanted.
    walks : WalkTest, optional
        Of the option whose walk test is wanted.
    """
    outcome, terrain = study.outcome, study.outcome.terrain
    units: list[Feature] = []
    arcs: list[Feature] = []
    verdicts: list[Feature] = []
    protected: list[Feature] = []
    routes: list[Feature] = []
    for option in outcome.options:
        of: dict[str, Value] = {"option": option.name, "place": outcome.ranking.index(option.name) + 1}
        units += [Feature(shapely.Point(one.x, one.y), {**of, **_unit(one)}) for one in option.detectors]
        for one in option.detectors:
            arcs += _arcs(one, of)
        verdicts += _verdicts(terrain, option, of)
        protected += _protected(terrain, option, of)
        for route in study.of(option.name).routes or ():
            routes += _routes(route, of)
    layers = (
        Layer("units", "Point", _UNIT, tuple(units)),
        Layer("mounts", "Point", _MOUNT, tuple(_mounts(terrain))),
        Layer("arcs", "MultiPolygon", _ARC, tuple(arcs)),
        Layer("verdicts", "MultiPolygon", _VERDICT, tuple(verdicts)),
        Layer("protected", "MultiPolygon", _PROTECTED, tuple(protected)),
        Layer("solids", "MultiPolygon", _SOLID, tuple(_solids(terrain))),
        Layer("foliage", "MultiPolygon", _FOLIAGE, tuple(_foliage(terrain))),
        Layer("routes", "LineString", _ROUTE, tuple(routes)),
        Layer("walktest", "LineString", _WALKTEST, tuple(_walktest(outcome, walks))),
        Layer("boundary", "MultiPolygon", _BOUNDARY, tuple(_boundary(outcome))),
    )
    return tuple(layer for layer in layers if layer.features)


def site_crs(site: Site, folder: Path) -> pyproj.CRS | None:
    """The CRS that the coordinates of a site file are in, in plan; None where they are local metres."""
    crs = crs_of_site(site, folder)
    return None if crs is None else horizontal(crs)


def placed(shape: Any, frame: Frame, crs: pyproj.CRS | None) -> Any:
    """A shape of local metres in the coordinates of a CRS; None gives the site's own metres.

    >>> from terrain3d.frame import site_frame
    >>> placed(shapely.Point(3.0, 4.0), site_frame(None, 20_000.0, 0.0), None).x
    20003.0
    """

    def moved(points: Floats) -> Floats:
        return np.column_stack(frame.from_local(points[:, 0], points[:, 1], crs))

    return shapely.transform(shape, moved)


_OF: Mapping[str, type] = {"option": str, "place": int}

_UNIT: Mapping[str, type] = {
    **_OF, "name": str, "type": str, "mount": str, "ground_z": float, "height_m": float,
    "bearing_deg": float, "tilt_deg": float, "roll_deg": float, "range_m": float, "max_range_m": float,
    "pulses": int,
}  # fmt: skip


def _unit(unit: Detector) -> dict[str, Value]:
    return {
        "name": unit.name,
        "type": unit.type.name,
        "mount": unit.mount,
        "ground_z": size(unit.ground_z),
        "height_m": unit.height_m,
        "bearing_deg": unit.bearing_deg,
        "tilt_deg": unit.tilt_deg,
        "roll_deg": unit.roll_deg,
        "range_m": unit.range_m,
        "max_range_m": unit.type.max_range,
        "pulses": unit.pulses_needed,
    }


_MOUNT: Mapping[str, type] = {"name": str, "ground_z": float, "wall_deg": float}


def _mounts(terrain: Terrain) -> Iterable[Feature]:
    for mount in terrain.mounts:
        ground_z = float(terrain.ground.height_at(mount.x, mount.y))
        known = None if math.isnan(ground_z) else size(ground_z)
        values = {"name": mount.name, "ground_z": known, "wall_deg": mount.wall_deg}
        yield Feature(shapely.Point(mount.x, mount.y), values)


_ARC: Mapping[str, type] = {
    **_OF, "unit": str, "head": int, "state": str, "from_deg": float, "to_deg": float, "range_m": float,
    "max_range_m": float,
}  # fmt: skip


def _arcs(unit: Detector, of: Mapping[str, Value]) -> Iterable[Feature]:
    """What is open and what is masked of each head, out to the maximum range; bearings of both its ends."""
    for head, kind in enumerate(unit.type.head):
        stretches = [("open", arc) for arc in unit.open_arcs(head)]
        stretches += [("masked", arc) for arc in shut_arcs(kind, unit.head(head))]
        for state, (low, high) in stretches:
            middle = unit.bearing_deg + unit.pan_of(head)
            values = {
                **of,
                "unit": unit.name,
                "head": head + 1,
                "state": state,
                "from_deg": size((middle + low) % 360),
                "to_deg": size((middle + high) % 360),
                "range_m": unit.range_of(head),
                "max_range_m": unit.type.max_range,
            }
            yield Feature(_region(stretch_outline(unit, head, low, high)), values)


_VERDICT: Mapping[str, type] = {
    **_OF, "verdict": str, "layer": str, "cause": str, "taken_by": str, "area_m2": float,
}  # fmt: skip


def _verdicts(terrain: Terrain, option: OptionResult, of: Mapping[str, Value]) -> Iterable[Feature]:
    """The ground of each verdict by what keeps it from being held: the deciding layer, its cause, a thing."""
    ground = terrain.ground
    layer, outcome, taker = deciding(LayerMaps(option.layer_outcomes, option.layer_takers))
    # Held ground has no cause, whatever a layer that is not needed there does.
    is_held = option.verdicts == Verdict.BOTH
    facts = (
        np.where(is_held, 0, layer),
        np.where(is_held, BROKEN, outcome),
        np.where(is_held, NO_TAKER, taker),
    )
    rows = np.stack([option.verdicts, *facts], axis=-1).reshape(-1, 4)
    kinds, number = np.unique(rows, axis=0, return_inverse=True)
    classes = np.where(option.verdicts == UNKNOWN, -1, number.reshape(option.verdicts.shape))
    layers, things = list(option.layer_outcomes), taker_names(terrain)
    found = polygons_of(ground.x0, ground.y0, ground.cell_m, classes, -1)
    counts = np.bincount(classes[classes >= 0], minlength=len(kinds))
    for place in sorted(found, key=lambda place: (-int(kinds[place, 0]), -int(counts[place]), place)):
        code, of_layer, cause, thing = (int(value) for value in kinds[place])
        is_lost = cause != BROKEN
        values = {
            **of,
            "verdict": VERDICT_KEYS[Verdict(code)],
            "layer": layers[of_layer] if is_lost else None,
            "cause": CAUSE_KEYS[cause] if is_lost else None,
            "taken_by": things[thing] if is_lost and thing != NO_TAKER else None,
            "area_m2": area(float(counts[place]) * ground.cell_m**2),
        }
        yield Feature(found[place], values)


_PROTECTED: Mapping[str, type] = {
    **_OF, "name": str, "area_m2": float, "held_share": float, "unknown_m2": float, "weight": float,
}  # fmt: skip


def _protected(terrain: Terrain, option: OptionResult, of: Mapping[str, Value]) -> Iterable[Feature]:
    for drawn, part in zip(terrain.protect, option.protect, strict=True):
        values = {
            **of,
            "name": part.name,
            "area_m2": area(part.area_m2),
            "held_share": share(part.both_fraction),
            "unknown_m2": area(part.unknown_m2),
            "weight": part.weight,
        }
        yield Feature(_region(drawn.outline), values)


_SOLID: Mapping[str, type] = {"name": str, "source": str, "base_z": float, "top_z": float}


def _solids(terrain: Terrain) -> Iterable[Feature]:
    solids = terrain.solids
    for place, region in enumerate(footprints(solids)):
        parts = polygons_in(shapely.make_valid(region))
        if not parts:
            continue
        heights = solids.vertices[np.unique(solids.triangles[solids.owners == place]), 2]
        values = {
            "name": solids.names[place],
            "source": _source(place in solids.surveyed),
            "base_z": size(float(heights.min())),
            "top_z": size(float(heights.max())),
        }
        yield Feature(shapely.MultiPolygon(parts), values)


_FOLIAGE: Mapping[str, type] = {
    "name": str, "source": str, "base_z": float, "top_z": float, "area_m2": float,
}  # fmt: skip


def _foliage(terrain: Terrain) -> Iterable[Feature]:
    """Where each hedge or crown grows, from its lowest leaf to its highest."""
    foliage = terrain.foliage
    leafy = foliage.density > 0
    low = foliage.base_z + leafy.argmax(axis=1) * foliage.step_m
    high = foliage.base_z + (leafy.shape[1] - leafy[:, ::-1].argmax(axis=1)) * foliage.step_m
    for name in dict.fromkeys(foliage.names):
        grows = foliage.columns_of(name)
        rows = foliage.column[grows]
        rows = rows[leafy[rows].any(axis=1)]
        if not len(rows):
            continue
        found = polygons_of(foliage.x0, foliage.y0, foliage.cell_m, grows.astype(np.int32), 0)
        values = {
            "name": name,
            "source": _source(name == SURVEYED_LEAVES),
            "base_z": size(float(low[rows].min())),
            "top_z": size(float(high[rows].max())),
            "area_m2": area(float(np.count_nonzero(grows)) * foliage.cell_m**2),
        }
        yield Feature(found[1], values)


def _source(is_surveyed: bool) -> str:
    return "survey" if is_surveyed else "drawn"


_ROUTE: Mapping[str, type] = {
    **_OF, "area": str, "letter": str, "what": str, "start": str, "length_m": float, "time_s": float,
    "alarm_chance": float, "expected_pulses": float, "held_m": float,
}  # fmt: skip


def _routes(route: OpenRoutes, of: Mapping[str, Value]) -> Iterable[Feature]:
    """The lines of an area as the pages draw and letter them, with what is known of each."""
    known = (
        route.least, route.shorter, route.inner, route.inner_shorter, route.clear, route.crossing,
    )  # fmt: skip
    for drawn in drawn_routes(route):
        if len(drawn.line) < 2:
            continue
        way = next(one for one in known if one is not None and one.line is drawn.line)
        values = {**of, "area": route.area, "letter": drawn.letter, "what": drawn.title, **_way(way)}
        yield Feature(shapely.LineString(drawn.line), values)


def _way(way: WayIn | ClearRoute | Crossing) -> dict[str, Value]:
    told: dict[str, Value] = dict.fromkeys(("start", "time_s", "alarm_chance", "expected_pulses", "held_m"))
    told["length_m"] = size(way.length_m)
    if isinstance(way, WayIn):
        told |= {
            "start": start_words(way.start),
            "time_s": size(way.time_s),
            "alarm_chance": share(way.chance),
            "expected_pulses": share(way.pulses),
        }
    elif isinstance(way, Crossing):
        told["held_m"] = size(way.held_m)
    return told


_WALKTEST: Mapping[str, type] = {
    **_OF, "name": str, "unit": str, "towards_deg": float, "length_m": float, "posture": str, "expect": str,
    "proves": str,
}  # fmt: skip


def _walktest(outcome: Outcome, walks: WalkTest | None) -> Iterable[Feature]:
    """The short walks of a walk test, from start to end; each is called by its number on the sheet."""
    if walks is None:
        return
    of: dict[str, Value] = {"option": walks.option, "place": outcome.ranking.index(walks.option) + 1}
    for point in walks.points:
        half = 0.5 * point.length_m * np.array(direction(point.towards_deg))
        middle = np.array([point.x, point.y])
        values: dict[str, Value] = {
            **of,
            "name": str(point.number),
            "unit": point.unit,
            "towards_deg": size(point.towards_deg),
            "length_m": size(point.length_m),
            "posture": point.figure,
            "expect": should_words(point.lights),
            "proves": point.proof.kind,
        }
        yield Feature(shapely.LineString([middle - half, middle + half]), values)


_BOUNDARY: Mapping[str, type] = {"name": str, "area_m2": float}


def _boundary(outcome: Outcome) -> Iterable[Feature]:
    outline = outcome.terrain.boundary
    if outline is not None:
        region = _region(outline)
        yield Feature(region, {"name": outcome.site_name, "area_m2": area(region.area)})


def _region(outline: Floats) -> shapely.MultiPolygon:
    """An outline as a valid region, its rings anticlockwise."""
    region: shapely.MultiPolygon = shapely.orient_polygons(
        shapely.MultiPolygon(polygons_in(shapely.make_valid(shapely.Polygon(outline))))
    )
    return region
