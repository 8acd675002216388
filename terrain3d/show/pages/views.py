"""What a person sees who looks at the units from walks, ways in and marks, at the height of his eye."""

from dataclasses import replace
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator
from matplotlib.transforms import Bbox

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.sentences.views import heading_words, seen_words, view_words, views_sentence
from terrain3d.show.blocks import Gap, Listing, Paragraph, Row, Section, fill
from terrain3d.show.legend import LEAVES, LEVEL, PROTECTED, SKY, UNIT, Sign, site_signs
from terrain3d.show.outlook_image import shaded
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import Label, marked, place_labels
from terrain3d.show.pages.on_sight import direction_label, draw_protected, seen_at
from terrain3d.show.pages.outlook import skyline
from terrain3d.show.pages.pixels import lay_pixels
from terrain3d.show.pages.sheet import BLOCK_FLOOR, BLOCK_TOP, COLUMN_RIGHT, WIDE_PICTURE, Page, Sheet
from terrain3d.show.pages.size import HEIGHT_PX, WIDTH_PX
from terrain3d.sight.picture import Picture, picture
from terrain3d.terrain import Terrain
from terrain3d.units import Floats
from terrain3d.walk.viewpoints import SeenUnit, Viewpoint, seen_unit, viewpoints

#: Pictures on a page, and what lies between them, a share of its width.
PER_PAGE = 3
_GAP = 0.038
#: Degrees of a picture to a share of the page's width, and at most to either side of the unit looked at.
_DEG_PER_SHARE, _MOST_ASIDE_DEG = 224.0, 110.0
#: How far sight is followed, metres, and at which distance things are palest.
_REACH_M, _FAR_M = 80.0, 40.0
#: The middle of a picture is level with what is looked at, up to this, degrees.
_MOST_UP_DEG = 50.0
#: Directions cast for a pixel of the layout, along either side.
_FINENESS = 0.5
#: A solid that takes less of a picture gets no name there.
_LEAST_SHARE = 0.006
#: Half the width of a unit's mark, pixels of the layout.
_MARK_PX = 9.0
HIDDEN_UNIT = replace(
    UNIT, text="unit that is hidden", width=0.0,
    mark=replace(UNIT.mark, rim=palette.QUIET_INK, dot=0.0),
)  # fmt: skip
POLE = Sign("pole", line=palette.POLE, width=2.4)
HIDDEN_POLE = Sign("pole that is hidden", line=palette.QUIET_INK, width=0.8, dashes=(2, 2))
SEEN_UNIT = replace(UNIT, text="unit in sight", width=0.0)


def pages(context: PageContext) -> list[Page]:
    """The views of each option: a page of each walk, then ways in and marks, some on each page."""
    groups = viewpoints(context.outcome.terrain, context.outcome.figure, context.outcome.site.own_figures)
    parts = [group[k : k + PER_PAGE] for group in groups for k in range(0, len(group), PER_PAGE)]

    def draws(option: OptionResult) -> list[partial[Sheet]]:
        there = context.lines.drawn(option)
        return [partial(views_sheet, context, option, part) for part in parts] if there else []

    return context.pages_of_options("views", draws)


def views_sheet(context: PageContext, option: OptionResult, points: tuple[Viewpoint, ...]) -> Sheet:
    """The page of some viewpoints of an option, from left to right."""
    terrain, units = context.outcome.terrain, tuple(context.lines.drawn(option))
    seen = tuple(tuple(seen_unit(terrain, point, unit) for unit in units) for point in points)
    page = context.begin_option(option, view_words(points), views_sentence(points, seen))
    is_named = len({point.name for point in points}) == 1
    # Fewer pictures are wider, and show more.
    width = (COLUMN_RIGHT - WIDE_PICTURE[0] - (len(points) - 1) * _GAP) / len(points)
    for k, (point, told) in enumerate(zip(points, seen, strict=True)):
        left = WIDE_PICTURE[0] + k * (width + _GAP)
        _draw_view(page, terrain, point, units, told, (left, WIDE_PICTURE[1], width, WIDE_PICTURE[3]))
        page.begin_column(left, left + width, BLOCK_TOP, BLOCK_FLOOR)
        fill(page, [_told_section(terrain, heading_words(point, is_named), told)])
    leaves = [sign for sign in site_signs(terrain, leaves=LEAVES) if sign is LEAVES]
    protected = [PROTECTED] if terrain.protect else []
    ground = Sign("ground, paler farther off", fill=palette.GROUND_BY_DISTANCE[0], line=palette.QUIET_INK)
    solid = Sign("solid, likewise", fill=palette.SOLID_BY_DISTANCE[0], line=palette.QUIET_INK)
    solids = [solid] if terrain.solids.names else []
    page.key([SEEN_UNIT, HIDDEN_UNIT, LEVEL, *protected, ground, *solids, *leaves, SKY])
    return page


