"""The section along a bearing: where each layer runs, where it ends, and what that makes of the ground."""

import math
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from matplotlib.ticker import MultipleLocator
from matplotlib.transforms import Bbox

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.profile import (
    Beam,
    Profile,
    changes,
    ground_at,
    head_bearings,
    line_profile,
    masked_along,
    passing_from,
)
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.lengths import given, in_metres, in_unit, scale_words, tick
from terrain3d.sentences.along import stretch_note
from terrain3d.sentences.heads import masked_words
from terrain3d.sentences.section import (
    broken_words,
    change_words,
    end_words,
    passing_words,
    run_rows,
    section_sentence,
    stretch_words,
)
from terrain3d.show.blocks import Listing, Paragraph, Row, Section, fill
from terrain3d.show.labels import placed_in_a_row
from terrain3d.show.legend import (
    BRIDGED,
    GROUND_LINE,
    LEAVES,
    MASKED,
    SECTION_LINE,
    SOLID,
    UNIT,
    Sign,
    layer_sign,
    site_signs,
    verdict_sign,
)
from terrain3d.show.pages import section_along
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import HALO, Label, haloed, marked, place_labels
from terrain3d.show.pages.pixels import lay_pixels
from terrain3d.show.pages.plan import begin_plan
from terrain3d.show.pages.sheet import (
    BLOCK_FLOOR,
    BLOCK_TOP,
    COLUMN_RIGHT,
    WIDE_PICTURE,
    Page,
    Place,
    Sheet,
    share_of_page,
)
from terrain3d.show.pages.size import HEIGHT_PX, WIDTH_PX, Size, scale_for
from terrain3d.show.section_image import (
    STRIP_PX,
    Window,
    cut_image,
    has_leaves,
    over_ground_pieces,
)
from terrain3d.show.sections import unit_section
from terrain3d.show.silhouettes import silhouette
from terrain3d.terrain import Terrain

#: The line runs at least so far behind the unit and past its range, metres.
BEHIND_M, BEYOND_M = 0.9, 0.7
#: Pixels of the layout kept free over what stands, for the labels of the changes.
_LABEL_ROOM_PX = 92.0
#: What rises higher over the eye than this is cut off at the top, metres.
_HEADROOM_M = 2.6
_STRETCHES = (2, 3, 4, 5)


@dataclass(frozen=True)
class Frame:
    """What a section's picture holds: from and to along the line, and heights, metres.

    `stretch` is how many times larger heights are drawn than distances.
    """

    left: float
    right: float
    bottom: float
    top: float
    stretch: int = 1


@dataclass(frozen=True)
class View:
    """One line cut and ready to draw: `scale` is a printed section's denominator, None on a screen."""

    profile: Profile
    figure: Figure
    scale: int | None
    width_m: float
    metres_per_px: float


def section_view(
    terrain: Terrain,
    unit: Detector,
    bearing_deg: float,
    figure: Figure,
    size: Size,
    room: tuple[float, float],
    label_room_px: float = _LABEL_ROOM_PX,
) -> View:
    """Cut the site along a bearing and choose the scale.

    Parameters
    ----------
    terrain : Terrain
    unit : Detector
    bearing_deg : float
    figure : Figure
    size : Size
    room : (width, height)
        Of the picture, in pixels of the layout.
    label_room_px : float
        Of its height, kept free for labels.
    """
    least = line_profile(terrain, unit, bearing_deg, figure.height_m, BEHIND_M, BEYOND_M)
    low, high = heights_shown(least, figure)
    span = unit.type.max_range + BEHIND_M + BEYOND_M
    needed = max(span / room[0], (high - low) / (room[1] - label_room_px))
    scale = None
    if size.width_mm is not None:
        paper_px = size.paper_m(1 / WIDTH_PX)
        scale = scale_for((needed, needed), (paper_px, paper_px))
        needed = scale * paper_px
    width_m = needed * room[0]
    spare = max(width_m - span, 0.0) / 2
    profile = line_profile(
        terrain, unit, bearing_deg, figure.height_m, BEHIND_M + spare + 0.2, BEYOND_M + spare + 0.2
    )
    return View(profile, figure, scale, width_m, needed)


