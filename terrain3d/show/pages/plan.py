"""The plan: north up, the ground's relief and contours, verdicts, and all that stands on it."""

import math
from dataclasses import dataclass, replace
from typing import Any

import matplotlib.patheffects as effects
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.text import Text
from matplotlib.ticker import MultipleLocator

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.show import palette
from terrain3d.show.drape import DRAPE_PIXELS, drape, relief
from terrain3d.show.extent import Extent, head_arcs, head_sector, site_extent, whole_cells
from terrain3d.show.pages.labels import Label, boxes_meet, place_labels
from terrain3d.show.pages.north_and_scale import busy_places, north_arrow, scale_bar
from terrain3d.show.pages.sheet import Sheet, Sign
from terrain3d.show.pages.size import Size, scale_for
from terrain3d.show.shapes import contour_levels, foliage_cells, footprints, smoothed_heights, spot_within
from terrain3d.terrain import Area, Ground
from terrain3d.units import Floats, direction

#: A plan narrower than this on the page needs no more than so many pixels along its longer side.
_LARGE_PX, _SMALL_PIXELS = 600, 600
#: Keeps an edge of a cell from touching the next one by rounding.
_HAIR_M = 1e-6
_HALO = [effects.withStroke(linewidth=2.2, foreground="white")]


@dataclass(frozen=True, eq=False)
class Base:
    """What the plans of all options share.

    Parameters
    ----------
    extent : Extent
        The part of the site to show.
    smooth : (ny, nx) float
        Heights for contours, metres.
    shade : (ny, nx) float
        Brightness of the ground.
    solids : list
        Footprint of each solid, shapely.
    leaves : shapely geometry
        Ground under foliage.
    scale : float or None
        Denominator of a printed plan's scale; None to fill the picture.
    """

    extent: Extent
    smooth: Floats
    shade: Floats
    solids: list[Any]
    leaves: Any
    scale: int | None = None


def plan_base(outcome: Outcome, extent: Extent, scale: int | None = None) -> Base:
    """Work out what the plans of all options share."""
    terrain = outcome.terrain
    smooth = smoothed_heights(terrain.ground)
    half = terrain.foliage.cell_m / 2
    corners = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    cells = foliage_cells(terrain.foliage)
    leaves = shapely.union_all(shapely.polygons(cells[:, None, :] + corners))
    shade = relief(smooth, terrain.ground.cell_m)
    return Base(extent, smooth, shade, footprints(terrain.solids), leaves, scale)


def plan_extent(outcome: Outcome, size: Size, place: tuple[float, float]) -> tuple[Extent, int]:
    """What a printed plan shows, and the scale at which it shows it.

    Parameters
    ----------
    outcome : Outcome
    size : Size
        Must be paper.
    place : (width, height)
        Of the picture, as shares of the page.
    """
    tight = site_extent(outcome)
    paper = size.paper_m(place[0]), size.paper_m(place[1] * size.height_px / size.width_px)
    scale = scale_for((tight.width_m, tight.depth_m), paper)
    wide = site_extent(outcome, paper[0] / paper[1])
    # A cell less on either side, or the whole cells of the extent would not fit on the paper.
    half_x, half_y = (max(scale * side / 2 - outcome.terrain.ground.cell_m, 0.0) for side in paper)
    x, y = tight.centre
    return whole_cells(
        outcome.terrain.ground,
        min(tight.west, max(wide.west, x - half_x)) + _HAIR_M,
        min(tight.south, max(wide.south, y - half_y)) + _HAIR_M,
        max(tight.east, min(wide.east, x + half_x)) - _HAIR_M,
        max(tight.north, min(wide.north, y + half_y)) - _HAIR_M,
    ), scale


def printed_base(outcome: Outcome, size: Size, place: tuple[float, float], screen: Base) -> Base:
    """What plans of one place on a page share: to scale on paper, filling the place on a screen."""
    if size.width_mm is None:
        aspect = place[0] * size.width_px / (place[1] * size.height_px)
        return replace(screen, extent=site_extent(outcome, aspect))
    extent, scale = plan_extent(outcome, size, place)
    return replace(screen, extent=extent, scale=scale)


def draw_plan(page: Sheet, outcome: Outcome, option: OptionResult, base: Base) -> None:
    """Draw an option's plan into the picture of a page."""
    axes = page.picture_axes()
    paint_plan(page, axes, outcome, option, base)
    page.key(plan_signs(outcome, (option,), base.extent))


