"""The plan: north up, the ground's relief and contours, verdicts, and all that stands on it."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Literal

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.text import Text
from matplotlib.ticker import MultipleLocator
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.lengths import given_figure, in_metres, in_unit, length_figure, scale_words
from terrain3d.sentences.paper import corner_words
from terrain3d.sentences.warnings import voiding
from terrain3d.show.drape import DRAPE_PIXELS, drape
from terrain3d.show.extent import (
    Extent,
    head_sector,
    head_stretches,
    lobe_outline,
    masked_outlines,
    open_outlines,
    seen_part,
)
from terrain3d.show.legend import (
    FOLIAGE,
    HANGS_ON_LEAVES,
    LOBE,
    MARKED,
    MASKED,
    MOUNT,
    PROTECTED,
    RANGE_SETTING,
    SOLID,
    UNIT,
    Sign,
    lobe_signs,
    masked_signs,
    site_signs,
    verdict_sign,
)
from terrain3d.show.pages.base import Base
from terrain3d.show.pages.column import option_sheet
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import (
    HALO,
    Label,
    boxes_meet,
    haloed,
    marked,
    north_arrow,
    place_labels,
    scale_bar,
)
from terrain3d.show.pages.shading import on_ground
from terrain3d.show.pages.sheet import PICTURE, Page, Place, Sheet
from terrain3d.show.shapes import contour_levels, spot_within
from terrain3d.terrain import Area, Ground
from terrain3d.units import Floats, direction

#: A plan narrower than this on the page needs no more than so many pixels along its longer side.
_LARGE_PX, _SMALL_PIXELS = 600, 600
#: Over a plan narrower than this stands a title, which coordinates would run into.
_LEAST_FOR_CORNERS_PX = 450
#: Marks of ground that hangs on leaves, across a plan.
_MARKS_ACROSS = 45


def pages(context: PageContext) -> list[Page]:
    """A plan of each option, with its numbers beside it."""

    def sheet(option: OptionResult) -> Sheet:
        base = context.printed
        page = option_sheet(context, option, "plan, north up", base.extent, base.scale)
        draw_plan(page, context.outcome, option, base)
        page.key(plan_signs(context.outcome, (option,), base.extent))
        return page

    return context.pages_of_options("plan", lambda option: [partial(sheet, option)])


@dataclass(frozen=True)
class Plan:
    """A plan on a page: the ground and what stands on it are drawn, names follow what its page adds.

    `heights` are those written on contours, `corners` the coordinates at two corners.
    """

    page: Sheet
    axes: Axes
    outcome: Outcome
    option: OptionResult
    base: Base
    heights: list[Text]
    corners: list[Text]

    def pixels(self, places: Floats | Iterable[Floats | Sequence[float]]) -> Floats:
        """(n, 2) pixels of the page of places of the site."""
        return np.asarray(self.axes.transData.transform(np.reshape([*places], (-1, 2))))

    def around(self, place: Floats | Sequence[float], half_px: float) -> Bbox:
        """The pixels of the page that a mark takes."""
        (middle,) = self.pixels([place])
        return Bbox([middle - half_px, middle + half_px])

    def label(
        self,
        place: tuple[float, float],
        lines: list[str],
        size: float = 7.5,
        prefer: tuple[float, float] = (0, 0),
        weight: str = "normal",
        colour: str = palette.INK,
    ) -> Label:
        """A name of a place of the site, on it or beside it."""
        x, y = self.pixels([place])[0] - self.axes.get_window_extent().min
        return Label("\n".join(lines), float(x), float(y), prefer, size, weight, colour)

    def finish(
        self,
        labels: list[Label],
        taken: Sequence[Bbox] = (),
        marks: Floats | None = None,
        with_north_and_scale: bool = True,
    ) -> None:
        """Write the names where they leave room, after a north arrow and a scale bar.

        Parameters
        ----------
        labels : list of Label
            The ones that matter most first.
        taken : sequence of Bbox
            Where no name may stand, pixels of the page.
        marks : (n, 2) float, optional
            What neither the arrow nor the bar should cover, likewise; the middles of `taken` without it.
        with_north_and_scale : bool
        """
        used = [*taken, *(text.get_window_extent() for text in self.corners)]
        if with_north_and_scale:
            if marks is None:
                marks = np.reshape([np.mean(box.get_points(), axis=0) for box in taken], (-1, 2))
            busy = (marks, *self._busy())
            used.append(north_arrow(self.axes, busy))
            used.append(scale_bar(self.axes, self.base.extent, busy, used[-1]))
        used += place_labels(self.axes, labels, used)
        # A height given on a contour is worth less than a name: the next contour has one too.
        for text in self.heights:
            own = text.get_window_extent()
            text.set_visible(not any(boxes_meet(own, box) for box in used))

    def _busy(self) -> tuple[Floats, Floats]:
        """(n, 2) pixels of the page of units in any option, and of watched cells and protected outlines."""
        outcome, extent = self.outcome, self.base.extent
        ground = outcome.terrain.ground
        watched = np.zeros(ground.z[extent.rows, extent.columns].shape, bool)
        for option in outcome.options:
            codes = option.verdicts[extent.rows, extent.columns]
            watched |= (codes != Verdict.OUTSIDE) & (codes != UNKNOWN)
        rows, columns = np.nonzero(watched)
        cells = np.column_stack([ground.xs[extent.columns][columns], ground.ys[extent.rows][rows]])
        units = [[unit.x, unit.y] for option in outcome.options for unit in option.detectors]
        covered = np.vstack([cells, *(area.outline for area in outcome.terrain.protect)])
        return self.pixels(units), self.pixels(covered)


def draw_plan(
    page: Sheet,
    outcome: Outcome,
    option: OptionResult,
    base: Base,
    place: Place = PICTURE,
    with_north_and_scale: bool = True,
) -> Axes:
    """Draw an option's plan with its names, and where its verdicts hang on leaves, into a part of a page."""
    plan = begin_plan(page, outcome, option, base, place)
    marked(plan.axes, hanging_places(outcome.terrain.ground, option, base.extent), HANGS_ON_LEAVES, 4.5)
    plan.finish([*unit_labels(plan), *site_labels(plan)], with_north_and_scale=with_north_and_scale)
    return plan.axes


