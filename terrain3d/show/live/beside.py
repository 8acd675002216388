"""Small pictures beside the views, drawn in some hundredths of a second: a section, and what a unit sees."""

import io
import math
from collections.abc import Callable, Sequence

import numpy as np
from PIL import Image, ImageDraw

from terrain3d import palette
from terrain3d.cover.profile import Profile, changes, ground_at, line_profile
from terrain3d.detector.figures import Figure
from terrain3d.detector.outline import Span, layer_outline, span_of
from terrain3d.detector.pose import Detector, posed_heads, shut_arcs
from terrain3d.lengths import half_up, in_metres, in_unit, length_unit
from terrain3d.palette import Rgb
from terrain3d.sentences.along import stretch_note
from terrain3d.sentences.section import change_words
from terrain3d.show.labels import placed_in_a_row
from terrain3d.show.lettering import fitted_lines, line_width
from terrain3d.show.outlook_image import shaded
from terrain3d.show.section_image import Window, cut_image, line_image, over_ground_pieces
from terrain3d.show.silhouettes import silhouette
from terrain3d.show.writing import letter_mask, sign_board
from terrain3d.sight.picture import picture
from terrain3d.terrain import Terrain
from terrain3d.units import Floats
from terrain3d.walk.along import LineProfile

#: Width and height of each, pixels.
SECTION_PX, OUTLOOK_PX = (760, 250), (760, 250)
#: Metres of a section behind the unit, and past its range.
_BEHIND_M, _BEYOND_M = 0.9, 0.7
#: Pixels kept free for what is written over the section, and under it for distances.
_TOP_PX, _FOOT_PX = 46, 18
#: A section's heights are stretched so many times at most.
_MOST_STRETCH = 5
#: What rises higher over the eye than this is cut off at the top, metres.
_HEADROOM_M = 2.6
#: Directions of an outlook lie so far apart, degrees: at rest, and while something moves.
_STEP_DEG, _STEP_MOVING_DEG = 0.5, 1.2
#: How far sight is followed, times the range.
_SIGHT_TIMES = 3.0
_SIZE = 11
#: Where points of a section, (distance, height), lie in its picture.
_OnPicture = Callable[[Floats], list[tuple[float, float]]]


def packed(image: Rgb, is_moving: bool = False) -> tuple[bytes, str]:
    """A picture as a file and its kind: PNG, and while something moves JPEG, which is packed more quickly."""
    out = io.BytesIO()
    if is_moving:
        Image.fromarray(image).save(out, "JPEG", quality=85)
        return out.getvalue(), "image/jpeg"
    Image.fromarray(image).save(out, "PNG", compress_level=1)
    return out.getvalue(), "image/png"


def still_image(image: Rgb, foot: Sequence[str]) -> Rgb:
    """A picture with some lines under it, the first of them in bold; what is too long runs on.

    >>> still_image(np.zeros((40, 200, 3), np.uint8), ("Slope", "a planning aid"))[:40].max()
    np.uint8(0)
    """
    width = image.shape[1]
    lines = [
        (line, not n)
        for n, text in enumerate(foot)
        for line in fitted_lines(text, (width - 24) / _SIZE, 4, "normal" if n else "bold")
    ]
    strip = Image.new("RGB", (width, 16 * len(lines) + 14), palette.PAPER)
    for n, (line, is_bold) in enumerate(lines):
        mask, (left, top) = letter_mask(line, _SIZE, is_bold)
        strip.paste(palette.INK, (12 + left, 8 + 16 * n + top), mask)
    return np.vstack([image, np.asarray(strip, np.uint8)])


