"""The scene in a window: turn it, set its units live, set two options side by side, save."""

import os
import sys
import time
from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.vtkCommonCore import vtkLogger
from vtkmodules.vtkRenderingCore import vtkPolyDataMapper2D, vtkRenderer, vtkTexture, vtkTexturedActor2D

from terrain3d.errors import InputError
from terrain3d.job import Outcome
from terrain3d.palette import Rgb
from terrain3d.show.live.controls import Setting
from terrain3d.show.live.stage import Stage
from terrain3d.show.live.state import Save, WindowState
from terrain3d.show.window import panels
from terrain3d.show.window.keys_and_mouse import KeysAndMouse
from terrain3d.study import Study

_SIZE_PX = (1380, 880)
_NO_DISPLAY = InputError(
    "there is no display to open a window on",
    mend="draw pictures instead with `terrain3d stills`, or start it where a screen is attached",
)
#: A view that is drawn in less time than this can be drawn more finely.
_QUICK_S = 0.008
#: What is laid over the views, by what a person is doing.
_SHEETS = {"keys": panels.all_keys, "ask": panels.question}


def open_window(
    outcome: Outcome, start_option: int = 0, save: Save | None = None, study: Study | None = None
) -> None:
    """Show the options in a window until it is closed.

    Parameters
    ----------
    outcome : Outcome
    start_option : int
        Index of the option to show first.
    save : callable, optional
        Puts the settings of an outcome into the site file; raises InputError where it cannot.
    study : Study, optional
        Of the outcome: what it found is shown as well.

    Raises
    ------
    InputError
        Where there is no display.
    """
    check_display()
    view = View(outcome, start_option, save=save, study=study)
    KeysAndMouse(view)
    view.plotter.show(interactive=False, auto_close=False)
    view.smooth_where_quick()
    view.plotter.show()


def check_display() -> None:
    """Raise InputError where there is no display to open a window on."""
    if not has_display():
        raise _NO_DISPLAY


