"""The colours of a page: those drawn in its pictures, and those of the swatches that say what they mean."""

from collections.abc import Iterable
from typing import Any

import numpy as np
from matplotlib.colors import to_hex, to_rgba
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from whole_pages import Laid

from terrain3d import palette
from terrain3d.cover.verdict import Verdict
from terrain3d.show.pages.pixels import Pixels

#: Ink, paper and what belongs to every picture: the sides of cut ground, poles, the ground's own greys.
NEUTRAL = {
    colour.lower()
    for colour in (
        palette.INK, palette.QUIET_INK, palette.PAPER, palette.HAIRLINE, palette.BLOCK_SIDE, palette.POLE,
        "#ffffff", "#000000",
    )
}  # fmt: skip
#: Where the rows of the key stand, as a share of the page.
_KEY_TOP = 0.135


def _seen(colour: Any) -> str:
    red, green, blue, alpha = to_rgba(colour)
    return to_hex((red, green, blue)) if alpha else ""


def colours_of(artists: Iterable[Any]) -> set[str]:
    """The colours of patches, lines and marks that are not neutral."""
    found: set[str] = set()
    for artist in artists:
        if not artist.get_visible():
            continue
        if isinstance(artist, Patch):
            found.add(_seen(artist.get_facecolor()))
            if artist.get_linewidth() > 0 or artist.get_hatch():
                found.add(_seen(artist.get_edgecolor()))
        elif isinstance(artist, Line2D) and len(artist.get_xdata()):
            if artist.get_linestyle() != "None" and artist.get_linewidth() > 0:
                found.add(_seen(artist.get_color()))
            if artist.get_marker() not in ("None", "", None):
                found |= {_seen(artist.get_markerfacecolor()), _seen(artist.get_markeredgecolor())}
    return found - NEUTRAL - {""}


def swatches(laid: Laid) -> set[str]:
    """The colours of all that stands on the page itself and not in a picture: its keys and columns."""
    figure = laid.sheet.figure
    return colours_of([*figure.artists, *figure.patches, *figure.lines])


def key_swatches(laid: Laid) -> set[str]:
    """The colours of the key under the picture alone."""
    figure = laid.sheet.figure
    height = figure.bbox.height
    low = [one for one in figure.artists if one.get_window_extent().y1 < _KEY_TOP * height]
    return colours_of(low)


def drawn(laid: Laid) -> set[str]:
    """The colours of lines, marks and patches of the pictures of a page."""
    found: set[str] = set()
    for axes in laid.sheet.figure.axes:
        found |= colours_of([*axes.patches, *axes.lines])
        for group in axes.collections:
            found |= {_seen(colour) for colour in [*group.get_edgecolor(), *group.get_facecolor()]}
    return found - NEUTRAL - {""}


def pixels_drawn(laid: Laid) -> set[str]:
    """The colours that lie on plans and sections as pixels."""
    found: set[str] = set()
    for axes in laid.sheet.figure.axes:
        for child in axes.get_children():
            if isinstance(child, (Pixels, AxesImage)):
                image = child.image if isinstance(child, Pixels) else np.asarray(child.get_array())
                dots = image[image[..., 3] > 0] if image.shape[2] == 4 else image.reshape(-1, 3)
                found |= {"#" + dot.tobytes().hex() for dot in np.unique(dots[:, :3], axis=0)}
    return found


def verdicts_drawn(laid: Laid) -> set[str]:
    """Those of them that are a verdict's."""
    codes = [code for code in Verdict if code != Verdict.OUTSIDE]
    return pixels_drawn(laid) & {palette.VERDICT_COLOURS[code].lower() for code in codes}
