"""Pictures of pixels on a page: each dot of the page has the colour of the pixel it lies in, or runs over."""

from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.transforms import Bbox
from numpy.typing import NDArray
from PIL import Image

from terrain3d.units import Floats

#: Keeps a side of the frame that lies in the middle of a dot from going either way by rounding.
_HAIR_PX = 1e-8


class Pixels(Artist):
    """An image in the data of axes, where matplotlib's own goes through floats and back for every dot.

    Parameters
    ----------
    image : (ny, nx, 3 or 4) uint8
        Row 0 the lowest. The fourth number is 0 where nothing is drawn and 255 elsewhere.
    extent : (left, right, low, high)
        Where its sides lie, in data of the axes.
    is_smooth : bool
        Whether colours run from the middle of a pixel to those of its neighbours.
    """

    def __init__(
        self, image: NDArray[np.uint8], extent: tuple[float, float, float, float], is_smooth: bool = False
    ) -> None:
        super().__init__()
        self.image, self._extent, self._is_smooth = image, extent, is_smooth

    def draw(self, renderer: Any) -> None:
        """Find the colour of each dot within the frame of the axes."""
        assert self.axes is not None
        left, right, low, high = self._extent
        sides = self.axes.transData.transform([(left, low), (right, high)])
        part = Bbox.intersection(Bbox(sides), self.axes.bbox)
        if not self.get_visible() or part is None:
            return
        # Of a drawing in lines there may be more dots than its own.
        finer = renderer.get_image_magnification()
        x0, y0, x1, y1 = part.extents * finer
        first_x, end_x = int(np.floor(x0 + 0.5)), int(np.floor(x1 + 0.5 + _HAIR_PX))
        first_y, end_y = int(np.ceil(y0 - 0.5 - _HAIR_PX)), int(np.ceil(y1 - 0.5))
        across, up = np.arange(first_x, end_x), np.arange(first_y, end_y)
        if not across.size or not up.size:
            return
        found = self._running if self._is_smooth else self._whole
        context = renderer.new_gc()
        context.set_clip_rectangle(self.axes.bbox)
        renderer.draw_image(context, first_x / finer, first_y / finer, found(across, up, finer * sides))
        context.restore()

    def _whole(self, across: NDArray[np.int64], up: NDArray[np.int64], sides: Floats) -> NDArray[np.uint8]:
        """(m, n, 4) colours of dots, each of the pixel that it lies in."""
        ny, nx = self.image.shape[:2]
        columns, rows = _pixel_of(across, sides[:, 0], nx), _pixel_of(up, sides[:, 1], ny)
        # Four bytes at a time: colour by colour a look-up takes several times as long.
        line = np.full((len(rows), nx, 4), 255, np.uint8)
        line[..., : self.image.shape[2]] = self.image[rows]
        dots = np.take(line.view(np.uint32)[..., 0], columns, axis=1).view(np.uint8)
        return dots.reshape(len(rows), len(columns), 4)

    def _running(self, across: NDArray[np.int64], up: NDArray[np.int64], sides: Floats) -> NDArray[np.uint8]:
        """The same between the middles of pixels; in bytes, where matplotlib's own takes 32 for each dot."""
        part = []
        for along, (low, high), count in zip((across, up), sides.T, self.image.shape[1::-1], strict=True):
            ends = np.array([along[0], along[-1] + 1.0])
            part.append(np.clip((ends - low) * (count / (high - low)), 0, count))
        box = (part[0][0], part[1][0], part[0][1], part[1][1])
        picture = Image.fromarray(np.ascontiguousarray(self.image))
        dots = np.full((len(up), len(across), 4), 255, np.uint8)
        run = picture.resize((len(across), len(up)), Image.Resampling.BILINEAR, box)
        dots[..., : self.image.shape[2]] = np.asarray(run)
        return dots


def _pixel_of(dots: NDArray[np.int64], sides: Floats, count: int) -> NDArray[np.int64]:
    """Which of `count` pixels between two sides the middle of each dot lies in; on an edge the first."""
    at: Floats = np.asarray((dots + 0.5 - sides[0]) * (count / (sides[1] - sides[0])))
    return np.clip(np.ceil(at).astype(np.int64) - 1, 0, count - 1)


def lay_pixels(
    axes: Axes,
    image: NDArray[np.uint8],
    extent: tuple[float, float, float, float],
    zorder: float,
    is_smooth: bool = False,
) -> None:
    """Lay an image into axes, whose limits stay as they are.

    Parameters
    ----------
    axes : Axes
    image : (ny, nx, 3 or 4) uint8
        As `Pixels` takes it.
    extent : (left, right, low, high)
        Of its sides, in data of the axes.
    zorder : float
    is_smooth : bool
        As `Pixels` takes it.
    """
    artist = Pixels(image, extent, is_smooth)
    artist.set_zorder(zorder)
    axes.add_artist(artist)
