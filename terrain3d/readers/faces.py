"""What surfaces of triangles have in common, whatever their format: checks, and the part that meets a box."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from terrain3d.errors import InputError
from terrain3d.readers.source import FARTHEST, Box, Header, NothingThereError
from terrain3d.units import Floats
from terrain3d.wording import box_words

Triangles = NDArray[np.int64]


def checked_faces(vertices: Floats, triangles: Triangles, path: Path) -> tuple[Floats, Triangles]:
    """The vertices that triangles use, and the triangles.

    Raises
    ------
    InputError
        Where there are none, one names a vertex that is not there, or a vertex is no place.
    """
    if triangles.ndim != 2 or len(triangles) == 0 or vertices.ndim != 2 or vertices.shape[1] != 3:
        raise InputError(
            f"it has {len(vertices)} vertices and no triangles",
            str(path),
            "export a surface with faces; a bare cloud of points goes in as LAS, LAZ or XYZ text",
        )
    if triangles.min() < 0 or triangles.max() >= len(vertices):
        raise InputError(
            f"a triangle names vertex {int(triangles.max())} of {len(vertices)}", str(path), "export it again"
        )
    used = np.zeros(len(vertices), bool)
    used[triangles.ravel()] = True
    with np.errstate(invalid="ignore"):
        bad = np.flatnonzero(~(np.abs(vertices) <= FARTHEST).all(axis=1) & used)
    if len(bad):
        raise InputError(
            f"{len(bad)} of its vertices {'is' if len(bad) == 1 else 'are'} no place, the first lies at "
            f"{vertices[bad[0]].tolist()}",
            f"{path}: vertex {int(bad[0])}",
            "take those vertices out, or export it again",
        )
    return in_use(vertices, triangles)


def faces_in_box(
    vertices: Floats, triangles: Triangles, path: Path, header: Header, box: Box | None
) -> tuple[Floats, Triangles]:
    """The triangles that meet a box, each whole, and the vertices that they use.

    Raises
    ------
    NothingThereError
        Where none does.
    """
    if box is not None:
        corners = vertices[triangles, :2]
        low, high = corners.min(axis=1), corners.max(axis=1)
        meets = np.all(high >= np.array(box[:2]), axis=1) & np.all(low <= np.array(box[2:]), axis=1)
        triangles = triangles[meets]
    if len(triangles) == 0:
        raise NothingThereError(
            f"no triangle of it meets {box_words(box or header.bounds)}; "
            f"it covers {box_words(header.bounds)}",
            str(path),
            "name a survey that covers the site, or check [site] crs and [ground] crs",
        )
    return in_use(vertices, triangles)


def in_use(vertices: Floats, triangles: Triangles) -> tuple[Floats, Triangles]:
    """Without the vertices that no triangle has.

    >>> in_use(np.eye(4, 3), np.array([[0, 1, 3]]))[1].tolist()
    [[0, 1, 2]]
    """
    used, flat = np.unique(triangles, return_inverse=True)
    return vertices[used], flat.reshape(-1, 3).astype(np.int64)


def face_up(vertices: Floats, triangles: Triangles) -> Triangles:
    """All triangles wound anticlockwise as seen from above.

    >>> face_up(np.array([[0.0, 0, 0], [0, 1, 0], [1, 0, 0]]), np.array([[0, 1, 2]])).tolist()
    [[0, 2, 1]]
    """
    a, b, c = (vertices[triangles[:, k], :2] for k in range(3))
    turned = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] < 0
    wound = triangles.copy()
    wound[turned, 1], wound[turned, 2] = triangles[turned, 2], triangles[turned, 1]
    return wound


def bounds_of(vertices: Floats) -> Box:
    """The box around all vertices."""
    low, high = vertices[:, :2].min(axis=0), vertices[:, :2].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