def paint_plan(
    page: Sheet,
    axes: Axes,
    outcome: Outcome,
    option: OptionResult,
    base: Base,
    with_north_and_scale: bool = True,
) -> None:
    """Draw a plan with its names; north arrow and scale bar where `with_north_and_scale`."""
    heights = paint_map(axes, outcome, option, base)
    frame_plan(page, axes, base)
    taken = []
    if with_north_and_scale:
        busy = busy_places(axes, outcome, base.extent)
        taken.append(north_arrow(axes, busy))
        taken.append(scale_bar(axes, base.extent, busy, taken[0]))
    taken += place_labels(axes, _names(page, axes, outcome, option, base.solids), taken)
    # A height given on a contour is worth less than a name: the next contour has one too.
    for text in heights:
        text.set_visible(not any(boxes_meet(text.get_window_extent(), box) for box in taken))


def paint_map(
    axes: Axes, outcome: Outcome, option: OptionResult, base: Base, fine: bool = True
) -> list[Text]:
    """Draw what lies on the ground of a plan without a name, coarse for a picture of stamp size.

    Returns the heights written on contours.
    """
    terrain, extent = outcome.terrain, base.extent
    is_large = axes.get_window_extent().width > _LARGE_PX
    _ground(axes, base.shade, option, extent, DRAPE_PIXELS if is_large else _SMALL_PIXELS)
    heights = _contours(axes, terrain.ground, base.smooth, extent) if fine else []
    _foliage(axes, base.leaves)
    _solids(axes, base.solids)
    for area in terrain.protect:
        _protected(axes, area, 1.0 if fine else 0.6)
    for unit in option.detectors:
        _unit(axes, unit, 1.0 if fine else 0.6)
    if fine:
        used = {unit.mount for unit in option.detectors}
        idle = [mount for mount in terrain.mounts if mount.name not in used]
        axes.plot(
            [m.x for m in idle], [m.y for m in idle], "o", ms=5, mfc="white", mec=palette.QUIET_INK, mew=1
        )
    axes.set(xlim=(extent.west, extent.east), ylim=(extent.south, extent.north), aspect="equal", anchor="C")
    if not fine:
        axes.set(xticks=[], yticks=[])
    return heights


def _ground(axes: Axes, shade: Floats, option: OptionResult, extent: Extent, pixels: int) -> None:
    part = (extent.rows, extent.columns)
    axes.imshow(
        drape(option.verdicts[part], shade[part], pixels),
        extent=(extent.west, extent.east, extent.south, extent.north),
        origin="lower",
        interpolation="nearest",
        zorder=1,
    )


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
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    named = list(axes.clabel(lines, fontsize=6.5, fmt=f"%.{digits}f", inline=True, inline_spacing=3))
    for text in named:
        text.set(color=palette.QUIET_INK, path_effects=_HALO, zorder=2.5)
    return named


def _foliage(axes: Axes, leaves: Any) -> None:
    for part in shapely.get_parts(leaves):
        if part.is_empty:
            continue
        for ring in (part.exterior, *part.interiors):
            axes.plot(*np.asarray(ring.coords).T, color=palette.FOLIAGE_EDGE, linewidth=0.9, zorder=4)
        outline = np.asarray(part.exterior.coords)
        axes.add_patch(Polygon(outline, facecolor=palette.FOLIAGE, alpha=0.45, edgecolor="none", zorder=3))
        axes.add_patch(
            Polygon(outline, fill=False, hatch="...", edgecolor=palette.FOLIAGE_EDGE, linewidth=0, zorder=3)
        )


def _solids(axes: Axes, regions: list[Any]) -> None:
    for region in regions:
        for part in shapely.get_parts(region):
            outline = np.asarray(part.exterior.coords)
            axes.add_patch(
                Polygon(
                    outline,
                    facecolor=palette.SOLID,
                    edgecolor=palette.SOLID_EDGE,
                    linewidth=0.9,
                    zorder=5,
                )
            )


def _protected(axes: Axes, area: Area, weight: float) -> None:
    for colour, width, dashes in (("white", 3.0, "-"), (palette.PROTECTED, 1.5, (0, (5, 2.2)))):
        axes.add_patch(
            Polygon(
                area.outline,
                fill=False,
                edgecolor=colour,
                linewidth=weight * width,
                linestyle=dashes,
                zorder=6,
            )
        )


