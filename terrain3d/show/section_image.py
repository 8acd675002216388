"""The upright cut through site and layers as pixels: ground, verdict strip, leaves, light of the layers."""

from collections.abc import Iterator
from typing import NamedTuple, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d import palette
from terrain3d.cover.profile import Beam, CutSolid, Profile
from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict
from terrain3d.palette import Rgb
from terrain3d.show.legend import LAYER_STRENGTH, verdict_sign
from terrain3d.terrain import Foliage
from terrain3d.units import Floats
from terrain3d.walk.along import LayerOver, LineProfile

#: Thickness of the strip of verdicts, in pixels of the layout.
STRIP_PX = 15.0
#: Rows of a picture that are drawn at a time.
_BAND_PX = 64


class Window(NamedTuple):
    """The part of the upright plane that a picture shows, metres, and its pixels."""

    left: float
    right: float
    bottom: float
    top: float
    width_px: int
    height_px: int


class Cut(Protocol):
    """What is cut: places along a line, the ground there and the verdicts."""

    @property
    def along(self) -> Floats: ...

    @property
    def ground(self) -> Floats: ...

    @property
    def codes(self) -> Codes: ...

    def places(self, along: Floats) -> tuple[Floats, Floats]:
        """Eastings and northings of points of the line."""


def cut_image(profile: Profile, foliage: Foliage, window: Window, fineness: float = 1.0) -> Rgb:
    """Draw the cut.

    Parameters
    ----------
    profile : Profile
    foliage : Foliage
    window : Window
    fineness : float
        Pixels of the picture for one of the layout.

    Returns
    -------
    (height_px, width_px, 3) uint8
        Row 0 at the top.
    """
    s, z = _middles_of(window)
    image = np.empty((window.height_px, window.width_px, 3), np.uint8)
    for rows in _bands(window):
        band = _blank(rows, window)
        above = z[rows] - profile.eye_z
        for beam in profile.beams:
            reach = beam.slopes * beam.ends
            # A layer crosses few of the bands: it is narrow, and the picture large.
            if above.min() <= max(float(reach.max()), 0.0) and above.max() >= min(float(reach.min()), 0.0):
                lay(band, palette.layer_colour(beam.layer), LAYER_STRENGTH * lit(beam, s, above))
        _lay_ground(band, profile, foliage, window, fineness, rows)
        image[rows] = np.rint(band)
    return image


def line_image(profile: LineProfile, foliage: Foliage, window: Window, fineness: float = 1.0) -> Rgb:
    """Draw the cut along a line: (height_px, width_px, 3) uint8, row 0 at the top."""
    s, z = _middles_of(window)
    shares = [
        (palette.layer_colour(layer.layer), _STRENGTH * _lit(layer, profile.along, s, z))
        for layer in profile.layers
    ]
    image = np.empty((window.height_px, window.width_px, 3), np.uint8)
    for rows in _bands(window):
        band = _blank(rows, window)
        for colour, share in shares:
            lay(band, colour, share[rows])
        _lay_ground(band, profile, foliage, window, fineness, rows)
        image[rows] = np.rint(band)
    return image


#: How strongly one of several layers covers the paper.
_STRENGTH = 0.42


def _lit(layer: LayerOver, along: Floats, s: Floats, z: Floats) -> Floats:
    """(m, n) share of a layer's light at pixels; 0 outside its band and where it does not get to."""
    share = np.zeros((len(z), len(s)))
    place = np.clip(np.searchsorted(along, s) - 1, 0, len(along) - 1)
    place += (place + 1 < len(along)) & (
        np.abs(along[np.minimum(place + 1, len(along) - 1)] - s) < np.abs(along[place] - s)
    )
    for column in np.flatnonzero((layer.light[:, place] > 0).any(axis=0)):
        heights, light = layer.z[:, place[column]], layer.light[:, place[column]]
        row = np.searchsorted(heights, z[:, 0])
        within = (row > 0) & (row < len(heights))
        row = np.clip(row, 1, len(heights) - 1)
        # Between two lines of sight the fainter one counts.
        share[:, column] = np.where(within, np.minimum(light[row - 1], light[row]), 0.0)
    return share


