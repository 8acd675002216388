"""The hillside as named meshes of plain arrays, for whatever shows it in three dimensions."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.palette import Rgb
from terrain3d.show.drape import drape
from terrain3d.show.extent import Extent, seen_part, site_extent
from terrain3d.show.legend import BOUNDARY, PROTECTED, Sign
from terrain3d.show.light import GROUND_AMBIENT, GROUND_DIFFUSE, daylight
from terrain3d.show.parts import (
    Part,
    drawn_line,
    foliage_parts,
    ground_parts,
    layer_parts,
    solid_parts,
    unit_parts,
)
from terrain3d.show.shapes import Reach, filled_heights
from terrain3d.show.ways import route_scene
from terrain3d.sight.hits import reach_of
from terrain3d.study import Study
from terrain3d.terrain import Solids, Terrain
from terrain3d.units import Floats

Triangles = NDArray[np.int64]
#: Pixels along the longer side of the picture of the ground, at least.
_PIXELS = 1000
#: Triangles of all leaves, at most: a telephone has to turn them.
_MOST_LEAF_FACES = 60_000


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles or lines of one look; what a person shows or hides together has one `group`.

    Parameters
    ----------
    name : str
        What it is, of its group.
    group : str
    points : (n, 3) float
        Local metres: east, north, up.
    faces : (m, 3) int
        No row where it is lines.
    lines : tuple of (k,) int
        Chains of points, where it is lines.
    colour : str
    opacity : float
    uv : (n, 2) float or None
        Where on its picture each point lies, from the south-west corner, 0 to 1.
    is_on_ground : bool
        Whether it is a line drawn on the ground.
    light : (n,) float or None
        How bright the daylight makes each point of what has a picture, at most 1.
    """

    name: str
    group: str
    points: Floats
    faces: Triangles
    lines: tuple[Triangles, ...]
    colour: str
    opacity: float = 1.0
    uv: Floats | None = None
    is_on_ground: bool = False
    light: Floats | None = None


@dataclass(frozen=True, eq=False)
class Hillside:
    """A site in three dimensions: what stays whatever the option, and what each option adds.

    `pictures` are (h, w, 3) of the ground's verdicts, row 0 the northernmost; all by the option's name.
    """

    extent: Extent
    ground: tuple[Mesh, ...]
    standing: tuple[Mesh, ...]
    of_option: dict[str, tuple[Mesh, ...]]
    pictures: dict[str, Rgb]


def hillside(study: Study) -> Hillside:
    """The meshes of a site and of all its options."""
    outcome, terrain = study.outcome, study.outcome.terrain
    extent, reach = site_extent(outcome), reach_of(outcome.terrain)
    heights = filled_heights(terrain.ground)
    ground = tuple(
        mesh
        for part in ground_parts(terrain, outcome.options[0], extent)
        for mesh in _meshes("ground", [part])
    )
    standing: list[Mesh] = []
    for place, name in enumerate(terrain.solids.names):
        standing += _meshes(name, solid_parts(_only(terrain.solids, place), extent))
    standing += _meshes("leaves", foliage_parts(terrain.foliage, extent))
    for area in terrain.protect:
        standing += _ring(terrain, heights, area.outline, PROTECTED, area.name, "protected")
    if terrain.boundary is not None:
        standing += _ring(terrain, heights, terrain.boundary, BOUNDARY, "boundary", "boundary")
    of_option = {
        option.name: _cut(_option(study, option, heights, reach), extent) for option in outcome.options
    }
    pictures = {option.name: _picture(outcome, option, extent) for option in outcome.options}
    return Hillside(extent, ground, _cut(standing, extent), of_option, pictures)


def _picture(outcome: Outcome, option: OptionResult, extent: Extent) -> Rgb:
    codes = option.verdicts[extent.rows, extent.columns]
    image = drape(codes, pixels=_PIXELS, seen=seen_part(outcome.terrain, extent))
    return np.ascontiguousarray(image[::-1])


