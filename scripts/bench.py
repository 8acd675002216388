"""How fast the main steps are, each beside a reference timed in the same run.

Run it with the project's own environment: `.venv/bin/python scripts/bench.py`. It prints the time
of each step, the ratio to its reference and the limit it is meant to keep; it never fails a build.
The search takes some minutes and is left out with `--no-search`.
"""

import math
import os
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import trimesh

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "reference"), str(ROOT / "tests" / "search")]

from gdal_viewshed import Viewshed, write_ground  # noqa: E402
from shapes import box, ground, leaves, terrain  # noqa: E402

from terrain3d.cover.fill import verdict_codes  # noqa: E402
from terrain3d.cover.heads import head_table  # noqa: E402
from terrain3d.cover.layer_outcomes import layer_outcomes  # noqa: E402
from terrain3d.cover.sighted import SightedUnit  # noqa: E402
from terrain3d.detector.pose import Detector  # noqa: E402
from terrain3d.detector.types import DetectorType, Microwave, load_type  # noqa: E402
from terrain3d.sight.panorama import Panorama, panorama  # noqa: E402
from terrain3d.terrain import Foliage, Solids, Terrain  # noqa: E402

if TYPE_CHECKING:
    from terrain3d.serve.session import Session

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
    print(f"{what:<58}{told:>12}   {ratio:<46}{limit}")


def bench_site() -> Terrain:
    """Hills at 0.25 m cells with six walls, a hedge and a row of trees within 12 m of the mount."""
    on = ground(lambda x, y: 0.1 * y + 0.3 * np.sin(x / 3) * np.cos(y / 4))
    walls = None
    for x, y in [(3, 4), (-4, 3), (5, -5), (0, 7), (-6, -6), (7, 1)]:
        r, at = math.hypot(x, y), math.degrees(math.atan2(x, y))
        wall = box((-2, r, -2), (2, r + 0.2, 1.2 + 0.1 * y), at)
        walls = wall if walls is None else walls.joined(wall)
    grown = leaves(
        on, lambda x, y: ((x > 2) & (x < 8) & (y > 5) & (y < 6)) | ((x > -8) & (x < -7)), 0.0, 1.6, 1.2
    )
    site: Terrain = terrain(on, walls, grown)
    return site


def time_sight() -> None:
    """Panorama, GDAL's viewshed (no file written) and embree on the same question; then settings of it."""
    site = bench_site()
    eye = (0.03, 0.02, float(site.ground.height_at(0.03, 0.02)) + 1.0)
    seconds = best_of(lambda: panorama(site, eye, 12.0), 200)
    bare = replace(site, solids=Solids.none(), foliage=Foliage.none())
    of_ground = best_of(lambda: panorama(bare, eye, 12.0), 200)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ground.tif"
        write_ground(path, np.flipud(site.ground.z), site.ground.cell_m)
        viewshed = Viewshed(path)
        middle = site.ground.z.shape[0] // 2
        gdal = best_of(lambda: viewshed.ask(middle, middle, 1.0, 12.0), 200)
        viewshed.close()
    against = "GDAL viewshed, ground only"
    row("panorama and cell visibility, one mount", seconds, against, gdal, "5 ms, aim 2 ms")
    row("  of the ground alone", of_ground, against, gdal, "")
    seen = panorama(site, eye, 12.0)
    embree = best_of(embree_question(site, seen, eye), 3)
    rays = f"embree, {len(seen.cells) * HEIGHTS_PER_CELL} rays"
    row("  with all that stands", seconds, rays, embree, "")
    # A copy has nothing worked out yet.
    met = best_of(lambda: replace(seen).met, 50)
    row("what is met on the way, once for an eye", met, "panorama", seconds, "")
    bare_view = best_of(lambda: replace(seen).without_leaves, 200)
    row("the same panorama without leaves", bare_view, "panorama", seconds, "")
    for name in ("one-head-90", "two-head-180"):
        detector_type = load_type(name, ROOT)
        table = head_table(detector_type)
        for tilt in (0.0, 5.0):
            for where, bearing in (("open ground", 140.0), ("hedge ahead", 300.0)):
                setting = best_of(
                    partial(verdict_codes, seen, table, bearing, tilt, 0.0, 12.0, 1.7, 0.5), 2000
                )
                what = f"one more setting, {name}, tilt {tilt:g}, {where}"
                row(what, setting, "panorama", seconds, "50 us, aim 20 us")
        if name == "one-head-90":
            time_microwave(seen, detector_type, eye, seconds)
        unit = Detector("D1", detector_type, "mount", eye[0], eye[1], eye[2] - 1.0, 1.0, 300.0, 5.0)
        causes = best_of(partial(layer_outcomes, seen, table, unit, 1.7), 200)
        row(f"outcomes of layers, {name}, tilt 5, hedge ahead", causes, "panorama", seconds, "")


