"""The section along a drawn line, a walk, a way in or the boundary: what who goes there would meet."""

from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.ticker import MultipleLocator

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.profile import Run
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.figures import Figure
from terrain3d.lengths import given, half_up, in_metres, in_unit, scale_words, tick
from terrain3d.sentences.along import (
    NO_STRETCH,
    along_sentence,
    layers_words,
    run_stretch,
    run_words,
    stretch_note,
)
from terrain3d.show.blocks import Listing, Paragraph, Piece, Row, Section, fill
from terrain3d.show.labels import placed_in_a_row
from terrain3d.show.legend import (
    BRIDGED,
    GROUND_LINE,
    LEAVES,
    SECTION_LINE,
    SOLID,
    TURNS,
    WALK,
    Sign,
    layer_sign,
    verdict_sign,
)
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.names import BOUNDARY, check_lines
from terrain3d.show.pages.on_picture import HALO, haloed, marked, small_scale
from terrain3d.show.pages.pixels import lay_pixels
from terrain3d.show.pages.plan import begin_plan
from terrain3d.show.pages.sheet import (
    BLOCK_FLOOR,
    BLOCK_TOP,
    COLUMN_RIGHT,
    TYPE,
    WIDE_PICTURE,
    Page,
    Sheet,
    share_of_page,
)
from terrain3d.show.pages.size import WIDTH_PX, Size, scale_for
from terrain3d.show.section_image import Window, has_leaves, line_image, over_ground_pieces
from terrain3d.show.sections import unit_section
from terrain3d.show.silhouettes import silhouette
from terrain3d.terrain import Foliage, Terrain
from terrain3d.units import Floats
from terrain3d.walk.along import LayerOver, LineProfile, profile_along
from terrain3d.walk.track import line_length_m

#: Heights drawn larger than distances, by so much at most.
_STRETCHES = (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10)
#: Free over the highest thing, and under the lowest ground, pixels of the layout.
_OVER_PX, _UNDER_PX = 60.0, 34.0
#: What stands higher over the highest head than this is cut off at the top, metres.
_HEADROOM_M = 1.5


@dataclass(frozen=True)
class _Frame:
    """Heights that the picture holds, metres, and how many times larger they are than distances.

    A metre along the line is `px_per_m` pixels of the layout; `scale` is its denominator on paper, None on a
    screen.
    """

    bottom: float
    top: float
    stretch: float
    px_per_m: float
    scale: int | None


def pages(context: PageContext) -> list[Page]:
    """A section of each option along each line that is asked for."""
    lines = lines_named(context.outcome.terrain, context.lines.along)

    def draws(option: OptionResult) -> list[partial[Sheet]]:
        return [partial(along_sheet, context, option, name, line) for name, line in lines]

    return context.pages_of_options("section", draws)


def lines_named(terrain: Terrain, names: tuple[str, ...]) -> list[tuple[str, Floats]]:
    """The lines of section, walks, ways in and the boundary of some names, in the order of the names.

    Raises
    ------
    InputError
        Where there is none of a name, or it has no length.
    """
    there = [(section.name, section.line) for section in terrain.sections]
    there += [(walk.name, walk.line) for walk in terrain.walks]
    there += [(way.name, way.line) for way in terrain.approaches]
    if terrain.boundary is not None:
        there.append((BOUNDARY, np.vstack([terrain.boundary, terrain.boundary[:1]])))
    check_lines(names, [name for name, line in there if line_length_m(line) > 0])
    return [(name, line) for name in dict.fromkeys(names) for own, line in there
            if own == name and line_length_m(line) > 0]  # fmt: skip


def along_sheet(context: PageContext, option: OptionResult, name: str, line: Floats) -> Sheet:
    """The page of an option along one line."""
    outcome = context.outcome
    terrain, figure = outcome.terrain, outcome.figure
    profile = profile_along(terrain, option.detectors, option.combine, name, line, figure.height_m)
    view, frame = f'section along "{name}", laid out straight', _frame(profile, figure, context.size)
    page = context.begin_option(option, view, along_sentence(profile), frame.scale)
    _draw(page, terrain, profile, figure, frame)
    left, bottom, width, height = WIDE_PICTURE
    drawn = profile.length_m * frame.px_per_m / WIDTH_PX
    is_narrow = drawn < _NARROW * width
    place = (left, BLOCK_FLOOR, 0.17, BLOCK_TOP - BLOCK_FLOOR + 0.005)
    if is_narrow:
        # A narrow picture leaves room for a larger plan beside it.
        place = (left + drawn + 0.03, bottom, width - drawn - 0.03, height)
    base = context.base_in(place[2:], [line])
    plan = begin_plan(
        page, outcome, option, replace(base, scale=None), place, "W", is_ruled=False, is_fine=False
    )
    haloed(plan.axes, line, SECTION_LINE, 11, 3.4)
    marked(plan.axes, line[0], WALK, 12, 1.3)
    _fill_blocks(page, option, profile, _WIDE_COLUMNS if is_narrow else _COLUMNS)
    page.key(_signs(profile, terrain.foliage, figure))
    return page


