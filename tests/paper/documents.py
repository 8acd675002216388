"""Documents that between them hold every key of results.json, with null and without."""

import json
from datetime import date
from pathlib import Path

import pyproj
from microwave_types import type_text
from site_files import option_text, written

from terrain3d.fixing.unit import option_fixing
from terrain3d.job import run
from terrain3d.paper.fixing import fixing_json
from terrain3d.paper.results import results_json
from terrain3d.paper.search import search_results_json
from terrain3d.paper.study import study_json
from terrain3d.paper.walktest import plan_json, reading_json, sheet_csv
from terrain3d.search.run import read_search, run_search
from terrain3d.study import study_of
from terrain3d.walktest.answers import answers_in
from terrain3d.walktest.plan import plan_walks
from terrain3d.walktest.read import read_walks

ROOT = Path(__file__).parents[2]


#: Local metres, nothing protected, nothing drawn; two options of which one stands as the other does.
BARE = """
[site]
name = "bare slope"
cell = 0.5
[ground]
plane = { fall = 12, towards = 180, extent = 30 }
[[mount]]
name = "pole"
at = [0, -4]
[[scenario]]
name = "winter"
leaves = 0.2
[doubt]
draws = 2
"""
#: A CRS, all that can be drawn, a wall before one unit; one area behind the units, one indoors.
FULL = """
[site]
name = "slope with everything"
crs = "EPSG:32631"
cell = 0.25
[ground]
error = "QL1"
plane = { fall = 12, towards = 180, extent = 30 }
[boundary]
outline = [[559988, 4949994], [560012, 4949994], [560012, 4950012], [559988, 4950012]]
[[beyond]]
name = "lane"
kind = "road"
keep_out = true
outline = [[559988, 4949991], [560012, 4949991], [560012, 4949994], [559988, 4949994]]
[[beyond]]
name = "field"
kind = "neighbour"
keep_out = true
outline = [[559985, 4949998], [559988, 4949998], [559988, 4950004], [559985, 4950004]]
[[solid]]
name = "shed"
outline = [[560004, 4950000], [560008, 4950000], [560008, 4950004], [560004, 4950004]]
height = 2.5
[[solid]]
name = "barn"
outline = [[559996, 4950012.5], [560004, 4950012.5], [560004, 4950014.5], [559996, 4950014.5]]
height = 4
[[foliage]]
name = "hedge"
outline = [[559993, 4950005], [559994, 4950005], [559994, 4950013], [559993, 4950013]]
height = 1.4
density = 3
[[nuisance]]
name = "vent"
kind = "vent"
at = [560000, 4950002]
width = 0.4
height = 1.2
[[mount]]
name = "pole"
at = [560000, 4949996]
[[mount]]
name = "shed wall"
at = [560003.7, 4950002]
[[mark]]
name = "gate post"
at = [559999, 4950001]
[[mark]]
name = "far corner"
at = [559900, 4950001]
[[protect]]
name = "yard"
outline = [[559997, 4949998], [560003, 4949998], [560003, 4950004], [559997, 4950004]]
weight = 2
[[protect]]
name = "corner behind"
outline = [[559990, 4949988], [559994, 4949988], [559994, 4949991], [559990, 4949991]]
[[protect]]
name = "inside the shed"
outline = [[560005, 4950001], [560007, 4950001], [560007, 4950003], [560005, 4950003]]
[[approach]]
name = "in the middle"
path = [[560000, 4950002], [560000.5, 4950002]]
[[walk]]
name = "across"
path = [[559991, 4950001], [560003, 4950001]]
[[walk]]
name = "behind"
path = [[559991, 4949992], [560009, 4949992]]
[[scenario]]
name = "shed gone"
without = ["shed"]
[[scenario]]
name = "not cut"
growth = 0.5
[walk_test]
grade = 2
[sun]
near = 1
[doubt]
draws = 3
"""

#: A wall between the way in and the yard, open at its south end where the unit looks, and behind the unit.
DETOUR = """
[site]
name = "a wall with a long way round"
[ground]
plane = { fall = 0, towards = 0, extent = 30 }
[[solid]]
name = "long wall"
path = [[0, -1], [0, 15]]
height = 2
thickness = 0.3
[[mount]]
name = "pole"
at = [0, -10]
[[protect]]
name = "yard"
outline = [[-6, 0], [-4, 0], [-4, 4], [-6, 4]]
[[approach]]
name = "gate"
path = [[8, 2], [8, 3]]
"""