def time_microwave(
    seen: Panorama, kind: DetectorType, eye: tuple[float, float, float], panorama_s: float
) -> None:
    """The same type with a microwave: what is worked out once for an eye, and then settings."""
    sight = best_of(lambda: replace(seen).microwave, 50)
    row("what microwaves reach, once for an eye", sight, "panorama", panorama_s, "")
    for needs in ("also", "either"):
        lobe = Microwave(arc=90.0, thickness=60.0, range=12.0, frequency_ghz=10.525, needs=needs)
        both = kind.model_copy(update={"microwave": lobe})
        unit = Detector("D1", both, "mount", eye[0], eye[1], eye[2] - 1.0, 1.0, 300.0, 5.0)
        seeing = SightedUnit(unit, seen, head_table(both))
        setting = best_of(partial(seeing.codes, 1.7), 2000)
        what = f"one more setting, {kind.name}, microwave {needs}"
        row(what, setting, "panorama", panorama_s, "80 us")


def embree_question(site: Terrain, seen: Panorama, eye: tuple[float, float, float]) -> Callable[[], object]:
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
    return partial(mesh.ray.intersects_any, origins, targets)


def time_reading() -> None:
    """Reading whole clouds beside laspy's own read of the same points."""
    import laspy

    from terrain3d.readers.surveys import read_header, read_survey
    from terrain3d.site import GroundSource

    def whole(path: Path) -> object:
        cloud = laspy.read(path)
        return cloud.xyz, np.asarray(cloud.classification)

    with tempfile.TemporaryDirectory() as folder:
        for suffix in ("las", "laz"):
            path = Path(folder) / f"tile.{suffix}"
            write_tile(path)
            source = GroundSource(file=str(path), crs="EPSG:32631", vertical_unit="m")
            header = read_header(path, source)
            seconds = best_of(partial(read_survey, path, header, None), 3)
            reference = best_of(partial(whole, path), 3)
            row(f"reading 2 million points, {suffix}", seconds, "laspy.read with its xyz", reference, "1.5 x")
            row("  its header, CRS and doubts", best_of(partial(read_header, path, source), 3), "", None, "")


def write_tile(path: Path, n: int = 2_000_000) -> None:
    """A cloud strewn over a square kilometre, seeded."""
    import laspy

    rng = np.random.default_rng(1)
    cloud = laspy.LasData(laspy.LasHeader(point_format=6, version="1.4"))
    cloud.header.scales, cloud.header.offsets = np.full(3, 0.001), np.array([500000.0, 4950000.0, 0.0])
    x, y = rng.uniform(0, 1000, (2, n))
    cloud.x, cloud.y, cloud.z = 500000 + x, 4950000 + y, 0.1 * y + rng.normal(0, 0.05, n)
    cloud.classification = rng.choice(np.array([2, 5], np.uint8), n)
    cloud.return_number = cloud.number_of_returns = np.ones(n, np.uint8)
    cloud.write(path)


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
        words = ["compare", str(ROOT / "data" / "demo.toml"), "--out", str(Path(folder) / "out")]
        told = {**os.environ, "NUMBA_CACHE_DIR": str(Path(folder) / "kernels")}

        def compare() -> None:
            subprocess.run(
                [*python, call.format(words)], check=True, stdout=subprocess.DEVNULL, env=told, cwd=ROOT
            )

        begin = time.perf_counter()
        compare()
        first = time.perf_counter() - begin
        later = best_of(compare, 1)
    row("terrain3d compare on the demo, stills and all", later, "", None, "20 s")
    row("  the first time after installation", first, "any later time", later, "")


