"""The oblique view: the scene rendered without a display, with its names, north and scale."""

from functools import lru_cache, partial
from typing import Any

import numpy as np
import pyvista as pv
from matplotlib.patches import Polygon
from matplotlib.transforms import Bbox
from vtkmodules.vtkCommonCore import vtkLogger

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.palette import Rgb
from terrain3d.show.camera import Camera, site_camera
from terrain3d.show.extent import Extent, site_extent
from terrain3d.show.legend import GROWN, Sign, layer_signs, masked_signs, site_signs
from terrain3d.show.pages.column import option_sheet
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import Label, page_share, place_labels
from terrain3d.show.pages.pixels import lay_pixels
from terrain3d.show.pages.sheet import PICTURE_ASPECT, Page, Sheet
from terrain3d.show.scene import Scene, aim, build_scene, light_scene, show_scene

#: Rendered larger and averaged down: smooth edges that do not hang on the graphics driver.
_OVERSAMPLE = 2
#: Size, weight and first spot of each kind of name, the ones that matter most first.
_KINDS: dict[str, tuple[float, str, tuple[float, float]]] = {
    "unit": (8.0, "bold", (0, 1)),
    "figure": (7.0, "normal", (1, 0)),
    "area": (8.0, "normal", (0, -1)),
    "scale": (7.0, "normal", (0, -1)),
}


def pages(context: PageContext) -> list[Page]:
    """An oblique view of each option, from the same place for all of them."""
    outcome = context.outcome

    @lru_cache(maxsize=1)
    def seen() -> tuple[Extent, Camera]:
        extent = site_extent(outcome)
        return extent, site_camera(outcome, extent, context.reach, PICTURE_ASPECT)

    def sheet(option: OptionResult) -> Sheet:
        extent, camera = seen()
        page = option_sheet(context, option, "oblique view, the same for every option", extent)
        scene = build_scene(outcome, option, extent, context.reach, camera)
        draw_oblique(page, outcome, option, extent, scene, camera)
        return page

    return context.pages_of_options("oblique", lambda option: [partial(sheet, option)])


def render(scene: Scene, camera: Camera, width_px: int, height_px: int, fineness: float = 1.0) -> Rgb:
    """Draw a scene without a display; lines are `fineness` times as wide.

    Returns
    -------
    (height_px, width_px, 3) uint8
        Row 0 at the top.
    """
    k = _OVERSAMPLE
    # A page finer than the screen's is drawn in as many parts each way: whole, what it is drawn into would
    # take 0.7 GB for A4 at 300 dots an inch. Parts take twice as long, so the screen's is drawn whole.
    parts = k if fineness > 1 else 1
    window = [k // parts * width_px, k // parts * height_px]
    # Without a display VTK falls back by itself, but says so on stderr.
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
    plotter: Any = pv.Plotter(off_screen=True, window_size=window, lighting="none")
    try:
        plotter.set_background(palette.PAPER)
        plotter.disable_anti_aliasing()
        # Faint bodies blend well enough in the order they are added; sorting every pixel takes seconds.
        plotter.renderer.SetUseOIT(False)
        show_scene(plotter, scene, line_scale=k * fineness)
        light_scene(plotter)
        aim(plotter, camera)
        image: Any = plotter.screenshot(None, return_img=True, scale=parts)
    finally:
        plotter.close()
    total = sum(image[row::k, column::k, :3].astype(np.uint16) for row in range(k) for column in range(k))
    return np.asarray((total + k * k // 2) // (k * k), np.uint8)


def draw_oblique(
    page: Sheet,
    outcome: Outcome,
    option: OptionResult,
    extent: Extent,
    scene: Scene,
    camera: Camera,
    more: list[Sign] | None = None,
) -> None:
    """Draw an option's oblique view into the picture of a page; `more` signs go before those of its own."""
    axes = page.picture_axes()
    box = axes.get_window_extent()
    width, height = round(box.width), round(box.height)
    k = page.size.fineness
    image = render(scene, camera, round(k * width), round(k * height), k)
    axes.set(xlim=(0, width), ylim=(0, height), xticks=[], yticks=[])
    lay_pixels(axes, image[::-1], (0, width, 0, height), 0)
    axes.set_axis_off()
    taken = [_north(page, camera, box)]
    place_labels(axes, _names(page, scene, camera, width, height), taken)
    heights = outcome.terrain.ground.z[extent.rows, extent.columns]
    own = [*layer_signs(option.detectors), *masked_signs(option.detectors, is_scene=True)]
    signs = [*(more or []), *own, *site_signs(outcome.terrain, heights, GROWN)]
    page.key([sign.in_scene for sign in signs])


def _names(page: Sheet, scene: Scene, camera: Camera, width: int, height: int) -> list[Label]:
    labels = []
    for kind, (size, weight, spot) in _KINDS.items():
        tags = [tag for tag in scene.tags if tag.kind == kind]
        if not tags:
            continue
        places = camera.project(np.array([tag.point for tag in tags]), width / height) * [width, height]
        for tag, (x, y) in zip(tags, places, strict=True):
            lines = [
                line for text in tag.text.split("\n") for line in page.lines(text, 0.13, size, 3, weight)
            ]
            labels.append(Label("\n".join(lines), float(x), float(y), spot, size, weight))
    return labels


def _north(page: Sheet, camera: Camera, box: Bbox) -> Bbox:
    """A flat arrow to the north as the camera sees it, in the upper left corner."""
    arrow = np.array([[0.0, 1, 0], [0.42, -0.9, 0], [0, -0.5, 0], [-0.42, -0.9, 0], [0, 1.75, 0]])
    # Small against the distance, so that the arrow is not stretched by perspective.
    far = float(np.linalg.norm(np.subtract(camera.target, camera.position)))
    seen = camera.project(np.asarray(camera.target) + 0.01 * far * arrow, 1.0) - 0.5
    seen *= 40 / np.abs(seen).max()
    middle = np.array([box.x0 + 52, box.y1 - 52])
    share = np.array([page_share(page.figure, x, y) for x, y in seen + middle])
    page.figure.add_artist(Polygon(share[:4], facecolor=palette.INK, edgecolor="none"))
    page.text(share[4, 0], share[4, 1], "N", 9, weight="bold", ha="center", va="center")
    return Bbox.from_extents(*(middle - 60), *(middle + 60))
