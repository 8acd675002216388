"""One view of the window: what stands still is added once, what follows the settings is swapped in place."""

from dataclasses import replace
from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.vtkRenderingCore import vtkActor2D, vtkPolyDataMapper2D, vtkTextActor

from terrain3d.cover.verdict import Codes
from terrain3d.show import palette
from terrain3d.show.drape import drape
from terrain3d.show.ink import font_file
from terrain3d.show.lettering import has_glyph
from terrain3d.show.parts import Part, Tag
from terrain3d.show.scene import (
    GROUND_AMBIENT,
    GROUND_DIFFUSE,
    LEAF_LIGHT,
    LIGHTS,
    SOLID_LIGHT,
    Scene,
    add_part,
    light_scene,
)
from terrain3d.show.words import printable

#: Pixels along the longer side of the drape: a view on a screen shows no more.
_DRAPE_PIXELS = 900


class Pane:
    """One view of a plotter.

    Parameters
    ----------
    plotter : pyvista.Plotter
    column : int
        Which of its views.
    still : Scene
        What no setting moves.
    scales : tuple of Scene
        The scale on the south, east, north and west side of the ground.
    """

    def __init__(self, plotter: Any, column: int, still: Scene, scales: tuple[Scene, ...]) -> None:
        self._plotter, self._column = plotter, column
        self.renderer = plotter.renderers[column]
        plotter.subplot(0, column)
        plotter.set_background(palette.PAPER, all_renderers=False)
        # Faint bodies blend well enough in the order they are added; sorting every pixel takes long.
        self.renderer.SetUseOIT(False)
        library: Any = pv
        self.texture = library.Texture(np.zeros((2, 2, 3), np.uint8))
        self.texture.interpolate = True
        self.actors: dict[str, list[Any]] = {}
        self._moving: dict[Part, Any] = {}
        self._moving_tags: list[Any] = []
        self._unused: set[Any] = set()
        for part in still.parts:
            if part.group == "scale":
                continue
            if part.texture is not None:
                self._keep(part.group, self._add_ground(part))
            elif part.lit and not part.line_px:
                self._keep(part.group, self._add_lit(part))
            else:
                self._keep(part.group, add_part(plotter, part))
        for tag in still.tags:
            if tag.kind != "scale":
                self._keep("names", self._name(tag))
        self._scales = [
            [*(add_part(plotter, part) for part in scale.parts), *map(self._name, scale.tags)]
            for scale in scales
        ]
        light_scene(plotter)
        self._title = _lettered(18, is_bold=True)
        self._title.GetPositionCoordinate().SetCoordinateSystemToNormalizedViewport()
        self._title.GetPositionCoordinate().SetValue(0.5, 0.945)
        self.renderer.AddViewProp(self._title)
        self._arrow = _north_arrow()
        self._north = _lettered(15, is_bold=True)
        self._north.SetInput("N")
        for prop in (self._arrow, self._north):
            self.renderer.AddViewProp(prop)
        self.renderer.AddObserver("StartEvent", self._face_camera)

    def show(self, codes: Codes, moving: Scene, hidden: set[str]) -> None:
        """Lay verdicts on the ground and put the units, arcs and layers where they are now.

        Parameters
        ----------
        codes : (ny, nx) uint8
            Verdicts of the drawn ground.
        moving : Scene
        hidden : set of str
            Groups that are switched off.
        """
        self._lay(codes)
        merged = _merged(moving.parts)
        self._unused = {actor for look, actor in self._moving.items() if look not in merged}
        for look, mesh in merged.items():
            if look not in self._moving:
                self._plotter.subplot(0, self._column)
                # Faint layers tell no more when light is worked out on them at every pixel.
                part = replace(look, mesh=mesh, lit=look.opacity == 1)
                self._moving[look] = self._keep(look.group, add_part(self._plotter, part))
            self._moving[look].mapper.SetInputData(mesh)
        for k, tag in enumerate(moving.tags):
            if k == len(self._moving_tags):
                self._moving_tags.append(self._keep("names", self._name(tag)))
            _write(self._moving_tags[k], tag)
        self._unused |= set(self._moving_tags[len(moving.tags) :])
        self.hide(hidden)

    def hide(self, hidden: set[str]) -> None:
        """Switch groups off, and all others on."""
        for group, actors in self.actors.items():
            for actor in actors:
                actor.SetVisibility(group not in hidden and actor not in self._unused)

    def head(self, title: str) -> None:
        """Write a title over the view; none where it is empty."""
        self._title.SetInput(title)
        self._title.SetVisibility(bool(title))

    def _keep(self, group: str, actor: Any) -> Any:
        self.actors.setdefault(group, []).append(actor)
        return actor

    def _add_ground(self, part: Part) -> Any:
        """The ground with its light worked out once: it does not move, and most pixels are its own."""
        mesh = part.mesh.copy(deep=False)
        light = daylight(mesh.point_data.active_normals, GROUND_AMBIENT, GROUND_DIFFUSE)
        mesh.point_data["light"] = np.repeat((255 * light + 0.5).astype(np.uint8)[:, None], 3, axis=1)
        actor = add_part(self._plotter, replace(part, mesh=mesh, texture=self.texture))
        actor.mapper.dataset.set_active_scalars("light")
        actor.mapper.SetScalarModeToUsePointData()
        actor.mapper.SetColorModeToDirectScalars()
        actor.mapper.ScalarVisibilityOn()
        look = actor.GetProperty()
        look.LightingOff()
        look.SetAmbient(0.0)
        look.SetDiffuse(1.0)
        return actor

    def _add_lit(self, part: Part) -> Any:
        """A thing that stands still, with the light on each of its faces worked out once."""
        mesh = part.mesh.compute_normals(
            point_normals=False, consistent_normals=False, auto_orient_normals=False
        )
        ambient, diffuse = LEAF_LIGHT if part.opacity < 1 else SOLID_LIGHT
        light = daylight(mesh.cell_data["Normals"], ambient, diffuse)
        colours = light[:, None] * palette.rgb(part.colour) + 0.5
        mesh.cell_data["colour"] = colours.astype(np.uint8)
        return self._plotter.add_mesh(
            mesh, scalars="colour", preference="cell", rgb=True, lighting=False, opacity=part.opacity,
            culling="back" if part.opacity < 1 else None, show_scalar_bar=False, reset_camera=False,
            render=False,
        )  # fmt: skip

    def _lay(self, codes: Codes) -> None:
        image = drape(codes, pixels=_DRAPE_PIXELS)
        height, width = image.shape[:2]
        picture = self.texture.GetInput()
        if picture is None or picture.GetDimensions() != (width, height, 1):
            picture = pv.ImageData(dimensions=(width, height, 1))
            self.texture.SetInputDataObject(picture)
        picture = pv.wrap(picture)
        picture.point_data["colour"] = image.reshape(-1, 3)
        picture.set_active_scalars("colour")
        picture.Modified()

    def _name(self, tag: Tag) -> Any:
        is_unit = tag.kind == "unit"
        actor = _lettered(14 if is_unit else 12, is_unit)
        actor.GetPositionCoordinate().SetCoordinateSystemToWorld()
        _write(actor, tag)
        self.renderer.AddViewProp(actor)
        return actor

    def _face_camera(self, *_: Any) -> None:
        """What turns with the camera: the north arrow, and the side of the ground that has the scale."""
        towards = np.negative(self.renderer.GetActiveCamera().GetDirectionOfProjection())
        facing = int(np.argmax([-towards[1], towards[0], towards[1], -towards[0]]))
        for side, actors in enumerate(self._scales):
            for actor in actors:
                actor.SetVisibility(side == facing)
        self._turn_north()

    def _turn_north(self) -> None:
        """Point the flat arrow in the upper right corner to the north as the camera sees it."""
        seen = self.renderer.GetActiveCamera().GetViewTransformMatrix()
        east, north = (np.array([seen.GetElement(0, k), seen.GetElement(1, k)]) for k in (0, 1))
        width, height = self.renderer.GetSize()
        middle = np.array([width - 48.0, height - 52.0])
        points = middle + 22 * (_ARROW[:, :1] * east + _ARROW[:, 1:] * north)
        corners = self._arrow.GetMapper().GetInput().GetPoints()
        for k, (x, y) in enumerate(points[:4]):
            corners.SetPoint(k, x, y, 0.0)
        corners.Modified()
        self._north.GetPositionCoordinate().SetCoordinateSystemToViewport()
        self._north.GetPositionCoordinate().SetValue(points[4, 0], points[4, 1] - 9)


