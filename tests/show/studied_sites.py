"""Sites of which every kind of page has something to show, judged and studied: for tests of all pages."""

# ruff: noqa: RUF001 (names in other scripts are what is asked here)

from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from terrain3d.job import run
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.names import KINDS, PART_KINDS
from terrain3d.show.pages.sheet import Page
from terrain3d.show.pages.size import SIZES
from terrain3d.show.pages.stills import listed_pages
from terrain3d.study import Study, study_of

#: A unit that looks far through a narrow arc, watched against covering, that states what it costs.
_OWN = """
name = "far and watched"
nominal_height = 1.0
mount_height = [0.9, 1.1]
max_range = 20
range_settings = [12, 20]
price = 130
[[head]]
arc = 40
layer = [{ name = "upper", elevation = 0, thickness = 2, zones = 5 }, { name = "lower", elevation = "range", thickness = 2, zones = 5 }]
[supply]
volts = [9, 16]
milliamps = 20
[anti_masking]
reach = 0.5
arc = 60
"""  # noqa: E501

_SITE = """
[site]
name = "{site}"
crs = "EPSG:32631"
cell = 0.5
[paper]
client = "A client"
by = "A designer"
revision = "B"
date = 2026-05-01
[ground]
points = [{points}]
[boundary]
outline = [[560008, 4950008], [560032, 4950008], [560032, 4950032], [560008, 4950032]]
[[beyond]]
name = "lane"
kind = "road"
outline = [[560002, 4950003], [560038, 4950003], [560038, 4950008], [560002, 4950008]]
[[nuisance]]
name = "vent"
kind = "vent"
at = [560019, 4950013]
width = 0.4
height = 1.2
[[solid]]
name = "shed"
outline = [[560024, 4950022], [560028, 4950022], [560028, 4950026], [560024, 4950026]]
height = 2.5
[[solid]]
name = "garden wall"
path = [[560012, 4950017], [560019, 4950017]]
height = 0.9
thickness = 0.3
[[foliage]]
name = "hedge"
outline = [[560012, 4950020], [560014, 4950020], [560014, 4950028], [560012, 4950028]]
height = 1.5
density = 1.5
[[scenario]]
name = "{scenario}"
leaves = 0.2
[[mark]]
name = "gate post"
at = [560010, 4950010]
[[mount]]
name = "{pole}"
at = [560020, 4950011]
[[mount]]
name = "post"
at = [560010.5, 4950021]
wall = 90
[[mount]]
name = "unused"
at = [560030, 4950012]
[[protect]]
name = "{area}"
outline = [[560015, 4950018], [560023, 4950018], [560023, 4950026], [560015, 4950026]]
weight = 2
[[protect]]
name = "path"
outline = [[560015, 4950012], [560018, 4950012], [560018, 4950016], [560015, 4950016]]
[[walk]]
name = "across"
path = [[560009, 4950019], [560023, 4950021], [560031, 4950021]]
[[approach]]
name = "fence"
path = [[560010, 4950031], [560030, 4950031]]
[walk_test]
grade = 2
[sun]
year = 2026
zone = "Europe/Paris"
[doubt]
draws = 4
[[option]]
name = "{options[0]}"
[[option.detector]]
name = "D1"
mount = "{pole}"
type = "one-head-90"
height = 1.0
bearing = 0
tilt = {tilt}
range = 8
[[option.detector.head]]
masked = [1]
[[option]]
name = "{options[1]}"
[[option.detector]]
name = "D1"
mount = "post"
type = "two-head-180"
height = 1.0
bearing = 90
range = 12
[[option.detector]]
name = "D2"
mount = "{pole}"
type = "own.toml"
height = 1.3
bearing = 350
tilt = {tilt}
[[option]]
name = "{options[2]}"
[[option.detector]]
name = "D1"
mount = "in the shed"
type = "one-head-90"
height = 1.0
bearing = 200
range = 10
[[mount]]
name = "in the shed"
at = [560026, 4950024]
"""

_SHORT = ("one head", "two units", "inside the shed")
_LONG = (
    "One head on the old pole beside the gate at the end of the drive, nose up with the slope of the hill",
    "Столб у старых ворот в дальнем конце подъездной дороги, обращённый во двор",
    "Ο στύλος δίπλα στην παλιά πύλη στο τέλος του δρόμου",
)
#: Sites by name: how many metres the ground rises a metre to the north, and what things are called.
SITES = {
    "slope": (0.08, "Slope", "pole", "yard", "winter", _SHORT),
    "steep, long names": (
        0.5,
        "Yard and outbuildings of the old house at the upper end of the long drive, as surveyed in autumn",
        "the old pole beside the gate of the yard",
        "Внутренний двор перед старым домом у дороги",
        "winter, with the leaves of hedges and crowns down",
        _LONG,
    ),
}


def _points(rise: float) -> str:
    """Spot levels of a hillside with a bank across it, around the middle of the site."""
    spots = [
        (560000 + x, 4950000 + y, 100 + rise * y + (0.8 if y > 22 else 0.0) + 0.05 * (x % 7))
        for x in range(0, 41, 4)
        for y in range(0, 41, 4)
    ]
    return ", ".join(f"[{x}, {y}, {z:.2f}]" for x, y, z in spots)


@lru_cache(maxsize=2)
def studied(name: str) -> Study:
    """A site of `SITES` with all parts of its study."""
    rise, site, pole, area, scenario, options = SITES[name]
    tilt = -round(57.3 * rise / (1 + rise * rise / 3), 1)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "site.toml"
        text = _SITE.format(
            site=site, points=_points(rise), pole=pole, area=area, scenario=scenario, options=options,
            tilt=tilt,
        )  # fmt: skip
        path.write_text(text, encoding="utf-8")
        (Path(folder) / "own.toml").write_text(_OWN, encoding="utf-8")
        return study_of(run(path))


def all_pages(study: Study, size: str = "screen") -> list[Page]:
    """A page of every kind, of every option, and of each line, head and walk."""
    kinds = [*KINDS, *(kind for part in study.parts for kind in PART_KINDS[part])]
    return listed_pages(PageContext(study.outcome, SIZES[size], study=study), tuple(kinds))
