"""One view: what stands still is added once, what follows the settings is swapped in place."""

from dataclasses import replace
from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.vtkRenderingCore import (
    vtkActor2D,
    vtkPolyDataMapper2D,
    vtkTexture,
    vtkTexturedActor2D,
)

from terrain3d import palette
from terrain3d.show.labels import Box, free_spot
from terrain3d.show.lettering import fitted_lines
from terrain3d.show.light import GROUND_AMBIENT, GROUND_DIFFUSE, LEAF_LIGHT, SOLID_LIGHT, daylight
from terrain3d.show.live.coarse import coarse_leaves
from terrain3d.show.live.ground_colours import GroundColours, paint_ground
from terrain3d.show.parts import Part, Tag
from terrain3d.show.scene import Scene, add_part, light_scene
from terrain3d.show.writing import sign_board

#: Pixels along the longer side of the drape: a view on a screen shows no more.
DRAPE_PIXELS = 900


class Pane:
    """One view of a plotter.

    Parameters
    ----------
    plotter : pyvista.Plotter
    column : int
        Which of its views.
    still : Scene
        What no setting moves.
    coarse : pyvista.PolyData
        The ground of `still` with fewer faces.
    scales : tuple of Scene
        The scale on the south, east, north and west side of the ground.
    moving_px : int
        Pixels along the longer side of the drape while something moves.
    """

    def __init__(
        self,
        plotter: Any,
        column: int,
        still: Scene,
        coarse: Any,
        scales: tuple[Scene, ...],
        moving_px: int = DRAPE_PIXELS,
    ) -> None:
        self._plotter, self._column = plotter, column
        self.renderer = plotter.renderers[column]
        plotter.subplot(0, column)
        plotter.set_background(palette.PAPER, all_renderers=False)
        # Faint bodies blend well enough in the order they are added; sorting every pixel takes long.
        self.renderer.SetUseOIT(False)
        library: Any = pv
        self.texture = library.Texture(np.zeros((2, 2, 3), np.uint8))
        self.texture.interpolate = True
        # Repeating a picture and asking at every pixel whether it does takes time without a graphics card.
        self.texture.SetWrap(vtkTexture.ClampToEdge)
        self.actors: dict[str, list[Any]] = {}
        # Drawn at rest alone, and in its place while something moves.
        self._whole: set[Any] = set()
        self._coarse: set[Any] = set()
        self._colours: GroundColours | None = None
        self._drape_px, self._moving_px = 0, moving_px
        self._shown: Scene | None = None
        self._moving: dict[Part, Any] = {}
        self._moving_tags: list[_Name] = []
        self._names: list[_Name] = []
        self._unused: set[Any] = set()
        self._hidden: set[str] = set()
        self._is_hurried = self._has_title = False
        # Pixels that are drawn for one that is shown, and how broad lines are where both are the same.
        self._share, self._line_px = 1.0, dict[Any, float]()
        for part in still.parts:
            if part.group == "scale":
                continue
            if part.texture is not None:
                self._whole.add(self._keep(part.group, self._add_ground(part)))
                self._coarse.add(self._keep(part.group, self._add_ground(replace(part, mesh=coarse))))
            elif part.group == "foliage" and part.lit and not part.line_px:
                few = replace(part, mesh=coarse_leaves(part.mesh))
                self._whole.add(self._keep(part.group, self._add_lit(part)))
                self._coarse.add(self._keep(part.group, self._add_lit(few)))
            elif part.lit and not part.line_px:
                self._keep(part.group, self._add_lit(part))
            else:
                self._keep(part.group, add_part(plotter, part))
        for tag in still.tags:
            if tag.kind != "scale":
                self._keep("names", self._name(tag).actor)
        self._scales = [
            (
                [add_part(plotter, part) for part in scale.parts],
                [self._name(tag) for tag in scale.tags],
            )
            for scale in scales
        ]
        light_scene(plotter)
        self._title, self._heading, self._fitted = _Writing(), "", ("", 0)
        self._title.actor.SetVisibility(False)
        self._title.actor.GetPositionCoordinate().SetCoordinateSystemToNormalizedViewport()
        self._title.actor.GetPositionCoordinate().SetValue(0.5, 0.945)
        self.renderer.AddViewProp(self._title.actor)
        self._arrow = _north_arrow()
        self._north = _Writing()
        self._north.write(["N"], 15, is_bold=True)
        for prop in (self._arrow, self._north.actor):
            self.renderer.AddViewProp(prop)
        self._watching = self.renderer.AddObserver("StartEvent", self._face_camera)

    def close(self) -> None:
        """Take all of it off the plotter, for another to come in its place."""
        self.renderer.RemoveObserver(self._watching)
        window = self._plotter.render_window
        for prop in list(self.renderer.GetViewProps()):
            prop.ReleaseGraphicsResources(window)
            self.renderer.RemoveViewProp(prop)
        self.renderer.clear_actors()

    def show(self, colours: GroundColours, moving: Scene, hidden: set[str]) -> bool:
        """Colour the ground and put the units, arcs and layers where they are now; whether any of it changed.

        Parameters
        ----------
        colours : GroundColours
            Of the drawn ground.
        moving : Scene
        hidden : set of str
            Groups that are switched off.
        """
        is_changed = self._lay(colours) or moving is not self._shown or hidden != self._hidden
        if moving is not self._shown:
            self._shown = moving
            self._put(moving)
        self.hide(hidden)
        return is_changed

    def _put(self, moving: Scene) -> None:
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
                self._moving_tags.append(self._name(tag))
                self._keep("names", self._moving_tags[k].actor)
            self._moving_tags[k].write(tag)
        self._unused |= {name.actor for name in self._moving_tags[len(moving.tags) :]}

    def draw_at(self, share: float) -> None:
        """Draw fewer pixels than are shown: lines, names and signs stay as large beside the ground.

        Parameters
        ----------
        share : float
            Pixels that are drawn for one that is shown, along a side.
        """
        if share != self._share:
            self._share = share
            for writing in (self._title, self._north, *(name.writing for name in self._names)):
                writing.draw_at(share)
        for actor in self.renderer.GetActors():
            look = actor.GetProperty()
            look.SetLineWidth(share * self._line_px.setdefault(actor, look.GetLineWidth()))

    def _size(self) -> tuple[float, float]:
        """How large the view is shown, pixels."""
        width, height = self.renderer.GetSize()
        return width / self._share, height / self._share

    def hide(self, hidden: set[str]) -> None:
        """Switch groups off, and all others on."""
        self._hidden = set(hidden)
        spare = self._whole if self._is_hurried else self._coarse
        for group, actors in self.actors.items():
            for actor in actors:
                is_used = actor not in self._unused and actor not in spare
                actor.SetVisibility(group not in hidden and is_used)

    def hurry(self, is_hurried: bool) -> None:
        """Draw ground and leaves with fewer faces under the same verdicts, or whole again."""
        if is_hurried != self._is_hurried:
            self._is_hurried = is_hurried
            self.hide(self._hidden)
            if not is_hurried and self._colours is not None and self._drape_px < DRAPE_PIXELS:
                self._paint(self._colours)

    def head(self, title: str) -> bool:
        """Write a title over the view; none where it is empty. Whether it is another one."""
        is_changed = title != self._heading
        self._has_title, self._heading = bool(title), title
        self._title.actor.SetVisibility(self._has_title)
        self._fit_title()
        return is_changed

    def _fit_title(self) -> None:
        """The title as far as the view is wide."""
        width = round(self._size()[0])
        if self._has_title and (self._heading, width) != self._fitted:
            self._fitted = self._heading, width
            room = max(width - 2 * _TITLE_PX, _TITLE_PX) / _TITLE_PX
            self._title.write(fitted_lines(self._heading, room, 1, "bold"), _TITLE_PX, is_bold=True)

    def _keep(self, group: str, actor: Any) -> Any:
        self.actors.setdefault(group, []).append(actor)
        return actor

    def _add_ground(self, part: Part) -> Any:
        """The ground with its light worked out once: it does not move, and most pixels are its own."""
        mesh = part.mesh.copy(deep=False)
        raised = part.light * GROUND_AMBIENT, part.light * GROUND_DIFFUSE
        light = daylight(mesh.point_data.active_normals, *raised)
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
        ambient, diffuse = LEAF_LIGHT if part.opacity < 1 else SOLID_LIGHT
        corners = part.mesh.points[part.mesh.triangulate().regular_faces]
        across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normals = across / np.maximum(np.linalg.norm(across, axis=1), 1e-30)[:, None]
        colours = daylight(normals, ambient, diffuse)[:, None] * palette.rgb(part.colour) + 0.5
        # Each face has corners of its own: a colour looked up for every face would be looked up for
        # every pixel.
        faces: Any = np.arange(3 * len(corners)).reshape(-1, 3)
        mesh = pv.PolyData.from_regular_faces(corners.reshape(-1, 3), faces)
        mesh.point_data["colour"] = colours.astype(np.uint8).repeat(3, axis=0)
        return self._plotter.add_mesh(
            mesh, scalars="colour", preference="point", rgb=True, lighting=False, opacity=part.opacity,
            culling="back" if part.opacity < 1 else None, show_scalar_bar=False, reset_camera=False,
            render=False,
        )  # fmt: skip

    def _lay(self, colours: GroundColours) -> bool:
        if colours.is_same(self._colours):
            return False  # beside an option that is being set, the other one stays as it is
        self._colours = colours
        self._paint(colours)
        return True

    def _paint(self, colours: GroundColours) -> None:
        self._drape_px = self._moving_px if self._is_hurried else DRAPE_PIXELS
        image = paint_ground(colours, self._drape_px)
        height, width = image.shape[:2]
        picture = self.texture.GetInput()
        if picture is None or picture.GetDimensions() != (width, height, 1):
            picture = pv.ImageData(dimensions=(width, height, 1))
            self.texture.SetInputDataObject(picture)
        picture = pv.wrap(picture)
        picture.point_data["colour"] = image.reshape(-1, 3)
        picture.set_active_scalars("colour")
        picture.Modified()

    def _name(self, tag: Tag) -> "_Name":
        name = _Name(tag)
        name.writing.draw_at(self._share)
        self._names.append(name)
        self.renderer.AddViewProp(name.actor)
        return name

    def _face_camera(self, *_: Any) -> None:
        """What turns with the camera: the north arrow, the scale on the side in front, and the names."""
        towards = np.negative(self.renderer.GetActiveCamera().GetDirectionOfProjection())
        facing = int(np.argmax([-towards[1], towards[0], towards[1], -towards[0]]))
        for side, (bars, numbers) in enumerate(self._scales):
            for actor in (*bars, *(number.actor for number in numbers)):
                actor.SetVisibility(side == facing)
        self._turn_north()
        self._fit_title()
        self._place_names(facing)

    def _place_names(self, facing: int) -> None:
        """Write the names beside their points, apart from each other; what finds no room is left out."""
        away = {name for side, (_, numbers) in enumerate(self._scales) if side != facing for name in numbers}
        names = [
            name for name in self._names
            if name not in away and name.actor not in self._unused and "names" not in self._hidden
        ]  # fmt: skip
        names.sort(key=lambda name: _ORDER.index(name.tag.kind))
        width, height = self._size()
        room = (0.0, 0.0, width, height)
        taken: list[Box] = [(width - 80.0, height - 100.0, width, height)]
        if self._has_title:
            taken.append((0.0, 0.92 * height, float(width), float(height)))
        seen = self.points_seen([name.tag.point for name in names])
        for name, (x, y) in zip(names, seen, strict=True):
            # A name whose point is out of view is not written.
            is_seen = 0 <= x <= width and 0 <= y <= height
            spot = free_spot((x, y), name.size, room, taken, (0, 1), _GAP_PX, _AIR_PX, is_beside=True)
            name.place(spot if is_seen else None, self._share)
            if is_seen and spot is not None:
                taken.append(spot)

    def points_seen(self, points: list[tuple[float, float, float]]) -> Any:
        """(n, 2) where points of the scene lie, pixels from the view's lower left; NaN behind the eye."""
        width, height = self._size()
        camera = self.renderer.GetActiveCamera()
        matrix = camera.GetCompositeProjectionTransformMatrix(width / max(height, 1), -1, 1)
        rows = np.array([[matrix.GetElement(i, j) for j in range(4)] for i in (0, 1, 3)])
        x, y, w = rows @ np.column_stack([np.reshape(points, (-1, 3)), np.ones(len(points))]).T
        w = np.where(w > 1e-9, w, np.nan)
        return np.column_stack([(x / w + 1) * width / 2, (y / w + 1) * height / 2])

    def _turn_north(self) -> None:
        """Point the flat arrow in the upper right corner to the north as the camera sees it."""
        seen = self.renderer.GetActiveCamera().GetViewTransformMatrix()
        east, north = (np.array([seen.GetElement(0, k), seen.GetElement(1, k)]) for k in (0, 1))
        width, height = self._size()
        middle = np.array([width - 48.0, height - 52.0])
        points = self._share * (middle + 22 * (_ARROW[:, :1] * east + _ARROW[:, 1:] * north))
        corners = self._arrow.GetMapper().GetInput().GetPoints()
        for k, (x, y) in enumerate(points[:4]):
            corners.SetPoint(k, x, y, 0.0)
        corners.Modified()
        self._north.actor.GetPositionCoordinate().SetValue(points[4, 0], points[4, 1] - 9 * self._share)