def begin_plan(
    page: Sheet,
    outcome: Outcome,
    option: OptionResult,
    base: Base,
    place: Place = PICTURE,
    anchor: Literal["C", "W", "NW"] = "C",
    is_ruled: bool = True,
    is_fine: bool = True,
) -> Plan:
    """Draw what lies and stands on the ground of an option into a part of a page, without a name.

    Parameters
    ----------
    page : Sheet
    outcome : Outcome
    option : OptionResult
    base : Base
    place : (left, bottom, width, height)
        Shares of the page.
    anchor : {"C", "W", "NW"}
        Where the plan stands in its place.
    is_ruled : bool
        Whether metres run along its sides.
    is_fine : bool
        False for a picture of stamp size.
    """
    axes, terrain, extent = page.picture_axes(place), outcome.terrain, base.extent
    part = (extent.rows, extent.columns)
    pixels = DRAPE_PIXELS if axes.get_window_extent().width > _LARGE_PX else _SMALL_PIXELS
    image = drape(option.verdicts[part], base.shade[part], pixels, seen_part(terrain, extent))
    on_ground(axes, image, extent, 1)
    heights = _contours(axes, terrain.ground, base.smooth, extent) if is_fine else []
    _foliage(axes, base.leaves)
    _solids(axes, base.solids)
    weight = 1.0 if is_fine else 0.6
    for area in terrain.protect:
        _protected(axes, area, weight)
    for unit in option.detectors:
        _unit(axes, unit, weight)
    if is_fine:
        used = {unit.mount for unit in option.detectors}
        idle = [(mount.x, mount.y) for mount in terrain.mounts if mount.name not in used]
        marked(axes, np.array(idle), MOUNT, 2)
        marked(axes, np.array([(mark.x, mark.y) for mark in terrain.marks]), MARKED, 2)
    axes.set(xlim=(extent.west, extent.east), ylim=(extent.south, extent.north), aspect="equal")
    axes.set_anchor(anchor)
    if base.scale is not None:
        page.set_to_scale(axes, extent.width_m, extent.depth_m, base.scale)
    corners: list[Text] = []
    if is_ruled:
        side = in_unit(max(extent.width_m, extent.depth_m))
        step = in_metres(next((one for one in (5, 10, 20, 50, 100) if side <= 9 * one), 200))
        axes.xaxis.set_major_locator(MultipleLocator(step))
        axes.yaxis.set_major_locator(MultipleLocator(step))
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter(scale_words(lambda value: given_figure(value).replace("-", "\u2212")))
        axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
        has_room = axes.get_window_extent().width > _LEAST_FOR_CORNERS_PX
        if has_room and not voiding(option):  # what voids it takes the room
            corners = _corners(axes, outcome, extent)
        axes.grid(color=palette.CONTOUR, linewidth=0.4, alpha=0.35, zorder=1.5)
        axes.set_axisbelow("line")
    else:
        axes.set(xticks=[], yticks=[])
    # What is drawn next asks where things are on the page.
    axes.apply_aspect()
    return Plan(page, axes, outcome, option, base, heights, corners)


