"""A hillside that is known to the last board, and surveys of it made by casting rays.

The site is ours, and invented: a slope with a bank, a house with eaves, a garden wall, a hedge, shrubs, a
tree whose crown begins 3 m up, a parked car and a gate. What a survey makes of it can be held against the
site itself. Scans are made as instruments make them (common practice, no source): from the air along two
flight lines on either side, 3 cm noise, pulses a hand wide, parts of which leaves stop by chance along the
ray (Beer- Lambert), up to three returns; or from a few places on the ground, without classes.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
import trimesh

from terrain3d.cover.option import OptionResult
from terrain3d.cover.sighted import unit_on
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import load_type
from terrain3d.frame import site_frame
from terrain3d.survey.solids import triangulated
from terrain3d.terrain import Foliage, Mount, Solids, Terrain
from tests import shapes

CELL_M = 0.25
HALF_M = 26.0
#: Rays that stand for the disc that a pulse lights, and how far apart two echoes of it are at least.
_PARTS, _APART_M = 4, 0.4
FLOOR_M = 0.9
#: Walls of the house (west, south, east, north); eaves stand out by 0.6 m all round.
HOUSE = (-13.0, 4.0, -4.0, 11.0)
EAVES_M = 0.6
_EAVES_Z, _RIDGE_Z, _ROOF_M = 2.5 + FLOOR_M, 4.7 + FLOOR_M, 0.15
CAR = (2.0, -3.5, 1.85, 4.4)
WALL = ((3.0, 9.5), (15.0, 9.5))
HEDGE = ((-16.0, -6.0), (-4.5, -8.0))
HEDGE_WIDE_M, HEDGE_HIGH_M, HEDGE_DENSE = 0.9, 1.5, 3.0
#: Shrubs: middle, radius in plan, height, leaf area density.
SHRUBS = (((8.0, 2.5), 0.8, 1.3, 2.5), ((6.5, -10.0), 1.0, 1.6, 2.0), ((-8.0, -13.0), 0.7, 1.1, 2.5))
#: The tree: where it stands, radius of its crown, from which height to which, density, radius of its trunk.
TREE = ((12.0, -6.0), 3.0, 3.0, 8.0, 0.9, 0.18)
GATE = ((-1.5, -15.0), (2.0, -15.0))
GATE_HIGH_M = 1.3
#: Each mount: where, the bearing its unit faces, and the bearing its wall faces (None: a pole).
MOUNTS = {
    "house wall": ((-8.0, 3.6), 170.0, 180.0),
    "west wall": ((-13.12, 8.0), 250.0, 270.0),
    "garden wall": ((9.0, 9.0), 195.0, None),
    "gate pole": ((-5.0, -12.0), 125.0, None),
    "hedge pole": ((-11.0, -11.0), 20.0, None),
    "pole over the hedge": ((-12.0, -3.0), 165.0, None),
    "drive pole": ((-4.5, -5.0), 75.0, None),
    "tree pole": ((15.5, -8.0), 300.0, None),
    "yard pole": ((6.0, 5.0), 40.0, None),
}


def ground_z(x, y):
    """The hillside: falls 12 % towards the south-east, with a bank of 1.3 m across it and a swell."""
    east, north = math.sin(math.radians(135)), math.cos(math.radians(135))
    down = x * east + y * north
    bank = 1.3 / (1 + np.exp((down - 9.5 + 0.08 * x) / 0.45))
    return -0.12 * down + bank - 1.3 + 0.15 * np.sin(x / 5) * np.cos(y / 7)


def _prism(plan, low_z, high_z, name):
    """A closed mesh over a polygon between two heights, numbers or functions of (x, y)."""
    points, triangles = triangulated(plan)
    low, high = (z(*points.T) if callable(z) else np.full(len(points), z) for z in (low_z, high_z))
    ring = shapely.get_coordinates(shapely.geometry.polygon.orient(plan).exterior)[:-1]
    index = [int(np.flatnonzero((points == corner).all(axis=1))[0]) for corner in ring]
    n = len(points)
    sides = []
    for a, b in zip(index, index[1:] + index[:1], strict=True):
        sides += [[a + n, b + n, b], [a + n, b, a]]
    vertices = np.vstack([np.column_stack([points, high]), np.column_stack([points, low])])
    faces = np.vstack([triangles, triangles[:, ::-1] + n, np.array(sides)])
    return Solids(vertices, faces, np.zeros(len(faces), np.int64), (name,))


def _band(path, wide_m):
    return shapely.LineString(path).buffer(wide_m / 2, cap_style="flat", join_style="mitre")


def _house():
    west, south, east, north = HOUSE
    middle, half = (south + north) / 2, (north - south) / 2 + EAVES_M

    def roof(_, y):
        return _RIDGE_Z - (_RIDGE_Z - _EAVES_Z) * np.abs(y - middle) / half

    body = _prism(shapely.box(*HOUSE), -3.0, _EAVES_Z + 0.02, "house")
    halves = (
        shapely.box(west - EAVES_M, south - EAVES_M, east + EAVES_M, middle),
        shapely.box(west - EAVES_M, middle, east + EAVES_M, north + EAVES_M),
    )
    for half_roof in halves:
        slab = _prism(half_roof, lambda x, y: roof(x, y) - _ROOF_M, roof, "house")
        body = body.joined(slab)
    return body


def _car():
    x, y, wide, long = CAR
    low = shapely.box(x - wide / 2, y - long / 2, x + wide / 2, y + long / 2)
    cabin = shapely.box(x - wide / 2 + 0.1, y - long / 2 + 0.5, x + wide / 2 - 0.1, y + long / 2 - 1.2)
    body = _prism(low, lambda a, b: ground_z(a, b) + 0.25, lambda a, b: ground_z(a, b) + 0.9, "car")
    return body.joined(
        _prism(cabin, lambda a, b: ground_z(a, b) + 0.85, lambda a, b: ground_z(a, b) + 1.5, "car")
    )


def _line_of(path, wide, high, name, base=-0.5):
    plan = shapely.segmentize(_band(path, wide), 0.5)
    return _prism(plan, lambda x, y: ground_z(x, y) + base, lambda x, y: ground_z(x, y) + high, name)


def _trunk():
    (x, y), _, low, _, _, radius = TREE
    plan = shapely.Point(x, y).buffer(radius, quad_segs=3)
    return _prism(plan, float(ground_z(x, y)) - 0.5, float(ground_z(x, y)) + low + 1.5, "trunk")


@lru_cache(maxsize=1)
def solids():
    parts = (
        _house(),
        _car(),
        _line_of(WALL, 0.25, 1.1, "garden wall"),
        _line_of(GATE, 0.06, GATE_HIGH_M, "gate", 0.1),
        _trunk(),
    )
    whole = Solids.none()
    for part in parts:
        whole = whole.joined(part)
    return whole


def leaf_density(x, y, z):
    """Leaf area density, m2/m3, at any place."""
    up = z - ground_z(x, y)
    (ax, ay), (bx, by) = HEDGE
    long = math.hypot(bx - ax, by - ay)
    along = ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / long
    across = np.abs((x - ax) * (by - ay) - (y - ay) * (bx - ax)) / long
    inside = (across < HEDGE_WIDE_M / 2) & (along > 0) & (along < long) & (up > 0) & (up < HEDGE_HIGH_M)
    density = np.where(inside, HEDGE_DENSE, 0.0)
    for (sx, sy), radius, high, dense in SHRUBS:
        inside = ((x - sx) / radius) ** 2 + ((y - sy) / radius) ** 2 + ((up - high / 2) / (high / 2)) ** 2 < 1
        density = np.where(inside, dense, density)
    (tx, ty), radius, low, top, dense, _ = TREE
    stands = z - float(ground_z(tx, ty))
    inside = ((x - tx) / radius) ** 2 + ((y - ty) / radius) ** 2 + (
        (stands - (low + top) / 2) / ((top - low) / 2)
    ) ** 2 < 1
    return np.where(inside, dense, density)


@lru_cache(maxsize=1)
def truth() -> Terrain:
    """The site as it is."""
    on = shapes.ground(ground_z, CELL_M, 2 * HALF_M)
    x, y = np.meshgrid(on.xs, on.ys)
    step, top = 0.1, 10.0
    up = step * (np.arange(round(top / step)) + 0.5)
    # Four places a cell, so that what covers half a cell counts half.
    off = CELL_M / 4
    density = np.mean(
        [
            leaf_density((x + dx)[..., None], (y + dy)[..., None], on.z[..., None] + up)
            for dx in (-off, off)
            for dy in (-off, off)
        ],
        axis=0,
    )
    some = density.any(axis=2)
    column = np.full(on.z.shape, -1, np.int32)
    column[some] = np.arange(some.sum())
    above = np.pad(np.cumsum(density[some], axis=1) * step, ((0, 0), (1, 0)))
    leaves = Foliage(on.x0, on.y0, CELL_M, column, on.z[some], step, above)
    mounts = tuple(Mount(name, *at) for name, (at, *_) in MOUNTS.items())
    return Terrain(site_frame(None, 0, 0), on, solids(), leaves, mounts, ())


@dataclass(frozen=True, eq=False)
class Scan:
    """Returns: places, what gave them (0 ground, 1 leaves, 2 and on the solid of that name), returns of the
    pulse."""

    xyz: np.ndarray
    what: np.ndarray
    n_returns: np.ndarray
    number: np.ndarray


def from_the_air(density, seed=0, noise_m=0.03) -> Scan:
    """Two flight lines 500 m up, 150 m to either side, `density` pulses a square metre in all."""
    rng = np.random.default_rng(seed)
    n = round(density * (2 * HALF_M) ** 2 / 2)
    parts = []
    for side in (-150.0, 150.0):
        x, y = rng.uniform(-HALF_M, HALF_M, (2, n))
        ray = np.column_stack([rng.uniform(-5, 5, n), y - side, np.full(n, -500.0)])
        ray /= np.linalg.norm(ray, axis=1, keepdims=True)
        start = np.column_stack([x, y, np.zeros(n)]) - ray * (20 / -ray[:, 2:])
        parts.append(_returns(start, ray, 60.0, rng, noise_m, 0.25))
    return _joined(parts)


def from_the_ground(seed=0, noise_m=0.01, step_deg=1.0) -> Scan:
    """A tripod at five places, 1.7 m up, a ray every degree, none farther than 30 m."""
    rng = np.random.default_rng(seed)
    parts = []
    for x, y in ((-8.0, -1.0), (6.0, 5.0), (8.5, -4.0), (-2.0, -18.0), (-12.0, -12.0)):
        azimuth, up = np.meshgrid(np.arange(0, 360, step_deg), np.arange(-60, 60, step_deg))
        a, e = np.radians(azimuth.ravel()), np.radians(up.ravel())
        ray = np.column_stack([np.cos(e) * np.sin(a), np.cos(e) * np.cos(a), np.sin(e)])
        start = np.broadcast_to([x, y, float(ground_z(x, y)) + 1.7], ray.shape)
        parts.append(_returns(start, ray, 30.0, rng, noise_m, 0.01))
    return _joined(parts)


def _joined(parts):
    return Scan(*(np.concatenate(values) for values in zip(*parts, strict=True)))


def _returns(start, ray, reach, rng, noise_m, wide_m):
    """Up to three returns of each pulse, which lights a disc of `wide_m`: a few rays stand for it."""
    n = len(ray)
    side = np.cross(ray, [0.3, 0.2, 0.93])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    up = np.cross(ray, side)
    turn, out = rng.uniform(0, 2 * np.pi, (n, _PARTS)), wide_m / 2 * np.sqrt(rng.uniform(0, 1, (n, _PARTS)))
    off = out[..., None] * (np.cos(turn)[..., None] * side[:, None] + np.sin(turn)[..., None] * up[:, None])
    starts, rays = (start[:, None] + off).reshape(-1, 3), np.repeat(ray, _PARTS, axis=0)
    far, what = _opaque(starts, rays, reach)
    to_leaf = _leaf_distances(starts, rays, np.minimum(far, reach), rng)
    what = np.where(to_leaf < far, 1, what).reshape(n, _PARTS)
    far = np.minimum(to_leaf, far).reshape(n, _PARTS)
    order = np.argsort(far, axis=1)
    far, what = np.take_along_axis(far, order, axis=1), np.take_along_axis(what, order, axis=1)
    # Echoes nearer than this to the one before run together.
    with np.errstate(invalid="ignore"):
        echo = np.cumsum(np.diff(far, axis=1, prepend=-np.inf) > _APART_M, axis=1)
    xyz, kinds, pulses, numbers = [], [], [], []
    for number in range(1, 4):
        own = (echo == number) & np.isfinite(far)
        some = own.any(axis=1)
        distance = np.where(own, far, 0.0).sum(axis=1)[some] / own.sum(axis=1)[some]
        xyz.append(start[some] + ray[some] * distance[:, None])
        kinds.append(what[some, own[some].argmax(axis=1)])
        pulses.append(np.flatnonzero(some))
        numbers.append(np.full(some.sum(), number))
    place, kind, pulse, number = (np.concatenate(v) for v in (xyz, kinds, pulses, numbers))
    returns = np.bincount(pulse, minlength=n)[pulse]
    place = place + rng.normal(0, noise_m, place.shape)
    inside = (np.abs(place[:, :2]) < HALF_M).all(axis=1)
    order = np.lexsort((number, pulse))
    order = order[inside[order]]
    return place[order], kind[order], returns[order].astype(np.uint8), number[order].astype(np.uint8)


def _leaf_distances(start, ray, end, rng):
    """Where leaves stop each ray, by chance: Beer-Lambert; inf where they let it through."""
    enters, leaves = np.full(len(ray), np.inf), np.full(len(ray), -np.inf)
    for low, high in _leafy_boxes():
        with np.errstate(divide="ignore", invalid="ignore"):
            a, b = (low - start) / ray, (high - start) / ray
        near, past = np.fmin(a, b).max(axis=1), np.fmax(a, b).min(axis=1)
        met = (past > near) & (past > 0)
        enters[met] = np.minimum(enters[met], np.maximum(near[met], 0))
        leaves[met] = np.maximum(leaves[met], past[met])
    leaves = np.minimum(leaves, end)
    distance = np.full(len(ray), np.inf)
    step = 0.05
    which = np.flatnonzero(leaves > enters)
    which = which[np.argsort((leaves - enters)[which])]
    for chunk in np.array_split(which, max(1, len(which) // 4_000)):
        if not len(chunk):
            continue
        length = (leaves - enters)[chunk]
        t = enters[chunk, None] + step * (np.arange(math.ceil(length.max() / step)) + 0.5)[None]
        place = start[chunk, None] + ray[chunk, None] * t[..., None]
        density = np.where(t < leaves[chunk, None], leaf_density(*np.moveaxis(place, 2, 0)), 0.0)
        depth = np.cumsum(0.5 * step * density, axis=1)
        stopped = depth > rng.exponential(1.0, len(chunk))[:, None]
        distance[chunk] = np.where(
            stopped.any(axis=1), t[np.arange(len(chunk)), stopped.argmax(axis=1)], np.inf
        )
    return distance


@lru_cache(maxsize=1)
def _leafy_boxes():
    """Boxes around all that has leaves: corner and corner."""
    (ax, ay), (bx, by) = HEDGE
    boxes = []
    for share in np.arange(0, 1, 0.125):
        x, y = ax + share * (bx - ax), ay + share * (by - ay)
        u, v = ax + (share + 0.125) * (bx - ax), ay + (share + 0.125) * (by - ay)
        z = ground_z(np.array([x, u]), np.array([y, v]))
        w = HEDGE_WIDE_M / 2 + 0.1
        boxes.append(
            ((min(x, u) - w, min(y, v) - w, z.min() - 0.3), (max(x, u) + w, max(y, v) + w, z.max() + 1.8))
        )
    for (x, y), radius, high, _ in SHRUBS:
        z = float(ground_z(x, y))
        boxes.append(((x - radius, y - radius, z - 0.5), (x + radius, y + radius, z + high + 0.5)))
    (x, y), radius, low, top, _, _ = TREE
    z = float(ground_z(x, y))
    boxes.append(((x - radius, y - radius, z + low), (x + radius, y + radius, z + top)))
    return [(np.array(low), np.array(high)) for low, high in boxes]


def _opaque(start, ray, reach):
    """How far to ground or solid along each ray, and which: 0 ground, 2 and on the name of a solid."""
    # Down to the ground by halves: a ray from the air meets it once; from near it the first crossing counts.
    t = np.linspace(0, reach, round(4 * reach) + 1)
    distance = np.full(len(ray), np.inf)
    for chunk in np.array_split(np.arange(len(ray)), max(1, len(ray) // 20_000)):
        place = start[chunk, None] + ray[chunk, None] * t[None, :, None]
        under = place[..., 2] < ground_z(place[..., 0], place[..., 1])
        some = under.any(axis=1)
        first = np.maximum(under.argmax(axis=1), 1)
        low, high = t[first - 1].copy(), t[first].copy()
        for _ in range(20):
            half = (low + high) / 2
            at = start[chunk] + ray[chunk] * half[:, None]
            below = at[:, 2] < ground_z(at[:, 0], at[:, 1])
            high, low = np.where(below, half, high), np.where(below, low, half)
        distance[chunk] = np.where(some, (low + high) / 2, np.inf)
    what = np.zeros(len(ray), int)
    mesh = trimesh.Trimesh(solids().vertices, solids().triangles, process=False)
    triangle, which, points = mesh.ray.intersects_id(start, ray, multiple_hits=False, return_locations=True)
    names = sorted(set(solids().names))
    code = np.array([2 + names.index(name) for name in solids().names])
    to_solid = np.full(len(ray), np.inf)
    to_solid[which] = np.linalg.norm(points - start[which], axis=1)
    owner = np.zeros(len(ray), int)
    owner[which] = code[solids().owners[triangle]]
    nearer = to_solid < distance
    distance = np.where(nearer, to_solid, distance)
    what[nearer] = owner[nearer]
    return distance, what


def classed(scan: Scan, how: str) -> np.ndarray:
    """ASPRS classes: "vendor" (ground, vegetation by height, buildings), "ground" alone, or "none"."""
    names = sorted(set(solids().names))
    what = scan.what
    classes = np.ones(len(what), np.uint8)
    if how == "none":
        return np.zeros(len(what), np.uint8)
    classes[what == 0] = 2
    if how == "vendor":
        up = scan.xyz[:, 2] - ground_z(scan.xyz[:, 0], scan.xyz[:, 1])
        leaf = (what == 1) | (what == 2 + names.index("trunk"))
        classes[leaf] = np.where(up[leaf] < 0.5, 3, np.where(up[leaf] < 2.0, 4, 5))
        classes[what == 2 + names.index("house")] = 6
    return classes


def site_values(file: str, wall: bool = True) -> dict[str, object]:
    """What a site file for a survey of it says."""
    mounts = []
    for name, (at, _, faces) in MOUNTS.items():
        mounts.append({"name": name, "at": at} | ({"wall": faces} if wall and faces is not None else {}))
    return {"site": {"name": "known hillside", "cell": CELL_M}, "ground": {"file": file}, "mount": mounts}


@lru_cache(maxsize=8)
def judged_on(site: Terrain) -> dict[str, OptionResult]:
    """A unit on each mount, as an option of its own."""
    kind = load_type("one-head-90")
    return {
        name: shapes.judged(site, unit_on(site, name, kind, 1.0, bearing), name=name)
        for name, (_, bearing, _) in MOUNTS.items()
    }


@dataclass(frozen=True)
class Agreement:
    """Of the ground inside arc and range: the share with the same verdict; of what is told held, the share
    that is not; of what is held, the share that is not told, and the share that is not told as hanging on
    leaves either; the share of it that is unknown; and the areas, m2."""

    same: float
    false_held: float
    missed: float
    untold: float
    unknown: float
    told_m2: float
    held_m2: float


def agreement(read: Terrain) -> dict[str, Agreement]:
    """Verdicts on what was read against those on the site as it is, mount by mount."""
    found = {}
    theirs, ours = judged_on(truth()), judged_on(read)
    rows, columns = read.ground.part_of(truth().ground)
    for name in MOUNTS:
        is_, told = theirs[name].verdicts[rows, columns], ours[name].verdicts
        bare = ours[name].without_leaves
        fan = is_ != Verdict.OUTSIDE
        held, said = is_ == Verdict.BOTH, told == Verdict.BOTH
        found[name] = Agreement(
            float((is_ == told)[fan].mean()),
            float((said & ~held).sum() / max(said.sum(), 1)),
            float((held & ~said).sum() / max(held.sum(), 1)),
            float((held & ~said & (bare != Verdict.BOTH)).sum() / max(held.sum(), 1)),
            float((told == 255)[fan].mean()),
            float(said.sum() * CELL_M**2),
            float(held.sum() * CELL_M**2),
        )
    return found
