"""What a survey file gives, as plain values: points, a grid or a mesh, in the file's own CRS."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import affine
import numpy as np
import pyproj
from numpy.typing import NDArray

from terrain3d.units import Floats

#: (west, south, east, north) in the units of the survey's CRS.
Box = tuple[float, float, float, float]
#: Told the share of the work that is done, 0 to 1.
Progress = Callable[[float], None]
Bytes = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Cloud:
    """Points of a survey.

    Parameters
    ----------
    xyz : (n, 3) float
        x east and y north in the units of `crs`, z in metres whatever the file's unit.
    classes : (n,) uint8
        ASPRS classes; all 0 where the file has none.
    return_number, n_returns : (n,) uint8
        1 and 1 where the file has none.
    crs : pyproj.CRS or None
        The horizontal CRS; None where nobody says.
    doubts : tuple of str
        Sentences for the person: what was read, yet deserves a check.
    """

    xyz: Floats
    classes: Bytes
    return_number: Bytes
    n_returns: Bytes
    crs: pyproj.CRS | None
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Raster:
    """An elevation grid.

    Parameters
    ----------
    z : (ny, nx) float
        Metres, in the file's row order; NaN where there is no data.
    transform : affine.Affine
        From (column, row) to (x, y) of `crs`, cell corners at whole numbers, so that the centre of
        the first cell is `transform @ (0.5, 0.5)`; it may rotate and flip.
    crs : pyproj.CRS or None
    doubts : tuple of str
    """

    z: Floats
    transform: affine.Affine
    crs: pyproj.CRS | None
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Surface:
    """A triangle mesh.

    Parameters
    ----------
    vertices : (n, 3) float
        x east and y north in the units of `crs`, z up in metres.
    triangles : (m, 3) int
        Indices of vertices.
    crs : pyproj.CRS or None
    doubts : tuple of str
    is_ground : bool
        All of it is said to be ground, by the format or by how it was made: nothing is filtered out.
    """

    vertices: Floats
    triangles: NDArray[np.int64]
    crs: pyproj.CRS | None
    doubts: tuple[str, ...] = ()
    is_ground: bool = False


@dataclass(frozen=True)
class Header:
    """What is known of a survey before its points are read.

    Parameters
    ----------
    kind : 'cloud', 'raster' or 'mesh'
    crs : pyproj.CRS or None
        The horizontal CRS, from the site file or else from the survey.
    vertical_unit_m : float
        Metres in one unit of the file's heights.
    bounds : (west, south, east, north)
        In the units of `crs`.
    n_points : int
        Points, cells or vertices.
    doubts : tuple of str
    form : str
        Format and version in plain words.
    crs_from, vertical_unit_from : str
        Where each was said, in plain words; '' where it was not.
    layer : str or None
        The layer or surface that is read, of a file with several; None is all of it.
    """

    kind: Literal["cloud", "raster", "mesh"]
    crs: pyproj.CRS | None
    vertical_unit_m: float
    bounds: Box
    n_points: int
    doubts: tuple[str, ...] = ()
    form: str = ""
    crs_from: str = ""
    vertical_unit_from: str = ""
    layer: str | None = None


@dataclass(frozen=True, eq=False)
class Feature:
    """A shape drawn in a map program, with what its table says of it.

    Parameters
    ----------
    kind : str
        Point, LineString or Polygon, or one of these with Multi before it; any other kind that the
        format knows has no parts.
    parts : tuple of tuples of (n, 2) float
        Of each single shape its rings: a point and a line have one, a polygon its outline and then its
        holes. x east and y north; heights are left out.
    values : dict
        By column, as TOML would give them; blank ones are left out.
    called : str
        What it may be called where nothing names it: its layer's name, in formats that name no shapes.
    """

    kind: str
    parts: tuple[tuple[Floats, ...], ...]
    values: dict[str, Any]
    called: str = ""
