"""Make data/demo.laz, the survey of an invented hillside: nobody's land, drawn from fixed numbers.

    .venv/bin/python scripts/make_demo.py [FILE]

The land is a plain formula; beams from two flight lines are followed down to it in small steps, so
roofs hide the ground under them, oblique beams reach under the eaves and against the wall, and
trees give several returns. Same bytes on every run: the draws are seeded, and the geometry keeps to
arithmetic that every processor rounds alike.
"""

import sys
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path
from uuid import UUID

import laspy
import numpy as np
import pyproj
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

SEED = 20
#: South-west corner of the site in EPSG:32631, and the height that 0 stands for below.
CORNER = (560_000.0, 4_950_000.0, 412.0)
WIDTH_M, DEPTH_M = 60.0, 50.0
PULSES_PER_M2 = 16.0
STEP_M = 0.04
NOISE_M = 0.03

# The terrace: filled up behind a retaining wall in the south, cut into the hill in the north.
WEST, EAST, WALL_Y, CUT_Y, BANK_Y = 19.0, 45.0, 21.5, 35.0, 37.0
WALL_THICK_M, KERB_M, RETAINED_M = 0.3, 0.05, 0.95

# The shed: walls, a roof pitched up to the north, and how far its eaves stand out.
SHED = (40.0, 45.0, 30.0, 34.0)
SHED_WALL_M, ROOF_LOW_M, ROOF_PITCH, ROOF_THICK_M, EAVES_M = 2.2, 2.25, 0.15, 0.12, 0.5

#: Centre line of the drive, lowest end first.
DRIVE = np.array([[30.0, 0.0], [27.5, 8.0], [24.0, 14.5], [17.0, 20.0], [14.5, 27.0], [17.5, 30.5]])
DRIVE_HALF_M, SHOULDER_M = 1.7, 1.5
SHOULDERS_M = DRIVE_HALF_M + SHOULDER_M

#: Trees: x, y, crown radius, crown base, top; metres, heights above the ground at the trunk.
TREES = np.array(
    [
        [29.0, 38.6, 2.6, 2.2, 7.5],
        [47.5, 40.0, 3.0, 2.4, 9.0],
        [9.0, 33.0, 2.4, 1.8, 6.5],
        [38.5, 11.0, 2.2, 1.6, 6.0],
    ]
)
#: How far land and shed stand above the plain slope at most, with something to spare.
MOST_ABOVE_M = 5.0
LEAF_RETURNS_PER_M = 0.55
TRUNK_RADIUS_M = 0.18

GROUND, UNCLASSIFIED, TREE, BUILDING, LOW_NOISE, ROAD = 2, 1, 5, 6, 7, 11


@dataclass(frozen=True)
class Returns:
    """Echoes of all pulses, in the order of flight; every array is (n,)."""

    pulse: Ints
    number: Ints
    of: Ints
    xyz: Floats
    code: Ints


def ramp(value: Floats, start: float, end: float) -> Floats:
    """0 up to start, 1 from end on, straight between."""
    return np.clip((value - start) / (end - start), 0.0, 1.0)


def hillside(x: Floats, y: Floats) -> Floats:
    """The hill before anyone built: 17 % up to the north, with a hummock and a hollow."""
    hummock = 0.6 / (1.0 + ((x - 9.0) ** 2 + (y - 12.0) ** 2) / 16.0) ** 2
    hollow = -0.5 / (1.0 + ((x - 52.0) ** 2 + (y - 26.0) ** 2) / 20.0) ** 2
    return plain(x, y) + hummock + hollow


def plain(x: Floats, y: Floats) -> Floats:
    """The hill without hummock and hollow."""
    return 0.17 * (y - WALL_Y) + 0.012 * (x - 30.0)


def terrace(x: Floats, y: Floats) -> Floats:
    """Heights of the terrace, carried on beyond its edges."""
    return RETAINED_M + 0.03 * (y - WALL_Y) + 0.012 * (x - 30.0)


def land(x: Floats, y: Floats) -> tuple[Floats, Flags, Flags]:
    """Heights of the bare land with the wall; where it is wall, and where it is drive."""
    inside = ramp(x, WEST - 4.0, WEST) * (1.0 - ramp(x, EAST, EAST + 3.0))
    # At its ends the wall's step runs out into a ramp.
    step = np.clip((y - WALL_Y) / np.maximum(3.0 * (1.0 - inside), 1e-9), 0.0, 1.0)
    filled = inside * step * (1.0 - ramp(y, CUT_Y, BANK_Y))
    z = hillside(x, y) * (1.0 - filled) + terrace(x, y) * filled
    # Farther off than the shoulders reach nothing is graded.
    away, along = np.full(x.shape, np.inf), np.zeros(x.shape)
    (west, south), (east, north) = DRIVE.min(axis=0) - SHOULDERS_M, DRIVE.max(axis=0) + SHOULDERS_M
    near = np.flatnonzero((x > west) & (x < east) & (y > south) & (y < north))
    away[near], along[near] = from_drive(x[near], y[near])
    graded = 1.0 - ramp(away, DRIVE_HALF_M, SHOULDERS_M)
    z = z * (1.0 - graded) + (hillside(DRIVE[0, 0], DRIVE[0, 1]) + 0.143 * along) * graded
    is_wall = (y > WALL_Y - WALL_THICK_M) & (y <= WALL_Y) & (x >= WEST - 0.5) & (x <= EAST + 0.5)
    z = np.where(is_wall, terrace(x, np.full_like(y, WALL_Y)) + KERB_M, z)
    return z, is_wall, away < DRIVE_HALF_M