def _told_section(terrain: Terrain, heading: str, seen: tuple[SeenUnit, ...]) -> Section:
    """Each unit, the nearest first: where it is, and what hides it."""
    solids = terrain.solids
    items = tuple(
        (Row(one.unit, is_bold=True), Paragraph(seen_words(one, solids.names, solids.surveyed), 3), Gap())
        for one in sorted(seen, key=lambda one: one.distance_m)
    )
    return Section(heading, (Listing(items, noun="unit", where="see the sentence below"),))


def _draw_view(
    page: Sheet,
    terrain: Terrain,
    point: Viewpoint,
    units: tuple[Detector, ...],
    told: tuple[SeenUnit, ...],
    place: tuple[float, float, float, float],
) -> None:
    """Look from a viewpoint towards the nearest unit."""
    axes = page.picture_axes(place)
    nearest = min(told, key=lambda one: one.distance_m)
    ahead = nearest.bearing_deg
    aside = min(_DEG_PER_SHARE * place[2] / 2, _MOST_ASIDE_DEG)
    up = aside * place[3] * HEIGHT_PX / (place[2] * WIDTH_PX)
    middle = float(np.clip(nearest.elevation_deg, -_MOST_UP_DEG, _MOST_UP_DEG))
    low, high = max(middle - up, -89.0), min(middle + up, 89.0)
    across, rows = (
        round(_FINENESS * share * px) for share, px in ((place[2], WIDTH_PX), (place[3], HEIGHT_PX))
    )
    azimuths = aside * (2 * (np.arange(across) + 0.5) / across - 1)
    elevations = low + (high - low) * (np.arange(rows) + 0.5) / rows
    seen = picture(terrain, point.eye, ahead + azimuths, elevations, _REACH_M)
    axes.set(xlim=(-aside, aside), ylim=(low, high))
    lay_pixels(axes, shaded(seen, _FAR_M), (-aside, aside, low, high), 1, is_smooth=True)
    skyline(axes, seen, azimuths)
    axes.axhline(0.0, zorder=5, **LEVEL.stroke)
    _ticks(axes)
    areas = draw_protected(page, axes, terrain, point.eye, ahead)
    labels, taken = _draw_units(page, axes, point, ahead, units, told)
    place_labels(axes, [*labels, *_solid_labels(page, axes, terrain, seen, azimuths), *areas], taken)


def _draw_units(
    page: Sheet,
    axes: Axes,
    point: Viewpoint,
    ahead: float,
    units: tuple[Detector, ...],
    told: tuple[SeenUnit, ...],
) -> tuple[list[Label], list[Bbox]]:
    """Poles and units where they are, in sight or not; returns their names, and the pixels of their marks."""
    labels, taken = [], []
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    for unit, own in zip(units, told, strict=True):
        ends = np.array([unit.eye, (unit.x, unit.y, unit.ground_z)])
        azimuth, elevation, _ = seen_at(point.eye, ends, ahead)
        if not (left < azimuth[0] < right and low < elevation[0] < high):
            continue
        is_seen = own.is_in_sight
        axes.plot(azimuth, elevation, zorder=6, **(POLE if is_seen else HIDDEN_POLE).stroke)
        marked(axes, np.array([azimuth[0], elevation[0]]), SEEN_UNIT if is_seen else HIDDEN_UNIT, 9)
        at = np.array([azimuth[0], elevation[0]])
        middle = axes.transData.transform(at)
        taken.append(Bbox([middle - _MARK_PX, middle + _MARK_PX]))
        labels.append(direction_label(page, axes, at, own.unit, 8.0, prefer=(0, 1), weight="bold"))
    return labels, taken


def _solid_labels(page: Sheet, axes: Axes, terrain: Terrain, seen: Picture, azimuths: Floats) -> list[Label]:
    """Names of the solids that take enough of the picture, largest first; numbers of a survey's are none."""
    labels = []
    counts = np.bincount(seen.solid[seen.solid >= 0], minlength=len(terrain.solids.names))
    for solid in np.argsort(-counts, kind="stable").tolist():
        if counts[solid] < _LEAST_SHARE * seen.solid.size or solid in terrain.solids.surveyed:
            continue
        rows, columns = np.nonzero(seen.solid == solid)
        # The pixel of it that lies nearest the middle of them all: a thing may be seen in two parts.
        at = np.column_stack([azimuths[columns], seen.elevation_deg[rows]])
        nearest = np.hypot(*(at - at.mean(axis=0)).T).argmin()
        labels.append(direction_label(page, axes, at[nearest], terrain.solids.names[solid], 6.8))
    return labels


def _ticks(axes: Axes) -> None:
    axes.xaxis.set_major_locator(MultipleLocator(15))
    axes.yaxis.set_major_locator(MultipleLocator(10))
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:+g}°" if value else "ahead")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:+g}°" if value else "level")
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