def heights_shown(profile: Profile, figure: Figure) -> tuple[float, float]:
    """Lowest and highest point that a section must show."""
    # The ends of the line only fill the picture's width: on a slope they rise or fall far past the rest.
    reach_m = profile.unit.type.max_range + BEYOND_M
    told = (profile.along >= -BEHIND_M) & (profile.along <= reach_m) & np.isfinite(profile.ground)
    ground = profile.ground[told]
    low, high = float(ground.min()), max(float(ground.max()) + figure.height_m, profile.eye_z)
    # Upwards a layer may leave the picture, or a steep one would flatten all the rest.
    ceiling = max(high, profile.eye_z + _HEADROOM_M)
    tops = [high, *(float(profile.eye_z + (b.slopes * b.ends).max()) for b in profile.beams)]
    tops += [
        float(piece[:, 1].max())
        for solid in profile.solids
        for piece in solid.pieces
        if piece[:, 0].max() >= -BEHIND_M and piece[:, 0].min() <= reach_m
    ]
    return low - 0.45, min(max(tops), ceiling) + 0.1


def pages(context: PageContext) -> list[Page]:
    """Sections of each option's units: along the facing of each head, or along one bearing."""
    asked = context.lines
    if asked.along:
        return section_along.pages(context)

    def draws(option: OptionResult) -> list[partial[Sheet]]:
        cuts = [cut for unit in asked.drawn(option) for cut in _cuts(unit, asked.bearing_deg)]
        return [partial(section_sheet, context, option, *cut) for cut in cuts]

    return context.pages_of_options("section", draws)


def _cuts(unit: Detector, bearing_deg: float | None) -> list[tuple[Detector, float, str]]:
    """The lines of a unit: each with its bearing, and what looks that way."""
    if bearing_deg is not None:
        return [(unit, bearing_deg % 360, unit.name)]
    bearings = head_bearings(unit)
    if len(bearings) == 1:
        return [(unit, bearings[0], unit.name)]
    heads = enumerate(bearings, 1)
    return [(unit, bearing, f"{unit.name}, head {head} of {len(bearings)}") for head, bearing in heads]


def section_sheet(
    context: PageContext, option: OptionResult, unit: Detector, bearing_deg: float, which: str
) -> Sheet:
    """The page of a section.

    Parameters
    ----------
    context : PageContext
    option : OptionResult
    unit : Detector
        The unit the section starts from; the verdicts along the line are those of it alone.
    bearing_deg : float
    which : str
        What looks that way, such as "D1" or "D1, head 1 of 2".
    """
    outcome = context.outcome
    room = (WIDE_PICTURE[2] * WIDTH_PX, WIDE_PICTURE[3] * HEIGHT_PX)
    view = section_view(outcome.terrain, unit, bearing_deg, outcome.figure, context.size, room)
    what = f"section from {which}, bearing {bearing_deg:.0f}°"
    page = context.begin_option(option, what, section_sentence(view.profile), view.scale)
    page.of = f"{which}, bearing {bearing_deg:.0f}°"
    draw_section(page, outcome, view, WIDE_PICTURE)
    _key_plan(page, context, option, view.profile)
    page.begin_column(0.755, COLUMN_RIGHT, BLOCK_TOP, BLOCK_FLOOR)
    fill(page, [unit_section((unit,), "Unit")])
    broken = [Paragraph(line, 3, is_quiet=True) for line in broken_words(unit)]
    # Where much is said of the unit itself, this goes under the line.
    rest = _put_where_room(page, broken)
    _line_rows(page, view.profile)
    _put_where_room(page, rest)
    page.key([*section_signs(outcome, view.profile), *_plan_signs(context, option, view.profile)])
    return page


def _plan_signs(context: PageContext, option: OptionResult, profile: Profile) -> list[Sign]:
    """What the small plan shows beside what the section and its rows have signs for."""
    extent, terrain = context.base.extent, context.outcome.terrain
    told = {sign.text for sign in section_signs(context.outcome, profile)}
    along = {run.code for run, _ in run_rows(profile)}
    shown = set(np.unique(option.verdicts[extent.rows, extent.columns])) - along - {Verdict.OUTSIDE}
    stands = [sign for sign in site_signs(terrain) if sign.text not in told]
    return [*stands, *(verdict_sign(code) for code in sorted(map(int, shown)))]