def section_image(
    terrain: Terrain,
    unit: Detector,
    bearing_deg: float,
    figure: Figure,
    at_m: float | None = None,
    is_moving: bool = False,
    size_px: tuple[int, int] = SECTION_PX,
) -> Rgb:
    """The section of a unit along a bearing.

    Parameters
    ----------
    terrain : Terrain
    unit : Detector
    bearing_deg : float
    figure : Figure
    at_m : float, optional
        A place along it that was asked about, metres from the unit: a figure stands there alone.
    is_moving : bool
        Ground and layers are drawn in fewer pixels while something moves.
    size_px : (int, int)

    Returns
    -------
    (height, width, 3) uint8
    """
    beyond = _BEYOND_M if at_m is None else max(_BEYOND_M, at_m - unit.type.max_range + 1.5)
    profile = line_profile(terrain, unit, bearing_deg, figure.height_m, _BEHIND_M, beyond)
    width, height = size_px
    left, right = float(profile.along[0]), float(profile.along[-1])
    low, high = _heights(profile, figure)
    per_m = width / (right - left)
    room = height - _TOP_PX - _FOOT_PX
    stretch = min(max(room / (per_m * (high - low)), 0.2), float(_MOST_STRETCH))
    up = per_m * stretch
    bottom = low - max(room / up - (high - low), 0.0) / 2 - _FOOT_PX / up
    part = 2 if is_moving else 1
    window = Window(left, right, bottom, bottom + height / up, width // part, height // part)
    image = Image.fromarray(cut_image(profile, terrain.foliage, window, 0.8 / part))
    image = image.resize((width, height), Image.Resampling.NEAREST) if is_moving else image
    draw = ImageDraw.Draw(image)

    def at(points: Floats) -> list[tuple[float, float]]:
        return [((s - left) * per_m, (window.top - z) * up) for s, z in np.asarray(points, float)]

    _draw_solids(draw, profile, at)
    for beam in profile.beams:
        colour = palette.layer_colour(beam.layer)
        for row, wide in ((0, 1), (-1, 1), (beam.axis, 2)):
            end = beam.ends[row]
            ends = [[0.0, profile.eye_z], [end, profile.eye_z + beam.slopes[row] * end]]
            draw.line(at(np.array(ends)), colour, wide)
    _draw_ground(draw, profile, at)
    marked = changes(profile) if at_m is None else [at_m]
    for place in marked:
        _draw_figure(draw, figure, place, ground_at(profile, place), at)
    draw.line(at(np.array([[0, unit.ground_z], [0, profile.eye_z]])), palette.POLE, 4)
    (x, y), *_ = at(np.array([[0.0, profile.eye_z]]))
    draw.ellipse((x - 5, y - 5, x + 5, y + 5), palette.PAPER, palette.UNIT, 2)
    _write_changes(image, profile, marked, at, width)
    _write_scale(image, right, at, bottom, height, stretch)
    return np.asarray(image, np.uint8)


def along_image(
    terrain: Terrain, profile: LineProfile, figure: Figure, size_px: tuple[int, int] = SECTION_PX
) -> Rgb:
    """The section of an option along a drawn line, laid out straight.

    Parameters
    ----------
    terrain : Terrain
    profile : LineProfile
    figure : Figure
        Stands where the verdict changes.
    size_px : (int, int)

    Returns
    -------
    (height, width, 3) uint8
    """
    width, height = size_px
    length = profile.length_m
    ground = profile.ground[np.isfinite(profile.ground)]
    low, high = (float(ground.min()), float(ground.max())) if len(ground) else (0.0, 1.0)
    tops = [float(piece[:, 1].max()) for solid in profile.solids for piece in solid.pieces]
    high = min(max([high + figure.height_m, *tops]), high + figure.height_m + _HEADROOM_M) + 0.3
    per_m = width / length
    room = height - _TOP_PX - _FOOT_PX
    stretch = min(max(room / (per_m * (high - low + 0.3)), 0.2), float(_MOST_STRETCH))
    up = per_m * stretch
    bottom = low - 0.3 - max(room / up - (high - low + 0.3), 0.0) / 2 - _FOOT_PX / up
    window = Window(0.0, length, bottom, bottom + height / up, width, height)
    image = Image.fromarray(line_image(profile, terrain.foliage, window, 0.8))
    draw = ImageDraw.Draw(image)

    def at(points: Floats) -> list[tuple[float, float]]:
        return [(s * per_m, (window.top - z) * up) for s, z in np.asarray(points, float)]

    _draw_solids(draw, profile, at)
    _draw_ground(draw, profile, at)
    for run in profile.runs()[1:]:
        foot = float(np.interp(run.start_m, profile.along, profile.ground))
        _draw_figure(draw, figure, run.start_m, foot, at)
        if math.isfinite(foot):
            x = at(np.array([[run.start_m, foot]]))[0][0]
            _write(image, (x, 3), half_up(run.start_m), "ma", is_bold=True)
    _write_scale(image, length, at, bottom, height, stretch)
    return np.asarray(image, np.uint8)


def _draw_solids(draw: ImageDraw.ImageDraw, profile: Profile | LineProfile, at: _OnPicture) -> None:
    for solid in profile.solids:
        for piece in over_ground_pieces(solid, profile):
            if len(piece) > 2:
                draw.polygon(at(piece), palette.SOLID, palette.SOLID_EDGE)


def _draw_ground(draw: ImageDraw.ImageDraw, profile: Profile | LineProfile, at: _OnPicture) -> None:
    known = np.isfinite(profile.ground)
    if known.sum() > 1:
        draw.line(at(np.column_stack([profile.along[known], profile.ground[known]])), palette.INK, 2)


def _draw_figure(
    draw: ImageDraw.ImageDraw, figure: Figure, place_m: float, foot_z: float, at: _OnPicture
) -> None:
    """The figure where it stands; none where the ground is not known."""
    if math.isfinite(foot_z):
        for outline in silhouette(figure):
            draw.polygon(at(np.add(outline, (place_m, foot_z))), palette.FIGURE, palette.PAPER)


def _heights(profile: Profile, figure: Figure) -> tuple[float, float]:
    """Lowest and highest point that is shown."""
    ground = profile.ground[np.isfinite(profile.ground)]
    low = float(ground.min()) if len(ground) else profile.unit.ground_z
    high = max(float(ground.max()) + figure.height_m if len(ground) else low, profile.eye_z)
    tops = [float(profile.eye_z + (b.slopes * b.ends).max()) for b in profile.beams]
    tops += [float(piece[:, 1].max()) for solid in profile.solids for piece in solid.pieces]
    return low - 0.3, min(max([high, *tops]), max(high, profile.eye_z + _HEADROOM_M)) + 0.1


def _write_changes(
    image: Image.Image, profile: Profile, marked: list[float], at: _OnPicture, width: int
) -> None:
    """Over each place its distance and the layers' heights, side by side along the top."""
    texts = [change_words(profile, place) for place in marked]
    widths = [max(line_width(line) for line in lines) * _SIZE + 8 for lines in texts]
    wanted = [float(at(np.array([[place, 0.0]]))[0][0]) for place in marked]
    kept, middles = placed_in_a_row(wanted, widths, 4.0, width - 4.0)
    for k, middle in zip(kept, middles, strict=True):
        for n, line in enumerate(texts[k][:3]):
            _write(image, (middle, 3 + 14 * n), line, "ma", n == 0)


def _write_scale(
    image: Image.Image, right: float, at: _OnPicture, bottom: float, height: int, stretch: float
) -> None:
    """Distances along the foot, and how heights are drawn."""
    draw = ImageDraw.Draw(image)
    most = in_unit(right)
    step = next((one for one in (1, 2, 5, 10, 20, 50) if most / one <= 12), 100)
    for place in range(0, math.floor(most) + 1, step):
        x = at(np.array([[in_metres(place), bottom]]))[0][0]
        draw.line((x, height - _FOOT_PX, x, height - _FOOT_PX + 4), palette.PAPER, 1)
        _write(image, (x, height - 1), f"{place} {length_unit()}" if place == 0 else f"{place}", "md")
    _write(image, (6, height - _FOOT_PX - 4), stretch_note(round(stretch, 1)), "ld")


def outlook_image(
    terrain: Terrain, unit: Detector, is_moving: bool = False, size_px: tuple[int, int] = OUTLOOK_PX
) -> Rgb:
    """What a unit sees, with its layers over it.

    Parameters
    ----------
    terrain : Terrain
    unit : Detector
    is_moving : bool
        Fewer directions are followed while something moves.
    size_px : (int, int)

    Returns
    -------
    (height, width, 3) uint8
    """
    span, (width, height) = span_of(unit), size_px
    step = _STEP_MOVING_DEG if is_moving else _STEP_DEG
    across, up = (
        max(round((high - low) / step), 8) for low, high in ((span.left, span.right), (span.low, span.high))
    )
    azimuths = span.left + (span.right - span.left) * (np.arange(across) + 0.5) / across
    elevations = span.low + (span.high - span.low) * (np.arange(up) + 0.5) / up
    seen = picture(
        terrain, unit.eye, unit.bearing_deg + azimuths, elevations, _SIGHT_TIMES * unit.type.max_range
    )
    small = Image.fromarray(np.ascontiguousarray(shaded(seen, unit.type.max_range)[::-1]))
    image = small.resize((width, height), Image.Resampling.BILINEAR)
    veil = Image.new("RGBA", (width, height), (0, 0, 0, 0))
    draw = ImageDraw.Draw(veil)
    for h, (head, kind) in enumerate(zip(posed_heads(unit), unit.type.head, strict=True)):
        for layer in head.layers:
            red, green, blue = (int(v) for v in palette.rgb(palette.layer_colour(layer.name)))
            for stretch in head.open_deg:
                for outline in _turns(layer_outline(unit, head, layer, stretch), span, size_px):
                    draw.polygon(outline, (red, green, blue, 84), (red, green, blue, 255))
            for stretch in shut_arcs(kind, unit.head(h)):
                for outline in _turns(layer_outline(unit, head, layer, stretch), span, size_px):
                    draw.polygon(outline, None, palette.MASKED)
    image.paste(veil, (0, 0), veil)
    written = ImageDraw.Draw(image)
    level = _on_image(np.array([[0.0, 0.0]]), span, size_px)[0][1]
    for x in range(0, width, 18):
        written.line((x, level, x + 9, level), palette.QUIET_INK, 1)
    for turn in range(-180, 181, 30):
        if span.left < turn < span.right:
            x_px = _on_image(np.array([[float(turn), 0.0]]), span, size_px)[0][0]
            said = "ahead" if turn == 0 else f"{turn:+d}°"
            _write(image, (x_px, height - 1), said, "md", turn == 0)
    return np.asarray(image, np.uint8)


def _write(
    image: Image.Image, at: tuple[float, float], text: str, anchor: str, is_bold: bool = False
) -> None:
    """Write on faint paper, so that it can be read on every colour.

    `anchor` is l or m for where `at` lies in the line, left or middle, then a or d for its top or its foot.
    """
    board = sign_board([text], _SIZE, is_bold)
    height, width = board.shape[:2]
    left = at[0] - (width / 2 if anchor[0] == "m" else 0)
    top = at[1] - (height if anchor[1] == "d" else 0)
    left = min(max(left, 0), image.width - width)
    whole = Image.fromarray(board)
    image.paste(whole, (round(left), round(top)), whole)


def _on_image(points: Floats, span: Span, size_px: tuple[int, int]) -> list[tuple[float, float]]:
    width, height = size_px
    return [
        (
            (a - span.left) / (span.right - span.left) * width,
            (span.high - e) / (span.high - span.low) * height,
        )
        for a, e in points
    ]


def _turns(outline: Floats, span: Span, size_px: tuple[int, int]) -> list[list[tuple[float, float]]]:
    """An outline and itself a whole turn to either side, as far as it is in the picture."""
    moved = [outline + np.array([shift, 0.0]) for shift in (-360.0, 0.0, 360.0)]
    return [
        _on_image(one, span, size_px)
        for one in moved
        if one[:, 0].max() >= span.left and one[:, 0].min() <= span.right
    ]
