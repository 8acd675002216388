"""What stands on the site, as plain values in local metres; nothing here knows a file.

Values that hold arrays are the same only when they are one: comparing arrays has no single answer, and
what is costly to work out of them can then be remembered by them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain3d.errors import InputError, one_named
from terrain3d.frame import Frame, site_frame
from terrain3d.units import Floats
from terrain3d.wording import counted, in_brief, plain

#: Extinction of a path through leaves that hang at every angle alike (spherical distribution).
LEAF_PROJECTION = 0.5

#: What microwaves lose in leaves at first, dB a metre one way: 3 to 5 near 10 GHz, in leaf (from memory, C).
LEAF_DB_PER_M = 4.0

#: What foliage is called that a survey shows: its returns tell no hedge from the next.
SURVEYED_LEAVES = "surveyed foliage"

#: Patches along the side of a block of ground, the step in which sight lines look ahead.
BLOCK = 8


@dataclass(frozen=True, eq=False)
class Ground:
    """Bare ground as a square grid of heights, bilinear between nodes.

    A node is the centre of a cell, so verdicts, heights and rasters share one grid.

    Parameters
    ----------
    x0, y0 : float
        Centre of the south-west cell, metres.
    cell_m : float
        Spacing of the nodes, metres.
    z : (ny, nx) float
        Heights in metres, row 0 the southernmost; NaN where no ground is known.
    filled : (ny, nx) bool
        True where the height bridges a gap of the survey and was not measured.

    Examples
    --------
    >>> ground = Ground(0.0, 0.0, 1.0, np.array([[0.0, 1.0], [0.0, 1.0]]))
    >>> ground.height_at([0.25], [0.5])
    array([0.25])
    >>> ground.height_at([5.0], [0.0])        # off the survey
    array([nan])
    """

    x0: float
    y0: float
    cell_m: float
    z: Floats
    filled: NDArray[np.bool_] = field(default_factory=lambda: np.zeros((0, 0), bool))

    def __post_init__(self) -> None:
        if self.z.ndim != 2 or min(self.z.shape) < 2:
            raise ValueError(f"a ground needs at least 2 x 2 nodes, not {self.z.shape}")
        if self.filled.size == 0:
            object.__setattr__(self, "filled", np.zeros(self.z.shape, bool))
        if self.filled.shape != self.z.shape:
            raise ValueError(f"filled is {self.filled.shape}, heights are {self.z.shape}")

    def __repr__(self) -> str:
        ny, nx = self.z.shape
        return in_brief(self, f"{ny} x {nx} cells of {plain(self.cell_m)} m")

    @property
    def known(self) -> NDArray[np.bool_]:
        return np.isfinite(self.z)

    @cached_property
    def patch_top(self) -> Floats:
        """(ny - 1, nx - 1) highest point of each patch of four nodes; NaN where one is not known."""
        rows = np.vstack(
            [1.5 * self.z[:1] - 0.5 * self.z[1:2], self.z, 1.5 * self.z[-1:] - 0.5 * self.z[-2:-1]]
        )
        west, east = 1.5 * rows[:, :1] - 0.5 * rows[:, 1:2], 1.5 * rows[:, -1:] - 0.5 * rows[:, -2:-1]
        nodes = np.hstack([west, rows, east])
        pairs = np.maximum(nodes[:, :-1], nodes[:, 1:])
        tops = np.maximum(pairs[:-1], pairs[1:])
        # The outermost patches are carried on to the edge of the cells: their strips count with them.
        tops[1] = np.maximum(tops[0], tops[1])
        tops[-2] = np.maximum(tops[-2], tops[-1])
        tops[:, 1] = np.maximum(tops[:, 0], tops[:, 1])
        tops[:, -2] = np.maximum(tops[:, -2], tops[:, -1])
        return np.ascontiguousarray(tops[1:-1, 1:-1])

    @cached_property
    def block_top(self) -> Floats:
        """Highest point of each block of BLOCK x BLOCK patches; NaN where one is not known."""
        top = self.patch_top
        rows, columns = (-(-n // BLOCK) for n in top.shape)
        padded = np.full((rows * BLOCK, columns * BLOCK), -np.inf)
        padded[: top.shape[0], : top.shape[1]] = top
        return np.asarray(padded.reshape(rows, BLOCK, columns, BLOCK).max(axis=(1, 3)))

    @property
    def xs(self) -> Floats:
        """(nx,) eastings of the nodes."""
        return self.x0 + self.cell_m * np.arange(self.z.shape[1], dtype=np.float64)

    @property
    def ys(self) -> Floats:
        """(ny,) northings of the nodes."""
        return self.y0 + self.cell_m * np.arange(self.z.shape[0], dtype=np.float64)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(west, south, east, north) edges of the cells."""
        ny, nx = self.z.shape
        half = self.cell_m / 2
        return (
            self.x0 - half,
            self.y0 - half,
            self.x0 + self.cell_m * (nx - 1) + half,
            self.y0 + self.cell_m * (ny - 1) + half,
        )

    def part_of(self, wider: "Ground") -> tuple[slice, slice]:
        """Rows and columns that this ground takes up in a wider one that holds it, cells upon cells.

        >>> wider = Ground(0.0, 0.0, 1.0, np.zeros((3, 4)))
        >>> Ground(1.0, 1.0, 1.0, np.zeros((2, 2))).part_of(wider)
        (slice(1, 3, None), slice(1, 3, None))
        """
        i, j = round((self.x0 - wider.x0) / self.cell_m), round((self.y0 - wider.y0) / self.cell_m)
        ny, nx = self.z.shape
        return slice(j, j + ny), slice(i, i + nx)

    def height_at(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Bilinear heights; NaN off the grid or beside a node that is not known.

        Up to half a cell outside the outermost nodes the edge patch is carried on.
        """
        ny, nx = self.z.shape
        u = (np.asarray(x, float) - self.x0) / self.cell_m
        v = (np.asarray(y, float) - self.y0) / self.cell_m
        with np.errstate(invalid="ignore"):
            off = ~((u >= -0.5) & (v >= -0.5) & (u <= nx - 0.5) & (v <= ny - 0.5))
        i = np.clip(np.floor(np.where(off, 0, u)).astype(int), 0, nx - 2)
        j = np.clip(np.floor(np.where(off, 0, v)).astype(int), 0, ny - 2)
        fu, fv = u - i, v - j
        z = self.z
        # A node of weight zero must not spoil the height, even when it is not known.
        total = np.zeros(np.broadcast(u, v).shape)
        for dj, wv in ((0, 1 - fv), (1, fv)):
            for di, wu in ((0, 1 - fu), (1, fu)):
                weight = wu * wv
                total = total + np.where(np.abs(weight) < 1e-12, 0.0, weight * z[j + dj, i + di])
        return np.where(off, np.nan, total)


@dataclass(frozen=True, eq=False)
class Colours:
    """What the ground looks like from above, cell by cell; judged by nobody.

    Parameters
    ----------
    rgb : (ny, nx, 3) uint8
        Red, green, blue of the ground's cells, row 0 the southernmost.
    known : (ny, nx) bool
        Cells that have a colour.
    of_photo : bool
        Of a photograph; else of the survey's own ground returns.
    """

    rgb: NDArray[np.uint8]
    known: NDArray[np.bool_]
    of_photo: bool


@dataclass(frozen=True, eq=False)
class Returns:
    """How densely the returns of a survey tell of the ground, cell by cell; judged by nobody.

    Parameters
    ----------
    per_m2 : (ny, nx) float32
        Ground returns a square metre of plan, in a square about each cell.
    square_m : float
        Side of that square.
    leaves_guessed : (ny, nx) bool
        Cells on which what is said of leaves, up to the height of a person, is a guess.
    """

    per_m2: NDArray[np.float32]
    square_m: float
    leaves_guessed: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Solids:
    """Everything opaque that stands on the ground, as triangles with real undersides.

    Parameters
    ----------
    vertices : (n, 3) float
        Metres, local frame.
    triangles : (m, 3) int
        Indices of vertices.
    owners : (m,) int
        For each triangle the index into `names` of the thing it belongs to.
    names : tuple of str
    surveyed : frozenset of int
        Places in `names` of things that were found in the survey, whose names are but numbers.
    microwave_db : dict of int to float
        By place in `names`: what microwaves lose each time they cross it, dB one way; all where not given.
    """

    vertices: Floats
    triangles: NDArray[np.int64]
    owners: NDArray[np.int64]
    names: tuple[str, ...]
    surveyed: frozenset[int] = frozenset()
    microwave_db: Mapping[int, float] = field(default_factory=dict)

    @staticmethod
    def none() -> "Solids":
        return Solids(np.zeros((0, 3)), np.zeros((0, 3), np.int64), np.zeros(0, np.int64), ())

    def joined(self, other: "Solids") -> "Solids":
        """Both, this one's triangles first."""
        return Solids(
            np.vstack([self.vertices, other.vertices]),
            np.vstack([self.triangles, other.triangles + len(self.vertices)]),
            np.concatenate([self.owners, other.owners + len(self.names)]),
            self.names + other.names,
            self.surveyed | {len(self.names) + place for place in other.surveyed},
            {**self.microwave_db, **{len(self.names) + k: db for k, db in other.microwave_db.items()}},
        )


@dataclass(frozen=True, eq=False)
class Foliage:
    """Leaf area density in upright columns that follow the ground.

    Only columns with leaves are stored. Within a column the density is constant over each step of
    height, and `above` holds its running sum, so that the leaves met on any straight path come
    from two look-ups a column.

    Parameters
    ----------
    x0, y0, cell_m : float
        The grid of columns, as for `Ground` (x0, y0 the centre of the south-west column).
    column : (ny, nx) int32
        Row of `above` for each column; -1 where nothing grows.
    base_z : (k,) float
        Height at which each stored column starts, metres.
    step_m : float
        Height of one step.
    above : (k, nz + 1) float
        Leaf area per ground area (m2/m2) from the base up to each step's top; starts at 0.
    owners : (k,) int32
        For each stored column the index into `names` of the thing that it belongs to; where several grow,
        of the one with most leaves. All belong to one where it is not given.
    names : tuple of str
    mixed_row, mixed_owner : (p,) int32
        Of columns in which several grow: the column and the thing, a row for each of them.
    mixed_above : (p, nz + 1) float
        What of `above` is that thing's.
    db_per_m : (k,) float
        What microwaves lose at first in the leaves of each column, dB a metre one way; less where leaves
        stand on part of the column alone. LEAF_DB_PER_M where it is not given.
    mixed_db_per_m : (p,) float
        The same of each thing in columns of several.
    """

    x0: float
    y0: float
    cell_m: float
    column: NDArray[np.int32]
    base_z: Floats
    step_m: float
    above: Floats
    owners: NDArray[np.int32] = field(default_factory=lambda: np.zeros(0, np.int32))
    names: tuple[str, ...] = (SURVEYED_LEAVES,)
    mixed_row: NDArray[np.int32] = field(default_factory=lambda: np.zeros(0, np.int32))
    mixed_owner: NDArray[np.int32] = field(default_factory=lambda: np.zeros(0, np.int32))
    mixed_above: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    db_per_m: Floats = field(default_factory=lambda: np.zeros(0))
    mixed_db_per_m: Floats = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        if len(self.owners) != len(self.base_z):
            object.__setattr__(self, "owners", np.zeros(len(self.base_z), np.int32))
        if len(self.db_per_m) != len(self.base_z):
            object.__setattr__(self, "db_per_m", np.full(len(self.base_z), LEAF_DB_PER_M))
        if len(self.mixed_db_per_m) != len(self.mixed_row):
            object.__setattr__(self, "mixed_db_per_m", np.full(len(self.mixed_row), LEAF_DB_PER_M))

    @staticmethod
    def none() -> "Foliage":
        nothing = np.full((1, 1), -1, np.int32), np.zeros(0), 0.25, np.zeros((0, 2)), np.zeros(0, np.int32)
        return Foliage(0.0, 0.0, 1.0, *nothing, ())

    def columns_of(self, *names: str) -> NDArray[np.bool_]:
        """(ny, nx) bool: columns in which a thing of one of these names grows, alone or among others.

        >>> Foliage.none().columns_of("hedge").any()
        np.False_
        """
        wanted = set(names)
        places = [place for place, own in enumerate(self.names) if own in wanted]
        grows = np.isin(self.owners, places)
        grows[self.mixed_row[np.isin(self.mixed_owner, places)]] = True
        there = self.column >= 0
        return np.asarray(there & np.append(grows, False)[self.column])

    @property
    def density(self) -> Floats:
        """(k, nz) leaf area density of each step, m2/m3."""
        return np.diff(self.above, axis=1) / self.step_m


@dataclass(frozen=True)
class Dated:
    """When a survey was measured, or else when its file was written (`is_flown` false), and who says so."""

    first: date
    last: date
    said_by: str
    is_flown: bool


@dataclass(frozen=True)
class Mount:
    """A place a unit can be fixed to: pole or wall, with ground below it.

    `wall_deg` is what the wall faces, clockwise from true north; None where it is a pole, or nobody says it.
    """

    name: str
    x: float
    y: float
    heights_m: tuple[float, ...] = ()
    #: Names of detector types that may not be fixed here.
    not_for: tuple[str, ...] = ()
    wall_deg: float | None = None


@dataclass(frozen=True)
class Mark:
    """A fixed point to measure from, with the ground below it; NaN where that is not known."""

    name: str
    x: float
    y: float
    ground_z: float = math.nan


@dataclass(frozen=True, eq=False)
class Area:
    """Ground that must be held: (k, 2) outline in local metres, not closed."""

    name: str
    outline: Floats
    weight: float = 1.0


@dataclass(frozen=True, eq=False)
class Walk:
    """A walk to try: (n, 2) line in local metres, walked from its first point to its last.

    `figure` names who walks; None is the site's figure.
    """

    name: str
    line: Floats
    speed_mps: float = 1.0
    figure: str | None = None


@dataclass(frozen=True, eq=False)
class Approach:
    """Where people may come in: (n, 2) line in local metres, any point of which is a start."""

    name: str
    line: Floats


@dataclass(frozen=True, eq=False)
class SectionLine:
    """A line to cut sections along: (n, 2) in local metres."""

    name: str
    line: Floats


@dataclass(frozen=True, eq=False)
class Nuisance:
    """A thing that may trouble a unit whose layer it lies in.

    `outline` is (k, 2) in local metres, not closed; `base_m` and `top_m` are above the ground beneath.
    """

    name: str
    kind: str
    outline: Floats
    base_m: float
    top_m: float


@dataclass(frozen=True, eq=False)
class Beyond:
    """Ground of others: a road or a neighbour's; (k, 2) outline in local metres, not closed.

    Where `keep_out` is true no upper layer may reach into it.
    """

    name: str
    kind: str
    outline: Floats
    keep_out: bool = False


@dataclass(frozen=True, eq=False)
class Terrain:
    """The whole site in its local frame.

    `doubts` are sentences about the survey that every output has to carry; `spacing_m` is the
    typical distance between measured ground points, None where the ground is drawn, not surveyed.
    `boundary` is the (k, 2) outline of the site's own land, None where it is not drawn.
    `far` is the surface of the survey past `ground`, ever coarser rings of it, nearest first: tops of
    crowns and roofs, which only the sky is looked at over. It is empty unless somebody looks that far.
    `dated` is when the survey was measured, `error_m` the RMSE of its heights where it or the site file
    states it, and `error_from` says which of them does, in plain words. `colours` are those of the ground,
    None where nobody took any. `returns` tells how densely the ground was measured where, None where it comes
    from a grid or a mesh, or is drawn.
    """

    frame: Frame
    ground: Ground
    solids: Solids
    foliage: Foliage
    mounts: tuple[Mount, ...]
    protect: tuple[Area, ...]
    doubts: tuple[str, ...] = ()
    spacing_m: float | None = None
    walks: tuple[Walk, ...] = ()
    approaches: tuple[Approach, ...] = ()
    nuisances: tuple[Nuisance, ...] = ()
    beyond: tuple[Beyond, ...] = ()
    boundary: Floats | None = None
    far: tuple[Ground, ...] = ()
    marks: tuple[Mark, ...] = ()
    dated: Dated | None = None
    error_m: float | None = None
    error_from: str = ""
    colours: Colours | None = None
    sections: tuple[SectionLine, ...] = ()
    returns: Returns | None = None

    def __repr__(self) -> str:
        things = (
            (len(self.solids.names), "solid"),
            (len(self.mounts), "mount"),
            (len(self.protect), "protected area"),
        )
        return in_brief(self, repr(self.ground), *(counted(n, thing) for n, thing in things))

    def mount(self, name: str) -> Mount:
        """A mount by its name.

        Raises
        ------
        InputError
            When there is none of that name.
        """
        return one_named(name, self.mounts, "mount")

    def wall_of(self, mount: str) -> float | None:
        """What the wall of a mount faces, degrees; None for a pole, and where no such mount is drawn."""
        return next((one.wall_deg for one in self.mounts if one.name == mount), None)


def terrain_from_heights(
    heights_m: ArrayLike,
    cell_m: float,
    x0: float | None = None,
    y0: float | None = None,
    solids: Solids | None = None,
    foliage: Foliage | None = None,
    mounts: tuple[Mount, ...] = (),
    protect: tuple[Area, ...] = (),
) -> Terrain:
    """A site from arrays alone, in local metres.

    Parameters
    ----------
    heights_m : (ny, nx) array_like
        Heights of the cells' centres, row 0 the southernmost; NaN where no ground is known.
    cell_m : float
    x0, y0 : float, optional
        Centre of the south-west cell; without them the middle of the ground lies at (0, 0).
    solids, foliage, mounts, protect
        What stands on it and what is to be held; nothing where not given.

    Raises
    ------
    InputError
        When the heights are no grid, are infinite, or its cells have no size.

    Examples
    --------
    >>> site = terrain_from_heights([[0.0, 0.0, 0.5], [0.0, 0.0, 0.5]], cell_m=2.0)
    >>> site.ground.xs, float(site.ground.height_at(1.0, 0.0))
    (array([-2.,  0.,  2.]), 0.25)
    """
    z = _grid(heights_m)
    for value, what in ((cell_m, "cell_m"), (x0 or 0.0, "x0"), (y0 or 0.0, "y0")):
        if not np.isfinite(value) or (what == "cell_m" and value <= 0):
            least = ", more than 0" if what == "cell_m" else ""
            raise InputError(f"{what} is {value}", "terrain_from_heights", f"give metres{least}")
    ny, nx = z.shape
    ground = Ground(
        -(nx - 1) / 2 * cell_m if x0 is None else x0, -(ny - 1) / 2 * cell_m if y0 is None else y0, cell_m, z
    )
    return Terrain(
        site_frame(None, 0.0, 0.0),
        ground,
        solids or Solids.none(),
        foliage or Foliage.none(),
        mounts,
        protect,
    )


def _grid(heights_m: ArrayLike) -> Floats:
    """Heights as a grid of numbers."""
    where, mend = (
        "terrain_from_heights: heights_m",
        "give a row of numbers for each row of cells",
    )
    try:
        z = np.array(heights_m, float)
    except (TypeError, ValueError) as error:
        raise InputError(f"the heights are no grid of numbers: {error}", where, mend) from None
    if z.ndim != 2 or min(z.shape) < 2:
        raise InputError(f"the heights are of shape {z.shape}, not at least 2 by 2", where, mend)
    if np.isinf(z).any():
        raise InputError("a height is infinite", where, "give NaN where no ground is known")
    return z
