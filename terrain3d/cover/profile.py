"""The ground, the layers and the verdicts of one unit along one bearing, as numbers for a section.

The line is judged on a strip of ground cut finer than the survey's grid. Bilinear ground cut finer is
the same surface, so the strip tells what the plan tells, only between its cells too.
"""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain3d.cover.band import slope_at
from terrain3d.cover.causes import CAUSE_KEYS, NO_OUTCOME, blamed
from terrain3d.cover.layer_outcomes import PASSES_ABOVE
from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import UNKNOWN, Codes, Verdict
from terrain3d.detector.pose import Detector, PosedHead, PosedLayer, in_head, is_open, posed_heads
from terrain3d.sight.hits import first_hits
from terrain3d.sight.picture import light_along
from terrain3d.sight.slices import slice_triangle
from terrain3d.terrain import Ground, Solids, Terrain
from terrain3d.units import Floats, direction

#: How finely the line is judged, metres; coarser where the reach is long.
FINE_M = 0.05
#: Cells of the fine strip on either side of the line: the patches that lines of sight run over.
_STRIP_CELLS = 3
#: Lines of sight in which half a layer's band is followed.
_HALF_BAND = 60
#: Stretches shorter than this get no figure and no row, metres.
SHORT_RUN_M = 0.2


@dataclass(frozen=True, eq=False)
class Beam:
    """One layer as the upright plane of the bearing cuts it.

    Parameters
    ----------
    layer : str
    slopes : (k,) float
        Rise per metre of plan distance, from the band's lower edge to its upper; the axis is row k // 2.
    ends : (k,) float
        Plan distance at which each line ends: at what it hits, or at the maximum slant range.
    hits : (k,) uint8
        Codes of `sight.hits.Hit`; NOTHING where the line ends at the range.
    at : (m,) float
        Plan distances, metres.
    light : (k, m) float
        Share that foliage lets through up to there.
    """

    layer: str
    slopes: Floats
    ends: Floats
    hits: NDArray[np.uint8]
    at: Floats
    light: Floats

    @property
    def axis(self) -> int:
        return len(self.slopes) // 2


@dataclass(frozen=True, eq=False)
class CutSolid:
    """The pieces of a solid in the upright plane: each (n, 2) of plan distance and height."""

    name: str
    pieces: tuple[Floats, ...]
    is_surveyed: bool = False


@dataclass(frozen=True)
class Run:
    """A stretch of the line with one verdict: from and to in metres of plan distance."""

    start_m: float
    stop_m: float
    code: int


@dataclass(frozen=True, eq=False)
class Profile:
    """All that a section shows.

    Parameters
    ----------
    unit : Detector
    bearing_deg : float
    along : (n,) float
        Plan distances from the unit, evenly spaced, negative behind it.
    ground : (n,) float
        Height of the ground; NaN where not known.
    bridged : (n,) bool
        True where that height bridges a gap of the survey.
    codes : (n,) uint8
        Verdict of this unit, `UNKNOWN` where no ground is known.
    layer_outcomes : dict of layer name to (n,) uint8
    beams : tuple of Beam
    solids : tuple of CutSolid
    """

    unit: Detector
    bearing_deg: float
    along: Floats
    ground: Floats
    bridged: NDArray[np.bool_]
    codes: Codes
    layer_outcomes: dict[str, NDArray[np.uint8]]
    beams: tuple[Beam, ...]
    solids: tuple[CutSolid, ...]

    @property
    def eye_z(self) -> float:
        return self.unit.eye[2]

    def places(self, along: Floats) -> tuple[Floats, Floats]:
        """Eastings and northings of points of the line."""
        east, north = direction(self.bearing_deg)
        return self.unit.x + east * along, self.unit.y + north * along

    def runs(self) -> list[Run]:
        """The line from end to end, cut where the verdict changes."""
        return runs_of(self.along, self.codes)


def runs_of(along: Floats, codes: Codes) -> list[Run]:
    """Stretches of one verdict of evenly spaced places, each in the middle of its step.

    >>> runs_of(np.array([0.5, 1.5, 2.5]), np.array([4, 4, 0], np.uint8))
    [Run(start_m=0.0, stop_m=2.0, code=4), Run(start_m=2.0, stop_m=3.0, code=0)]
    """
    step = float(along[1] - along[0])
    cuts = np.flatnonzero(np.diff(codes)) + 1
    starts, stops = [0, *cuts], [*cuts, len(codes)]
    return [
        Run(float(along[i]) - step / 2, float(along[j - 1]) + step / 2, int(codes[i]))
        for i, j in zip(starts, stops, strict=True)
    ]


