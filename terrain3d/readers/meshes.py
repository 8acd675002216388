"""PLY, OBJ, STL and GLB: triangle meshes, turned z up where the format says y is up."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray

from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.crs import Said, settle
from terrain3d.readers.faces import bounds_of, checked_faces, faces_in_box
from terrain3d.readers.source import Box, Header, Progress, Surface
from terrain3d.site import GroundSource
from terrain3d.units import Floats
from terrain3d.wording import plain

#: A mesh kept in 32-bit floats is told when its steps are coarser than this, metres.
COARSE_STEP = 0.005
#: Bytes of a number, and numbers of an entry (glTF 2.0, section 3.6.2.2).
_COMPONENT_BYTES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}
_PARTS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
#: Nodes of a scene of ground have their hundreds (common practice, no source).
_MOST_NODES = 20_000
_FORMS = {
    "ply": "PLY mesh",
    "obj": "OBJ mesh",
    "stl": "STL mesh",
    "glb": "GLB mesh, turned from y up to z up",
}


def mesh_header(path: Path, ground: GroundSource, form: str) -> Header:
    """Bounds and count of a mesh, which means reading it.

    Parameters
    ----------
    path : Path
    ground : GroundSource
    form : 'ply', 'obj', 'stl' or 'glb'
    """
    vertices, _ = _loaded(path, form)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    bounds = bounds_of(vertices)
    # glTF 2.0, section 3.4: y is up, all lengths are metres.
    said = Said(vertical_unit_m=1.0, vertical_unit_from="the GLB standard") if form == "glb" else Said()
    settled = settle(said, ground, str(path), bounds, len(vertices))
    doubts = settled.doubts + _shape_doubts(low, high)
    if np.array_equal(vertices, vertices.astype(np.float32)):
        doubts += _step_doubts(vertices)
    return Header(
        kind="mesh",
        crs=settled.crs,
        vertical_unit_m=settled.vertical_unit_m,
        bounds=bounds,
        n_points=len(vertices),
        doubts=doubts,
        form=_FORMS[form],
        crs_from=settled.crs_from,
        vertical_unit_from=settled.vertical_unit_from,
    )


def read_mesh(
    path: Path, header: Header, form: str, box: Box | None, progress: Progress | None = None
) -> Surface:
    """Read the triangles that meet a box, each whole.

    Raises
    ------
    InputError
        Where the file is no mesh, has no triangles, or none meets the box.
    """
    vertices, triangles = _loaded(path, form)
    kept, triangles = faces_in_box(vertices, triangles, path, header, box)
    kept[:, 2] *= header.vertical_unit_m
    if progress is not None:
        progress(1.0)
    return Surface(kept, triangles, header.crs, header.doubts)


class _NothingElse(trimesh.resolvers.ZipResolver):
    """Refuses whatever a mesh keeps beside itself, such as a GLB its points.

    Given none, trimesh makes itself one that opens files, from the name of the stream.
    """

    def __init__(self, path: Path) -> None:
        super().__init__({})
        self._path = path

    def get(self, name: str) -> bytes:
        raise InputError(
            f"it keeps a part of itself elsewhere, in {name[:100]!r}",
            str(self._path),
            "export it as one file that holds everything",
        )


def _loaded(path: Path, form: str) -> tuple[Floats, NDArray[np.int64]]:
    """Vertices in use and triangles, z up, checked."""
    if form == "glb":
        _check_glb(path)
    try:
        with opened(path) as stream, np.errstate(all="ignore"):
            mesh: Any = trimesh.load(
                stream, file_type=form, resolver=_NothingElse(path), process=False, skip_materials=True
            )
        mesh = mesh.to_geometry() if isinstance(mesh, trimesh.Scene) else mesh
        vertices: Floats = np.array(mesh.vertices, np.float64)
        triangles = np.array(getattr(mesh, "faces", np.empty((0, 3))), np.int64)
    except InputError:
        raise
    except Exception as error:
        raise _damaged(path, form) from error
    vertices, triangles = checked_faces(vertices, triangles, path)
    if form == "glb":
        # y up, seen from +z: east is x, north is -z.
        vertices = np.column_stack([vertices[:, 0], -vertices[:, 2], vertices[:, 1]])
    return vertices, triangles


def _check_glb(path: Path) -> None:
    """Refuse a GLB that claims more than it holds, before anything makes room for it.

    Its numbers lie in the file, so many bytes each; and what a scene shows many times over is made as often
    (glTF 2.0, sections 3.6 and 3.5.2, and 4.4 for how the file is put together).
    """
    size = path.stat().st_size
    with opened(path) as stream:
        head = stream.read(20)
        length = int.from_bytes(head[12:16], "little")
        words = stream.read(length) if len(head) == 20 and length <= size else b""
    try:
        document = json.loads(words)
        claims = [
            max(1, int(one.get("count", 0))) * _COMPONENT_BYTES[one["componentType"]] * _PARTS[one["type"]]
            for one in document.get("accessors", ())
        ]
        is_elsewhere = any(
            "bufferView" not in one or "sparse" in one for one in document.get("accessors", ())
        )
        n_shown = _n_shown(document.get("nodes", []))
    except (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError):
        raise _damaged(path, "glb") from None
    if max(claims, default=0) > size:
        raise InputError(
            f"it claims {max(claims):,} bytes of numbers in one list, and is {size:,} bytes long",
            str(path),
            "export the mesh again: the file is damaged or was cut short",
        )
    if is_elsewhere:
        raise InputError(
            "some of its lists have no numbers of their own, or take others in their place",
            str(path),
            "export the mesh again, without sparse or empty accessors",
        )
    if n_shown > _MOST_NODES:
        raise InputError(
            f"its scene shows more than {_MOST_NODES} parts, many of them again and again, or in a circle",
            str(path),
            "export the mesh again as one part",
        )


def _n_shown(nodes: list[dict[str, Any]]) -> int:
    """How many nodes a scene has with each counted as often as it is reached; one too many is enough."""
    children = [list(node.get("children", ())) for node in nodes]
    below = {child for each in children for child in each}
    pending, n = [k for k in range(len(nodes)) if k not in below], 0
    if nodes and not pending:  # all of them are below another: they go round
        return _MOST_NODES + 1
    while pending and n + len(pending) <= _MOST_NODES:
        n += 1
        pending += children[pending.pop()]
    return n + len(pending)


def _damaged(path: Path, form: str) -> InputError:
    return InputError(
        f"it cannot be read as {_FORMS[form].split(',')[0]}: it is damaged or cut off",
        str(path),
        "export the mesh again",
    )


def _shape_doubts(low: Floats, high: Floats) -> tuple[str, ...]:
    width, depth, height = (float(v) for v in high - low)
    if height > max(width, depth) or min(width, depth) < 1e-9:
        return (
            f"the mesh is {plain(width, 6)} wide, {plain(depth, 6)} deep and {plain(height, 6)} high: "
            "if y is up in it, "
            "export it again with z up",
        )
    return ()


def _step_doubts(vertices: Floats) -> tuple[str, ...]:
    step = float(np.spacing(np.float32(np.abs(vertices).max())))
    if step <= COARSE_STEP:
        return ()
    return (
        f"its coordinates are 32-bit numbers in steps of {plain(step)} this far from zero, which makes steps "
        "in the ground: export it as 64-bit PLY or OBJ, or shifted near zero",
    )
