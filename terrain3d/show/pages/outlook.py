"""What a unit sees: azimuth by elevation, shaded by distance, with its layers where they point."""

from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.ticker import MultipleLocator

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.profile import head_bearings
from terrain3d.detector.outline import Span, in_world, layer_outline, span_of
from terrain3d.detector.pose import Detector, PosedHead, posed_heads, shut_arcs
from terrain3d.job import Outcome
from terrain3d.lengths import given, given_figure, in_metres
from terrain3d.sentences.outlook import figure_lines, layer_words, outlook_sentence
from terrain3d.show.blocks import Gap, Listing, Row, Section, fill
from terrain3d.show.legend import (
    ARC_END,
    EQUAL_DISTANCE,
    LEAVES,
    LEVEL,
    MASKED,
    PAST_RANGE,
    PROTECTED,
    SKY,
    Sign,
    layer_signs,
    masked_signs,
    site_signs,
)
from terrain3d.show.outlook_image import NEAREST_M, distance_share, shaded
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import HALO, Label, place_labels
from terrain3d.show.pages.on_sight import at_foot, draw_figure, draw_protected
from terrain3d.show.pages.pixels import lay_pixels
from terrain3d.show.pages.sheet import (
    BLOCK_FLOOR,
    BLOCK_TOP,
    COLUMN_RIGHT,
    WIDE_PICTURE,
    Page,
    Sheet,
)
from terrain3d.show.pages.size import HEIGHT_PX, WIDTH_PX
from terrain3d.show.sections import unit_section
from terrain3d.sight.hits import Hit
from terrain3d.sight.picture import Picture, picture
from terrain3d.units import Floats
from terrain3d.walk.along import layers_over
from terrain3d.walk.outlook import figure_places, outlook_shares, place_of

#: How far sight is followed past the range, times.
PAST_RANGE_TIMES = 4.0
#: Lines of equal distance on the ground, and distances told under its colours, metres or feet.
_LINES = (2.0, 4.0, 8.0, 12.0, 24.0, 48.0, 96.0, 192.0)
_MARKED = (0.5, 1, 2, 4, 8, 16, 32, 64, 128, 256)
#: Directions are cast for no finer a page than this, however fine the paper.
_FINEST = 1.6


def pages(context: PageContext) -> list[Page]:
    """What each unit of each option sees."""
    return context.pages_of_options(
        "outlook",
        lambda option: [
            partial(outlook_sheet, context, option, unit) for unit in context.lines.drawn(option)
        ],
    )


def outlook_sheet(context: PageContext, option: OptionResult, unit: Detector) -> Sheet:
    """The page of what one unit of an option sees."""
    outcome = context.outcome
    view = f"what {unit.name} sees, facing {unit.bearing_deg:g}°"
    span = _with_figures(span_of(unit), outcome, unit)
    # Coarser than the page: distances change slowly, and edges are lines drawn over them.
    fineness = min(context.size.fineness, _FINEST) / 2
    across, up = round(WIDE_PICTURE[2] * WIDTH_PX * fineness), round(WIDE_PICTURE[3] * HEIGHT_PX * fineness)
    azimuths = span.left + (span.right - span.left) * (np.arange(across) + 0.5) / across
    elevations = span.low + (span.high - span.low) * (np.arange(up) + 0.5) / up
    seen = picture(
        outcome.terrain,
        unit.eye,
        unit.bearing_deg + azimuths,
        elevations,
        PAST_RANGE_TIMES * unit.type.max_range,
    )
    sentence = outlook_sentence(outlook_shares(outcome.terrain, unit), outcome.terrain.solids.names)
    page = context.begin_option(option, view, sentence)
    page.of = unit.name
    axes = page.picture_axes(WIDE_PICTURE)
    _frame(axes, span)
    sides = (span.left, span.right, span.low, span.high)
    lay_pixels(axes, shaded(seen, unit.type.max_range), sides, 1, is_smooth=True)
    skyline(axes, seen, azimuths)
    _distance_lines(axes, seen, azimuths, unit.type.max_range)
    axes.axhline(0.0, zorder=5, **LEVEL.stroke)
    covered = [shut_arcs(kind, unit.head(h)) for h, kind in enumerate(unit.type.head)]
    for head, masked in zip(posed_heads(unit), covered, strict=True):
        for layer in head.layers:
            for stretch in head.open_deg:
                _layer(axes, layer_outline(unit, head, layer, stretch), layer.name)
            for stretch in masked:
                _masked(axes, layer_outline(unit, head, layer, stretch))
        _arc_limits(axes, unit, head)
    names = draw_protected(page, axes, outcome.terrain, unit.eye, unit.bearing_deg)
    _name_and_measure(page, axes, outcome, unit, names)
    page.begin_column(0.05, 0.40, BLOCK_TOP, BLOCK_FLOOR)
    fill(page, [_scale_section(page, unit, seen)])
    page.begin_column(0.43, 0.72, BLOCK_TOP, BLOCK_FLOOR)
    fill(page, [_layer_section(unit)])
    page.begin_column(0.755, COLUMN_RIGHT, BLOCK_TOP, BLOCK_FLOOR)
    fill(page, [unit_section((unit,), "Unit")])
    leaves = [sign for sign in site_signs(outcome.terrain, leaves=LEAVES) if sign is LEAVES]
    protected = [PROTECTED] if outcome.terrain.protect else []
    person = Sign(f"{outcome.figure.name}, empty where hidden", fill=palette.FIGURE, line=palette.FIGURE)
    signs = [*layer_signs([unit]), *masked_signs([unit]), ARC_END, LEVEL, EQUAL_DISTANCE]
    page.key([*signs, *protected, *leaves, person])
    return page