def head_bearings(unit: Detector) -> list[float]:
    """Where the middle of each head looks, degrees in [0, 360).

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> head_bearings(Detector("D1", load_type("two-head-180", Path()), "pole", 0, 0, 0, 1.0, 30.0))
    [345.0, 75.0]
    """
    return [(unit.bearing_deg + unit.pan_of(head)) % 360 for head in range(len(unit.type.head))]


def telling_bearing(terrain: Terrain, unit: Detector) -> float:
    """Of the bearings of a unit's heads the one that crosses most protected ground; else the first."""
    bearings = head_bearings(unit)
    along = np.linspace(0, unit.type.max_range, 121)
    crossed = []
    for bearing in bearings:
        east, north = direction(bearing)
        x, y = unit.x + east * along, unit.y + north * along
        areas = [shapely.Polygon(area.outline) for area in terrain.protect]
        crossed.append(sum(area.weight * shapely.contains_xy(shape, x, y).sum()
                           for area, shape in zip(terrain.protect, areas, strict=True)))  # fmt: skip
    return bearings[int(np.argmax(crossed))]


def line_profile(
    terrain: Terrain,
    unit: Detector,
    bearing_deg: float,
    figure_height_m: float,
    behind_m: float,
    beyond_m: float,
) -> Profile:
    """Cut the site along a bearing of a unit.

    Parameters
    ----------
    terrain : Terrain
    unit : Detector
    bearing_deg : float
    figure_height_m : float
        Height of the figure, metres.
    behind_m, beyond_m : float
        How far the line runs behind the unit, and past its maximum range.
    """
    reach_m = unit.type.max_range
    fine = _fine_strip(terrain.ground, unit, bearing_deg, reach_m)
    first, last = -math.floor(behind_m / fine.cell_m), math.ceil((reach_m + beyond_m) / fine.cell_m)
    along = np.asarray(fine.cell_m * (np.arange(first, last) + 0.5))
    east, north = direction(bearing_deg)
    x, y = np.asarray(unit.x + east * along), np.asarray(unit.y + north * along)
    heights = terrain.ground.height_at(x, y)
    codes = np.where(np.isfinite(heights), np.uint8(Verdict.OUTSIDE), np.uint8(UNKNOWN))
    seeing = sighted(replace(terrain, ground=fine), unit, reach_m)
    rows, columns = _nearest(fine, x, y)
    on_strip = (rows >= 0) & (along > 0) & (along <= reach_m) & np.isfinite(heights)
    codes[on_strip] = seeing.verdicts(fine, figure_height_m)[rows[on_strip], columns[on_strip]]
    outcomes = {}
    for layer, whole in seeing.outcome_maps(fine, figure_height_m).items():
        outcomes[layer] = np.full(len(along), NO_OUTCOME, np.uint8)
        outcomes[layer][on_strip] = whole[rows[on_strip], columns[on_strip]]
    return Profile(
        unit, bearing_deg % 360, along, heights, bridged_at(terrain.ground, x, y), codes, outcomes,
        beams_along(terrain, unit, bearing_deg),
        cut_solids(terrain.solids, (unit.x, unit.y), bearing_deg, along),
    )  # fmt: skip


def beams_along(terrain: Terrain, unit: Detector, bearing_deg: float) -> tuple[Beam, ...]:
    """Every layer whose head's arc holds the bearing, followed to its first hits."""
    east, north = direction(bearing_deg)
    beams = []
    for head in posed_heads(unit):
        for layer in head.layers:
            low, axis, high = band_slopes(head, layer, bearing_deg)
            azimuth, _ = in_head(head, [[east, north, axis]])
            if not is_open(head, azimuth, 1e-9)[0]:
                continue
            slopes = np.concatenate(
                [np.linspace(low, axis, _HALF_BAND + 1), np.linspace(axis, high, _HALF_BAND + 1)[1:]]
            )
            rays = np.column_stack([np.full_like(slopes, east), np.full_like(slopes, north), slopes])
            hits = first_hits(terrain, unit.eye, rays, unit.type.max_range)
            ends = np.minimum(hits.distance, unit.type.max_range) / np.sqrt(1 + slopes**2)
            at = np.linspace(0, float(ends.max()), 200)
            light = light_along(terrain, unit.eye, bearing_deg, slopes, at)
            beams.append(Beam(layer.name, slopes, ends, hits.what, at, light))
    return tuple(beams)


