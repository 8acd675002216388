"""The scene in a window: turn it, switch options and layers, set two options side by side."""

import os
import sys
from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.vtkCommonCore import vtkLogger
from vtkmodules.vtkRenderingCore import vtkActor2D, vtkImageMapper

from terrain3d.errors import InputError
from terrain3d.job import Outcome
from terrain3d.show import palette
from terrain3d.show.camera import fitted_camera, framed_points, site_camera
from terrain3d.show.extent import site_extent
from terrain3d.show.palette import Rgb
from terrain3d.show.panel import WIDTH_PX as PANEL_PX
from terrain3d.show.panel import draw_panel
from terrain3d.show.scene import Scene, aim, build_scene, light_scene, show_scene
from terrain3d.show.stills import reach_of

_SIZE_PX = (1500, 950)
KEYS = (
    ("left, right", "option before, after"),
    ("c", "compare with the one before"),
    ("l", "layers on and off"),
    ("f", "foliage on and off"),
    ("r", "view as at the start"),
    ("q", "close"),
)
_NO_DISPLAY = InputError(
    "there is no display to open a window on",
    mend="draw pictures instead with `terrain3d stills`, or start it where a screen is attached",
)


def open_window(outcome: Outcome, start_option: int = 0) -> None:
    """Show the options in a window until it is closed.

    Parameters
    ----------
    outcome : Outcome
    start_option : int
        Index of the option to show first.

    Raises
    ------
    InputError
        Where there is no display.
    """
    check_display()
    View(outcome, start_option).plotter.show()


def check_display() -> None:
    """Raise InputError where there is no display to open a window on."""
    if not has_display():
        raise _NO_DISPLAY