def _bands(window: Window) -> Iterator[slice]:
    """The rows of a picture, some at a time: all of A4 as colours in floats would take a quarter of a GB."""
    for first in range(0, window.height_px, _BAND_PX):
        yield slice(first, min(first + _BAND_PX, window.height_px))


def _middles_of(window: Window) -> tuple[Floats, Floats]:
    """(n,) distances and (m, 1) heights of a window's pixels."""
    s = _middles(window.left, window.right, window.width_px)
    return s, _middles(window.bottom, window.top, window.height_px)[::-1, None]


def _blank(rows: slice, window: Window) -> Floats:
    """White paper, (m, n, 3)."""
    return np.full((rows.stop - rows.start, window.width_px, 3), 255.0)


def _lay_ground(
    image: Floats, profile: Cut, foliage: Foliage, window: Window, fineness: float, rows: slice
) -> None:
    """Draw leaves, ground and the strip of verdicts over what is cut, in some rows of a picture."""
    s, z = _middles_of(window)
    # The ground hides what leaves and layers have under it; where it is not known nothing does.
    if has_leaves(profile, foliage):
        lay(image, palette.FOLIAGE, _leafiness(profile, foliage, s, z[rows]))
    known = np.isfinite(profile.ground)
    ground = np.interp(s, profile.along[known], profile.ground[known])
    unknown = _codes_at(profile, s) == UNKNOWN
    below = (z[rows] < ground) & ~unknown
    image[below] = palette.rgb(palette.BLOCK_SIDE)
    thick = STRIP_PX * fineness * (window.top - window.bottom) / window.height_px
    down = np.arange(window.height_px)[rows, None]
    # Heights fall from row to row.
    first = np.searchsorted(-z[:, 0], -ground, side="right")
    _strip(image, profile, s, below & (z[rows] >= ground - thick), down, first, fineness)
    stripe = verdict_sign(UNKNOWN).stripe
    across = np.arange(window.width_px)
    # Rows run from the top.
    stripes = (across - stripe.slant * down) % round(14 * fineness) < max(1, round(1.5 * fineness))
    image[unknown & (z[rows] < ground) & stripes] = palette.rgb(stripe.colour)


def over_ground_pieces(solid: CutSolid, profile: Cut) -> list[Floats]:
    """The pieces of a solid without what is in the ground, which is only there to leave no gap."""
    known = np.isfinite(profile.ground)
    line = np.column_stack([profile.along[known], profile.ground[known]])
    deep = float(line[:, 1].min()) - 100
    earth = shapely.Polygon([*line, (line[-1, 0], deep), (line[0, 0], deep)])
    pieces = []
    for piece in solid.pieces:
        if len(piece) < 4:
            pieces.append(piece)
            continue
        rest = shapely.difference(shapely.Polygon(piece).buffer(0), earth.buffer(0))
        parts = shapely.get_parts(rest)
        pieces += [np.asarray(part.exterior.coords) for part in parts if part.geom_type == "Polygon"]
    return pieces


