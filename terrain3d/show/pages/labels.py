"""Names beside their marks: each at the first spot that is free and on the picture."""

from dataclasses import dataclass
from typing import Any

import matplotlib.patheffects as effects
from matplotlib.axes import Axes
from matplotlib.transforms import Bbox

from terrain3d.show import palette

#: Spots tried around a mark, as (sideways, up) shares of the text's own size plus a gap.
_SPOTS = [
    (0, 1),
    (1, 0),
    (-1, 0),
    (0, -1),
    (1, 1),
    (-1, 1),
    (1, -1),
    (-1, -1),
    (0, 2),
    (0, -2),
    (2, 0),
    (-2, 0),
]
_GAP_PX = 9.0


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
    used, placed = list(taken), []
    for label in labels:
        artist = axes.annotate(
            label.text,
            (0, 0),
            xycoords="figure fraction",
            fontsize=label.size,
            fontweight=label.weight,
            color=label.colour,
            ha="center",
            va="center",
            linespacing=1.1,
            zorder=20,
            annotation_clip=False,
            path_effects=[effects.withStroke(linewidth=2.6, foreground="white")],
        )
        size = artist.get_window_extent(renderer)
        box = _free_box(label, size.width + 6, size.height + 4, frame, used)
        if box is None:
            artist.remove()
            continue
        # A share of the page, not pixels: a finer page has more of those.
        artist.set_position(
            figure.transFigure.inverted().transform(((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2))
        )
        used.append(box)
        placed.append(box)
    return placed


def _free_box(label: Label, width: float, height: float, frame: Bbox, used: list[Bbox]) -> Bbox | None:
    # A spot straight behind a mark lies on a square around it, or a name would cover the mark.
    reach = max(map(abs, label.prefer)) or 1.0
    first = (label.prefer[0] / reach, label.prefer[1] / reach)
    for sideways, up in [first, *_SPOTS]:
        x = frame.x0 + label.x + sideways * (width / 2 + _GAP_PX)
        y = frame.y0 + label.y + up * (height / 2 + _GAP_PX)
        box = Bbox.from_extents(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        inside = box.x0 > frame.x0 and box.x1 < frame.x1 and box.y0 > frame.y0 and box.y1 < frame.y1
        if inside and not any(boxes_meet(box, other) for other in used):
            return box
    return None


def boxes_meet(a: Bbox, b: Bbox) -> bool:
    return bool(a.x0 < b.x1 and b.x0 < a.x1 and a.y0 < b.y1 and b.y0 < a.y1)