def from_drive(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Distance from the drive's centre line, and distance along it."""
    away, along = np.full(x.shape, np.inf), np.zeros(x.shape)
    before = 0.0
    for a, b in pairwise(DRIVE):
        length = float(np.sqrt(((b - a) ** 2).sum()))
        u = (b - a) / length
        t = np.clip((x - a[0]) * u[0] + (y - a[1]) * u[1], 0.0, length)
        gap = np.sqrt((x - a[0] - t * u[0]) ** 2 + (y - a[1] - t * u[1]) ** 2)
        along = np.where(gap < away, before + t, along)
        away = np.minimum(gap, away)
        before += length
    return away, along


def in_shed(x: Floats, y: Floats, z: Floats) -> Flags:
    """Inside the shed's walls or its roof, eaves included."""
    west, east, south, north = SHED
    floor = terrace(np.array(west), np.array(south))
    underside = floor + ROOF_LOW_M + ROOF_PITCH * (y - south)
    out = EAVES_M
    roof = (x > west - out) & (x < east + out) & (y > south - out) & (y < north + out)
    roof &= (z > underside) & (z < underside + ROOF_THICK_M)
    walls = (x > west) & (x < east) & (y > south) & (y < north) & (z < underside)
    return roof | walls


def tree_feet() -> list[float]:
    """Heights of the land at the trunks."""
    return [float(land(np.array([x]), np.array([y]))[0][0]) for x, y, *_ in TREES]


def in_trees(x: Floats, y: Floats, z: float, feet: list[float]) -> tuple[Flags, Flags]:
    """Inside a crown; inside a trunk: of points at one height."""
    crown, trunk = np.zeros(x.shape, bool), np.zeros(x.shape, bool)
    for (tx, ty, radius, base, top), foot in zip(TREES, feet, strict=True):
        if z < foot + top:
            near = np.flatnonzero(np.abs(x - tx) < radius)
            r2 = (x[near] - tx) ** 2 + (y[near] - ty) ** 2
            half = (top - base) / 2
            crown[near] |= r2 / radius**2 + ((z - foot - base - half) / half) ** 2 < 1.0
            trunk[near] |= (r2 < TRUNK_RADIUS_M**2) & (z < foot + base + half)
    return crown, trunk


def fly(rng: np.random.Generator) -> tuple[Floats, Floats, Ints]:
    """Two flight lines: where each beam would meet z = 0, its lean (dx, dy per metre down), its line."""
    margin = 8.0
    count = int((WIDTH_M + 2 * margin) * (DEPTH_M + 2 * margin) * PULSES_PER_M2)
    line = np.arange(count) * 2 // count
    aim = np.empty((count, 2))
    aim[:, 0] = rng.random(count) * (WIDTH_M + 2 * margin) - margin
    # Flown from south to north, so the order of pulses is the order of time.
    aim[:, 1] = (np.arange(count) * 2 % count) / count * (DEPTH_M + 2 * margin) - margin
    # A low flight: beams lean across the track, more with distance from it, and a little along it.
    track = np.where(line == 0, 12.0, 48.0)
    lean = np.column_stack([(aim[:, 0] - track) / 65.0, rng.normal(0.0, 0.18, count)])
    return aim, lean, line


def follow(aim: Floats, lean: Floats, rng: np.random.Generator) -> Returns:
    """Follow the beams down in small steps; what stops one part of them sends an echo back."""
    count = len(aim)
    start = float(hillside(np.array([0.0]), np.array([DEPTH_M + 8.0]))[0]) + 10.0
    end = float(hillside(np.array([0.0]), np.array([-8.0]))[0]) - 2.0
    alive = np.ones(count, bool)
    echoes = np.zeros(count, np.int64)
    last_z = np.full(count, np.inf)
    found: list[tuple[Ints, Floats, Ints]] = []
    feet = tree_feet()
    for z_now in np.arange(start, end, -STEP_M):
        index = np.flatnonzero(alive)
        z = np.full(len(index), z_now)
        x, y = aim[index, 0] - lean[index, 0] * z, aim[index, 1] - lean[index, 1] * z
        stopped, is_wall, shed = np.zeros((3, len(index)), bool)
        ground_z, code = np.full(len(index), np.nan), np.full(len(index), UNCLASSIFIED)
        # High above the land nothing can be met but leaves and trunks.
        low = np.flatnonzero(z < plain(x, y) + MOST_ABOVE_M)
        ground_z[low], is_wall[low], is_road = land(x[low], y[low])
        stopped[low] = z[low] <= ground_z[low]
        code[low] = np.where(is_wall[low], UNCLASSIFIED, np.where(is_road, ROAD, GROUND))
        shed[low] = in_shed(x[low], y[low], z[low])
        crown, trunk = in_trees(x, y, z_now, feet)
        leaf = crown & (rng.random(len(index)) < LEAF_RETURNS_PER_M * STEP_M)
        # Echoes closer together than half a metre cannot be told apart.
        leaf &= (last_z[index] - z > 0.5) & (echoes[index] < 4)
        code = np.where(trunk | leaf, TREE, code)
        code = np.where(shed, BUILDING, code)
        ends = stopped | shed | trunk
        hit = ends | leaf
        # The step may overshoot the land a little; the echo comes from its surface.
        z_hit = np.where(stopped & ~is_wall & ~shed, ground_z, z)
        found.append((index[hit], np.column_stack([x, y, z_hit])[hit], code[hit]))
        echoes[index[hit]] += 1
        last_z[index[hit]] = z_now
        # A leaf takes part of the beam; now and then nothing is left of it.
        alive[index[ends | (leaf & (rng.random(len(index)) < 0.15))]] = False
        if not alive.any():
            break
    return in_order(found, echoes)


def in_order(found: list[tuple[Ints, Floats, Ints]], echoes: Ints) -> Returns:
    """Echoes sorted by pulse, numbered from the first to the last of each pulse."""
    pulse = np.concatenate([row[0] for row in found])
    order = np.argsort(pulse, kind="stable")  # within a pulse the highest stays first
    pulse = pulse[order]
    first = np.searchsorted(pulse, pulse)
    return Returns(
        pulse,
        np.arange(len(pulse)) - first + 1,
        echoes[pulse],
        np.vstack([row[1] for row in found])[order],
        np.concatenate([row[2] for row in found])[order],
    )


def write(path: Path, returns: Returns, lean: Floats, line: Ints, rng: np.random.Generator) -> int:
    """Write LAS 1.4, point format 6, with its CRS; gives the number of points."""
    xyz = returns.xyz.copy()
    xyz[:, 2] += rng.normal(0.0, NOISE_M, len(xyz))
    code = returns.code.copy()
    withheld = rng.random(len(code)) < 0.0008
    xyz[withheld, 2] += 1.5 * rng.random(int(withheld.sum()))
    noise = (returns.of == 1) & (rng.random(len(code)) < 0.0006) & ~withheld
    xyz[noise, 2] -= 2.0 + 3.0 * rng.random(int(noise.sum()))
    code[noise] = LOW_NOISE

    inside = (xyz[:, 0] >= 0) & (xyz[:, 0] < WIDTH_M) & (xyz[:, 1] >= 0) & (xyz[:, 1] < DEPTH_M)
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.offsets, header.scales = np.array(CORNER), np.array([0.001, 0.001, 0.001])
    header.add_crs(pyproj.CRS("EPSG:32631+5773"), keep_compatibility=False)
    header.system_identifier = "invented"
    header.generating_software = "terrain3d scripts/make_demo.py"
    header.creation_date = date(2026, 1, 1)
    header.uuid = UUID(int=0)
    las = laspy.LasData(header)
    las.xyz = xyz[inside] + np.array(CORNER)
    las.classification = code[inside].astype(np.uint8)
    las.return_number = returns.number[inside].astype(np.uint8)
    las.number_of_returns = returns.of[inside].astype(np.uint8)
    las.withheld = withheld[inside].astype(np.uint8)
    pulse = returns.pulse[inside]
    las.point_source_id = (line[pulse] + 1).astype(np.uint16)
    # Scan angles are kept in steps of 0.006 degrees.
    las.scan_angle = np.rint(np.degrees(np.arctan(lean[pulse, 0])) / 0.006).astype(np.int16)
    las.gps_time = pulse / 5000.0
    las.intensity = np.where(code[inside] == TREE, 9000, 21000).astype(np.uint16)
    las.write(str(path))
    return int(inside.sum())


def make(path: Path) -> int:
    """Make the survey; gives the number of points."""
    rng = np.random.default_rng(SEED)
    aim, lean, line = fly(rng)
    returns = follow(aim, lean, rng)
    return write(path, returns, lean, line, rng)


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent.parent / "data" / "demo.laz"
    print(f"{target}: {make(target)} points of an invented hillside")