def demo() -> dict[str, dict]:
    """`cover` and `compare` of the demo, and what looks past its verdicts, over its survey."""
    looked = study_of(run(ROOT / "data" / "demo.toml"), ("beyond", "sun"))
    texts = {"demo": results_json(looked.outcome), "demo study": study_json(looked)}
    return {name: json.loads(text) for name, text in texts.items()}


def plane(folder: Path) -> dict:
    """`cover` of a bare slope, one option."""
    return json.loads(results_json(run(written(folder, BARE + option_text("up")))))


def bare_study(folder: Path) -> dict:
    """All parts where next to nothing is drawn; of one option nothing is held."""
    options = (
        option_text("up") + option_text("the same", bearing=0) + option_text("aloft", height=9.9, tilt=-30)
    )
    heat = "[heat]\nemissivity = 0.001\n"
    return json.loads(study_json(study_of(run(written(folder, BARE + heat + options)))))


def lone_study(folder: Path) -> dict:
    """Doubt of one option alone."""
    return json.loads(study_json(study_of(run(written(folder, BARE + option_text("up"))), ("doubt",))))


def full_study(folder: Path) -> dict:
    """All parts where everything is drawn: held ground about the only way in, a unit at a wall."""
    options = (
        option_text("up", tilt=-3)
        + option_text("at the wall", "shed wall", bearing=90, pulses=3)
        + option_text("west", "shed wall", "two-head-180", bearing=270, height=1.3)
        + option_text("away", bearing=180)
        + option_text("aloft", height=9.9, tilt=-30)
    )
    return json.loads(study_json(study_of(run(written(folder, FULL + options)))))


def close_in(folder: Path) -> dict:
    """What is open close to units: on a wall or on none, high over a person or low, of one head or two."""
    wall = '[[mount]]\nname = "house wall"\nat = [0, -3]\nwall = 0\n'
    options = (
        option_text("wall", "house wall", "two-head-180")
        + option_text("aloft", height=2.4, tilt=8)
        + option_text("up")
    )
    return json.loads(study_json(study_of(run(written(folder, BARE + wall + options)), ("close-in",))))


def detour(folder: Path) -> dict:
    """Ways in of which the least likely one is long."""
    return json.loads(study_json(study_of(run(written(folder, DETOUR + option_text("north"))), ("routes",))))


def searched(folder: Path, keys: str, text: str = FULL) -> dict:
    """A search with these keys in its table."""
    table = f"[search]\nbearing_step = 30\ntilts = [-6, 0]\n{keys}\n"
    result = run_search(
        read_search(written(folder, text + table), lambda _step, _fraction: None), lambda *_: None
    )
    return json.loads(search_results_json(result))


#: A type with two heads, with names for its sensitivities.
FITTED = """
name = "fitted"
nominal_height = 1.0
mount_height = [0.8, 1.2]
max_range = 12
range_settings = [6, 12]
pulses = [1, 3]
sensitivity = { low = 0.65, high = 0.35 }
[[head]]
pan = -45
arc = 84
layer = [{ name = "upper", elevation = 0, thickness = 3, zones = 9 }, { name = "lower", elevation = "range", thickness = 3, zones = 9 }]
[[head]]
pan = 45
arc = 84
layer = [{ name = "upper", elevation = 0, thickness = 3, zones = 9 }, { name = "lower", elevation = "range", thickness = 3, zones = 9 }]
[mounting]
swivel = 10
[mounting.bracket]
swivel = 60
"""  # noqa: E501


def set_by_heads(folder: Path) -> dict:
    """Walks and doubt of a unit whose heads are set by themselves, on its bracket."""
    (folder / "fitted.toml").write_text(FITTED, encoding="utf-8")
    heads = (
        "[[option.detector.head]]\nrange = 6\nsensitivity = 'high'\nmasked = [1]\n"
        "[[option.detector.head]]\nfill = [0.4, 0.6]\npulses = 3\nmasked_arc = [30, 40]\n"
    )
    named = option_text("named", kind="fitted.toml", sensitivity='"low"', bracket="true") + heads
    tests = "[walk_test]\ngrade = 2\n"
    outcome = run(written(folder, BARE + tests + named))
    return json.loads(study_json(study_of(outcome, ("walks", "doubt"))))