def has_display() -> bool:
    """Whether the system names a display; on Windows and macOS there always is one."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


class View:
    """What the window shows: the chosen option, which groups are on, one view or two.

    Parameters
    ----------
    outcome : Outcome
    start_option : int
    off_screen : bool
        Draw without a window, for checks.
    """

    def __init__(self, outcome: Outcome, start_option: int = 0, off_screen: bool = False) -> None:
        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
        self.outcome = outcome
        self.option = start_option % len(outcome.options)
        self.is_comparing = False
        self.hidden: set[str] = set()
        self.plotter = _empty_window(f"terrain3d: {_short(outcome.site_name, 80)}", off_screen)
        # Where the named display does not answer, VTK silently draws without a window.
        if not off_screen and "EGL" in self.plotter.render_window.GetClassName():
            self.plotter.close()
            raise _NO_DISPLAY
        self._reach = reach_of(outcome.terrain)
        self._extent = site_extent(outcome)
        self._start = site_camera(outcome, self._extent, self._reach, 1.0)
        self._scenes: dict[int, Scene] = {}
        self._actors: list[dict[str, list[Any]]] = []
        self._size = tuple(self.plotter.render_window.GetSize())
        self._listen()
        self.draw()
        self.reset_camera()

    @property
    def shown(self) -> tuple[int, ...]:
        """Indices of the options in view, from left to right."""
        before = (self.option - 1) % len(self.outcome.options)
        return (before, self.option) if self.is_comparing else (self.option,)

    def draw(self) -> None:
        """Fill the column, and one view or two beside each other with one camera."""
        self._actors = []
        width = self.plotter.render_window.GetSize()[0]
        left = min(0.5, PANEL_PX / width)
        share = (1 - left) / len(self.shown)
        self._draw_panel(left)
        for column, renderer in enumerate(self.plotter.renderers[1:]):
            self.plotter.subplot(0, column + 1)
            renderer.clear_actors()
            renderer.SetDraw(column < len(self.shown))
            if column < len(self.shown):
                renderer.SetViewport(left + column * share, 0, left + (column + 1) * share, 1)
                self._fill(renderer, self.shown[column])
            else:
                renderer.SetViewport(0, 0, 1e-3, 1e-3)
        self._apply_hidden()

    def step(self, by: int) -> None:
        """Go to another option, round and round."""
        self.option = (self.option + by) % len(self.outcome.options)
        self.draw()
        self.plotter.render()

    def compare(self) -> None:
        """One view or two."""
        self.is_comparing = not self.is_comparing and len(self.outcome.options) > 1
        self.draw()
        self.reset_camera()
        self.plotter.render()

    def toggle(self, group: str) -> None:
        """Switch a group of the scene on or off."""
        self.hidden ^= {group}
        self._apply_hidden()
        self.plotter.render()

    def reset_camera(self) -> None:
        """Look from where the pictures look, as near as the view's width allows."""
        width, height = self.plotter.render_window.GetSize()
        aspect = max(width - PANEL_PX, 100) / len(self.shown) / height
        look = np.subtract(self._start.target, self._start.position)
        corners = framed_points(self.outcome, self._extent)
        self.plotter.subplot(0, 1)
        aim(self.plotter, fitted_camera(look, corners, aspect, room=0.94))
        self.plotter.renderers[2].camera = self.plotter.renderers[1].camera

    def _fill(self, renderer: Any, index: int) -> None:
        if index not in self._scenes:
            option = self.outcome.options[index]
            self._scenes[index] = build_scene(self.outcome, option, self._extent, self._reach, self._start)
        scene = self._scenes[index]
        renderer.SetUseOIT(False)
        self.plotter.set_background(palette.PAPER, all_renderers=False)
        actors = show_scene(self.plotter, scene)
        light_scene(self.plotter)
        for tag in scene.tags:
            text = "\n".join(_short(line, 40) for line in tag.text.split("\n"))
            actors.setdefault("names", []).append(self._label(text, tag.point, tag.kind == "unit"))
        self._actors.append(actors)

    def _label(self, text: str, point: tuple[float, float, float], is_bold: bool) -> Any:
        return self.plotter.add_point_labels(
            [point],
            [text],
            font_size=15 if is_bold else 13,
            bold=is_bold,
            text_color=palette.INK,
            shape_color=palette.PAPER,
            shape_opacity=0.75,
            margin=2,
            show_points=False,
            always_visible=True,
            reset_camera=False,
            render=False,
        )

    def _draw_panel(self, share: float) -> None:
        self.plotter.subplot(0, 0)
        renderer = self.plotter.renderers[0]
        renderer.clear_actors()
        renderer.SetViewport(0, 0, share, 1)
        renderer.SetInteractive(False)
        self.plotter.set_background(palette.PAPER, all_renderers=False)
        height = self.plotter.render_window.GetSize()[1]
        options = tuple(self.outcome.options[index] for index in self.shown)
        image = draw_panel(self.outcome, options, KEYS, height)
        mapper = vtkImageMapper()
        mapper.SetInputData(_as_vtk_image(image))
        mapper.SetColorWindow(255)
        mapper.SetColorLevel(127.5)
        picture = vtkActor2D()
        picture.SetMapper(mapper)
        renderer.AddViewProp(picture)

    def _apply_hidden(self) -> None:
        for actors in self._actors:
            for group, members in actors.items():
                for actor in members:
                    actor.SetVisibility(group not in self.hidden)

    def _listen(self) -> None:
        iren = self.plotter.iren
        # The library's own keys (wireframe, fly, pick...) would answer beside ours.
        if iren is None:
            return
        iren.clear_key_event_callbacks()
        iren.interactor.RemoveObservers("CharEvent")
        self.plotter.render_window.AddObserver("WindowResizeEvent", self._resized)
        for key, answer in (
            ("Left", lambda: self.step(-1)),
            ("Right", lambda: self.step(1)),
            ("c", self.compare),
            ("l", lambda: self.toggle("layers")),
            ("f", lambda: self.toggle("foliage")),
            ("r", self._reset_and_render),
            ("q", iren.terminate_app),
        ):
            iren.add_key_event(key, answer)
        self.plotter.enable_terrain_style(mouse_wheel_zooms=True, shift_pans=True)
        iren.interactor.RemoveObservers("CharEvent")

    def _resized(self, *_: Any) -> None:
        size = tuple(self.plotter.render_window.GetSize())
        if size != self._size:
            self._size = size
            self.draw()

    def _reset_and_render(self) -> None:
        self.reset_camera()
        self.plotter.render()


def _empty_window(title: str, off_screen: bool) -> Any:
    """A plotter of three parts: the column, a view, and the view beside it."""
    return pv.Plotter(
        shape=(1, 3),
        off_screen=off_screen,
        window_size=list(_SIZE_PX),
        lighting="none",
        border=False,
        title=title,
    )


def _short(text: str, length: int) -> str:
    line = " ".join(text.split())
    return line if len(line) <= length else line[: length - 3].rstrip() + "..."


def _as_vtk_image(image: Rgb) -> Any:
    height, width = image.shape[:2]
    picture = pv.ImageData(dimensions=(width, height, 1))
    # VTK counts rows from the bottom.
    picture.point_data["colour"] = image[::-1].reshape(-1, 3)
    picture.set_active_scalars("colour")
    return picture