def _put_where_room(page: Sheet, pieces: list[Paragraph]) -> list[Paragraph]:
    """Put what finds room whole, from the first on; what does not is given back."""
    while pieces and page.height_of(pieces[0]) <= page.room():
        first, *pieces = pieces
        page.put(first)
    return pieces


def _key_plan(page: Sheet, context: PageContext, option: OptionResult, profile: Profile) -> None:
    """A small plan with the line on it."""
    outcome, base = context.outcome, context.base
    place = (0.05, BLOCK_FLOOR, 0.17, BLOCK_TOP - BLOCK_FLOOR + 0.005)
    plan = begin_plan(page, outcome, option, base, place, "W", is_ruled=False, is_fine=False)
    ends = profile.places(np.array([-BEHIND_M, profile.unit.type.max_range + BEYOND_M]))
    haloed(plan.axes, np.transpose(ends), SECTION_LINE, 11, 3.4)


def _line_rows(page: Sheet, profile: Profile) -> None:
    """The stretches of the line, one a row, with their causes."""
    page.begin_column(0.245, 0.735, BLOCK_TOP, BLOCK_FLOOR)
    heading = f"Along the line, {profile.unit.name} alone" if profile.unit.name else "Along the line"
    rows = tuple(
        (Row(text, (stretch_words(run),), verdict_sign(run.code), most=2),) for run, text in run_rows(profile)
    )
    masked = masked_words(masked_along(profile.unit, profile.bearing_deg))
    shut = (Row(masked, sign=MASKED),) if masked else ()
    fill(page, [Section(heading, (*shut, Listing(rows, where="see the picture")))])


def draw_section(page: Sheet, outcome: Outcome, view: View, place: Place) -> None:
    """Draw a section into a part of a page: at true scale, and stretched below where that says more."""
    low, high = heights_shown(view.profile, view.figure)
    metres_px = view.metres_per_px
    page_px = HEIGHT_PX * place[3]
    true_px = (high - low) / metres_px + _LABEL_ROOM_PX
    gap_px = 34.0
    fits = [k for k in _STRETCHES if true_px + gap_px + k * (high - low) / metres_px + 12 <= page_px]
    left, right = sides(view)
    if not fits:
        spare = page_px * metres_px - (high - low) - _LABEL_ROOM_PX * metres_px
        bottom = low - 0.4 * spare
        frame = Frame(left, right, bottom, bottom + page_px * metres_px)
        _draw(page, outcome, view, place, frame)
        return
    share = true_px / HEIGHT_PX
    upper = (place[0], place[1] + place[3] - share, place[2], share)
    _draw(page, outcome, view, upper, Frame(left, right, low, low + true_px * metres_px))
    stretch = fits[-1]
    below = (place[0], place[1], place[2], place[3] - share - gap_px / HEIGHT_PX)
    height_m = below[3] * HEIGHT_PX * metres_px / stretch
    _draw(page, outcome, view, below, Frame(left, right, high - height_m + 0.05, high + 0.05, stretch))


def sides(view: View) -> tuple[float, float]:
    """Where a section starts and ends along the line, metres."""
    span = view.profile.unit.type.max_range + BEHIND_M + BEYOND_M
    left = -BEHIND_M - (view.width_m - span) / 2
    return left, left + view.width_m


def _draw(page: Sheet, outcome: Outcome, view: View, place: Place, frame: Frame) -> None:
    axes = page.picture_axes(place)
    paint_section(page, axes, outcome.terrain, view.profile, view.figure, frame)
    _rulers(axes, frame)
    note = axes.annotate(
        stretch_note(frame.stretch), (0, 1), (7, -6), "axes fraction", "offset points", fontsize=7, ha="left",
        va="top", color=palette.QUIET_INK, path_effects=HALO, zorder=20,
    )  # fmt: skip
    taken = [note.get_window_extent()]
    marked = changes(view.profile)
    if frame.stretch == 1:
        taken += _change_labels(page, axes, view, marked, taken[0].x1 + 10)
    taken += _figure_boxes(axes, view, marked)
    place_labels(axes, _end_labels(page, axes, view), taken)


