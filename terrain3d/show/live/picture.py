"""The views as a picture without a window: what a browser is sent, and what lies under a place of it."""

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyvista as pv
from PIL import Image
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkLogger, vtkUnsignedCharArray

from terrain3d.job import Outcome
from terrain3d.palette import Rgb
from terrain3d.show.camera import framed_points
from terrain3d.show.extent import Extent, site_extent, whole_cells
from terrain3d.show.live.stage import NEARER, TURN_DEG, Stage
from terrain3d.show.live.state import WindowState
from terrain3d.terrain import Ground
from terrain3d.units import Floats

#: What can be switched off in the views, and what a person calls it.
LAYERS = {
    "layers": "layers", "foliage": "foliage", "solids": "solids", "contours": "contours", "names": "names",
}  # fmt: skip
#: Width and height of a picture before anybody says how large it is to be, pixels.
_SIZE_PX = (800, 560)
#: No picture is smaller or larger than this, pixels: who asks for more gets it stretched.
_LEAST_PX, _MOST_PX = 160, 2400
#: How well colours are kept, of 100, while something moves and at rest.
_QUALITY_MOVING, _QUALITY = 78, 92
#: Pixels that are drawn for one that is shown while the view turns or is shifted, along a side.
_SHARE_MOVING = 0.6
#: Places along a line of sight at which it is looked whether it is below the ground yet.
_STEPS = 400
#: Room around what is seen in plan, times its size.
_PLAN_ROOM = 1.05


@dataclass(frozen=True, eq=False)
class ViewPlace:
    """Where one view lies in the picture as it is shown, pixels from its upper left, and what it shows.

    Parameters
    ----------
    x, y, width, height : float
    matrix : (4, 4) float
        Takes (x, y, z, 1) of local metres to the view's own -1 to 1, y up, before the division by the fourth.
    option : str
    """

    x: float
    y: float
    width: float
    height: float
    matrix: Floats
    option: str


