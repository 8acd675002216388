"""The scene in a window: turn it, set its units live, set two options side by side, save."""

import os
import sys
import time
from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.vtkCommonCore import vtkLogger
from vtkmodules.vtkRenderingCore import vtkPolyDataMapper2D, vtkRenderer, vtkTexture, vtkTexturedActor2D

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.errors import InputError
from terrain3d.job import Outcome
from terrain3d.palette import Rgb
from terrain3d.show.camera import Camera, fitted_camera, framed_points, site_camera
from terrain3d.show.extent import MARGIN_M, Extent, site_extent, whole_cells
from terrain3d.show.parts import foot_corners, scale_parts
from terrain3d.show.scene import Scene, aim, moving_parts, standing_place, still_parts
from terrain3d.show.shapes import filled_heights
from terrain3d.show.window import panels
from terrain3d.show.window.coarse import coarse_surface
from terrain3d.show.window.controls import Setting
from terrain3d.show.window.ground_colours import (
    GroundColours,
    animal_colours,
    chance_colours,
    part_of,
    with_spill,
)
from terrain3d.show.window.keys_and_mouse import KeysAndMouse
from terrain3d.show.window.live import Pane
from terrain3d.show.window.state import ANIMALS, BEYOND, VERDICTS, WAYS, Save, WindowState, uncertainty_of
from terrain3d.show.window.study_scene import beyond_scene, grown_extent, in_group, together, ways_scene
from terrain3d.sight.hits import reach_of
from terrain3d.study import OptionStudy, Study

_SIZE_PX = (1380, 880)
_NO_DISPLAY = InputError(
    "there is no display to open a window on",
    mend="draw pictures instead with `terrain3d stills`, or start it where a screen is attached",
)
#: A view that is drawn in less time than this can be drawn more finely.
_QUICK_S = 0.008
#: What is laid over the views, by what a person is doing.
_SHEETS = {"keys": panels.all_keys, "ask": panels.question}
#: How far a key turns the view, degrees; how far it moves it, as a share of what is seen.
_TURN_DEG, _MOVE_SHARE, _NEARER = 5.0, 0.05, 1.12


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