def paint_section(
    page: Sheet,
    axes: Axes,
    terrain: Terrain,
    profile: Profile,
    figure: Figure,
    frame: Frame,
    weight: float = 1.0,
) -> None:
    """Draw the cut itself, without a word: ground, verdicts, layers, what stands, figures at the changes."""
    axes.set(xlim=(frame.left, frame.right), ylim=(frame.bottom, frame.top))
    box = axes.get_window_extent()
    k = page.size.fineness
    window = Window(
        frame.left, frame.right, frame.bottom, frame.top, round(k * box.width), round(k * box.height)
    )
    image = cut_image(profile, terrain.foliage, window, k)
    lay_pixels(axes, image[::-1], (frame.left, frame.right, frame.bottom, frame.top), 1)
    for solid in profile.solids:
        for piece in over_ground_pieces(solid, profile):
            axes.add_artist(Polygon(piece, zorder=5, **SOLID.patch))
            axes.add_artist(Polygon(piece, zorder=5, **{**SOLID.rim, "linewidth": weight}))
    for beam in profile.beams:
        _beam_lines(axes, profile, beam, weight)
    measured = np.where(profile.bridged, np.nan, profile.ground)
    axes.plot(profile.along, measured, color=GROUND_LINE.line, linewidth=GROUND_LINE.width * weight, zorder=6)
    bridged = np.where(profile.bridged, profile.ground, np.nan)
    width, style = BRIDGED.width * weight, BRIDGED.style
    axes.plot(profile.along, bridged, color=BRIDGED.line, linewidth=width, linestyle=style, zorder=6)
    for at in changes(profile):
        foot = ground_at(profile, at)
        if math.isfinite(foot):
            for outline in silhouette(figure):
                axes.add_artist(
                    Polygon(
                        np.add(outline, (at, foot)),
                        facecolor=palette.FIGURE,
                        edgecolor="white",
                        linewidth=0.5 * weight,
                        zorder=8,
                    )
                )
    unit = profile.unit
    axes.plot([0, 0], [unit.ground_z, profile.eye_z], color=palette.POLE, linewidth=3 * weight, zorder=7)
    marked(axes, np.array([0.0, profile.eye_z]), UNIT, 9, weight)


def _beam_lines(axes: Axes, profile: Profile, beam: Beam, weight: float) -> None:
    """The edges of a layer's band and its axis, each to where it ends."""
    colour = palette.layer_colour(beam.layer)
    for row, width, dashes in ((0, 0.9, "-"), (-1, 0.9, "-"), (beam.axis, 0.9, (0, (7, 3)))):
        end = beam.ends[row]
        axes.plot(
            [0, end],
            [profile.eye_z, profile.eye_z + beam.slopes[row] * end],
            color=colour,
            linewidth=width * weight,
            linestyle=dashes,
            zorder=4,
        )


def _change_labels(page: Sheet, axes: Axes, view: View, marked: list[float], left_px: float) -> list[Bbox]:
    """Write over each change its distance and the layers' heights, side by side under the top edge."""
    box = axes.get_window_extent()
    texts = [[page.lines(line, 0.12, 7, 1)[0] for line in change_words(view.profile, at)] for at in marked]
    widths = [WIDTH_PX * max(share_of_page(line, 7, "bold") for line in lines) for lines in texts]
    wanted = [float(axes.transData.transform((at, 0))[0]) for at in marked]
    kept, middles = placed_in_a_row(wanted, widths, left_px, box.x1 - 8)
    boxes = []
    for k, middle in zip(kept, middles, strict=True):
        top = box.y1 - 9
        for n, line in enumerate(texts[k]):
            x, y = middle / page.figure.bbox.width, (top - 20 * n) / page.figure.bbox.height
            page.text(
                x, y, line, 7, ha="center", va="top", weight="normal" if n else "bold", path_effects=HALO,
                zorder=30,
            )  # fmt: skip
        low = top - 20 * len(texts[k]) - 2
        boxes.append(Bbox.from_extents(middle - widths[k] / 2, low, middle + widths[k] / 2, box.y1))
        head = ground_at(view.profile, marked[k]) + view.figure.height_m
        end = axes.transData.transform((marked[k], head))
        shares = np.array([[middle, low], np.add(end, (0, 4))]) / [
            page.figure.bbox.width,
            page.figure.bbox.height,
        ]
        if end[1] + 4 < low:
            page.figure.add_artist(Line2D(*shares.T, color=palette.QUIET_INK, linewidth=0.6, zorder=29))
    return boxes


