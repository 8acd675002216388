"""The order of steps, from a site file to an outcome; computes nothing itself."""

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from terrain3d.choose.compare import ranked
from terrain3d.choose.why import Reason, reasons, why_words
from terrain3d.cover.areas import protected_weight
from terrain3d.cover.option import OptionResult, judge_option
from terrain3d.detector.figures import Figure, find_figure
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import DetectorType, load_type
from terrain3d.errors import InputError
from terrain3d.sight.panorama import Panorama, eye_over, panorama
from terrain3d.site import DetectorSetting, Site, load_site
from terrain3d.survey.build import build_terrain
from terrain3d.terrain import Terrain

#: Told what is being done, and how far it is (0 to 1).
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Outcome:
    """All options of a site judged; `ranking` names them best first, `reasons` are what `why` is made of."""

    site_name: str
    terrain: Terrain
    figure: Figure
    options: tuple[OptionResult, ...]
    ranking: tuple[str, ...]
    why: str
    reasons: tuple[Reason, ...] = ()


def run(site_path: Path, progress: Progress | None = None) -> Outcome:
    """Judge every option of a site file.

    Raises
    ------
    InputError
        When the site file, the survey or a detector type cannot be used.
    """
    tell = progress or (lambda _step, _fraction: None)
    site = load_site(site_path)
    folder = site_path.parent
    if not site.option:
        raise InputError("there is no [[option]] to judge", str(site_path), "add one with its detectors")
    types = _load_types(site, folder, str(site_path))
    figure = _figure(site, str(site_path))
    reach_m = max(kind.max_range for kind in types.values())
    try:
        terrain = build_terrain(site, folder, reach_m, lambda fraction: tell("reading the survey", fraction))
    except InputError as error:
        raise in_file(error, site_path) from error
    results = []
    for index, option in enumerate(site.option):
        tell("looking around from each mount", index / len(site.option))
        where = f"{site_path}: option {option.name!r}"
        units = tuple(_placed(terrain, setting, types[setting.type], where) for setting in option.detector)
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
    return Outcome(
        site_name, terrain, figure, results, names, why_words(best_first, figure.name, found), found
    )


def in_file(error: InputError, site_path: Path) -> InputError:
    """The same error in the file it is about: rooms know a site as values, only the job its file's name."""
    where = error.where.replace("site.toml", str(site_path), 1) if error.where else str(site_path)
    return InputError(error.what, where, error.mend)


def own_figures(site: Site) -> tuple[Figure, ...]:
    """The figures that a site file brings."""
    return tuple(Figure(shape.name, shape.height, "site file") for shape in site.figure)


def _figure(site: Site, where: str) -> Figure:
    try:
        return find_figure(site.site.figure, own_figures(site))
    except InputError as error:
        raise InputError(error.what, f"{where}: site: figure", error.mend) from None


def _load_types(site: Site, folder: Path, where: str) -> dict[str, DetectorType]:
    types: dict[str, DetectorType] = {}
    for option in site.option:
        for setting in option.detector:
            if setting.type not in types:
                try:
                    types[setting.type] = load_type(setting.type, folder)
                except InputError as error:
                    place = f"{where}: option {option.name!r}, detector {setting.name!r}: type"
                    place += f", in {error.where}" if error.where else ""
                    raise InputError(error.what, place, error.mend) from None
    return types


def _placed(terrain: Terrain, setting: DetectorSetting, kind: DetectorType, where: str) -> Detector:
    """A detector setting on its mount, checked against what its type can do."""
    where = f"{where}, detector {setting.name!r}"
    names = [mount.name for mount in terrain.mounts]
    if setting.mount not in names:
        near = difflib.get_close_matches(setting.mount, names, n=1)
        raise InputError(
            f"there is no mount {setting.mount!r}",
            f"{where}: mount",
            f"did you mean {near[0]!r}?" if near else f"known: {', '.join(names) or 'none'}",
        )
    if setting.range not in kind.range_settings:
        offered = ", ".join(f"{r:g}" for r in kind.range_settings)
        raise InputError(
            f"{kind.name} has no range setting of {setting.range:g} m",
            f"{where}: range",
            f"it has {offered}",
        )
    if setting.pulses is not None and setting.pulses not in kind.pulses:
        offered = ", ".join(str(n) for n in kind.pulses)
        raise InputError(
            f"{kind.name} has no pulse setting of {setting.pulses}", f"{where}: pulses", f"it has {offered}"
        )
    if setting.pan is not None and len(setting.pan) != len(kind.head):
        raise InputError(
            f"pan gives {_count(len(setting.pan), 'angle')},"
            f" {kind.name} has {_count(len(kind.head), 'head')}",
            f"{where}: pan",
            "give one angle for each head",
        )
    mount = terrain.mount(setting.mount)
    x, y, ground_z = eye_over(terrain.ground, mount.x, mount.y, 0.0)
    return Detector(
        setting.name, kind, mount.name, x, y, ground_z, setting.height, setting.bearing % 360,
        setting.tilt, setting.roll, setting.range, setting.pan, setting.fill, setting.pulses,
    )  # fmt: skip


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"