def _name_and_measure(page: Sheet, axes: Axes, outcome: Outcome, unit: Detector, names: list[Label]) -> None:
    """Figures about the unit's facing, with the heights at which layers pass them, and the names of areas."""
    terrain, labels = outcome.terrain, []
    # Distances are written on the ground already.
    taken = [text.get_window_extent() for text in axes.texts]
    for away_m, turn in figure_places(unit):
        x, y = place_of(unit, away_m, turn)
        standing = draw_figure(axes, terrain, unit.eye, unit.bearing_deg, outcome.figure, (x, y))
        if standing is None:
            continue
        over = layers_over(terrain, unit, np.array([x]), np.array([y]))
        lines = figure_lines(away_m, over, float(terrain.ground.height_at(x, y)))
        labels.append(at_foot(page, axes, standing, lines))
        taken.append(standing.box)
    place_labels(axes, [*labels, *names], taken)


def _with_figures(span: Span, outcome: Outcome, unit: Detector) -> Span:
    """What the picture holds so that the figures are in it from head to foot, and what is written there."""
    x, y = np.transpose([place_of(unit, *place) for place in figure_places(unit)] or [(unit.x, unit.y)])
    foot = outcome.terrain.ground.height_at(x, y) - unit.eye[2]
    far = np.maximum(np.hypot(x - unit.x, y - unit.y), NEAREST_M)
    known = np.isfinite(foot)
    if not known.any():
        return span
    low = float(np.degrees(np.arctan2(foot, far))[known].min()) - 7
    high = float(np.degrees(np.arctan2(foot + outcome.figure.height_m, far))[known].max()) + 2
    return Span(span.left, span.right, max(min(span.low, low), -89.0), min(max(span.high, high), 89.0))


def _distance_lines(axes: Axes, seen: Picture, azimuths: Floats, range_m: float) -> None:
    """Lines of equal distance on the ground, the range's own drawn heavier."""
    distance = np.where(seen.what == Hit.GROUND, seen.distance, np.nan)
    # Over a brow the distance leaps: no line of equal distance runs along it.
    with np.errstate(invalid="ignore"):
        leap = np.abs(np.diff(distance, axis=0, prepend=np.nan)) > 0.25 * distance
    distance[leap] = np.nan
    if not np.isfinite(distance).any():
        return  # within a solid, say, no ground is seen at all
    levels = sorted({level for level in map(in_metres, _LINES) if level < range_m} | {range_m})
    shown = [level for level in levels if np.nanmin(distance) < level < np.nanmax(distance)]
    if not shown:
        return
    lines = axes.contour(
        azimuths,
        seen.elevation_deg,
        np.ma.masked_invalid(distance),
        levels=shown,
        colors=palette.INK,
        linewidths=[1.3 if level == range_m else 0.6 for level in shown],
        zorder=3,
    )
    for text in axes.clabel(lines, fontsize=6.8, fmt=given, inline=True, inline_spacing=3):
        text.set(color=palette.INK, path_effects=HALO, zorder=9)


