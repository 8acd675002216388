"""What a survey file gives, as plain values: points, a grid or a mesh, in the file's own CRS."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import affine
import numpy as np
import pyproj
from numpy.typing import NDArray

from terrain3d.errors import InputError
from terrain3d.terrain import Dated
from terrain3d.units import Floats

#: (west, south, east, north) in the units of the survey's CRS.
Box = tuple[float, float, float, float]
#: Told the share of the work that is done, 0 to 1.
Progress = Callable[[float], None]
#: Colours of more points than this are let go: they only please the eye, and memory goes to what is judged.
_MOST_COLOURED = 20_000_000
#: No CRS has coordinates as far from its origin: 25 times round the earth in metres.
FARTHEST = 1e9
#: No height is as large, whatever its zero and the steps that a file counts in: 8 times through the earth.
HIGHEST_M = 1e8
#: Heights that stand for no data though the file does not say so (common practice, no source).
USUAL_NO_DATA = (-9999.0, -99999.0, -32767.0, -32768.0, float(np.finfo(np.float32).min))
Bytes = NDArray[np.uint8]


@dataclass
class Marks:
    """Points of a cloud by how its surveyor marked them, counted as they pass, those left out too.

    `legacy_overlap` are points of class 12 in point formats 0 to 5: in an overlap, and without a class.
    """

    synthetic: int = 0
    key_point: int = 0
    withheld: int = 0
    overlap: int = 0
    legacy_overlap: int = 0
    noise: int = 0

    def add(self, other: "Marks") -> None:
        """Count in what was counted elsewhere.

        >>> marks = Marks(noise=2)
        >>> marks.add(Marks(noise=1, withheld=3))
        >>> marks.noise, marks.withheld
        (3, 3)
        """
        for name, count in vars(other).items():
            setattr(self, name, getattr(self, name) + count)


class NothingThereError(InputError):
    """A survey has nothing to read in a box; another tile of it may."""


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
    rgb : (n, 3) uint8 or None
        Red, green, blue, where the file has them and they were asked for.
    """

    xyz: Floats
    classes: Bytes
    return_number: Bytes
    n_returns: Bytes
    crs: pyproj.CRS | None
    doubts: tuple[str, ...] = ()
    rgb: Bytes | None = None


class Gathered:
    """The points so far; the arrays grow in place, for two copies of a tile would not fit.

    Parameters
    ----------
    room : int
        Points to make room for at first. Room that is not filled costs nothing; room that is made later is
        written twice, for it is cleared first.

    Examples
    --------
    >>> one = np.ones(1, np.uint8)
    >>> gathered = Gathered(5)
    >>> gathered.take(Cloud(np.zeros((1, 3)), one, one, one, None))
    >>> gathered.cloud(None, ()).xyz.shape
    (1, 3)
    """

    def __init__(self, room: int = 0) -> None:
        self._n, self._room = 0, room
        self.xyz: Floats = np.empty((room, 3))
        self.classes: Bytes = np.empty(room, np.uint8)
        self.return_number: Bytes = np.empty(room, np.uint8)
        self.n_returns: Bytes = np.empty(room, np.uint8)
        self.rgb: Bytes | None = np.empty((room, 3), np.uint8)

    def take(self, cloud: Cloud) -> None:
        """Add some points."""
        start, stop = self._n, self._n + len(cloud.classes)
        if cloud.rgb is None or stop > _MOST_COLOURED:
            self.rgb = None
        if stop > self._room:
            self._make_room(stop)
        self.xyz[start:stop] = cloud.xyz
        self.classes[start:stop] = cloud.classes
        self.return_number[start:stop] = cloud.return_number
        self.n_returns[start:stop] = cloud.n_returns
        if self.rgb is not None and cloud.rgb is not None:
            self.rgb[start:stop] = cloud.rgb
        self._n = stop

    def _make_room(self, n: int) -> None:
        for array in (self.xyz, self.classes, self.return_number, self.n_returns, self.rgb):
            if array is not None:
                array.resize((n, *array.shape[1:]), refcheck=False)
        self._room = n

    def cloud(self, crs: pyproj.CRS | None, doubts: tuple[str, ...]) -> Cloud:
        """All of them."""
        self._make_room(self._n)
        return Cloud(self.xyz, self.classes, self.return_number, self.n_returns, crs, doubts, self.rgb)


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
    dated : Dated or None
    error_m : float or None
        RMSE of its heights, metres, where the file states it.
    error_from : str
        Where it does, in plain words.
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
    dated: Dated | None = None
    error_m: float | None = None
    error_from: str = ""
    layer: str | None = None


def share_of(box: Box, bounds: Box) -> float:
    """Share of some bounds that lies in a box.

    >>> share_of((0, 0, 1, 1), (0, 0, 2, 2))
    0.25
    """
    width = min(box[2], bounds[2]) - max(box[0], bounds[0])
    height = min(box[3], bounds[3]) - max(box[1], bounds[1])
    area = (bounds[2] - bounds[0]) * (bounds[3] - bounds[1])
    return max(width, 0.0) * max(height, 0.0) / area if area > 0 else 1.0


def likely_points(path: Path, header: Header, box: Box | None) -> int:
    """Points of a cloud to expect in a box, were they strewn evenly; no more than its file has bytes.

    >>> bounds, here = (0.0, 0.0, 2.0, 2.0), Path(__file__)
    >>> likely_points(here, Header("cloud", None, 1.0, bounds, 100), (0.0, 0.0, 1.0, 1.0))
    25
    >>> likely_points(here, Header("cloud", None, 1.0, bounds, 10**12), None) == here.stat().st_size
    True
    """
    share = 1.0 if box is None else share_of(box, header.bounds)
    return min(round(share * header.n_points), path.stat().st_size)


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