#: VTK's own number for a typeface that is read from a file (vtkTextProperty.h).
_FONT_FILE = 4
#: A flat arrow, tip to the north, and where its letter stands; in plan, east and north.
_ARROW = np.array([[0.0, 1.0], [0.42, -0.9], [0.0, -0.5], [-0.42, -0.9], [0.0, 1.6]])


def daylight(normals: Any, ambient: float, diffuse: float) -> Any:
    """(n,) how bright the lights of the scene make faces of (n, 3) normals, at most 1.

    >>> daylight(np.array([[0.0, 0.0, -1.0]]), 0.5, 0.65).tolist()
    [0.5]
    """
    share = np.full(len(normals), ambient)
    for place, strength in LIGHTS:
        towards = np.array(place) / np.linalg.norm(place)
        share += diffuse * strength * np.maximum(normals @ towards, 0.0)
    return np.minimum(share, 1.0)


def _north_arrow() -> Any:
    shape = pv.PolyData(np.zeros((4, 3)), faces=np.array([3, 0, 1, 2, 3, 0, 2, 3]))
    mapper = vtkPolyDataMapper2D()
    mapper.SetInputData(shape)
    actor = vtkActor2D()
    actor.SetMapper(mapper)
    actor.GetProperty().SetColor(*_share(palette.INK))
    return actor


def _lettered(size: int, is_bold: bool) -> Any:
    actor = vtkTextActor()
    look = actor.GetTextProperty()
    look.SetFontFamily(_FONT_FILE)
    look.SetFontFile(font_file(is_bold))
    look.SetFontSize(size)
    look.SetColor(*_share(palette.INK))
    look.SetBackgroundColor(*_share(palette.PAPER))
    look.SetBackgroundOpacity(0.75)
    look.SetVerticalJustificationToBottom()
    look.SetJustificationToCentered()
    return actor


def _write(actor: Any, tag: Tag) -> None:
    lines = [printable(line, has_glyph) for line in tag.text.split("\n")]
    actor.SetInput("\n".join(line if len(line) <= 40 else line[:37].rstrip() + "..." for line in lines))
    actor.GetPositionCoordinate().SetValue(*tag.point)


def _share(colour: str) -> tuple[float, float, float]:
    red, green, blue = (float(v) / 255 for v in palette.rgb(colour))
    return red, green, blue


def _merged(parts: tuple[Part, ...]) -> dict[Part, Any]:
    """One mesh for all parts of one look, in the order of first appearance."""
    meshes: dict[Part, list[Any]] = {}
    for part in parts:
        meshes.setdefault(replace(part, mesh=None), []).append(part.mesh)
    return {
        look: same[0] if len(same) == 1 else same[0].append_polydata(*same[1:])
        for look, same in meshes.items()
    }