#: The two columns of text under the picture, from and to, beside the plan and without it.
_COLUMNS, _WIDE_COLUMNS = ((0.245, 0.6), (0.625, COLUMN_RIGHT)), ((0.05, 0.5), (0.53, COLUMN_RIGHT))
#: A picture that takes less than this of the page's width is a narrow one.
_NARROW = 0.62
_HEADING = "Along the line, and how high over it layers pass"


def _fill_blocks(
    page: Sheet, option: OptionResult, profile: LineProfile, columns: tuple[tuple[float, float], ...]
) -> None:
    """The stretches under the picture; the units beside them where one column holds all stretches."""
    page.begin_column(*columns[0], BLOCK_TOP, BLOCK_FLOOR)
    items = _stretches(page, profile)
    room, count = page.room() - _HEADING_SHARE, 0
    for item in items:
        room -= sum(page.height_of(row) for row in item)
        if room < 0:
            break
        count += 1
    first, rest = (Listing(part, where="see the picture") for part in (items[:count], items[count:]))
    fill(page, [Section(_HEADING, (first,))])
    page.begin_column(*columns[1], BLOCK_TOP, BLOCK_FLOOR)
    fill(page, [Section("Farther along", (rest,)) if rest.items else unit_section(option.detectors, spare=0)])


#: Height of a heading with its rule, a share of the page.
_HEADING_SHARE = 0.049


def _stretches(page: Sheet, profile: LineProfile) -> tuple[tuple[Piece, ...], ...]:
    """The stretches of the line within arc and range, and how high the layers pass in the middle of each."""
    items: list[tuple[Piece, ...]] = []
    for run in profile.runs():
        if run.code == Verdict.OUTSIDE:
            continue
        sign, where = verdict_sign(run.code), run_stretch(run)
        middle = (max(run.start_m, 0.0) + run.stop_m) / 2
        over = layers_words(profile, middle) if run.code != UNKNOWN else ""
        whole = f"{run_words(run)}: {over}" if over else run_words(run)
        room = page.right - page.left - 0.05 - share_of_page(where, TYPE["small"])
        if len(page.lines(whole, room, TYPE["small"], 2)) == 1:
            items.append((Row(whole, (where,), sign, "small"),))
            continue
        note = Paragraph(over, 2, "note", is_quiet=True)
        items.append((Row(run_words(run), (where,), sign, "small"), note))
    return tuple(items) or ((Row(NO_STRETCH, size="small"),),)


def _draw(page: Sheet, terrain: Terrain, profile: LineProfile, figure: Figure, frame: _Frame) -> None:
    left, bottom, _, height = WIDE_PICTURE
    length = profile.length_m
    axes = page.picture_axes((left, bottom, length * frame.px_per_m / WIDTH_PX, height))
    box = axes.get_window_extent()
    axes.set(xlim=(0.0, length), ylim=(frame.bottom, frame.top))
    k = page.size.fineness
    window = Window(0.0, length, frame.bottom, frame.top, round(k * box.width), round(k * box.height))
    image = line_image(profile, terrain.foliage, window, k)
    lay_pixels(axes, image[::-1], (0.0, length, frame.bottom, frame.top), 1)
    for solid in profile.solids:
        for piece in over_ground_pieces(solid, profile):
            axes.add_artist(Polygon(piece, zorder=5, **SOLID.patch))
            axes.add_artist(Polygon(piece, zorder=5, **SOLID.rim))
    for layer in profile.layers:
        _edges(axes, layer, profile)
    measured = np.where(profile.bridged, np.nan, profile.ground)
    axes.plot(profile.along, measured, zorder=6, **GROUND_LINE.stroke)
    axes.plot(profile.along, np.where(profile.bridged, profile.ground, np.nan), zorder=6, **BRIDGED.stroke)
    for at in profile.corners_m:
        axes.axvline(float(at), zorder=3, **TURNS.stroke)
    changes = _changes(profile.runs())
    for at in changes:
        foot = float(np.interp(at, profile.along, profile.ground))
        for outline in silhouette(figure):
            # As wide as it is high, whatever the heights are stretched by.
            placed = outline * [frame.stretch, 1.0] + [at, foot]
            axes.add_artist(
                Polygon(placed, facecolor=palette.FIGURE, edgecolor="white", linewidth=0.5, zorder=8)
            )
    _rulers(axes, length, frame)
    small_scale(axes, length)
    note = axes.annotate(
        stretch_note(frame.stretch), (0, 1), (7, -6), "axes fraction", "offset points", fontsize=7, ha="left",
        va="top", color=palette.QUIET_INK, path_effects=HALO, zorder=20,
    )  # fmt: skip
    _change_labels(page, axes, changes, note.get_window_extent().x1 + 10)


