"""The order of steps, from a site file to an outcome; computes nothing itself."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.option import OptionResult, judge_option
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import DetectorType
from terrain3d.errors import InputError
from terrain3d.ranking.compare import ranked
from terrain3d.ranking.reasons import Reason, reasons
from terrain3d.ready import Ready, in_file, option_types, ready_site
from terrain3d.sight.panorama import Panorama, eye_over, panorama
from terrain3d.site import DetectorSetting
from terrain3d.survey.build import build_terrain
from terrain3d.terrain import Terrain

#: Told what is being done, and how far it is (0 to 1).
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Steady:
    """Options as they are compared where aim counts, best first.

    Of each what stays however its units are aimed off by so many degrees of bearing and of tilt.
    """

    options: tuple[OptionResult, ...]
    bearing_deg: float
    tilt_deg: float


@dataclass(frozen=True)
class Outcome:
    """All options of a site judged; `ranking` names them best first, `reasons` say why.

    `steady` is what they were compared by where that is not how they are aimed; the reasons are then of it.
    """

    site_name: str
    terrain: Terrain
    figure: Figure
    options: tuple[OptionResult, ...]
    ranking: tuple[str, ...]
    reasons: tuple[Reason, ...] = ()
    steady: Steady | None = None


def run(site_path: Path, progress: Progress | None = None) -> Outcome:
    """Judge every option of a site file.

    Raises
    ------
    InputError
        When the site file, the survey or a detector type cannot be used.
    """
    return judge_site(ready_site(site_path), progress)


def judge_site(ready: Ready, progress: Progress | None = None) -> Outcome:
    """Judge every option of a site that is checked as far as no ground is needed.

    Raises
    ------
    InputError
        When an option, a type or the survey cannot be used.
    """
    tell = progress or (lambda _step, _fraction: None)
    site, figure = ready.site, ready.figure
    types = option_types(ready)
    reach_m = max(detector_type.max_range for detector_type in types.values())
    try:
        terrain = build_terrain(
            site, ready.folder, reach_m, lambda fraction: tell("reading the survey", fraction)
        )
    except InputError as error:
        raise in_file(error, ready.path) from error
    results = []
    for index, option in enumerate(site.option):
        tell("looking around from each mount", index / len(site.option))
        units = tuple(_placed(terrain, setting, types[setting.type]) for setting in option.detector)
        results.append(_judged(terrain, figure, option.name, units, option.combine))
    tell("looking around from each mount", 1.0)
    return _ranked_outcome(site.site.name, terrain, figure, tuple(results))


def with_units(
    outcome: Outcome, name: str, units: tuple[Detector, ...], look: Callable[..., Panorama] = panorama
) -> Outcome:
    """The same site with one option's units set otherwise, judged and ranked anew.

    Parameters
    ----------
    outcome : Outcome
    name : str
        Of the option that changes.
    units : tuple of Detector
        Its units as they are now.
    look : callable
        What sees the panorama of an eye; whoever tries many settings hands in one that remembers.
    """
    results = tuple(
        _judged(outcome.terrain, outcome.figure, name, units, option.combine, look)
        if option.name == name
        else option
        for option in outcome.options
    )
    return _ranked_outcome(outcome.site_name, outcome.terrain, outcome.figure, results)


def _judged(
    terrain: Terrain,
    figure: Figure,
    name: str,
    units: tuple[Detector, ...],
    combine: str,
    look: Callable[..., Panorama] = panorama,
) -> OptionResult:
    views = tuple(look(terrain, unit.eye, unit.type.max_range) for unit in units)
    return judge_option(terrain, name, units, views, combine, figure.height_m)


def _ranked_outcome(
    site_name: str, terrain: Terrain, figure: Figure, results: tuple[OptionResult, ...]
) -> Outcome:
    best_first = ranked(results)
    names = tuple(option.name for option in best_first)
    ground = terrain.ground
    weight, cell_m2 = protected_weight(ground, terrain.protect), ground.cell_m**2
    found = reasons(best_first, weight, cell_m2)
    return Outcome(site_name, terrain, figure, results, names, found)


def _placed(terrain: Terrain, setting: DetectorSetting, detector_type: DetectorType) -> Detector:
    """A detector setting on its mount."""
    mount = terrain.mount(setting.mount)
    x, y, ground_z = eye_over(terrain.ground, mount.x, mount.y, 0.0)
    return Detector(
        setting.name, detector_type, mount.name, x, y, ground_z, setting.height, setting.bearing % 360,
        setting.tilt, setting.roll, setting.range, setting.pan, setting.fill, setting.pulses,
    )  # fmt: skip
