"""Where outdoor dual-layer PIR units hold sloping ground, where they do not, and why.

The face of the package for a notebook or a script; each name is loaded when it is first used.

>>> import terrain3d
>>> site = terrain3d.open_site("data/demo.toml")
>>> outcome = terrain3d.judge(site)
>>> outcome.ranking[0]
'shed pole, one head'
>>> round(outcome.option("shed pole, one head").area_m2["both"])
87
>>> round(terrain3d.with_figure(outcome, "deer").option("shed pole, one head").area_m2["both"])
8
>>> figure = terrain3d.page_of(outcome, "plan", "shed pole, one head")
>>> figure.get_size_inches().round(2).tolist()
[10.0, 7.07]
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from terrain3d.cover.option import OptionResult, option_verdicts
    from terrain3d.cover.sighted import SightedUnit, sighted, unit_on
    from terrain3d.cover.verdict import Verdict
    from terrain3d.detector.figures import Figure
    from terrain3d.detector.pose import Detector
    from terrain3d.detector.types import DetectorType, load_type
    from terrain3d.errors import InputError
    from terrain3d.job import Outcome, judge, judge_units, with_figure, with_units
    from terrain3d.opened import OpenedSite, open_site, site_of
    from terrain3d.paper.write import results_of, write
    from terrain3d.search.budget import NothingFits
    from terrain3d.search.result import SearchResult
    from terrain3d.search.run import search_of
    from terrain3d.study import OptionStudy, Study, study_of
    from terrain3d.survey.solids import block, wall
    from terrain3d.terrain import (
        Approach,
        Area,
        Beyond,
        Foliage,
        Ground,
        Mount,
        Nuisance,
        Solids,
        Terrain,
        Walk,
        terrain_from_heights,
    )

#: Where each name lives.
_HOMES = {
    "Approach": "terrain",
    "Area": "terrain",
    "Beyond": "terrain",
    "Detector": "detector.pose",
    "DetectorType": "detector.types",
    "Figure": "detector.figures",
    "Foliage": "terrain",
    "Ground": "terrain",
    "InputError": "errors",
    "Mount": "terrain",
    "NothingFits": "search.budget",
    "Nuisance": "terrain",
    "OpenedSite": "opened",
    "OptionResult": "cover.option",
    "OptionStudy": "study",
    "Outcome": "job",
    "SearchResult": "search.result",
    "SightedUnit": "cover.sighted",
    "Solids": "terrain",
    "Study": "study",
    "Terrain": "terrain",
    "Verdict": "cover.verdict",
    "Walk": "terrain",
    "block": "survey.solids",
    "judge": "job",
    "judge_units": "job",
    "load_type": "detector.types",
    "open_site": "opened",
    "option_verdicts": "cover.option",
    "page_of": "show.pages.page_of",
    "results_of": "paper.write",
    "search_of": "search.run",
    "sighted": "cover.sighted",
    "site_of": "opened",
    "study_of": "study",
    "terrain_from_heights": "terrain",
    "unit_on": "cover.sighted",
    "wall": "survey.solids",
    "with_figure": "job",
    "with_units": "job",
    "write": "paper.write",
}

__all__ = [
    "Approach",
    "Area",
    "Beyond",
    "Detector",
    "DetectorType",
    "Figure",
    "Foliage",
    "Ground",
    "InputError",
    "Mount",
    "NothingFits",
    "Nuisance",
    "OpenedSite",
    "OptionResult",
    "OptionStudy",
    "Outcome",
    "SearchResult",
    "SightedUnit",
    "Solids",
    "Study",
    "Terrain",
    "Verdict",
    "Walk",
    "block",
    "judge",
    "judge_units",
    "load_type",
    "open_site",
    "option_verdicts",
    "page_of",
    "results_of",
    "search_of",
    "sighted",
    "site_of",
    "study_of",
    "terrain_from_heights",
    "unit_on",
    "wall",
    "with_figure",
    "with_units",
    "write",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'terrain3d' has no attribute {name!r}")
    return getattr(import_module(f"terrain3d.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