#: Free pixels between a point and its name, and between two names.
_GAP_PX, _AIR_PX = 1.0, 3.0
#: How wide a name may be, in sizes of its type; size of the title over a view, pixels.
_WIDEST, _TITLE_PX = 22.0, 18
#: Which names find their spot first.
_ORDER = ("unit", "area", "scale", "figure")


class _Writing:
    """Lines of letters on the pixels of a view; its place is the middle of their foot."""

    def __init__(self) -> None:
        self._share, self._places = 1.0, np.zeros((4, 3))
        self._corners = pv.PolyData(self._places, faces=np.array([4, 0, 1, 2, 3]))
        self._corners.active_texture_coordinates = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
        mapper = vtkPolyDataMapper2D()
        mapper.SetInputData(self._corners)
        self._texture = vtkTexture()
        self._texture.SetWrap(vtkTexture.ClampToEdge)
        self.actor = vtkTexturedActor2D()
        self.actor.SetMapper(mapper)
        self.actor.SetTexture(self._texture)
        self.actor.GetPositionCoordinate().SetCoordinateSystemToViewport()

    def write(self, lines: list[str], size: int, is_bold: bool) -> tuple[float, float]:
        """Write lines that are ready to print; their width and height, pixels."""
        image = sign_board(lines, size, is_bold)
        height, width = image.shape[:2]
        picture = pv.ImageData(dimensions=(width, height, 1))
        # VTK counts rows from the bottom.
        picture.point_data["colour"] = image[::-1].reshape(-1, 4)
        picture.set_active_scalars("colour")
        self._texture.SetInputData(picture)
        left, right = -(width // 2), width - width // 2
        self._places = np.array([[left, 0, 0], [right, 0, 0], [right, height, 0], [left, height, 0.0]])
        self.draw_at(self._share)
        return float(width), float(height)

    def draw_at(self, share: float) -> None:
        """Stand on so many pixels for one that is shown."""
        self._share = share
        self._corners.points = share * self._places


class _Name:
    """A name in a view; its size is measured once, when it is written."""

    def __init__(self, tag: Tag) -> None:
        self.tag, self.size = tag, (0.0, 0.0)
        self.writing = _Writing()
        self.actor = self.writing.actor
        self._written: tuple[str, bool] | None = None
        self.write(tag)

    def write(self, tag: Tag) -> None:
        self.tag = tag
        is_bold = tag.kind == "unit"
        if (tag.text, is_bold) != self._written:
            self._written = tag.text, is_bold
            weight = "bold" if is_bold else "normal"
            lines = [line for text in tag.text.split("\n") for line in fitted_lines(text, _WIDEST, 1, weight)]
            self.size = self.writing.write(lines, 14 if is_bold else 12, is_bold)

    def place(self, box: Box | None, share: float) -> None:
        """Stand in a box of the view, of which a share is drawn along a side; away where there is none."""
        self.actor.SetVisibility(box is not None)
        if box is not None:
            at = self.actor.GetPositionCoordinate()
            at.SetValue(round(share * (box[0] + box[2]) / 2), round(share * box[1]), 0.0)


#: A flat arrow, tip to the north, and where its letter stands; in plan, east and north.
_ARROW = np.array([[0.0, 1.0], [0.42, -0.9], [0.0, -0.5], [-0.42, -0.9], [0.0, 1.6]])


def _north_arrow() -> Any:
    shape = pv.PolyData(np.zeros((4, 3)), faces=np.array([3, 0, 1, 2, 3, 0, 2, 3]))
    mapper = vtkPolyDataMapper2D()
    mapper.SetInputData(shape)
    actor = vtkActor2D()
    actor.SetMapper(mapper)
    actor.GetProperty().SetColor(*_share(palette.INK))
    return actor


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
