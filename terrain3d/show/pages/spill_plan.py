"""What is drawn over a plan of what lies beyond: others' ground, the layer past own land, nuisance things."""

from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Polygon
from matplotlib.path import Path

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.job import Outcome
from terrain3d.nuisance.sight_lines import Lands
from terrain3d.nuisance.spill import Fan, Spill
from terrain3d.nuisance.things import InLayer
from terrain3d.show.legend import (
    BOUNDARY,
    FAINTER,
    LANDS_ON_GROUND,
    LANDS_ON_LEAVES,
    LANDS_ON_SOLID,
    NUISANCE,
    NUISANCE_HIDDEN,
    OUT_OF_SIGHT,
    SPILT_MICROWAVE,
    SPILT_ON,
    SPILT_OVER,
    SPILT_WITHIN,
    piece_sign,
)
from terrain3d.show.pages.base import Base
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import Label, haloed
from terrain3d.show.pages.plan import Plan, begin_plan, site_labels, unit_labels, without_verdicts
from terrain3d.show.pages.shading import Shading, shade
from terrain3d.show.pages.sheet import Sheet
from terrain3d.terrain import Area, Nuisance, Terrain

#: The end of the layer's axis, by what it lands on.
_ENDS = {
    Lands.GROUND: LANDS_ON_GROUND,
    Lands.SOLID: LANDS_ON_SOLID,
    Lands.FOLIAGE: LANDS_ON_LEAVES,
    Lands.UNSURVEYED: OUT_OF_SIGHT,
    Lands.NOTHING: OUT_OF_SIGHT,
}


def wide_base(context: PageContext, spilt: Spill) -> Base:
    """A plan of own land, all that is drawn beside it and where the layers end, as far as ground is known."""
    terrain = context.outcome.terrain
    more = [Area(piece.name, piece.outline) for piece in terrain.beyond]
    more += [Area(thing.name, thing.outline) for thing in terrain.nuisances]
    more += [Area("upper layer", fan.ends[1, :, :2]) for fan in spilt.fans]
    if terrain.boundary is not None:
        more.append(Area("own land", terrain.boundary))
    wide = context.outcome.on(replace(terrain, protect=(*terrain.protect, *more)))
    return replace(context, outcome=wide).printed


def on_wider_ground(outcome: Outcome, terrain: Terrain) -> Outcome:
    """The same options on a ground that reaches farther: what is added lies outside of all of them."""
    part = outcome.terrain.ground.part_of(terrain.ground)
    bare = np.where(terrain.ground.known, np.uint8(Verdict.OUTSIDE), np.uint8(UNKNOWN))

    def wider(option: OptionResult) -> OptionResult:
        verdicts = bare.copy()
        verdicts[part] = option.verdicts
        return replace(option, verdicts=verdicts)

    return replace(outcome.on(terrain), options=tuple(wider(option) for option in outcome.options))


def draw_spill(
    page: Sheet,
    outcome: Outcome,
    option: OptionResult,
    spilt: Spill,
    things: tuple[InLayer, ...],
    base: Base,
) -> None:
    """Draw the plan with everything over it."""
    terrain = outcome.terrain
    plan = begin_plan(page, outcome, without_verdicts(option), base)
    axes = plan.axes
    for piece in terrain.beyond:
        sign = piece_sign(piece.name, piece.kind)
        axes.add_patch(Polygon(piece.outline, zorder=1.3, **sign.patch))
        axes.add_patch(Polygon(piece.outline, zorder=2.6, **sign.rim))
    own = None if terrain.boundary is None else shapely.Polygon(terrain.boundary)
    for fan in spilt.fans:
        _paint_fan(axes, fan, own)
    if spilt.past_microwave is not None:
        shade(axes, [Shading(spilt.past_microwave, SPILT_MICROWAVE)], base.extent)
    shade(axes, [Shading(spilt.past_on, SPILT_ON), Shading(spilt.past_within, SPILT_WITHIN)], base.extent)
    if terrain.boundary is not None:
        ring = np.vstack([terrain.boundary, terrain.boundary[:1]])
        haloed(axes, ring, BOUNDARY, 6.3, 3.4)
    seen = {thing.thing for thing in things if thing.is_seen}
    for nuisance in terrain.nuisances:
        _paint_nuisance(axes, nuisance, nuisance.name in seen)
    plan.finish([*unit_labels(plan), *site_labels(plan), *_names(plan)])


def _paint_fan(axes: Axes, fan: Fan, own: Any) -> None:
    """The layer's axis past own land, in its range and on past it, and the line that it ends on."""
    if own is not None:
        faint = replace(SPILT_OVER, strength=FAINTER * SPILT_OVER.strength)
        for low, high, sign in ((0.0, fan.range_m, SPILT_OVER), (fan.range_m, fan.follow_m, faint)):
            for part in shapely.get_parts(axis_plan(fan, low, high).difference(own)):
                if part.geom_type == "Polygon" and part.area > 1e-6:
                    axes.add_patch(PathPatch(_path(part), zorder=1.35, **sign.patch))
    ends = fan.ends[1, :, :2]
    for run in np.split(np.arange(len(ends)), np.flatnonzero(np.diff(fan.lands[1])) + 1):
        haloed(axes, ends[run], _ENDS[Lands(fan.lands[1, run[0]])], 6.6, 3.0)


def axis_plan(fan: Fan, low_m: float, high_m: float) -> Any:
    """The plan of a layer's axis between two slant distances, as far as it goes, as a shapely region."""
    eye = np.array(fan.eye[:2])
    along = (fan.ends[1, :, :2] - eye) / fan.end_m[1][:, None]
    inner, outer = (eye + along * np.minimum(at, fan.end_m[1])[:, None] for at in (low_m, high_m))
    quads = np.stack([inner[:-1], outer[:-1], outer[1:], inner[1:]], axis=1)
    area = shapely.make_valid(shapely.polygons(quads))
    return shapely.union_all(area[shapely.area(area) > 1e-9], grid_size=1e-4)


def _path(part: Any) -> Path:
    rings = [np.asarray(ring.coords) for ring in (part.exterior, *part.interiors)]
    return Path.make_compound_path(*(Path(ring, closed=True) for ring in rings))


def _paint_nuisance(axes: Axes, thing: Nuisance, is_seen: bool) -> None:
    sign = NUISANCE if is_seen else NUISANCE_HIDDEN
    look: dict[str, Any] = {"facecolor": sign.fill, "edgecolor": sign.line, "linewidth": sign.width}
    axes.add_patch(Polygon(thing.outline, alpha=0.85, zorder=6, **look))
    x, y = thing.outline.mean(axis=0)
    axes.plot(x, y, "D", ms=5, mfc=sign.fill, mec=sign.line, zorder=6.1)


def _names(plan: Plan) -> list[Label]:
    extent, terrain = plan.base.extent, plan.outcome.terrain
    frame = shapely.box(extent.west, extent.south, extent.east, extent.north)
    names = [(thing.name, thing.outline, palette.NUISANCE, (0, 1)) for thing in terrain.nuisances]
    names += [(piece.name, piece.outline, palette.QUIET_INK, (0, 0)) for piece in terrain.beyond]
    labels = []
    for name, outline, colour, prefer in names:
        # Named where it shows: most of a road or a paddock may lie off the picture.
        shown = shapely.Polygon(outline).buffer(0).intersection(frame)
        if not shown.is_empty:
            spot = shown.representative_point()
            lines = plan.page.lines(name, 0.12, 7.5, 2)
            labels.append(plan.label((spot.x, spot.y), lines, 7.5, prefer, colour=colour))
    return labels