def with_microwave(folder: Path) -> dict:
    """Walks before units with a microwave, and what they reach beyond."""
    (folder / "also.toml").write_text(type_text(), encoding="utf-8")
    (folder / "either.toml").write_text(type_text("either"), encoding="utf-8")
    options = option_text("also", kind="also.toml") + option_text("either", kind="either.toml", bearing=180)
    return json.loads(study_json(study_of(run(written(folder, FULL + options)), ("walks", "beyond"))))


#: Before a wall a hedge that will grow, and ground that rises.
WATCHED = """
[site]
name = "a bank before a wall"
cell = 0.25
[ground]
plane = { fall = 80, towards = 180, extent = 30 }
[[mount]]
name = "house wall"
at = [0, 0]
wall = 0
[[solid]]
name = "post"
path = [[0.1, 0.35], [0.2, 0.35]]
height = 2
thickness = 0.1
[[foliage]]
name = "hedge"
path = [[-4, 0.95], [4, 0.95]]
thickness = 0.4
height = 1.5
density = 2
[[scenario]]
name = "not cut"
growth = 0.5
"""


def watched(folder: Path) -> dict:
    """`cover` of a unit whose watch against covering has all kinds of things in it."""
    near = option_text("watched", "house wall", "one-head-90-watched", bearing=5, height=0.5)
    return json.loads(results_json(run(written(folder, WATCHED + near))))


def supplied(folder: Path) -> dict:
    """`cover` of options whose types state a price, a supply, or supplies that no voltage suits."""
    plain = (ROOT / "terrain3d" / "detector" / "builtin" / "one-head-90.toml").read_text(encoding="utf-8")
    supply = plain.index("[supply]")
    (folder / "unpriced.toml").write_text(plain.replace("price = 100", "# price = 100"), encoding="utf-8")
    (folder / "unsupplied.toml").write_text(plain[:supply], encoding="utf-8")
    battery = option_text("battery and mains", kind="one-head-90-battery")
    second = option_text("", bearing=90).split("\n", 2)[2].replace('"D1"', '"D2"')
    text = option_text("unpriced", kind="unpriced.toml") + option_text("unsupplied", kind="unsupplied.toml")
    return json.loads(results_json(run(written(folder, BARE + text + battery + second))))


#: Runs of all kinds: shared, drawn off the ground's edge, of a gauge; a battery, things to buy.
FED = """
[supply]
volts = 13.8
lowest_volts = 10.5
milliamps = 40
own_milliamps = 60
standby_hours = 12
battery_ah = 1.2
battery_price = 20
[[supply.item]]
name = "junction box"
count = 2
price = 4.5
[[supply.run]]
to = "joint"
length = 600
mm2 = 0.5
class = 5
price = 0.4
[[supply.run]]
from = "joint"
to = "pole"
path = [[-40, -4], [0, -4]]
extra = 3
awg = 22
[[mount]]
name = "unfed"
at = [2, -4]
"""


def fed(folder: Path) -> dict:
    """`cover` with a supply: one that fails in several ways, one that cannot be fed, one without a run."""
    plain = (ROOT / "terrain3d" / "detector" / "builtin" / "one-head-90.toml").read_text(encoding="utf-8")
    supply = plain.index("[supply]")
    (folder / "unsupplied.toml").write_text(plain[:supply], encoding="utf-8")
    greedy = "[supply]\nvolts = [9, 16]\nmilliamps = 600\npower_at = 12\n"
    (folder / "greedy.toml").write_text(plain[:supply] + greedy, encoding="utf-8")
    second = option_text("", bearing=90).split("\n", 2)[2].replace('"D1"', '"D2"')
    text = (
        option_text("two on a run") + second
        + option_text("starved", kind="greedy.toml")
        + option_text("no run", mount="unfed")
        + option_text("nothing stated", kind="unsupplied.toml")
    )  # fmt: skip
    return json.loads(results_json(run(written(folder, BARE + FED + text))))


def fed_well(folder: Path) -> dict:
    """`cover` with a supply that holds and says no more than it has to."""
    supply = '[supply]\nvolts = 12\n[[supply.run]]\nto = "pole"\nlength = 20\nohm_per_km = 30\n'
    return json.loads(results_json(run(written(folder, BARE + supply + option_text("fed")))))