def time_drawing() -> None:
    """One page of the demo, beside an empty page of its size that matplotlib draws and writes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    from terrain3d.job import run
    from terrain3d.show.pages.context import PageContext
    from terrain3d.show.pages.size import DPI, HEIGHT_PX, WIDTH_PX
    from terrain3d.show.pages.stills import write_stills

    outcome = run(ROOT / "data" / "demo.toml")

    def empty(path: Path) -> None:
        figure = Figure(figsize=(WIDTH_PX / DPI, HEIGHT_PX / DPI), dpi=DPI)
        FigureCanvasAgg(figure)
        figure.savefig(path, format="png", pil_kwargs={"compress_level": 3})

    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        reference = best_of(lambda: empty(place / "empty.png"), 10)
        for kind in ("plan", "section", "oblique"):
            draw = partial(write_stills, PageContext(outcome), place, (kind,))
            pages = len(draw())
            seconds = best_of(draw, 3) / pages
            row(f"drawing a page, {kind}, mean of {pages}", seconds, "an empty page", reference, "")


def time_drafts() -> None:
    """A site file changed by hand: each kind of change on a site of 200 things, and keeping it."""
    from terrain3d.draft.document import draft_of
    from terrain3d.draft.history import History
    from terrain3d.draft.journal import keep
    from terrain3d.draft.options import set_unit
    from terrain3d.draft.things import moved, renamed, things_of

    text = (ROOT / "data" / "demo.toml").read_text(encoding="utf-8")
    wall = '\n[[solid]]\nname = "{}"\npath = [[560018.5, 4950020.85], [560045.5, 4950020.85]]\nheight = 1.0\n'
    text += "".join(wall.format(f"wall {n}") + "thickness = 0.3\n" for n in range(200))
    with tempfile.TemporaryDirectory() as folder:
        history = History(draft_of(text.encode(), Path(folder) / "site.toml"))
        walls = [one for one in things_of(history.draft) if one.name.startswith("wall ")]

        def aimed(n: int) -> None:
            turned = {"bearing": n % 359 + 0.5}
            history.push(set_unit(history.draft, "gate pole, one head", "D1", turned), "aim")

        def dragged(n: int) -> None:
            one = walls[n % len(walls)]
            points = [(x + n / 1000, y) for x, y in one.points]
            history.push(moved(history.draft, one.id, points), "move")

        def named(n: int) -> None:
            history.push(renamed(history.draft, walls[n % len(walls)].id, f"wall, {n}"), "rename")

        reading = best_of(lambda: tomllib.loads(text), 3)
        for what, change in (("aimed", aimed), ("dragged", dragged), ("renamed", named)):
            begin = time.perf_counter()
            for n in range(1000):
                change(n)
            each = (time.perf_counter() - begin) / 1000
            row(f"a thing of 200 {what}, mean of 1,000", each, "its text read by tomllib", reading, "10 ms")
        row("unsaved work kept beside the file", best_of(lambda: keep(history), 10), "", None, "")


def time_study() -> None:
    """The parts of a study on the demo, beside judging its options once."""
    from terrain3d.job import run
    from terrain3d.study import PARTS, study_of

    demo = ROOT / "data" / "demo.toml"
    outcome = run(demo)
    once = best_of(lambda: run(demo), 2)
    row("the demo read and judged", once, "", None, "")
    for part in PARTS:
        draws = 200 if part == "doubt" else None
        told = f"  and {part}" + (", 200 draws" if draws else "")
        seconds = best_of(partial(study_of, outcome, (part,), None, draws), 1)
        row(told, max(seconds, 0.0), "judging once", once, "60 s" if draws else "")


def time_search() -> None:
    """Every setting of 200 mounts on 100 x 100 m, beside the same settings judged one by one."""
    from large import large_site

    from terrain3d.opened import site_of
    from terrain3d.search.best import Limits
    from terrain3d.search.result import SearchResult
    from terrain3d.search.run import Search, run_search, tilts_for
    from terrain3d.search.settings import Space
    from terrain3d.search.target import target_of

    site = large_site()
    target = target_of(site, 1.7)
    names = ("one-head-90", "two-head-180")
    types = tuple(load_type(name, ROOT) for name in names)
    space = Space(types, names, tilts_deg=tilts_for(site, target))
    mount = site.mounts[0]
    seen = panorama(site, (mount.x, mount.y, float(site.ground.height_at(mount.x, mount.y)) + 1.0), 12.0)
    one = sum(
        best_of(partial(verdict_codes, seen, head_table(detector_type), 140.0, 5.0, 0.0, 12.0, 1.7, 0.5), 200)
        for detector_type in types
    ) / len(types)
    for units in (1, 3):
        search = Search(site_of(site, "large"), space, target, Limits(units))
        begin = time.perf_counter()
        result = run_search(search, lambda _step, _share: None)
        seconds = time.perf_counter() - begin
        assert isinstance(result, SearchResult)  # no budget is given
        million = result.settings_judged / 1e6
        what = f"{million:.0f} million settings, best set of {units}, gap {result.gap:.1%}"
        row(what, seconds, "one by one", one * result.settings_judged, "120 s")


def time_page() -> None:
    """How quickly a page follows the hand on the demo, two options side by side: each step whole.

    A step is a setting sent, the picture packed, all that is written beside it, the section and what the
    unit sees. Turning draws less of the ground, as it does while a hand turns. Then the same in a browser,
    where one is installed, from the event there to the picture on the screen.
    """
    from terrain3d.draft.document import read_draft
    from terrain3d.serve.session import Session

    size = {"do": "size", "width": 800, "height": 560}
    with tempfile.TemporaryDirectory() as folder:
        for name in ("demo.toml", "demo.laz"):
            shutil.copy(ROOT / "data" / name, folder)
        begin = time.perf_counter()
        session = Session(Path(folder), read_draft(Path(folder) / "demo.toml"))
        row("a page opens the demo", time.perf_counter() - begin, "", None, "")
        session.do(size)
        session.do({"do": "choose_unit", "option": "shed pole, two heads", "unit": "D1"})
        session.do({"do": "compare", "name": "gate pole, two heads"})
        session.do({"do": "moving", "is_moving": True})
        steps = _page_steps()
        for message in (steps[0], steps[60], steps[120], steps[160]):
            _page_step(session, message)
        times, worked = np.transpose([_page_step(session, message) for message in steps])
        for how, spent, limits in (
            ("by the clock", times, ("150 ms", "300 ms")),
            ("by the processors", worked, ("", "")),
        ):
            what = f"  a setting moves, {how}, median of {len(spent)}"
            row(what, float(np.median(spent)), "", None, limits[0])
            row("    95th percentile", float(np.percentile(spent, 95)), "", None, limits[1])
        for count in (2, 1):
            session.do({"do": "compare", "name": "gate pole, two heads" if count == 2 else None})
            session.frame()
            for how, turn in (
                ("on fewer pixels", partial(session.do, {"do": "turn", "across": 1.5, "up": 0.0})),
                ("on all pixels", partial(_turn_whole, session)),
            ):
                session.do({"do": "moving", "is_moving": False})
                session.do({"do": "moving", "is_moving": True})
                each, of_processors = _turning(session, turn)
                what = f"  a turning picture {how}, {count} in view ({1 / each:.0f} a second)"
                row(what, each, "", None, "33 ms")
                row("    by the processors", of_processors, "", None, "")
        session.do({"do": "moving", "is_moving": False})
        begin = time.perf_counter()
        session.do({"do": "draw", "kind": "wall", "points": [[-1.0, 1.0], [3.0, 1.0]]})
        session.frame()
        row("  a wall drawn in sight of the units", time.perf_counter() - begin, "", None, "")
        begin = time.perf_counter()
        session.do({"do": "would_hold", "x": -2.0, "y": 6.0})
        row("  what would hold a place", time.perf_counter() - begin, "", None, "")
        session.end()
    if shutil.which("chromium") is None:
        return
    from bench_page import followed, told

    for what, seconds, limit in told(followed()):
        row(what, seconds, "", None, limit)


def _turn_whole(session: "Session") -> None:
    """Turn the view as `turn` does, on as many pixels as are shown."""
    session.view.turn(-0.3, 0.0)
    session.due()


def _turning(session: "Session", turn: Callable[[], object]) -> tuple[float, float]:
    """Seconds of a picture while the view turns: by the clock, and of all processors."""
    turn()
    session.frame()
    turns = 60
    begin, worked = time.perf_counter(), time.process_time()
    for _ in range(turns):
        turn()
        session.frame()
    return (time.perf_counter() - begin) / turns, (time.process_time() - worked) / turns


def _page_steps() -> list[dict[str, object]]:
    """200 steps of a hand: a unit turned, tilted, set to other ranges, raised, dragged between two poles."""
    turned = [("bearing", (200 + 2.5 * k) % 360) for k in range(60)]
    tilted = [("tilt", k % 20 - 10) for k in range(60)]
    ranged = [("range", (4, 6, 8, 10, 12)[k % 5]) for k in range(30)]
    raised = [("height", 0.8 + 0.05 * (k % 24)) for k in range(30)]
    steps: list[dict[str, object]] = [
        {"do": "set", "setting": setting, "value": value, "is_same": k > 0}
        for k, (setting, value) in enumerate([*turned, *tilted, *ranged, *raised])
    ]
    for k in range(20):
        mount = ("gate pole", "shed pole")[k % 2]
        steps.append({"do": "move_unit", "option": "shed pole, two heads", "unit": "D1", "mount": mount})
    return steps


def _page_step(session: "Session", message: dict[str, object]) -> tuple[float, float]:
    """Seconds of a step until all that follows the hand is there: by the clock, and of all processors."""
    begin, worked = time.perf_counter(), time.process_time()
    session.do(message)
    session.frame()
    session.state()
    session.picture("section")
    session.picture("outlook")
    return time.perf_counter() - begin, time.process_time() - worked


if __name__ == "__main__":
    time_sight()
    time_reading()
    time_commands()
    time_drawing()
    time_page()
    time_drafts()
    time_study()
    if "--no-search" not in sys.argv[1:]:
        time_search()