class Picture(Stage):
    """The stage off screen.

    Parameters
    ----------
    state : WindowState
    """

    _moving_px = 450

    def __init__(self, state: WindowState) -> None:
        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
        library: Any = pv
        plotter = library.Plotter(
            shape=(1, 2), off_screen=True, window_size=list(_SIZE_PX), lighting="none", border=False
        )
        plotter.render_window.SetMultiSamples(0)
        self._pixels = vtkUnsignedCharArray()
        self._shown_px = _SIZE_PX
        self._share = 1.0
        super().__init__(plotter, state)
        self.is_plan = False
        self.draw_views(0.0, 0.0)
        self.reset_camera()

    def _drawn_extent(self, outcome: Outcome) -> Extent:
        """All the ground: whoever draws a thing on it has to see where."""
        return whole_cells(outcome.terrain.ground, *outcome.terrain.ground.bounds)

    def _framed_extent(self) -> Extent:
        return site_extent(self.state.outcome)

    def renew(self, state: WindowState) -> None:
        """Show a site that is drawn anew, from where the camera stands."""
        if state.outcome.terrain.frame != self.state.outcome.terrain.frame:
            self._start = None  # it was a place of other metres
        self.state = state
        for pane in self._panes:
            pane.close()
        self._panes.clear()
        self.stale |= {0, 1}
        self._look_over()
        self.draw()
        self._clip()

    def draw(self) -> None:
        """Bring the views up to date with the state."""
        self.draw_views(0.0, 0.0)
        for pane in self._panes:
            pane.draw_at(self._share)
        self.plotter.renderers[1].camera = self.plotter.renderers[0].camera

    def close(self) -> None:
        """Give back what the graphics hold."""
        self.plotter.close()

    @property
    def size(self) -> tuple[int, int]:
        """Width and height as it is shown: its places are told in these pixels, however many are drawn."""
        return self._shown_px

    def resize(self, width_px: float, height_px: float) -> None:
        """Be as large as that."""
        width, height = (round(min(max(px, _LEAST_PX), _MOST_PX)) for px in (width_px, height_px))
        if (width, height) != self.size:
            self._shown_px = width, height
            self._draw_at(self._share)

    def hurry(self, is_hurried: bool) -> None:
        """Draw less while something moves; the next time the view itself moves, on fewer pixels too."""
        super().hurry(is_hurried)
        if not is_hurried and self._share != 1.0:
            self._draw_at(1.0)

    def _draw_at(self, share: float) -> None:
        """Draw so many pixels for one that is shown, along a side."""
        self._share = share
        self.plotter.window_size = [round(share * px) for px in self.size]
        self.draw()

    def _move_on(self) -> None:
        """While a hand moves the view fewer pixels are drawn, for most of the time is theirs."""
        if self.is_hurried and self._share == 1.0:
            self._draw_at(_SHARE_MOVING)

    def reset_camera(self) -> None:
        """Look from where the pictures look, or from straight above."""
        width, height = self.size
        across = width / len(self.state.shown)
        if self.is_plan:
            self._look_down(across / height)
        else:
            self.plotter.renderers[0].camera.parallel_projection = False
            self.look_from_start(across, height)
        self._clip()

    def look(self, is_plan: bool) -> None:
        """Look in three dimensions, or from above with north up."""
        self.is_plan = is_plan
        self.reset_camera()

    def turn_by(self, across_deg: float, up_deg: float) -> None:
        """Turn about what is looked at; a plan keeps its north."""
        self._move_on()
        if not self.is_plan:
            self.turn(-across_deg / TURN_DEG, up_deg / TURN_DEG)

    def shift_by(self, right_px: float, up_px: float) -> None:
        """Move what is seen along with a hand that moves so many pixels."""
        self._move_on()
        metres = self._seen_m() / self.size[1]
        self._move_by(-metres * right_px, -metres * up_px)

    def come_nearer(self, steps: float, at: tuple[float, float] | None = None) -> None:
        """Come nearer by steps, or go farther, with what is under a place of the picture kept there."""
        self._move_on()
        before = None if at is None else self._on_focus(*at)
        camera = self.plotter.renderers[0].camera
        if self.is_plan:
            camera.parallel_scale = camera.parallel_scale / NEARER**steps
        else:
            self.approach(steps)
        after = None if at is None else self._on_focus(*at)
        if before is not None and after is not None:
            by = before - after
            camera.position, camera.focal_point = np.add(camera.position, by), np.add(camera.focal_point, by)
        self._clip()

    def places(self) -> tuple[ViewPlace, ...]:
        """Where the views lie, and what they show."""
        width, height = self.size
        count = len(self.state.shown)
        camera = self.plotter.renderers[0].camera
        seen = camera.GetCompositeProjectionTransformMatrix(width / count / height, -1, 1)
        matrix = np.array([[seen.GetElement(i, j) for j in range(4)] for i in range(4)])
        names = [self.state.outcome.options[index].name for index in self.state.shown]
        return tuple(
            ViewPlace(k * width / count, 0.0, width / count, float(height), matrix, name)
            for k, name in enumerate(names)
        )

    def image(self) -> Rgb:
        """(height, width, 3) uint8, row 0 at the top: smaller than it is shown while the view moves."""
        window = self.plotter.render_window
        width, height = window.GetSize()
        count = len(self.state.shown)
        if self.stale:
            # A view that shows what it showed keeps its pixels: drawing it again would take as long.
            for column in range(count):
                self.plotter.renderers[column].SetDraw(column in self.stale)
            window.Render()
            for column in range(count):
                self.plotter.renderers[column].SetDraw(True)
            self.stale.clear()
        window.GetPixelData(0, 0, width - 1, height - 1, 0, self._pixels, 0)
        pixels: Any = vtk_to_numpy(self._pixels)  # type: ignore[no-untyped-call]
        return np.asarray(pixels.reshape(height, width, 3)[::-1], np.uint8)

    def whole_image(self) -> Rgb:
        """The same with all that is drawn at rest."""
        was = self.is_hurried
        self.hurry(False)
        image = self.image()
        self.hurry(was)
        return image

    def jpeg(self) -> bytes:
        """The picture packed: quickly while something moves, finely at rest."""
        packed = io.BytesIO()
        quality = _QUALITY_MOVING if self.is_hurried else _QUALITY
        fine = 2 if self.is_hurried else 0
        Image.fromarray(self.image()).save(packed, "JPEG", quality=quality, subsampling=fine)
        return packed.getvalue()

    def ground_under(self, x_px: float, y_px: float) -> tuple[tuple[float, float, float], int] | None:
        """The ground under a place of the picture, and the option whose view it is in; None past the ground.

        What stands on it is looked through: things are drawn on the ground.
        """
        start, end, view = self._sight(x_px, y_px)
        ground = Ground(self._ground.x0, self._ground.y0, self._ground.cell_m, self._heights)
        share = _reaches_ground(ground, start, end)
        if share is None:
            return None
        x, y = start[:2] + share * (end - start)[:2]
        z = float(ground.height_at(x, y))
        return (float(x), float(y), z), self.state.shown[view]

    def _sight(self, x_px: float, y_px: float) -> tuple[Floats, Floats, int]:
        """The line of sight through a place of the picture, from near to far, and which view it is in."""
        places = self.places()
        view = min(max(int(x_px // places[0].width), 0), len(places) - 1)
        place = places[view]
        flat = np.array([2 * (x_px - place.x) / place.width - 1, 1 - 2 * (y_px - place.y) / place.height])
        inverse = np.linalg.inv(place.matrix)
        ends = [inverse @ np.array([*flat, depth, 1.0]) for depth in (-1.0, 1.0)]
        start, end = (point[:3] / point[3] for point in ends)
        return start, end, view

    def _on_focus(self, x_px: float, y_px: float) -> Floats | None:
        """Where a line of sight crosses the level of what is looked at."""
        start, end, _ = self._sight(x_px, y_px)
        level = self.plotter.renderers[0].camera.focal_point[2]
        fall = end[2] - start[2]
        if abs(fall) < 1e-9:
            return None
        share = (level - start[2]) / fall
        return np.asarray(start + share * (end - start)) if 0 <= share <= 1 else None

    def _seen_m(self) -> float:
        """The same from straight above too."""
        return (
            2 * float(self.plotter.renderers[0].camera.parallel_scale) if self.is_plan else super()._seen_m()
        )

    def _look_down(self, aspect: float) -> None:
        extent = site_extent(self.state.outcome)
        corners = framed_points(self.state.outcome, extent)
        low, high = corners[:, 2].min(), corners[:, 2].max()
        x, y = extent.centre
        camera = self.plotter.renderers[0].camera
        camera.parallel_projection = True
        camera.focal_point = (x, y, (low + high) / 2)
        camera.position = (x, y, high + 100.0)
        camera.up = (0.0, 1.0, 0.0)
        camera.parallel_scale = _PLAN_ROOM / 2 * max(extent.depth_m, extent.width_m / aspect)
        self.plotter.renderers[1].camera = camera


def _reaches_ground(ground: Ground, start: Floats, end: Floats) -> float | None:
    """Share of the way from start to end at which a line comes to the ground from above; None where it never.

    >>> level = Ground(0.0, 0.0, 1.0, np.zeros((5, 5)))
    >>> round(_reaches_ground(level, np.array([2.0, 2.0, 3.0]), np.array([2.0, 2.0, -1.0])), 6)
    0.75
    >>> _reaches_ground(level, np.array([9.0, 2.0, 3.0]), np.array([9.0, 2.0, -1.0])) is None
    True
    """
    way = end - start
    top, bottom = float(ground.z.max()) + 1.0, float(ground.z.min()) - 1.0
    if abs(way[2]) < 1e-12:
        return None
    first, last = sorted(float((level - start[2]) / way[2]) for level in (top, bottom))
    first, last = max(first, 0.0), min(last, 1.0)
    if first >= last:
        return None
    for _ in range(2):
        shares = np.linspace(first, last, _STEPS)
        places = start + shares[:, None] * way
        under = places[:, 2] <= ground.height_at(places[:, 0], places[:, 1])
        if not under.any():
            return None
        k = int(under.argmax())
        first, last = float(shares[max(k - 1, 0)]), float(shares[k])
    return last