@dataclass(frozen=True)
class MaskedZone:
    """A zone that is masked where a bearing passes: head and zone from 1, and whether all of it is."""

    head: int
    zone: int
    is_whole: bool


def masked_along(unit: Detector, bearing_deg: float) -> tuple[MaskedZone, ...]:
    """The masked zones that a bearing of a unit lies in, by the axes of its layers.

    >>> from pathlib import Path
    >>> from terrain3d.detector.pose import HeadSetting
    >>> from terrain3d.detector.types import load_type
    >>> heads = (HeadSetting(masked=(3,), masked_deg=((0.0, 10.0),)),)
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 90.0, heads=heads)
    >>> masked_along(unit, 70.0), masked_along(unit, 92.0), masked_along(unit, 88.0)
    ((MaskedZone(head=1, zone=3, is_whole=True),), (MaskedZone(head=1, zone=5, is_whole=False),), ())
    """
    east, north = direction(bearing_deg)
    found: dict[MaskedZone, None] = {}
    for h, (head, kind) in enumerate(zip(posed_heads(unit), unit.type.head, strict=True)):
        for layer in head.layers:
            azimuth, _ = in_head(head, [[east, north, band_slopes(head, layer, bearing_deg)[1]]])
            at = float(azimuth[0])
            if abs(at) > head.arc_deg / 2 + 1e-9 or is_open(head, azimuth, 1e-9)[0]:
                continue
            zone = min(max(math.ceil((at / head.arc_deg + 0.5) * kind.zones), 1), kind.zones)
            found[MaskedZone(h + 1, zone, zone in unit.head(h).masked)] = None
    return tuple(found)


def band_slopes(head: PosedHead, layer: PosedLayer, bearing_deg: float) -> tuple[float, float, float]:
    """Rise per metre at which a bearing meets a layer's lower edge, axis and upper edge.

    >>> from terrain3d.detector.pose import head_axes
    >>> right, forward, up = head_axes(0, 0, 0)
    >>> level = PosedHead(right, forward, up, 90.0, (), ())
    >>> [round(s, 4) for s in band_slopes(level, PosedLayer("upper", 0.0, 3.0), 20.0)]
    [-0.0262, 0.0, 0.0262]
    """
    east, north = direction(bearing_deg)
    lean, up_z = float(head.up[0] * east + head.up[1] * north), float(head.up[2])
    low, axis, high = (
        slope_at(lean, up_z, math.sin(math.radians(layer.elevation_deg + edge * layer.thickness_deg)))
        for edge in (-0.5, 0.0, 0.5)
    )
    return low, axis, high


def long_runs(profile: Profile) -> list[Run]:
    """The line cut where its verdict changes; a stretch too short to stand on goes to its neighbours."""
    # A layer's own end is known exactly, a change of verdict to a step of the line.
    ends = np.array([beam.ends[beam.axis] for beam in profile.beams])
    return joined_runs(profile.runs(), ends, float(profile.along[1] - profile.along[0]))


def joined_runs(every: list[Run], ends: Floats, step_m: float) -> list[Run]:
    """Stretches without those too short to stand on; a change within a step of one of `ends` is there."""
    runs: list[Run] = []
    for run in every:
        if run.stop_m - run.start_m < SHORT_RUN_M:
            continue
        if runs and runs[-1].code == run.code:
            runs[-1] = Run(runs[-1].start_m, run.stop_m, run.code)
        elif runs:
            middle = (runs[-1].stop_m + run.start_m) / 2
            near = ends[np.abs(ends - middle) <= step_m]
            middle = float(near[0]) if len(near) else middle
            runs[-1] = Run(runs[-1].start_m, middle, runs[-1].code)
            runs.append(Run(middle, run.stop_m, run.code))
        else:
            runs.append(run)
    return runs


def changes(profile: Profile) -> list[float]:
    """Distances at which the verdict changes on known ground, metres; the unit's own foot left out."""
    return [
        after.start_m
        for before, after in pairwise(long_runs(profile))
        if after.start_m > 0.5 and UNKNOWN not in (before.code, after.code)
    ]