def _unit(axes: Axes, unit: Detector, weight: float) -> None:
    eye = np.array([unit.x, unit.y])
    for pan, arc in head_arcs(unit):
        rim = head_sector(unit, pan, arc, unit.type.max_range)
        outline = np.vstack([eye, rim, eye])
        axes.plot(*outline.T, color="white", linewidth=2.4 * weight, alpha=0.8, zorder=7)
        axes.plot(*outline.T, color=palette.UNIT, linewidth=weight, zorder=8)
        if unit.range_m < unit.type.max_range:
            setting = head_sector(unit, pan, arc, unit.range_m)
            axes.plot(*setting.T, color=palette.UNIT, linewidth=0.8 * weight, linestyle=(0, (4, 3)), zorder=8)
    axes.plot(unit.x, unit.y, "o", ms=8 * weight, mfc="white", mec=palette.UNIT, mew=1.4 * weight, zorder=9)
    axes.plot(unit.x, unit.y, "o", ms=3.2 * weight, color=palette.UNIT, zorder=9)


def frame_plan(page: Sheet, axes: Axes, base: Base) -> None:
    """Bring a plan to its scale, with metres along its sides."""
    extent = base.extent
    if base.scale is not None:
        page.set_to_scale(axes, extent.width_m, extent.depth_m, base.scale)
    step = 10.0 if max(extent.width_m, extent.depth_m) > 45 else 5.0
    axes.xaxis.set_major_locator(MultipleLocator(step))
    axes.yaxis.set_major_locator(MultipleLocator(step))
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
    axes.grid(color=palette.CONTOUR, linewidth=0.4, alpha=0.35, zorder=1.5)
    axes.set_axisbelow("line")
    axes.apply_aspect()


def _names(
    page: Sheet, axes: Axes, outcome: Outcome, option: OptionResult, regions: list[Any]
) -> list[Label]:
    """Units first, then protected ground, solids and mounts nobody uses."""
    terrain = outcome.terrain
    labels = []
    for unit in option.detectors:
        ahead = direction(unit.bearing_deg)
        lines = page.lines(unit.name, 0.1, 8, 1, "bold") + page.lines(unit.mount, 0.12, 8, 1)
        labels.append(
            _label(axes, unit.x, unit.y, lines, prefer=(-ahead[0], -ahead[1]), size=8.0, weight="bold")
        )
    for area in terrain.protect:
        place = spot_within(area)
        lines = page.lines(area.name, 0.13, 8, 2)
        if place is not None:
            labels.append(_label(axes, *place, lines, prefer=(0, 0), size=8.0))
    for name, region in zip(terrain.solids.names, regions, strict=True):
        # Numbers that the survey gave to what it found say nothing to a client.
        if not region.is_empty and not name.startswith("surveyed solid"):
            spot = region.representative_point()
            lines = page.lines(name, 0.1, 6.8, 2)
            labels.append(_label(axes, spot.x, spot.y, lines, prefer=(0, 0), size=6.8))
    used = {unit.mount for unit in option.detectors}
    for mount in terrain.mounts:
        if mount.name not in used:
            lines = page.lines(mount.name, 0.1, 6.8, 2)
            labels.append(_label(axes, mount.x, mount.y, lines, size=6.8, colour=palette.QUIET_INK))
    return labels


def _label(
    axes: Axes,
    x: float,
    y: float,
    lines: list[str],
    prefer: tuple[float, float] = (0, 1),
    size: float = 7.0,
    weight: str = "normal",
    colour: str = palette.INK,
) -> Label:
    box = axes.get_window_extent()
    px, py = axes.transData.transform((x, y))
    return Label("\n".join(lines), px - box.x0, py - box.y0, prefer, size, weight, colour)


def plan_signs(outcome: Outcome, options: tuple[OptionResult, ...], extent: Extent) -> list[Sign]:
    """What the marks of plans of these options mean."""
    terrain = outcome.terrain
    signs = [Sign("unit, its arc and maximum range", marker="o")]
    if any(unit.range_m < unit.type.max_range for option in options for unit in option.detectors):
        signs.append(Sign("range setting", width=0.8, dashes=(0, (4, 3))))
    if terrain.protect:
        signs.append(Sign("protected ground", line=palette.PROTECTED, width=1.5, dashes=(0, (5, 2.2))))
    if len(terrain.solids.names):
        signs.append(Sign("solid", fill=palette.SOLID, line=palette.SOLID_EDGE))
    if (terrain.foliage.column >= 0).any():
        signs.append(Sign("foliage", fill=palette.FOLIAGE_LIGHT, line=palette.FOLIAGE_EDGE))
    levels, step = contour_levels(terrain.ground.z[extent.rows, extent.columns])
    if len(levels):
        signs.append(Sign(f"contour, every {step:g} m", line=palette.CONTOUR))
    return signs
