"""How fast the main steps are, each beside a reference timed in the same run.

Run it with the project's own environment: `.venv/bin/python scripts/bench.py`. It prints the time
of each step, the ratio to its reference and the limit it is meant to keep; it never fails a build.
"""

import math
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "reference")]

from gdal_viewshed import Viewshed, write_ground  # noqa: E402
from shapes import box, ground, leaves, terrain  # noqa: E402

from terrain3d.cover.fill import head_table, verdict_codes  # noqa: E402
from terrain3d.detector.types import load_type  # noqa: E402
from terrain3d.sight.panorama import panorama  # noqa: E402
from terrain3d.terrain import Terrain  # noqa: E402

HEIGHTS_PER_CELL = 25


def best_of(action: Callable[[], object], repeats: int) -> float:
    """Least seconds of several runs, after one to warm up."""
    action()
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        action()
        times.append(time.perf_counter() - begin)
    return min(times)


def row(what: str, seconds: float, against: str, reference: float | None, limit: str) -> None:
    unit, scale = ("s", 1.0) if seconds >= 1 else ("ms", 1e3) if seconds >= 1e-3 else ("us", 1e6)
    told = f"{seconds * scale:8.2f} {unit}"
    ratio = "" if reference is None else f"{seconds / reference:9.4f} x {against}"
    print(f"{what:<46}{told:>12}   {ratio:<46}{limit}")


def bench_site() -> Terrain:
    """Hills at 0.25 m cells with six walls, a hedge and a row of trees within 12 m of the mount."""
    on = ground(lambda x, y: 0.1 * y + 0.3 * np.sin(x / 3) * np.cos(y / 4))
    walls = None
    for x, y, turn in [(3, 4, 10), (-4, 3, 80), (5, -5, 0), (0, 7, 30), (-6, -6, 120), (7, 1, 200)]:
        r, at = math.hypot(x, y), math.degrees(math.atan2(x, y))
        wall = box((-2, r, -2), (2, r + 0.2, 1.2 + 0.1 * y), at)
        walls = wall if walls is None else walls.joined(wall)
        del turn
    grown = leaves(
        on, lambda x, y: ((x > 2) & (x < 8) & (y > 5) & (y < 6)) | ((x > -8) & (x < -7)), 0.0, 1.6, 1.2
    )
    return terrain(on, walls, grown)


def time_sight() -> None:
    """Panorama, GDAL's viewshed and embree on the same question; then one more setting."""
    site = bench_site()
    eye = (0.03, 0.02, float(site.ground.height_at(0.03, 0.02)) + 1.0)
    seconds = best_of(lambda: panorama(site, eye, 12.0), 200)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ground.tif"
        write_ground(path, np.flipud(site.ground.z), site.ground.cell_m)
        viewshed = Viewshed(path)
        middle = site.ground.z.shape[0] // 2
        gdal = best_of(lambda: viewshed.ask(middle, middle, 1.0, 12.0, Path(folder) / "out.tif"), 20)
        viewshed.close()
    row(
        "panorama and cell visibility, one mount",
        seconds,
        "GDAL viewshed, ground only",
        gdal,
        "5 ms, aim 2 ms",
    )
    seen = panorama(site, eye, 12.0)
    embree = best_of(embree_question(site, seen, eye), 3)
    rays = f"embree, {len(seen.cells) * HEIGHTS_PER_CELL} rays"
    row("", seconds, rays, embree, "")
    for name in ("one-head-90", "two-head-180"):
        table = head_table(load_type(name, ROOT))
        for tilt in (0.0, 5.0):
            setting = best_of(
                lambda table=table, tilt=tilt: verdict_codes(seen, table, 40.0, tilt, 0.0, 12.0, 1.7, 0.5),
                2000,
            )
            row(f"one more setting, {name}, tilt {tilt:g}", setting, "panorama", seconds, "50 us, aim 20 us")


def embree_question(site: Terrain, seen, eye) -> Callable[[], object]:  # type: ignore[no-untyped-def]
    """The same visible heights asked ray by ray of ground and walls as triangles."""
    ny, nx = site.ground.z.shape
    gx, gy = np.meshgrid(site.ground.xs, site.ground.ys)
    vertices = np.column_stack([gx.ravel(), gy.ravel(), site.ground.z.ravel()])
    index = np.arange(ny * nx).reshape(ny, nx)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, :-1], index[1:, 1:]
    faces = np.concatenate([np.stack([a, b, d], -1).reshape(-1, 3), np.stack([a, d, c], -1).reshape(-1, 3)])
    solids = site.solids
    mesh = trimesh.Trimesh(
        np.vstack([vertices, solids.vertices]) - np.asarray(eye),
        np.vstack([faces, solids.triangles + len(vertices)]),
        process=False,
    )
    height = (np.arange(HEIGHTS_PER_CELL) + 0.5) * 0.1
    targets = np.stack(
        [
            np.repeat(seen.east * seen.distance, HEIGHTS_PER_CELL),
            np.repeat(seen.north * seen.distance, HEIGHTS_PER_CELL),
            (seen.foot[:, None] + height).ravel(),
        ],
        axis=1,
    )
    origins = np.zeros_like(targets)
    return lambda: mesh.ray.intersects_any(origins, targets)


def time_reading() -> None:
    """Reading a whole cloud beside laspy's own read of the same points."""
    import laspy

    from terrain3d.site import GroundSource
    from terrain3d.survey.files import read_header, read_survey

    for path in sorted((ROOT / "tests" / "data").glob("autzen_trim.laz")) + [ROOT / "data" / "demo.laz"]:
        source = GroundSource(file=str(path))

        def ours(path: Path = path, source: GroundSource = source) -> object:
            return read_survey(path, read_header(path, source), None)

        def theirs(path: Path = path) -> object:
            cloud = laspy.read(path)
            return cloud.xyz, np.asarray(cloud.classification)

        seconds = best_of(ours, 5)
        row(f"reading {path.name}", seconds, "laspy.read with its xyz", best_of(theirs, 5), "1.5 x")


def time_commands() -> None:
    """What a person waits for at the prompt."""
    python = [sys.executable, "-c"]
    call = "from terrain3d.cli.main import main; main({!r})"
    bare = best_of(lambda: subprocess.run([*python, "pass"], check=True), 3)
    shown = best_of(
        lambda: subprocess.run([*python, call.format(["--help"])], check=True, stdout=subprocess.DEVNULL), 3
    )
    row("terrain3d --help", shown, "python -c pass", bare, "0.4 s")
    with tempfile.TemporaryDirectory() as folder:
        words = ["compare", str(ROOT / "data" / "demo.toml"), "--out", folder]
        demo = best_of(
            lambda: subprocess.run([*python, call.format(words)], check=True, stdout=subprocess.DEVNULL), 1
        )
    row("terrain3d compare on the demo, stills and all", demo, "", None, "20 s")


if __name__ == "__main__":
    time_sight()
    time_reading()
    time_commands()
