"""Views of a site on a plotter: one option or two with one camera; window and browser draw by it alike."""

from typing import Any

import numpy as np

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.show.camera import Camera, fitted_camera, framed_points, site_camera
from terrain3d.show.extent import MARGIN_M, Extent, site_extent, whole_cells
from terrain3d.show.live.coarse import coarse_surface
from terrain3d.show.live.ground_colours import (
    GroundColours,
    animal_colours,
    chance_colours,
    part_of,
    with_spill,
)
from terrain3d.show.live.pane import DRAPE_PIXELS, Pane
from terrain3d.show.live.state import ANIMALS, BEYOND, VERDICTS, WAYS, WindowState, uncertainty_of
from terrain3d.show.live.study_scene import beyond_scene, grown_extent, in_group, together, ways_scene
from terrain3d.show.parts import foot_corners, scale_parts
from terrain3d.show.scene import Scene, aim, moving_parts, standing_place, still_parts
from terrain3d.show.shapes import filled_heights
from terrain3d.sight.hits import reach_of
from terrain3d.study import OptionStudy

#: How far a step turns the view, degrees; how far it moves it, as a share of what is seen.
_TURN_DEG, _MOVE_SHARE, _NEARER = 5.0, 0.05, 1.12


class Stage:
    """One view or two of what a state holds.

    Parameters
    ----------
    plotter : pyvista.Plotter
        With two views side by side.
    state : WindowState

    Attributes
    ----------
    hidden : set of str
        Groups of the scene that are switched off.
    is_hurried : bool
        Whether less is drawn, for something moves.
    stale : set of int
        Views that show something else than when they were drawn last.
    """

    #: Pixels along the longer side of what lies on the ground, while something moves.
    _moving_px = DRAPE_PIXELS

    def __init__(self, plotter: Any, state: WindowState) -> None:
        self.plotter, self.state = plotter, state
        self.hidden: set[str] = set()
        self.is_hurried = False
        self.stale: set[int] = {0, 1}
        self._panes: list[Pane] = []
        self._start: Camera | None = None
        self._look_over()

    def _look_over(self) -> None:
        """What follows from the site: how much of it is drawn, and where it is looked at from at first."""
        outcome = self.state.outcome
        self._laid_out: tuple[Any, ...] = ()
        self._reach = reach_of(outcome.terrain)
        self._extent = self._drawn_extent(outcome)
        # Where the pictures are taken from stays when a thing is drawn: nobody wants the view to jump.
        self._start = self._start or site_camera(outcome, self._extent, self._reach, 1.0)
        self._ground, self._heights = outcome.terrain.ground, filled_heights(outcome.terrain.ground)
        self._person = standing_place(outcome, self._reach)
        self._still: Scene | None = None
        self._coarse: Any = None
        self._moving: dict[str, tuple[tuple[Detector, ...], Scene]] = {}
        self._extra: dict[tuple[str, str], Scene] = {}
        self._whole: dict[str, tuple[tuple[Scene, ...], Scene]] = {}
        self._grounds: dict[tuple[str, str], GroundColours] = {}

    def _drawn_extent(self, outcome: Outcome) -> Extent:
        """How much of the site is drawn."""
        extent, study = extent_all_round(outcome), self.state.study
        return grown_extent(extent, study) if study is not None and "beyond" in study.parts else extent

    def _framed_extent(self) -> Extent:
        """How much of it is in view at first."""
        return self._extent

    def draw_views(self, left: float, foot: float) -> None:
        """Bring the views up to date with the state.

        Parameters
        ----------
        left, foot : float
            Shares of the plotter's width and height that are kept free of views.
        """
        self._lay_out(left, foot)
        for k, (pane, index) in enumerate(zip(self._panes, self.state.shown, strict=False)):
            option = self.state.outcome.options[index]
            is_changed = pane.show(self._colours(option), self._all_moving(option), self.hidden)
            if pane.head(option.name if self.state.is_comparing else "") or is_changed:
                self.stale.add(k)

    def hurry(self, is_hurried: bool) -> None:
        """Draw less while something moves, and all of it once it rests.

        While it moves ground and leaves have fewer faces; the verdicts are the true ones at every moment.
        """
        if is_hurried != self.is_hurried:
            self.stale |= {0, 1}
        self.is_hurried = is_hurried
        for pane in self._panes:
            pane.hurry(is_hurried)

    def toggle(self, group: str) -> None:
        """Switch a group of the scene on or off."""
        self.hidden ^= {group}
        self.stale |= {0, 1}
        for pane in self._panes:
            pane.hide(self.hidden)

    def look_from_start(self, width_px: float, height_px: float) -> None:
        """Look from where the pictures look, as near as a view of that size allows."""
        assert self._start is not None
        look = np.subtract(self._start.target, self._start.position)
        corners = framed_points(self.state.outcome, self._framed_extent())
        self.plotter.subplot(0, 0)
        self.stale |= {0, 1}
        aim(self.plotter, fitted_camera(look, corners, width_px / height_px, room=0.94))
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

    def _clip(self) -> None:
        self.stale |= {0, 1}
        for pane in self._panes:
            pane.renderer.ResetCameraClippingRange()

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

    def _lay_out(self, left: float, foot: float) -> None:
        """Give each view its part of the plotter; a view is filled when it is first needed."""
        wanted = (*self.plotter.render_window.GetSize(), left, foot, len(self.state.shown))
        if wanted == self._laid_out:
            return
        self._laid_out = wanted
        self.stale |= {0, 1}
        share = (1 - left) / len(self.state.shown)
        for column in (0, 1):
            renderer = self.plotter.renderers[column]
            is_shown = column < len(self.state.shown)
            renderer.SetDraw(is_shown)
            renderer.SetInteractive(is_shown)
            if not is_shown:
                renderer.SetViewport(0, 0, 1e-3, 1e-3)
                continue
            renderer.SetViewport(left + column * share, foot, left + (column + 1) * share, 1)
            if column == len(self._panes):
                self._panes.append(self._new_pane(column))
                self._panes[-1].hurry(self.is_hurried)

    def _new_pane(self, column: int) -> Pane:
        if self._still is None:
            assert self._start is not None
            outcome, option = self.state.outcome, self.state.option
            self._still = still_parts(outcome, option, self._extent, self._start, self._person)
            ground = next(part.mesh for part in self._still.parts if part.texture is not None)
            self._coarse = coarse_surface(ground)
        return Pane(self.plotter, column, self._still, self._coarse, self._scales(), self._moving_px)

    def _scales(self) -> tuple[Scene, ...]:
        """The scale on each side of the ground: whichever faces the camera is shown."""
        corners = foot_corners(self._ground, self._heights, self._extent)
        middle = corners.mean(axis=0)
        sides = [middle + 1000 * np.array(away) for away in ((0, -1, 0), (1, 0, 0), (0, 1, 0), (-1, 0, 0))]
        found = [scale_parts(corners, Camera(tuple(side), tuple(middle))) for side in sides]
        return tuple(Scene(tuple(parts), tuple(tags)) for parts, tags in found)


def extent_all_round(outcome: Outcome) -> Extent:
    """What the pictures show, and all ground within the reach of a unit however it is turned."""
    extent = site_extent(outcome)
    west, south, east, north = extent.west, extent.south, extent.east, extent.north
    for unit in (unit for option in outcome.options for unit in option.detectors):
        reach = unit.type.max_range + MARGIN_M
        west, east = min(west, unit.x - reach), max(east, unit.x + reach)
        south, north = min(south, unit.y - reach), max(north, unit.y + reach)
    return whole_cells(outcome.terrain.ground, west, south, east, north)
