"""Cells coloured or striped over a plan that shows no verdicts."""

from dataclasses import dataclass, replace

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from terrain3d import palette
from terrain3d.show.drape import DRAPE_PIXELS
from terrain3d.show.extent import Extent
from terrain3d.show.legend import Sign, Stripe
from terrain3d.show.pages.pixels import lay_pixels
from terrain3d.terrain import Ground

#: Over the ground and under the contours of a plan.
LAYER = 1.4


@dataclass(frozen=True, eq=False)
class Shading:
    """Cells under the patch of a sign, or its stripes alone where it has them; `where` is (ny, nx) bool."""

    where: NDArray[np.bool_]
    sign: Sign


def whole_patch(where: NDArray[np.bool_], sign: Sign) -> list[Shading]:
    """Cells under the whole patch of a sign: its fill, and over it the stripes that it has."""
    plain = Shading(where, replace(sign, stripe=Stripe()))
    return [plain, Shading(where, sign)] if sign.stripe.slant else [plain]


def shade(axes: Axes, shadings: list[Shading], extent: Extent) -> None:
    """Draw shadings over a plan, later ones over earlier ones; cells are drawn as whole pixels."""
    shape = (extent.rows.stop - extent.rows.start, extent.columns.stop - extent.columns.start)
    k = max(1, -(-DRAPE_PIXELS // max(shape)))
    image = np.zeros((shape[0] * k, shape[1] * k, 4), np.uint8)
    period = max(image.shape) // 75
    rows, columns = np.ogrid[: image.shape[0], : image.shape[1]]
    for shading in shadings:
        cells = shading.where[extent.rows, extent.columns].repeat(k, axis=0).repeat(k, axis=1)
        stripe = shading.sign.stripe
        if stripe.slant:
            cells &= (columns + stripe.slant * rows) % period < max(1, period // 6)
        image[cells] = (*palette.rgb(stripe.colour if stripe.slant else shading.sign.on_paper), 255)
    on_ground(axes, image, extent, LAYER)


def edge(axes: Axes, ground: Ground, where: NDArray[np.bool_], colour: str, width: float = 0.5) -> None:
    """Draw the outline of some cells, so that neighbouring colours part in grey print as well."""
    if where.any() and not where.all():
        axes.contour(
            ground.xs, ground.ys, where.astype(float), [0.5], colors=colour, linewidths=width,
            zorder=LAYER + 0.1,
        )  # fmt: skip


def on_ground(axes: Axes, image: NDArray[np.uint8], extent: Extent, zorder: float) -> None:
    """Lay an image over the ground of a plan; its row 0 is the southernmost."""
    lay_pixels(axes, image, (extent.west, extent.east, extent.south, extent.north), zorder)