def _figure_boxes(axes: Axes, view: View, marked: list[float]) -> list[Bbox]:
    boxes = []
    for at in marked:
        foot = ground_at(view.profile, at)
        outline = np.add(np.vstack(silhouette(view.figure)), (at, foot))
        ends = axes.transData.transform([outline.min(axis=0), outline.max(axis=0)])
        boxes.append(Bbox(ends))
    return boxes


def _end_labels(page: Sheet, axes: Axes, view: View) -> list[Label]:
    """What ends the layers before their range does, and from where one passes over the figure."""
    profile, labels = view.profile, []
    for text, beams in end_words(profile).items():
        for beam in beams:
            z = profile.eye_z + float(beam.slopes[beam.axis] * beam.ends[beam.axis])
            colour = palette.layer_colour(beam.layer)
            axes.plot(beam.ends[beam.axis], z, "v", ms=5.5, color=colour, mec="white", mew=0.6, zorder=10)
        end = float(beams[0].ends[beams[0].axis])
        labels.append(_label(page, axes, text, end, _lowest_under(view, text, end), below=True))
    for beam in profile.beams:
        over = passing_from(profile, beam.layer)
        if over is not None:
            text = passing_words(beam.layer, view.figure, over)
            labels.append(_label(page, axes, text, over, _highest_over(view, text, over), below=False))
    return labels


def _lowest_under(view: View, text: str, at_m: float) -> float:
    """The lowest ground over the width of a text, so that the text stays clear of the strip."""
    half = share_of_page(text, 7.2) * WIDTH_PX * view.metres_per_px / 2
    near = np.abs(view.profile.along - at_m) <= half
    ground = view.profile.ground[near & np.isfinite(view.profile.ground)]
    return float(ground.min()) if len(ground) else view.profile.eye_z


def _highest_over(view: View, text: str, at_m: float) -> float:
    """The highest that any layer runs over the width of a text, so that the text stays clear of them all."""
    half = share_of_page(text, 7.2) * WIDTH_PX * view.metres_per_px / 2
    ends = np.array([at_m - half, at_m, at_m + half])
    tops = [
        view.profile.eye_z + float(slope) * np.clip(ends, 0.0, float(end))
        for beam in view.profile.beams
        for slope, end in zip(beam.slopes, beam.ends, strict=True)
    ]
    return float(np.max(tops))


def _label(page: Sheet, axes: Axes, text: str, s: float, z: float, below: bool) -> Label:
    """A sentence about a place of the section: over it, or under it and the strip of verdicts."""
    box = axes.get_window_extent()
    x, y = axes.transData.transform((s, z)) - [box.x0, box.y0 + (STRIP_PX + 6 if below else 0)]
    lines = page.lines(text, 0.3, 7.2, 2)
    return Label("\n".join(lines), float(x), float(y), (0, -1 if below else 1), 7.2)


def _rulers(axes: Axes, frame: Frame) -> None:
    span = frame.right - frame.left
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100) if in_unit(span) / s <= 26)
    axes.xaxis.set_major_locator(MultipleLocator(in_metres(step)))
    rise = in_unit(frame.top - frame.bottom) / 6
    up = next(s for s in (0.5, 1, 2, 5, 10, 20, 50, 100) if s >= rise * 0.8)
    axes.yaxis.set_major_locator(MultipleLocator(in_metres(up)))
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
    axes.xaxis.set_major_formatter(scale_words(tick))
    axes.yaxis.set_major_formatter(scale_words(given))


def section_signs(outcome: Outcome, profile: Profile) -> list[Sign]:
    """What the marks of a section mean."""
    signs = [
        replace(layer_sign(name), text=f"{name} layer, its axis dashed")
        for name in dict.fromkeys(beam.layer for beam in profile.beams)
    ]
    signs.append(GROUND_LINE)
    if profile.bridged.any():
        signs.append(BRIDGED)
    if profile.solids:
        signs.append(SOLID)
    if has_leaves(profile, outcome.terrain.foliage):
        signs.append(LEAVES)
    return [*signs, change_sign(outcome)]


def change_sign(outcome: Outcome) -> Sign:
    """The figure that stands where the verdict changes along a section."""
    return Sign(f"{outcome.figure.name} where the verdict changes", palette.FIGURE, palette.FIGURE)