def lit(beam: Beam, along: Floats, height: Floats) -> Floats:
    """Share of a layer's light at places of the plane; 0 outside its band and past what it meets.

    Parameters
    ----------
    beam : Beam
    along : (n,) float
        Plan distances, metres.
    height : (m, 1) float
        Above the eye, metres.

    Returns
    -------
    (m, n) float

    Examples
    --------
    >>> slopes, ends = np.array([-0.1, 0.0, 0.1]), np.array([2.0, 2.0, 2.0])
    >>> beam = Beam("upper", slopes, ends, np.zeros(3, np.uint8), np.array([0.0, 2.0]), np.ones((3, 2)))
    >>> lit(beam, np.array([-1.0, 1.0, 3.0]), np.array([[0.05], [0.5]])).tolist()
    [[0.0, 1.0, 0.0], [0.0, 0.0, 0.0]]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(along > 0, height / along, np.inf)
    within = (slope >= beam.slopes[0]) & (slope <= beam.slopes[-1])
    # Between two lines of sight the shorter one counts: nothing is drawn where nothing may be sensed.
    row = np.clip(
        np.searchsorted(beam.slopes, np.where(within, slope, beam.slopes[0])), 1, len(beam.slopes) - 1
    )
    end = np.minimum(beam.ends[row - 1], beam.ends[row])
    column = np.clip(np.searchsorted(beam.at, along), 0, len(beam.at) - 1)
    light = beam.light[row, np.broadcast_to(column, row.shape)]
    return np.where(within & (along <= end), light, 0.0)


def _middles(low: float, high: float, count: int) -> Floats:
    return low + (high - low) * (np.arange(count) + 0.5) / count


def lay(image: Floats, colour: str, share: Floats) -> None:
    """Cover an image with a colour, by a share of each pixel."""
    image += share[..., None] * (palette.rgb(colour) - image)


def _codes_at(profile: Cut, s: Floats) -> Codes:
    step = profile.along[1] - profile.along[0]
    index = np.clip(np.rint((s - profile.along[0]) / step).astype(int), 0, len(profile.along) - 1)
    return np.asarray(profile.codes[index], np.uint8)


def _strip(
    image: Floats,
    profile: Cut,
    s: Floats,
    where: NDArray[np.bool_],
    rows: NDArray[np.int64],
    first: NDArray[np.int64],
    fineness: float,
) -> None:
    """Colours and stripes of the verdicts, as the plan has them.

    Parameters
    ----------
    where : (m, n) bool
        The pixels of the strip.
    rows : (m, 1) int
        Of the whole picture.
    first : (n,) int
        The row in which ground begins.
    """
    codes = np.broadcast_to(_codes_at(profile, s), where.shape)
    image[where] = palette.verdict_rgb(codes[where])
    columns = np.arange(where.shape[1])
    thin = max(1, round(1.2 * fineness))
    level = (rows - first) % round(5 * fineness) >= round(5 * fineness) - thin
    for verdict in Verdict:
        stripe = verdict_sign(verdict).stripe
        if stripe.hatch:
            lies = (columns - stripe.slant * rows) % round(8 * fineness) < thin if stripe.slant else level
            image[where & lies & (codes == verdict)] = palette.rgb(stripe.colour)


def has_leaves(profile: Cut, foliage: Foliage) -> bool:
    """Whether anything grows along the line."""
    return bool((_columns(profile, foliage, profile.along) >= 0).any())


def _columns(profile: Cut, foliage: Foliage, s: Floats) -> NDArray[np.int64]:
    """The stored column of leaves at each place of the line; -1 where nothing grows."""
    x, y = profile.places(s)
    i = np.rint((x - foliage.x0) / foliage.cell_m).astype(int)
    j = np.rint((y - foliage.y0) / foliage.cell_m).astype(int)
    ny, nx = foliage.column.shape
    inside = (i >= 0) & (j >= 0) & (i < nx) & (j < ny)
    return np.where(inside, foliage.column[np.clip(j, 0, ny - 1), np.clip(i, 0, nx - 1)], -1)


def _leafiness(profile: Cut, foliage: Foliage, s: Floats, z: Floats) -> Floats:
    """How green each place is: 0 without leaves, deeper with their density."""
    share = np.zeros((len(z), len(s)))
    column, density = _columns(profile, foliage, s), foliage.density
    grows = np.flatnonzero(column >= 0)
    place = column[grows]
    step = np.floor((z - foliage.base_z[place]) / foliage.step_m).astype(int)
    grown = (step >= 0) & (step < density.shape[1])
    leaf = density[place, np.clip(step, 0, density.shape[1] - 1)]
    share[:, grows] = np.where(grown & (leaf > 0), 0.3 + 0.5 * (1 - np.exp(-leaf / 2)), 0.0)
    return share