def stretches(profile: Profile) -> list[tuple[Run, dict[str, str]]]:
    """The stretches of the line within reach, each with what takes most of each layer that is not broken.

    Causes are words of `CAUSE_KEYS` by layer; none where both layers hold or the ground is not known.
    """
    found, reach = [], profile.unit.type.max_range
    for whole in long_runs(profile):
        # Past the range a line runs on as far as whoever draws it has room for.
        # The place right under a unit has no bearing and counts as outside: nothing a reader needs to know.
        start_m = 0.0 if whole.start_m < SHORT_RUN_M else whole.start_m
        run = Run(start_m, min(whole.stop_m, reach), whole.code)
        if run.code == Verdict.OUTSIDE or run.stop_m <= 0 or run.start_m >= reach:
            continue
        causes: dict[str, str] = {}
        if run.code not in (Verdict.BOTH, UNKNOWN):
            here = (profile.along >= run.start_m) & (profile.along <= run.stop_m)
            for layer, outcomes in profile.layer_outcomes.items():
                codes, counts = np.unique(outcomes[here], return_counts=True)
                most = int(codes[counts.argmax()])
                if most in CAUSE_KEYS:
                    causes[layer] = CAUSE_KEYS[most]
        found.append((run, causes))
    return found


def held_m(profile: Profile) -> float:
    """How much of the line both layers hold, metres."""
    both = [run for run in long_runs(profile) if run.code == Verdict.BOTH]
    return sum(run.stop_m - max(run.start_m, 0.0) for run in both)


def most_lost(profile: Profile) -> tuple[float, str, str] | None:
    """What takes most of the line: metres, layer, cause; None where nothing takes enough to stand on."""
    step, reach = float(profile.along[1] - profile.along[0]), profile.unit.type.max_range
    losses = []
    for layer, outcomes in profile.layer_outcomes.items():
        counts = blamed(profile.layer_outcomes, layer)
        for code, cause in CAUSE_KEYS.items():
            lost = (profile.codes != Verdict.BOTH) & (profile.codes != UNKNOWN) & (outcomes == code)
            lost &= counts & (profile.along > 0) & (profile.along <= reach)
            losses.append((float(lost.sum()) * step, layer, cause))
    most = max(losses, key=lambda loss: loss[0])
    return most if most[0] >= SHORT_RUN_M else None


def ground_at(profile: Profile, at_m: float) -> float:
    """Height of the ground at a distance; NaN where not known."""
    return float(np.interp(at_m, profile.along, profile.ground))


def over_ground(profile: Profile, beam: Beam, at_m: float) -> float | None:
    """How high the axis of a layer passes over the ground at a distance; None past its end."""
    height = profile.eye_z + float(beam.slopes[beam.axis]) * at_m - ground_at(profile, at_m)
    return height if at_m <= beam.ends[beam.axis] + 1e-9 and math.isfinite(height) else None


def passing_from(profile: Profile, layer: str) -> float | None:
    """Distance from which a layer passes over the figure's head; None where it never does."""
    over = np.flatnonzero(profile.layer_outcomes[layer] == PASSES_ABOVE)
    step = float(profile.along[1] - profile.along[0])
    return float(profile.along[over[0]]) - step / 2 if len(over) else None


def solid_met(profile: Profile, beam: Beam) -> CutSolid | None:
    """The solid that the axis of a layer ends at; None where none is cut."""
    end = float(beam.ends[beam.axis])
    point = np.array([end, profile.eye_z + beam.slopes[beam.axis] * end])
    near = [
        (float(np.hypot(*(_along_edges(piece) - point).T).min()), solid.name, place)
        for place, solid in enumerate(profile.solids)
        for piece in solid.pieces
    ]
    return profile.solids[min(near)[2]] if near else None


def _along_edges(outline: Floats) -> Floats:
    """Points along an outline, close enough to tell which one a layer meets."""
    share = np.linspace(0, 1, 40)[:, None, None]
    return ((1 - share) * outline[:-1] + share * outline[1:]).reshape(-1, 2)