def _corners(axes: Axes, outcome: Outcome, extent: Extent) -> list[Text]:
    """Two corners in the coordinates of the site file: the lower left, and the upper right over the frame."""
    look: dict[str, Any] = {
        "textcoords": "offset points", "xycoords": "axes fraction", "fontsize": 5.5, "path_effects": HALO,
        "color": palette.QUIET_INK, "zorder": 20,
    }  # fmt: skip
    written: list[Text] = []
    for at, off, x, y, ha, va in (
        ((0, 0), (3, 3), extent.west, extent.south, "left", "bottom"),
        ((1, 1), (0, 2), extent.east, extent.north, "right", "bottom"),
    ):
        words = corner_words(outcome.site, x, y)
        if words:
            written.append(axes.annotate(words, at, off, ha=ha, va=va, **look))
    return written


def without_verdicts(option: OptionResult) -> OptionResult:
    """The same option on bare ground, for plans that show something else."""
    bare = np.where(option.verdicts == UNKNOWN, np.uint8(UNKNOWN), np.uint8(Verdict.OUTSIDE))
    return replace(option, verdicts=bare, without_leaves=np.zeros_like(bare))


def hanging_places(ground: Ground, option: OptionResult, extent: Extent) -> Floats:
    """(n, 2) places of marks on ground whose verdict hangs on leaves: sparse, so that its colour is seen."""
    hangs = _hanging(option, extent)
    apart = max(2, round(extent.width_m / _MARKS_ACROSS / ground.cell_m))
    rows, columns = np.nonzero(hangs)
    # Every other row of marks is moved by half a step.
    shift = (rows // apart % 2) * (apart // 2)
    kept = (rows % apart == 0) & ((columns + shift) % apart == 0)
    return np.column_stack([ground.xs[extent.columns][columns[kept]], ground.ys[extent.rows][rows[kept]]])


def _hanging(option: OptionResult, extent: Extent) -> NDArray[np.bool_]:
    """Cells of a part of the site whose verdict hangs on leaves."""
    codes = option.without_leaves[extent.rows, extent.columns]
    return np.asarray((codes != UNKNOWN) & (codes > 0))


def _contours(axes: Axes, ground: Ground, smooth: Floats, extent: Extent) -> list[Text]:
    z = smooth[extent.rows, extent.columns]
    levels, step = contour_levels(z)
    if not len(levels):
        return []
    lines = axes.contour(
        ground.xs[extent.columns],
        ground.ys[extent.rows],
        np.ma.masked_invalid(z),
        levels=levels,
        colors=palette.CONTOUR,
        linestyles="solid",
        linewidths=[1.0 if round(level / step) % 5 == 0 else 0.55 for level in levels],
        zorder=2,
    )
    digits = max(0, -math.floor(math.log10(in_unit(step)) + 1e-9))
    named = list(
        axes.clabel(
            lines, fontsize=6.5, fmt=lambda z: length_figure(z, digits), inline=True, inline_spacing=3
        )
    )
    for text in named:
        text.set(color=palette.QUIET_INK, path_effects=HALO, zorder=2.5)
    return named


def _foliage(axes: Axes, leaves: Any) -> None:
    for part in shapely.get_parts(leaves):
        if part.is_empty:
            continue
        for ring in (part.exterior, *part.interiors):
            haloed(axes, np.asarray(ring.coords), FOLIAGE, 4, 2.0)
        axes.add_artist(Polygon(np.asarray(part.exterior.coords), zorder=3, **FOLIAGE.patch))


def _solids(axes: Axes, regions: list[Any]) -> None:
    for region in regions:
        for part in shapely.get_parts(region):
            outline = np.asarray(part.exterior.coords)
            axes.add_artist(Polygon(outline, zorder=5, **SOLID.patch))
            axes.add_artist(Polygon(outline, zorder=5, **SOLID.rim))


def _protected(axes: Axes, area: Area, weight: float) -> None:
    for colour, width, dashes in (
        ("white", 2 * PROTECTED.width, "-"),
        (PROTECTED.line, PROTECTED.width, PROTECTED.style),
    ):
        rim = Polygon(
            area.outline, fill=False, edgecolor=colour, linewidth=weight * width, linestyle=dashes, zorder=6
        )
        axes.add_artist(rim)


def _unit(axes: Axes, unit: Detector, weight: float) -> None:
    eye = np.array([unit.x, unit.y])
    for covered in masked_outlines(unit):
        axes.add_artist(Polygon(covered, zorder=6.5, **MASKED.patch))
        axes.add_artist(Polygon(covered, zorder=6.6, **MASKED.rim))
    for outline in open_outlines(unit):
        axes.plot(*outline.T, color="white", linewidth=2.4 * weight, alpha=0.8, zorder=7)
        axes.plot(*outline.T, color=UNIT.line, linewidth=UNIT.width * weight, zorder=8)
    lobe = lobe_outline(unit)
    if lobe is not None:
        haloed(axes, lobe, LOBE, 8, 2.2 * weight)
    for head, pan, arc in head_stretches(unit):
        if unit.range_of(head) < unit.type.max_range:
            setting = head_sector(unit, pan, arc, unit.range_of(head))
            width, style = RANGE_SETTING.width * weight, RANGE_SETTING.style
            axes.plot(*setting.T, color=RANGE_SETTING.line, linewidth=width, linestyle=style, zorder=8)
    marked(axes, eye, UNIT, 9, weight)


def unit_labels(plan: Plan) -> list[Label]:
    """Names of the units and of their mounts, behind each unit's back."""
    labels = []
    for unit in plan.option.detectors:
        ahead = direction(unit.bearing_deg)
        lines = plan.page.lines(unit.name, 0.1, 8, 1, "bold") + plan.page.lines(unit.mount, 0.12, 8, 3)
        labels.append(plan.label((unit.x, unit.y), lines, 8.0, (-ahead[0], -ahead[1]), "bold"))
    return labels


def site_labels(plan: Plan) -> list[Label]:
    """Names of protected ground, solids and mounts nobody uses."""
    terrain, page = plan.outcome.terrain, plan.page
    labels = area_labels(plan, 8.0, 0.13)
    for place, (name, region) in enumerate(zip(terrain.solids.names, plan.base.solids, strict=True)):
        # Numbers that the survey gave to what it found say nothing to a client.
        if not region.is_empty and place not in terrain.solids.surveyed:
            spot = region.representative_point()
            labels.append(plan.label((spot.x, spot.y), page.lines(name, 0.1, 6.8, 3), 6.8))
    used = {unit.mount for unit in plan.option.detectors}
    for mount in terrain.mounts:
        if mount.name not in used:
            lines = page.lines(mount.name, 0.1, 6.8, 3)
            labels.append(plan.label((mount.x, mount.y), lines, 6.8, (0, 1), colour=palette.QUIET_INK))
    for mark in terrain.marks:
        lines = page.lines(mark.name, 0.1, 6.8, 3)
        labels.append(plan.label((mark.x, mark.y), lines, 6.8, (0, 1), colour=palette.QUIET_INK))
    return labels


def few_labels(plan: Plan) -> list[Label]:
    """Names of units and protected ground alone, for a plan on which much else is drawn."""
    units = [
        plan.label((unit.x, unit.y), plan.page.lines(unit.name, 0.1, 7.5, 1, "bold"), 7.5, (0, -1), "bold")
        for unit in plan.option.detectors
    ]
    return units + area_labels(plan, 7.5, 0.12)


def area_labels(plan: Plan, size: float, width: float) -> list[Label]:
    """Names of protected ground, on it."""
    spots = [(area.name, spot_within(area)) for area in plan.outcome.terrain.protect]
    return [
        plan.label(spot, plan.page.lines(name, width, size, 3), size)
        for name, spot in spots
        if spot is not None
    ]


def unknown_signs(ground: Ground, extent: Extent) -> list[Sign]:
    """The sign of ground that is not known, where a plan shows any and its column does not say so."""
    return [] if ground.known[extent.rows, extent.columns].all() else [verdict_sign(UNKNOWN)]


def plan_signs(outcome: Outcome, options: tuple[OptionResult, ...], extent: Extent) -> list[Sign]:
    """What the marks of plans of these options mean."""
    signs = [UNIT]
    units = [unit for option in options for unit in option.detectors]
    if any(unit.range_of(h) < unit.type.max_range for unit in units for h in range(len(unit.type.head))):
        signs.append(RANGE_SETTING)
    signs += masked_signs(units)
    signs += lobe_signs(units)
    if any(_hanging(option, extent).any() for option in options):
        signs.append(HANGS_ON_LEAVES)
    if outcome.terrain.marks:
        signs.append(MARKED)
    return signs + site_signs(outcome.terrain, outcome.terrain.ground.z[extent.rows, extent.columns])


def bare_plan_signs(outcome: Outcome, bare: OptionResult, extent: Extent) -> list[Sign]:
    """The same of a plan of one option `without_verdicts`, beside which no column tells of unknown ground."""
    return [*plan_signs(outcome, (bare,), extent), *unknown_signs(outcome.terrain.ground, extent)]