def skyline(axes: Axes, seen: Picture, azimuths: Floats) -> None:
    """The line between what is met and the sky."""
    is_met = (seen.what != Hit.NOTHING).astype(float)
    if 0 < is_met.mean() < 1:
        axes.contour(
            azimuths,
            seen.elevation_deg,
            is_met,
            levels=[0.5],
            colors=palette.QUIET_INK,
            linewidths=0.7,
            zorder=2,
        )


def _masked(axes: Axes, outline: Floats) -> None:
    """A part of a layer's band that is covered."""
    for shift in (-360, 0, 360):
        moved = outline + np.array([shift, 0.0])
        axes.add_patch(Polygon(moved, zorder=4, **MASKED.patch))
        axes.add_patch(Polygon(moved, zorder=5.5, **MASKED.rim))


def _layer(axes: Axes, outline: Floats, name: str) -> None:
    colour = palette.layer_colour(name)
    for shift in (-360, 0, 360):
        axes.fill(
            outline[:, 0] + shift, outline[:, 1], facecolor=colour, alpha=0.28, edgecolor="none", zorder=4
        )
        axes.plot(outline[:, 0] + shift, outline[:, 1], color="white", linewidth=2.4, alpha=0.7, zorder=5)
        axes.plot(outline[:, 0] + shift, outline[:, 1], color=colour, linewidth=1.3, zorder=6)


def _arc_limits(axes: Axes, unit: Detector, head: PosedHead) -> None:
    """The two ends of a head's arc, from steeply down to well over level."""
    for side in (-1, 1):
        edge = np.array([side * head.arc_deg / 2])
        line = np.vstack([in_world(unit, head, edge, e) for e in np.linspace(-80, 40, 40)])
        axes.plot(*line.T, zorder=5, **ARC_END.stroke)


def _frame(axes: Axes, span: Span) -> None:
    axes.set(xlim=(span.left, span.right), ylim=(span.low, span.high))
    axes.xaxis.set_major_locator(MultipleLocator(15 if span.right <= 120 else 30))
    axes.yaxis.set_major_locator(MultipleLocator(5 if span.high - span.low <= 60 else 10))
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:+g}°" if value else "ahead")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:+g}°" if value else "level")
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)


def _scale_section(page: Sheet, unit: Detector, seen: Picture) -> Section:
    """The shading's own scale, a bar for each kind of thing that is seen."""
    range_m = unit.type.max_range
    kinds = [(Hit.GROUND, "ground"), (Hit.SOLID, "solid")]
    left, width, height = page.left + 0.062, 0.27, 0.02
    distances = NEAREST_M * (range_m / NEAREST_M) ** np.linspace(0, 1, 64)

    def bar(what: Hit, baseline: float) -> None:
        strip = Picture(
            np.zeros(64),
            np.zeros(1),
            distances[None],
            np.full((1, 64), what, np.uint8),
            np.full((1, 64), -1),
            np.ones((1, 64)),
        )
        axes = page.figure.add_axes((left, baseline - 0.004, width, height))
        axes.imshow(shaded(strip, range_m), aspect="auto", extent=(0, 1, 0, 1), interpolation="nearest")
        axes.set(xticks=[], yticks=[])

    def ticks(baseline: float) -> None:
        for m in [m for m in map(in_metres, _MARKED) if NEAREST_M <= m < 0.8 * range_m] + [range_m]:
            x = left + width * float(distance_share(np.array([m]), range_m)[0])
            page.text(
                x, baseline, given(m) if m == range_m else given_figure(m), 7, ha="center", va="baseline"
            )

    rows = [Row(name, draw=partial(bar, what)) for what, name in kinds if (seen.what == what).any()]
    signs = (Row(sign.text, sign=sign, size="small") for sign in (PAST_RANGE, SKY))
    pieces = [piece for row in rows for piece in (row, Gap())]
    return Section("Distance along the line of sight", (*pieces, Row("", size="note", draw=ticks), *signs))


def _layer_section(unit: Detector) -> Section:
    bearings, items = head_bearings(unit), []
    for number, (head, bearing) in enumerate(zip(posed_heads(unit), bearings, strict=True), 1):
        which = f"head {number}, " if len(bearings) > 1 else ""
        rows = [Row(f"{which}middle at {bearing:.0f}°, arc {head.arc_deg:g}°")]
        for layer in head.layers:
            middle = in_world(unit, head, np.zeros(1), layer.elevation_deg)[0, 1]
            rows.append(Row(layer_words(layer, middle), size="small", is_quiet=True))
        items.append(tuple(rows))
    return Section("Layers as the unit is set", (Listing(tuple(items)),))