def _fine_strip(ground: Ground, unit: Detector, bearing_deg: float, reach_m: float) -> Ground:
    """The ground along a line cut into smaller cells; not known away from the line."""
    parts = math.ceil(ground.cell_m / max(FINE_M, reach_m / 400))
    cell = ground.cell_m / parts
    east, north = direction(bearing_deg)
    far = reach_m + 2 * ground.cell_m
    axes = []
    for start, end, origin in (
        (unit.x, unit.x + east * far, ground.x0),
        (unit.y, unit.y + north * far, ground.y0),
    ):
        low, high = min(start, end) - 1.0, max(start, end) + 1.0
        axes.append((math.floor((low - origin) / cell), math.ceil((high - origin) / cell)))
    (i0, i1), (j0, j1) = axes
    x, y = np.meshgrid(ground.x0 + cell * np.arange(i0, i1 + 1), ground.y0 + cell * np.arange(j0, j1 + 1))
    dx, dy = x - unit.x, y - unit.y
    forward = dx * east + dy * north
    near = (np.abs(dx * north - dy * east) <= _STRIP_CELLS * cell) & (forward > -1.0) & (forward < far)
    z = np.full(x.shape, np.nan)
    z[near] = ground.height_at(x[near], y[near])
    return Ground(float(x[0, 0]), float(y[0, 0]), cell, z)


def _nearest(ground: Ground, x: Floats, y: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Row and column of the cell that holds each point; -1 off the grid."""
    columns = np.rint((x - ground.x0) / ground.cell_m).astype(np.int64)
    rows = np.rint((y - ground.y0) / ground.cell_m).astype(np.int64)
    ny, nx = ground.z.shape
    off = (columns < 0) | (rows < 0) | (columns >= nx) | (rows >= ny)
    return np.where(off, -1, rows), np.where(off, -1, columns)


def bridged_at(ground: Ground, x: Floats, y: Floats) -> NDArray[np.bool_]:
    """Whether the height of the ground at some places bridges a gap of the survey."""
    rows, columns = _nearest(ground, x, y)
    return np.asarray((rows >= 0) & ground.filled[rows, columns])


def cut_solids(
    solids: Solids, place: tuple[float, float], bearing_deg: float, along: Floats
) -> tuple[CutSolid, ...]:
    """Each solid's triangles cut by the upright plane through a place, joined to filled pieces.

    `along` is (n,) float, distances from the place along the bearing: from its first to its last is cut.
    """
    if not len(solids.triangles):
        return ()
    east, north = direction(bearing_deg)
    # The cut is made from the line's own start, so that what stands behind the unit is cut too.
    start, far = float(along[0]) - 0.5, float(along[-1] - along[0]) + 1.0
    origin = np.array([place[0] + east * start, place[1] + north * start, 0.0])
    corners = solids.vertices[solids.triangles] - origin
    side = corners[..., 0] * north - corners[..., 1] * east
    crossing = np.flatnonzero((side.min(axis=1) <= 0) & (side.max(axis=1) >= 0))
    pieces: dict[int, list[Floats]] = {}
    for row in crossing:
        hit, t1, z1, t2, z2 = slice_triangle(corners[row], east, north, far)
        if hit:
            cut = np.array([[t1 + start, z1], [t2 + start, z2]])
            pieces.setdefault(int(solids.owners[row]), []).append(cut)
    return tuple(
        CutSolid(solids.names[owner], _joined(cuts), owner in solids.surveyed)
        for owner, cuts in sorted(pieces.items())
    )


def _joined(cuts: list[Floats]) -> tuple[Floats, ...]:
    """Segments as outlines where they close, as they are where they do not."""
    # Triangles that share an edge are cut within rounding of each other.
    cuts = [np.round(cut, 4) for cut in cuts]
    lines = shapely.linestrings(np.array(cuts + _closing(cuts)))
    net = shapely.union_all(lines, grid_size=1e-4)
    whole = shapely.union_all(shapely.get_parts(shapely.polygonize(shapely.get_parts(net))))
    rest = shapely.get_parts(shapely.difference(net, shapely.buffer(whole, 1e-3)))
    outlines = [np.asarray(part.exterior.coords) for part in shapely.get_parts(whole) if part.area > 0]
    return (*outlines, *(np.asarray(line.coords) for line in rest if not line.is_empty))


def _closing(cuts: list[Floats]) -> list[Floats]:
    """Joins loose ends pair by pair along the line: surveyed buildings have walls and no floor."""
    ends, counts = np.unique(np.vstack(cuts), axis=0, return_counts=True)
    loose = ends[counts % 2 == 1]
    return [loose[k : k + 2] for k in range(0, len(loose) - 1, 2)]