class View:
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
        self.state = WindowState(outcome, start_option, save, study)
        self.hidden: set[str] = set()
        title = " ".join(outcome.site_name.split())[:80]
        library: Any = pv
        self.plotter = library.Plotter(
            shape=(1, 2), off_screen=off_screen, window_size=list(_SIZE_PX), lighting="none", border=False,
            title=f"terrain3d: {title}",
        )  # fmt: skip
        self.plotter.render_window.SetMultiSamples(0)
        # The colours go to the screen; copying the depths along takes a third of a picture's time.
        self.plotter.render_window.SetFrameBlitModeToBlitToCurrent()
        # Where the named display does not answer, VTK silently draws without a window.
        if not off_screen and "EGL" in self.plotter.render_window.GetClassName():
            self.plotter.close()
            raise _NO_DISPLAY
        self._reach = reach_of(outcome.terrain)
        self._extent = _extent_all_round(outcome)
        if study is not None and "beyond" in study.parts:
            self._extent = grown_extent(self._extent, study)
        self._start = site_camera(outcome, self._extent, self._reach, 1.0)
        self._ground, self._heights = outcome.terrain.ground, filled_heights(outcome.terrain.ground)
        self._person = standing_place(outcome, self._reach)
        self._still: Scene | None = None
        self._coarse: Any = None
        self._is_hurried = self._is_quick = False
        self._panes: list[Pane] = []
        self._moving: dict[str, tuple[tuple[Detector, ...], Scene]] = {}
        self._extra: dict[tuple[str, str], Scene] = {}
        self._whole: dict[str, tuple[tuple[Scene, ...], Scene]] = {}
        self._grounds: dict[tuple[str, str], GroundColours] = {}
        self._screen = _screen_over(self.plotter.render_window)
        self._column, self._bar, self._sheet = (_Picture(self._screen) for _ in range(3))
        self._laid_out: tuple[Any, ...] = ()
        self.draw()
        self.reset_camera()

    def draw(self) -> None:
        """Bring the views and all that is written up to date with the state."""
        self._lay_out()
        for pane, index in zip(self._panes, self.state.shown, strict=False):
            option = self.state.outcome.options[index]
            pane.show(self._colours(option), self._all_moving(option), self.hidden)
            pane.head(option.name if self.state.is_comparing else "")
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
        """Draw less while something moves, and all of it once it rests; a quick machine always draws all.

        While it moves the ground has fewer faces; the verdicts on it are the true ones at every moment.
        """
        self._is_hurried = is_hurried and not self._is_quick
        for pane in self._panes:
            pane.hurry(self._is_hurried)
        self._screen.SetDraw(True)
        self._rest_what_is_written()

    def _rest_what_is_written(self) -> None:
        """Leave what is written as it stands in the picture, while only what is beside it moves."""
        if self._is_hurried and self.state.mode not in _SHEETS:
            self._screen.SetDraw(False)

    def render(self) -> None:
        """Show what was drawn."""
        self.plotter.render()
        self._rest_what_is_written()

    def toggle(self, group: str) -> None:
        """Switch a group of the scene on or off."""
        self.hidden ^= {group}
        for pane in self._panes:
            pane.hide(self.hidden)

    def reset_camera(self) -> None:
        """Look from where the pictures look, as near as the view's size allows."""
        width, height = self.plotter.render_window.GetSize()
        across = max(width - panels.COLUMN_PX, 100) / len(self.state.shown)
        look = np.subtract(self._start.target, self._start.position)
        corners = framed_points(self.state.outcome, self._extent)
        self.plotter.subplot(0, 0)
        aim(self.plotter, fitted_camera(look, corners, across / max(height - panels.BAR_PX, 100), room=0.94))
        self.plotter.renderers[1].camera = self.plotter.renderers[0].camera

    def turn(self, across: float, up: float) -> None:
        """Turn the view about what it looks at, by steps to the right and upwards."""
        camera = self.plotter.renderers[0].camera
        camera.Azimuth(-_TURN_DEG * across)
        down = np.subtract(camera.position, camera.focal_point)
        height_deg = np.degrees(np.arcsin(down[2] / np.linalg.norm(down)))
        camera.Elevation(float(np.clip(height_deg + _TURN_DEG * up, 3.0, 87.0) - height_deg))
        self._clip()

    def move(self, across: float, up: float) -> None:
        """Move the view by steps to the right and upwards."""
        camera = self.plotter.renderers[0].camera
        right = np.cross(camera.direction, camera.up)
        right /= np.linalg.norm(right)
        seen = 2 * camera.distance * np.tan(np.radians(camera.view_angle / 2))
        by = _MOVE_SHARE * seen * (across * right + up * np.cross(right, camera.direction))
        camera.position, camera.focal_point = np.add(camera.position, by), np.add(camera.focal_point, by)
        self._clip()

    def approach(self, steps: float) -> None:
        """Come nearer by steps, or go farther."""
        self.plotter.renderers[0].camera.Dolly(_NEARER**steps)
        self._clip()

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

    def _clip(self) -> None:
        for pane in self._panes:
            pane.renderer.ResetCameraClippingRange()

    @property
    def _bar_width(self) -> int:
        width = int(self.plotter.render_window.GetSize()[0])
        return max(width - panels.COLUMN_PX, 240)

    def _moving_parts(self, option: OptionResult) -> Scene:
        kept = self._moving.get(option.name)
        if kept is None or kept[0] != option.detectors:
            kept = (option.detectors, moving_parts(self._ground, self._heights, option, self._reach))
            self._moving[option.name] = kept
        return kept[1]

    def _all_moving(self, option: OptionResult) -> Scene:
        """The same with what of the study is shown, the same object as long as nothing changes."""
        extras = [extra for extra in self.state.extras_studied if extra in self.state.extras]
        if self.state.studied(option) is None or not extras:
            return self._moving_parts(option)
        scenes = (self._moving_parts(option), *(self._extra_parts(option, extra) for extra in extras))
        kept = self._whole.get(option.name)
        if (
            kept is None
            or len(kept[0]) != len(scenes)
            or any(a is not b for a, b in zip(kept[0], scenes, strict=True))
        ):
            kept = (scenes, together(scenes))
            self._whole[option.name] = kept
        return kept[1]

    def _extra_parts(self, option: OptionResult, extra: str) -> Scene:
        found, key = self.state.studied(option), (option.name if extra == WAYS else "", extra)
        if key not in self._extra and found is not None:
            terrain = self.state.outcome.terrain
            if extra == WAYS:
                scene = ways_scene(terrain, found, self._extent)
            else:
                scene = beyond_scene(terrain, self._extent)
            self._extra[key] = in_group(scene, extra)
        return self._extra[key]

    def _colours(self, option: OptionResult) -> GroundColours:
        """What lies on the drawn ground of an option."""
        kind, found = self.state.ground_shown, self.state.studied(option)
        colours = GroundColours(option.verdicts)
        if found is not None and kind != VERDICTS:
            if (option.name, kind) not in self._grounds:
                self._grounds[option.name, kind] = self._studied_ground(option, found, kind)
            colours = self._grounds[option.name, kind]
        if found is not None and found.spill is not None and BEYOND in self.state.extras:
            colours = with_spill(colours, found.spill, self.state.outcome.terrain.ground)
        return part_of(colours, self._extent.rows, self._extent.columns)

    def _studied_ground(self, option: OptionResult, found: OptionStudy, kind: str) -> GroundColours:
        if kind == ANIMALS and found.animals is not None:
            return animal_colours(found.animals, option.verdicts)
        uncertainty = uncertainty_of(self.state, option)
        return GroundColours(option.verdicts) if uncertainty is None else chance_colours(uncertainty.chance)

    def _lay_out(self) -> None:
        """Give each view its part of the window; a view is filled when it is first needed."""
        width, height = self.plotter.render_window.GetSize()
        wanted = (width, height, len(self.state.shown))
        if wanted == self._laid_out:
            return
        self._laid_out = wanted
        left, foot = min(0.6, panels.COLUMN_PX / width), min(0.6, panels.BAR_PX / height)
        share = (1 - left) / len(self.state.shown)
        for column, renderer in enumerate(self.plotter.renderers):
            is_shown = column < len(self.state.shown)
            renderer.SetDraw(is_shown)
            renderer.SetInteractive(is_shown)
            if not is_shown:
                renderer.SetViewport(0, 0, 1e-3, 1e-3)
                continue
            renderer.SetViewport(left + column * share, foot, left + (column + 1) * share, 1)
            if column == len(self._panes):
                self._panes.append(self._new_pane(column))

    def _new_pane(self, column: int) -> Pane:
        if self._still is None:
            outcome, option = self.state.outcome, self.state.option
            self._still = still_parts(outcome, option, self._extent, self._start, self._person)
            ground = next(part.mesh for part in self._still.parts if part.texture is not None)
            self._coarse = coarse_surface(ground)
        return Pane(self.plotter, column, self._still, self._coarse, self._scales())

    def _scales(self) -> tuple[Scene, ...]:
        """The scale on each side of the ground: whichever faces the camera is shown."""
        corners = foot_corners(self._ground, self._heights, self._extent)
        middle = corners.mean(axis=0)
        sides = [middle + 1000 * np.array(away) for away in ((0, -1, 0), (1, 0, 0), (0, 1, 0), (-1, 0, 0))]
        found = [scale_parts(corners, Camera(tuple(side), tuple(middle))) for side in sides]
        return tuple(Scene(tuple(parts), tuple(tags)) for parts, tags in found)


def _extent_all_round(outcome: Outcome) -> Extent:
    """What the pictures show, and all ground within the reach of a unit however it is turned."""
    extent = site_extent(outcome)
    west, south, east, north = extent.west, extent.south, extent.east, extent.north
    for unit in (unit for option in outcome.options for unit in option.detectors):
        reach = unit.type.max_range + MARGIN_M
        west, east = min(west, unit.x - reach), max(east, unit.x + reach)
        south, north = min(south, unit.y - reach), max(north, unit.y + reach)
    return whole_cells(outcome.terrain.ground, west, south, east, north)


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