def _frame(profile: LineProfile, figure: Figure, size: Size) -> _Frame:
    """The heights to show: all the ground, whoever stands on it, layers and things up to some way over.

    On paper distances are to a scale of rulers. A steep line is drawn narrower, at true scale, not flattened.
    """
    low, high = _heights(profile, figure)
    room = WIDE_PICTURE[3] * size.height_px / size.fineness - _OVER_PX - _UNDER_PX
    m_per_px = max(profile.length_m / (WIDE_PICTURE[2] * WIDTH_PX), (high - low) / room)
    scale = None
    if size.width_mm is not None:
        paper_px = size.paper_m(1 / WIDTH_PX)
        scale = scale_for((m_per_px, m_per_px), (paper_px, paper_px))
        m_per_px = scale * paper_px
    largest = room * m_per_px / (high - low)
    stretch = max((one for one in _STRETCHES if one <= largest), default=1)
    per_px = m_per_px / stretch
    spare = (room * per_px - (high - low)) / 2
    bottom, top = low - _UNDER_PX * per_px - spare, high + _OVER_PX * per_px + spare
    return _Frame(bottom, top, stretch, 1 / m_per_px, scale)


def _heights(profile: LineProfile, figure: Figure) -> tuple[float, float]:
    """The lowest and the highest that a picture has to show."""
    known = profile.ground[np.isfinite(profile.ground)]
    if not len(known):
        return 0.0, 2.0
    low, head = float(known.min()), float(known.max()) + figure.height_m
    tops = [float(piece[:, 1].max()) for solid in profile.solids for piece in solid.pieces]
    tops += [float(layer.z[layer.light > 0].max()) for layer in profile.layers]
    return low, max(head, min(max(tops, default=head), head + _HEADROOM_M))


def _edges(axes: Axes, layer: LayerOver, profile: LineProfile) -> None:
    """The lower and upper edge of a layer, where they get there."""
    for row, dashes in ((0, "-"), (-1, "-"), (len(layer.z) // 2, (0, (7, 3)))):
        z = np.where(layer.light[row] > 0, layer.z[row], np.nan)
        colour = palette.layer_colour(layer.layer)
        axes.plot(profile.along, z, color=colour, linewidth=0.9, linestyle=dashes, zorder=4)


def _changes(runs: list[Run]) -> list[float]:
    """Where the verdict changes on known ground."""
    return [after.start_m for before, after in pairwise(runs) if UNKNOWN not in (before.code, after.code)]


def _change_labels(page: Sheet, axes: Axes, changes: list[float], left_px: float) -> None:
    """The distance of each change, under the top edge; those that find no room are in the list below."""
    box = axes.get_window_extent()
    texts = [half_up(at) for at in changes]
    widths = [WIDTH_PX * share_of_page(text, 7, "bold") for text in texts]
    wanted = [float(axes.transData.transform((at, 0))[0]) for at in changes]
    kept, middles = placed_in_a_row(wanted, widths, left_px, box.x1 - 8)
    width, height = page.figure.bbox.size
    for k, middle in zip(kept, middles, strict=True):
        page.text(
            middle / width, (box.y1 - 9) / height, texts[k], 7, ha="center", va="top", weight="bold",
            path_effects=HALO, zorder=30,
        )  # fmt: skip


def _rulers(axes: Axes, length: float, frame: _Frame) -> None:
    step = next((one for one in (0.5, 1, 2, 5, 10, 20, 50, 100) if in_unit(length) / one <= 26), 200)
    axes.xaxis.set_major_locator(MultipleLocator(in_metres(step)))
    rise = in_unit(frame.top - frame.bottom) / 8
    up = next((one for one in (0.5, 1, 2, 5, 10, 20) if one >= rise * 0.8), 50)
    axes.yaxis.set_major_locator(MultipleLocator(in_metres(up)))
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
    axes.xaxis.set_major_formatter(scale_words(tick))
    axes.yaxis.set_major_formatter(scale_words(given))


def _signs(profile: LineProfile, foliage: Foliage, figure: Figure) -> list[Sign]:
    signs = [
        replace(layer_sign(name), text=f"{name} layer, its axis dashed")
        for name in list(dict.fromkeys(layer.layer for layer in profile.layers))[:4]
    ]
    signs.append(GROUND_LINE)
    if profile.bridged.any():
        signs.append(BRIDGED)
    if len(profile.corners_m):
        signs.append(TURNS)
    if profile.solids:
        signs.append(SOLID)
    if has_leaves(profile, foliage):
        signs.append(LEAVES)
    if _changes(profile.runs()):
        signs.append(Sign(f"{figure.name} at a change", fill=palette.FIGURE, line=palette.FIGURE))
    return signs