def over_fed(folder: Path) -> dict:
    """`cover` with a supply that gives more than the type stands, and one whose battery is not stated."""
    supply = (
        '[supply]\nvolts = 24\nlowest_volts = 8.9\nstandby_hours = 12\n[[supply.run]]\nto = "pole"\n'
        "length = 20\nmm2 = 0.5\n"
    )
    return json.loads(results_json(run(written(folder, BARE + supply + option_text("fed")))))


#: Something for every kind of walk: a way in, a wall behind the unit, a hedge, two heads, marks to tape from.
WALKED = """
[site]
name = "slope to be walked"
crs = "EPSG:32631"
cell = 0.5
[ground]
plane = { fall = 12, towards = 180, extent = 40 }
[[mount]]
name = "house wall"
at = [560000, 4950012]
wall = 180
[[mount]]
name = "high pole"
at = [560012, 4950000]
[[mark]]
name = "gate post"
at = [560001, 4949996]
[[mark]]
name = "corner"
at = [559992, 4950010]
[[approach]]
name = "lane"
path = [[559990, 4950004], [560010, 4950004]]
[[foliage]]
name = "hedge"
path = [[559996, 4950008], [559998, 4950008]]
thickness = 0.5
height = 1.5
density = "medium"
[[walk_tested]]
name = "two heads"
on = 2026-05-03
points = 12
as_told = 11
"""


def walked_site(folder: Path) -> Path:
    """A site file with something for every kind of walk."""
    text = WALKED + option_text("two heads", "house wall", "two-head-180", bearing=180)
    return written(folder, text + option_text("high up", "high pole", height=5.0, bearing=90))


def walk_plan(folder: Path) -> dict:
    """`walktest`: the sheet."""
    outcome = run(walked_site(folder))
    return json.loads(plan_json(outcome, plan_walks(outcome, "two heads")))


def walk_read(folder: Path) -> dict:
    """`walktest --read`: some points walked, some otherwise than told, some left out."""
    outcome = run(walked_site(folder))
    plan = plan_walks(outcome, "two heads")
    crs = pyproj.CRS("EPSG:32631")
    sheet = sheet_csv(plan.points, outcome.terrain.frame, crs).decode()
    lines = sheet.splitlines()
    seen = [*(["yes", "no"] * 3), *([""] * len(lines))]
    filled = [lines[0], *(line + word for line, word in zip(lines[1:], seen, strict=False))]
    answers = answers_in("\n".join(filled), "sheet")
    return json.loads(reading_json(outcome, read_walks(outcome, "two heads", answers, crs, "sheet")))


def fixed(folder: Path) -> dict:
    """`sheet` with all that can be told: a day, a CRS, marks."""
    outcome = run(walked_site(folder))
    units = option_fixing(outcome, "two heads", pyproj.CRS("EPSG:32631"), date(2026, 11, 27))
    return json.loads(fixing_json(outcome, "two heads", units))


def fixed_high(folder: Path) -> dict:
    """`sheet` of a unit so high that no staff meets it."""
    outcome = run(walked_site(folder))
    units = option_fixing(outcome, "high up", pyproj.CRS("EPSG:32631"), None)
    return json.loads(fixing_json(outcome, "high up", units))


def fixed_alone(folder: Path) -> dict:
    """`sheet` with next to nothing to tell from: no CRS, no mark, one mount, where the ground ends."""
    spots = "points = [[-15, -5, 0], [15, -5, 0], [0, 15, 1]]"
    text = BARE.replace("plane = { fall = 12, towards = 180, extent = 30 }", spots)
    outcome = run(written(folder, text.replace("[0, -4]", "[0, -4.9]") + option_text("alone")))
    units = option_fixing(outcome, "alone", None, date(2026, 11, 27))
    return json.loads(fixing_json(outcome, "alone", units))


def fixed_by_corners(folder: Path) -> dict:
    """`sheet` where no mark is drawn, and a barn stands ahead."""
    barn = '[[solid]]\nname = "barn"\noutline = [[-2, 8], [5, 8], [5, 12], [-2, 12]]\nheight = 3.0\n'
    outcome = run(written(folder, BARE + barn + option_text("by the barn")))
    units = option_fixing(outcome, "by the barn", None, None)
    return json.loads(fixing_json(outcome, "by the barn", units))
