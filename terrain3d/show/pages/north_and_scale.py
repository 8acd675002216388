"""North arrow and scale of the plan, each on a chip in the corner where it covers least."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle
from matplotlib.transforms import Bbox

from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.job import Outcome
from terrain3d.show import palette
from terrain3d.show.extent import Extent
from terrain3d.show.pages.labels import boxes_meet
from terrain3d.units import Floats


def busy_places(axes: Axes, outcome: Outcome, extent: Extent) -> Floats:
    """(n, 2) page pixels of watched cells and units in any option and of protected outlines."""
    ground = outcome.terrain.ground
    watched = np.zeros(ground.z[extent.rows, extent.columns].shape, bool)
    for option in outcome.options:
        codes = option.verdicts[extent.rows, extent.columns]
        watched |= (codes != Verdict.OUTSIDE) & (codes != UNKNOWN)
    rows, columns = np.nonzero(watched)
    cells = np.column_stack([ground.xs[extent.columns][columns], ground.ys[extent.rows][rows]])
    units = [[unit.x, unit.y] for option in outcome.options for unit in option.detectors]
    # A unit's mark under a chip is worse than any ground under it.
    marks = np.repeat(np.reshape(units, (-1, 2)), len(cells) + 1, axis=0)
    places = np.vstack([cells, marks, *(area.outline for area in outcome.terrain.protect)])
    return np.asarray(axes.transData.transform(places))


def north_arrow(axes: Axes, busy: Floats) -> Bbox:
    """Draw the north arrow; returns where, in page pixels."""
    figure = axes.figure
    corner_box = _quiet_corner(axes, 40, 72, busy, "NE NW SE", None)
    _corner_box(axes, corner_box)
    right, top = corner_box.x1, corner_box.y1
    middle, foot, tip = right - 20, top - 66, top - 27
    arrow = [(middle, tip), (middle + 9, foot), (middle, foot + 8), (middle - 9, foot)]
    figure.add_artist(
        Polygon(
            [page_share(axes.figure, x, y) for x, y in arrow],
            facecolor=palette.INK,
            edgecolor="none",
            zorder=31,
        )
    )
    figure.text(
        *page_share(axes.figure, right - 20, top - 14),
        "N",
        fontsize=9,
        weight="bold",
        ha="center",
        va="center",
        zorder=31,
    )
    return corner_box


def scale_bar(axes: Axes, extent: Extent, busy: Floats, taken: Bbox) -> Bbox:
    """A bar of two steps, black and white, with its metres."""
    width = axes.get_window_extent().width
    px_per_m, most = width / extent.width_m, min(250, 0.35 * width)
    step = next((s for s in (50, 20, 10, 5, 2, 1, 0.5) if 2 * s * px_per_m < most), 0.2)
    length = step * px_per_m
    corner_box = _quiet_corner(axes, 2 * length + 64, 50, busy, "SW SE NW NE S N", taken)
    _corner_box(axes, corner_box)
    left, bottom = corner_box.x0 + 20, corner_box.y0 + 10
    for k, colour in enumerate((palette.INK, "white")):
        x, y = page_share(axes.figure, left + k * length, bottom)
        axes.figure.add_artist(
            Rectangle(
                (x, y),
                length / axes.figure.bbox.width,
                8 / axes.figure.bbox.height,
                facecolor=colour,
                edgecolor=palette.INK,
                linewidth=0.7,
                zorder=31,
            )
        )
    for k in range(3):
        x, y = page_share(axes.figure, left + k * length, bottom + 12)
        unit = " m" if k == 2 else ""
        axes.figure.text(x, y, f"{k * step:g}{unit}", fontsize=7, ha="center", va="bottom", zorder=31)
    return corner_box


def _quiet_corner(
    axes: Axes, width: float, height: float, busy: Floats, order: str, taken: Bbox | None
) -> Bbox:
    """The corner of the picture where a chip covers least; `order` names the more welcome first."""
    box, gap = axes.get_window_extent(), 14.0
    corner_boxes = []
    for corner in order.split():
        left = (box.x0 + box.x1 - width) / 2
        if corner[-1] in "WE":
            left = box.x0 + gap if corner[-1] == "W" else box.x1 - gap - width
        low = box.y0 + gap if "S" in corner else box.y1 - gap - height
        corner_box = Bbox.from_extents(left, low, left + width, low + height)
        if taken is None or not boxes_meet(corner_box, taken):
            inside = (busy > corner_box.min).all(axis=1) & (busy < corner_box.max).all(axis=1)
            corner_boxes.append((int(inside.sum()), corner_box))
    return min(corner_boxes, key=lambda pair: pair[0])[1]


def _corner_box(axes: Axes, box: Bbox) -> None:
    x, y = page_share(axes.figure, box.x0, box.y0)
    axes.figure.add_artist(
        Rectangle(
            (x, y),
            box.width / axes.figure.bbox.width,
            box.height / axes.figure.bbox.height,
            facecolor="white",
            alpha=0.86,
            edgecolor=palette.HAIRLINE,
            linewidth=0.6,
            zorder=30,
        )
    )


def page_share(figure: Any, x_px: float, y_px: float) -> tuple[float, float]:
    """A place given in pixels of the layout as shares of the page."""
    return x_px / figure.bbox.width, y_px / figure.bbox.height
