"""What tests of a pack share: the site of strange names, and what was made of it."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from terrain3d.job import Outcome
from terrain3d.pack.names import asked
from terrain3d.study import Study

#: What a site in local metres can have, but for the report, whose pictures take long.
LOCAL = tuple(kind for kind in asked((), False) if kind != "report")
#: Names that programs trip over: markup, formulas, paths, codes of drawings, quotes, scripts, length.
NAMES = {
    "site": "<b>&\"slope\"</b> <script>alert('1')</script>",
    "first": '=HYPERLINK("http://x.invalid","go") \'north\'',
    "second": "../../etc/passwd \\U+0041 %%c {\\C1;red} ^I",
    "pole": "@pole \u0634\u062c\u0631\u0629 \u05e2\u05e5",
    "post": "-1+2 \u0634\u062c\u0631\u0629 \u05e2\u05e5 "
    "\u6728\u306e\u67f1 \ub098\ubb34 \u0932\u0915\u095c\u0940",
    "yard": "y" * 180 + " \U0001f415 \u03b1\u03c5\u03bb\u03ae \u0434\u0432\u043e\u0440",
    "shed": "+shed ]]> <!-- --> &amp; ;,\t".strip(),
    "hedge": "#{hedge} $(rm) `x` %d %s {0}",
    "walk": "=1+1",
    "unit": '"; DROP TABLE units; --',
}


def _text(name: str) -> str:
    return json.dumps(NAMES[name], ensure_ascii=False)


STRANGE = f"""
[site]
name = {_text("site")}
crs = "EPSG:32631"
cell = 0.5
[ground]
points = [[559985, 4949985, 103.6], [560015, 4949985, 103.6], [560015, 4950015, 100], [559985, 4950015, 100]]
[boundary]
outline = [[559988, 4949994], [560012, 4949994], [560012, 4950012], [559988, 4950012]]
[[solid]]
name = {_text("shed")}
outline = [[560005, 4950005], [560008, 4950005], [560008, 4950008], [560005, 4950008]]
height = 2.5
[[foliage]]
name = {_text("hedge")}
outline = [[559992, 4950001], [559993, 4950001], [559993, 4950006], [559992, 4950006]]
height = 1.4
density = 1.5
[[mount]]
name = {_text("pole")}
at = [560000, 4949996]
[[mount]]
name = {_text("post")}
at = [559994, 4950003]
wall = 90
[[protect]]
name = {_text("yard")}
outline = [[559997, 4949998], [560003, 4949998], [560003, 4950004], [559997, 4950004]]
[[walk]]
name = {_text("walk")}
path = [[559991, 4950000], [560009, 4950000]]
[[option]]
name = {_text("first")}
[[option.detector]]
name = {_text("unit")}
mount = {_text("pole")}
type = "two-head-180"
height = 1.0
bearing = 10
[[option]]
name = {_text("second")}
[[option.detector]]
name = {_text("unit")}
mount = {_text("post")}
type = "one-head-90"
height = 1.0
bearing = 90
[[option.detector.head]]
masked = [3, 4]
[[walk_tested]]
name = {_text("first")}
on = 2026-05-03
points = 12
as_told = 11
[[walk_tested]]
name = {_text("second")}
on = 2026-05-03
points = 12
as_told = 11
"""
#: What is told of that.
WALK_TESTED = "alk-tested on 2026-05-03: 11 of 12 points as told"


@dataclass(frozen=True, eq=False)
class Packed:
    """A study, the folder of its pack, a copy for GDAL, and what results.json says there.

    GDAL may write notes of its own beside what it reads.
    """

    study: Study
    folder: Path
    copy: Path
    document: dict[str, Any]

    @property
    def outcome(self) -> Outcome:
        return self.study.outcome

    def option(self, name: str) -> dict[str, Any]:
        """An option of results.json."""
        return next(option for option in self.document["options"] if option["name"] == name)
