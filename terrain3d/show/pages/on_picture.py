"""What is written over a picture: names beside their marks, north arrow and scale bar, kept apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib.patheffects as effects
import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.transforms import Bbox

from terrain3d import palette
from terrain3d.lengths import in_metres, in_unit, length_unit
from terrain3d.show.extent import Extent
from terrain3d.show.labels import free_spot, meet
from terrain3d.show.legend import Sign
from terrain3d.units import Floats

#: A rim of paper around letters and lines, so that they show on every colour.
HALO = [effects.withStroke(linewidth=2.2, foreground="white")]


@dataclass(frozen=True)
class Label:
    """A name and the point it belongs to, pixels from the picture's lower left.

    `prefer` is the spot to try first: (0, 0) puts the name on the point itself.
    """

    text: str
    x: float
    y: float
    prefer: tuple[float, float] = (0, 1)
    size: float = 7.5
    weight: str = "normal"
    colour: str = palette.INK


def place_labels(axes: Axes, labels: list[Label], taken: list[Bbox]) -> list[Bbox]:
    """Write the labels, in order, where they meet neither each other nor what is taken.

    Parameters
    ----------
    axes : Axes
    labels : list of Label
        The ones that matter most come first. One that finds no spot is left out: its mark and
        its row in the legend remain.
    taken : list of Bbox
        Spots that are in use, pixels of the page.

    Returns
    -------
    list of Bbox
        Where the names went.
    """
    figure: Any = axes.figure
    renderer = figure.canvas.get_renderer()
    frame = axes.get_window_extent(renderer)
    used = [box.extents for box in taken]
    for label in labels:
        artist = axes.annotate(
            label.text, (0, 0), xycoords="figure fraction", fontsize=label.size, fontweight=label.weight,
            color=label.colour, ha="center", va="center", linespacing=1.1, zorder=20, annotation_clip=False,
            path_effects=[effects.withStroke(linewidth=2.6, foreground="white")],
        )  # fmt: skip
        size = artist.get_window_extent(renderer)
        mark = frame.x0 + label.x, frame.y0 + label.y
        box = free_spot(mark, (size.width + 6, size.height + 4), frame.extents, used, label.prefer)
        if box is None:
            artist.remove()
            continue
        # A share of the page, not pixels: a finer page has more of those.
        artist.set_position(page_share(figure, (box[0] + box[2]) / 2, (box[1] + box[3]) / 2))
        used.append(box)
    return [Bbox.from_extents(*box) for box in used[len(taken) :]]


def boxes_meet(a: Bbox, b: Bbox) -> bool:
    return meet(a.extents, b.extents)


def haloed(axes: Axes, line: Floats, sign: Sign, zorder: float, halo: float, **look: Any) -> None:
    """Draw a line by its sign over a white one that is `halo` points wide; dashes are of the line alone."""
    solid = {name: value for name, value in look.items() if name == "solid_capstyle"}
    axes.plot(*line.T, color="white", linewidth=halo, zorder=zorder - 1, **solid)
    axes.plot(*line.T, zorder=zorder, **sign.stroke, **look)


def marked(axes: Axes, places: Floats, sign: Sign, zorder: float, weight: float = 1.0, **look: Any) -> None:
    """Draw the mark of a sign at places, (n, 2) or one alone, `weight` times as large."""
    for own in sign.mark.looks(weight):
        axes.plot(*np.reshape(places, (-1, 2)).T, zorder=zorder, **own, **look)


def page_mark(figure: Any, sign: Sign, x: float, y: float, weight: float = 1.0) -> None:
    """The mark of a sign on the page itself, at shares of it."""
    for own in sign.mark.looks(weight):
        figure.add_artist(Line2D([x], [y], **own))


def north_arrow(axes: Axes, busy: Sequence[Floats]) -> Bbox:
    """Draw the north arrow; returns where, in page pixels."""
    figure = axes.figure
    box = _quiet_corner(axes, 40, 72, busy, "NE NW SE", None)
    _rectangle(axes, box, facecolor="white", alpha=0.86, edgecolor=palette.HAIRLINE, linewidth=0.6, zorder=30)
    middle, foot, tip = box.x1 - 20, box.y1 - 66, box.y1 - 27
    arrow = [(middle, tip), (middle + 9, foot), (middle, foot + 8), (middle - 9, foot)]
    corners = [page_share(figure, x, y) for x, y in arrow]
    figure.add_artist(Polygon(corners, facecolor=palette.INK, edgecolor="none", zorder=31))
    letter = page_share(figure, box.x1 - 20, box.y1 - 14)
    figure.text(*letter, "N", fontsize=9, weight="bold", ha="center", va="center", zorder=31)
    return box


def scale_bar(axes: Axes, extent: Extent, busy: Sequence[Floats], taken: Bbox) -> Bbox:
    """A bar of two steps, black and white, with its lengths; returns where, in page pixels."""
    width = axes.get_window_extent().width
    px_each, most = in_metres(width / extent.width_m), min(250, 0.35 * width)
    step = next((s for s in (200, 100, 50, 20, 10, 5, 2, 1, 0.5) if 2 * s * px_each < most), 0.2)
    length = step * px_each
    box = _quiet_corner(axes, 2 * length + 64, 50, busy, "SW SE NW NE S N", taken)
    _rectangle(axes, box, facecolor="white", alpha=0.86, edgecolor=palette.HAIRLINE, linewidth=0.6, zorder=30)
    left, bottom = box.x0 + 20, box.y0 + 10
    for k, colour in enumerate((palette.INK, "white")):
        bar = Bbox.from_bounds(left + k * length, bottom, length, 8)
        _rectangle(axes, bar, facecolor=colour, edgecolor=palette.INK, linewidth=0.7, zorder=31)
    for k in range(3):
        x, y = page_share(axes.figure, left + k * length, bottom + 12)
        unit = f" {length_unit()}" if k == 2 else ""
        axes.figure.text(x, y, f"{k * step:g}{unit}", fontsize=7, ha="center", va="bottom", zorder=31)
    return box


def _quiet_corner(
    axes: Axes, width: float, height: float, busy: Sequence[Floats], order: str, taken: Bbox | None
) -> Bbox:
    """The corner of the picture where a box covers least; `order` names the more welcome first.

    One place of the first of `busy`, (n, 2) pixels of the page each, counts for more than all of those after.
    """
    # Along the lower edge stand the coordinates of the corner.
    frame, gap, foot = axes.get_window_extent(), 14.0, 24.0
    # Column by column: numpy compares along a short axis many times slower.
    columns = [np.ascontiguousarray(places.T) for places in busy]
    found = []
    for corner in order.split():
        left = (frame.x0 + frame.x1 - width) / 2
        if corner[-1] in "WE":
            left = frame.x0 + gap if corner[-1] == "W" else frame.x1 - gap - width
        low = frame.y0 + foot if "S" in corner else frame.y1 - gap - height
        box = Bbox.from_extents(left, low, left + width, low + height)
        if taken is None or not boxes_meet(box, taken):
            inside = [(x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1) for x, y in columns]
            found.append(([int(places.sum()) for places in inside], box))
    return min(found, key=lambda pair: pair[0])[1]


def _rectangle(axes: Axes, box: Bbox, **look: Any) -> None:
    """A rectangle over a picture, given in pixels of the page."""
    figure = axes.figure
    low, size = page_share(figure, box.x0, box.y0), page_share(figure, box.width, box.height)
    figure.add_artist(Rectangle(low, *size, **look))


def small_scale(axes: Axes, width_m: float, is_left: bool = False) -> None:
    """A bar of round length in a lower corner of a picture of stamp size, with its length over it."""
    count = next(one for one in (200, 100, 50, 20, 10, 5, 2, 1) if one <= in_unit(width_m) / 4 or one == 1)
    length = in_metres(count)
    low, high = axes.get_xlim()
    floor, ceiling = axes.get_ylim()
    end = low + 0.03 * (high - low) + length if is_left else high - 0.03 * (high - low)
    y = floor + 0.07 * (ceiling - floor)
    axes.plot([end - length, end], [y, y], color=palette.INK, linewidth=1.6, solid_capstyle="butt", zorder=20,
              path_effects=HALO)  # fmt: skip
    axes.annotate(
        f"{count} {length_unit()}", (end - length / 2, y), (0, 2), textcoords="offset points", ha="center",
        va="bottom", fontsize=5.5, path_effects=HALO, zorder=20,
    )  # fmt: skip


def page_share(figure: Any, x_px: float, y_px: float) -> tuple[float, float]:
    """A place given in pixels of the layout as shares of the page."""
    return x_px / figure.bbox.width, y_px / figure.bbox.height