def _option(study: Study, option: OptionResult, heights: Floats, reach: Reach) -> list[Mesh]:
    ground = study.outcome.terrain.ground
    found: list[Mesh] = []
    for unit in option.detectors:
        found += _meshes(unit.name, unit_parts(ground, heights, unit))
        found += _meshes(unit.name, layer_parts(unit, reach))
    for route in study.of(option.name).routes or ():
        found += _meshes(route.area, route_scene(ground, route).parts, "routes")
    return found


def _cut(meshes: list[Mesh], extent: Extent) -> tuple[Mesh, ...]:
    """Meshes with lines on the ground as far as the block goes: past its edge they would hang in the air."""
    found = []
    for mesh in meshes:
        one = _cut_line(mesh, extent) if mesh.is_on_ground else mesh
        if len(one.faces) or one.lines:
            found.append(one)
    return tuple(found)


def _cut_line(mesh: Mesh, extent: Extent) -> Mesh:
    east, north = mesh.points[:, 0], mesh.points[:, 1]
    slack = 1e-6
    inside = (east >= extent.west - slack) & (east <= extent.east + slack)
    inside &= (north >= extent.south - slack) & (north <= extent.north + slack)
    kept = []
    for chain in mesh.lines:
        breaks = np.flatnonzero(np.diff(inside[chain])) + 1
        kept += [piece for piece in np.split(chain, breaks) if inside[piece[0]] and len(piece) > 1]
    return replace(mesh, lines=tuple(kept))


def eye_of(unit: Detector) -> tuple[float, float, float]:
    """Where a unit's name stands, a little over it."""
    return unit.x, unit.y, unit.eye[2] + 0.25


def _ring(
    terrain: Terrain, heights: Floats, outline: Floats, sign: Sign, name: str, group: str
) -> list[Mesh]:
    ring = np.vstack([outline, outline[:1]])
    return _meshes(name, drawn_line(terrain.ground, heights, ring, sign), group)


def _only(solids: Solids, place: int) -> Solids:
    """One of several solids."""
    own = solids.owners == place
    return Solids(solids.vertices, solids.triangles[own], np.zeros(int(own.sum()), np.int64), ("",))


def _meshes(name: str, parts: Any, group: str = "") -> list[Mesh]:
    """Parts of a scene as arrays; lines on paper under lines are left out, for there is none."""
    found = []
    for part in parts:
        if part.mesh.n_points and not (part.line_px and part.colour == palette.PAPER):
            found.append(_mesh(name, part, group or _group(part)))
    return found


def _group(part: Part) -> str:
    """What a person shows and hides: the arcs of a unit go with its layers."""
    return "layers" if part.group == "marks" else part.group


def _mesh(name: str, part: Part, group: str) -> Mesh:
    mesh = part.mesh
    points = np.asarray(mesh.points, float)
    if part.line_px:
        nothing, is_on_ground = np.zeros((0, 3), np.int64), part.group == "marks"
        return Mesh(name, group, points, nothing, _chains(mesh), part.colour, is_on_ground=is_on_ground)
    if part.group == "foliage" and mesh.n_cells > _MOST_LEAF_FACES:
        mesh = mesh.decimate(1 - _MOST_LEAF_FACES / mesh.n_cells)
        points = np.asarray(mesh.points, float)
    faces = np.asarray(mesh.triangulate().regular_faces, np.int64)
    used, faces = np.unique(faces, return_inverse=True)
    corners = np.reshape(faces, (-1, 3))
    if part.texture is None:
        return Mesh(name, group, points[used], corners, (), part.colour, part.opacity)
    uv = np.asarray(mesh.active_texture_coordinates, float)[used]
    normals = np.asarray(mesh.point_data.active_normals, float)[used]
    light = np.minimum(part.light * daylight(normals, GROUND_AMBIENT, GROUND_DIFFUSE), 1.0)
    return Mesh(name, group, points[used], corners, (), part.colour, uv=uv, light=light)


def _chains(mesh: Any) -> tuple[Triangles, ...]:
    """The lines of a mesh as chains of its points."""
    flat, chains, at = np.asarray(mesh.lines, np.int64), [], 0
    while at < len(flat):
        count = int(flat[at])
        chains.append(flat[at + 1 : at + 1 + count])
        at += 1 + count
    return tuple(chains)