def has_display() -> bool:
    """Whether the system names a display; on Windows and macOS there always is one."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


class View(Stage):
    """The window: one view or two of what the state holds, and the answers to keys and mouse.

    Parameters
    ----------
    outcome : Outcome
    start_option : int
    save : callable, optional
    off_screen : bool
        Draw without a window, for checks.
    study : Study, optional
    """

    def __init__(
        self,
        outcome: Outcome,
        start_option: int = 0,
        save: Save | None = None,
        off_screen: bool = False,
        study: Study | None = None,
    ) -> None:
        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
        state = WindowState(outcome, start_option, save, study)
        title = " ".join(outcome.site_name.split())[:80]
        library: Any = pv
        plotter = library.Plotter(
            shape=(1, 2), off_screen=off_screen, window_size=list(_SIZE_PX), lighting="none", border=False,
            title=f"terrain3d: {title}",
        )  # fmt: skip
        plotter.render_window.SetMultiSamples(0)
        # The colours go to the screen; copying the depths along takes a third of a picture's time.
        plotter.render_window.SetFrameBlitModeToBlitToCurrent()
        # Where the named display does not answer, VTK silently draws without a window.
        if not off_screen and "EGL" in plotter.render_window.GetClassName():
            plotter.close()
            raise _NO_DISPLAY
        super().__init__(plotter, state)
        self._is_quick = False
        self._screen = _screen_over(plotter.render_window)
        self._column, self._bar, self._sheet = (_Picture(self._screen) for _ in range(3))
        self.draw()
        self.reset_camera()

    def draw(self) -> None:
        """Bring the views and all that is written up to date with the state."""
        width, height = self.plotter.render_window.GetSize()
        self.draw_views(min(0.6, panels.COLUMN_PX / width), min(0.6, panels.BAR_PX / height))
        self.write()

    def write(self) -> None:
        """Bring what is written up to date: the column, the bar, and a sheet where one is open."""
        self._screen.SetDraw(True)
        width, height = self.plotter.render_window.GetSize()
        self._column.put(panels.draw_column(self.state, height), 0, 0)
        self._bar.put(panels.draw_bar(self.state, self._bar_width), panels.COLUMN_PX, 0)
        if self.state.mode not in _SHEETS:
            self._sheet.put_away()
            return
        sheet = _SHEETS[self.state.mode](self.state)
        left = panels.COLUMN_PX + (width - panels.COLUMN_PX - sheet.shape[1]) // 2
        foot = (height - sheet.shape[0]) // 2
        self._sheet.put(sheet, max(left, 0), max(foot, 0))

    def smooth_where_quick(self) -> None:
        """Smooth edges where the machine draws quickly enough: without a graphics card it would crawl."""
        start = time.perf_counter()
        self.render()
        self.plotter.render_window.WaitForCompletion()
        self._is_quick = time.perf_counter() - start < _QUICK_S
        if self._is_quick:
            self.plotter.render_window.SetMultiSamples(4)
            self.render()

    def hurry(self, is_hurried: bool) -> None:
        """The same on a machine that is not quick; a quick one always draws all."""
        super().hurry(is_hurried and not self._is_quick)
        self._screen.SetDraw(True)
        self._rest_what_is_written()

    def _rest_what_is_written(self) -> None:
        """Leave what is written as it stands in the picture, while only what is beside it moves."""
        if self.is_hurried and self.state.mode not in _SHEETS:
            self._screen.SetDraw(False)

    def render(self) -> None:
        """Show what was drawn."""
        self.plotter.render()
        self._rest_what_is_written()

    def reset_camera(self) -> None:
        """Look from where the pictures look, as near as the views' size allows."""
        width, height = self.plotter.render_window.GetSize()
        across = max(width - panels.COLUMN_PX, 100) / len(self.state.shown)
        self.look_from_start(across, max(height - panels.BAR_PX, 100))

    def slider_at(self, x: float, y: float) -> tuple[Setting, float] | None:
        """The slider under a place of the window, and the share of its way; None for none.

        Parameters
        ----------
        x, y : float
            Pixels from the window's lower left.
        """
        top = panels.BAR_PX - y
        if not panels.SLIDER_Y[0] <= top <= panels.SLIDER_Y[1]:
            return None
        for setting, (left, right) in panels.slider_spans(self._bar_width).items():
            if left - 12 <= x - panels.COLUMN_PX <= right + 12:
                return setting, (x - panels.COLUMN_PX - left) / (right - left)
        return None

    def share_at(self, setting: Setting, x: float) -> float:
        """How far along its slider a place of the window is."""
        left, right = panels.slider_spans(self._bar_width)[setting]
        return (x - panels.COLUMN_PX - left) / (right - left)

    def is_in_views(self, x: float, y: float) -> bool:
        return x >= panels.COLUMN_PX and y >= panels.BAR_PX

    @property
    def _bar_width(self) -> int:
        width = int(self.plotter.render_window.GetSize()[0])
        return max(width - panels.COLUMN_PX, 240)


class _Picture:
    """A picture on the window's own pixels, handed to the graphics once and not at every drawing."""

    def __init__(self, renderer: Any) -> None:
        self._corners = pv.PolyData(np.zeros((4, 3)), faces=np.array([4, 0, 1, 2, 3]))
        shares = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
        self._corners.active_texture_coordinates = shares
        mapper = vtkPolyDataMapper2D()
        mapper.SetInputData(self._corners)
        self._texture = vtkTexture()
        self._texture.SetWrap(vtkTexture.ClampToEdge)
        self._actor = vtkTexturedActor2D()
        self._actor.SetMapper(mapper)
        self._actor.SetTexture(self._texture)
        self._actor.SetVisibility(False)
        renderer.AddViewProp(self._actor)

    def put(self, image: Rgb, left: int, foot: int) -> None:
        height, width = image.shape[:2]
        picture = pv.ImageData(dimensions=(width, height, 1))
        # VTK counts rows from the bottom.
        picture.point_data["colour"] = image[::-1].reshape(-1, 3)
        picture.set_active_scalars("colour")
        self._texture.SetInputData(picture)
        self._corners.points = np.array([[0.0, 0, 0], [width, 0, 0], [width, height, 0], [0, height, 0]])
        self._actor.SetPosition(left, foot)
        self._actor.SetVisibility(True)

    def put_away(self) -> None:
        self._actor.SetVisibility(False)


def _screen_over(window: Any) -> Any:
    """A layer over the whole window for what is written on it."""
    screen = vtkRenderer()
    screen.SetLayer(1)
    screen.SetInteractive(False)
    window.SetNumberOfLayers(2)
    window.AddRenderer(screen)
    return screen
