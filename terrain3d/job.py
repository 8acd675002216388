"""The order of steps, from an opened site to an outcome; computes nothing itself."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.option import OptionResult, UnderScenario, judge_option
from terrain3d.cover.sighted import Look, SightedUnit, sighted, unit_on
from terrain3d.detector.figures import Figure, figure_of
from terrain3d.detector.pose import Detector
from terrain3d.errors import InputError, one_named
from terrain3d.opened import OpenedSite, Progress, open_ready
from terrain3d.ranking.compare import ranked
from terrain3d.ranking.reasons import Reason, reasons
from terrain3d.ready import Ready, check_units, head_settings, option_types, ready_site
from terrain3d.sight.panorama import panorama, remembered
from terrain3d.terrain import Terrain
from terrain3d.wording import counted, in_brief


@dataclass(frozen=True, eq=False)
class Steady:
    """Options as they are compared where aim counts, best first.

    Of each what stays however its units are aimed off by so many degrees of bearing and of tilt.
    """

    options: tuple[OptionResult, ...]
    bearing_deg: float
    tilt_deg: float


@dataclass(frozen=True, eq=False)
class Outcome:
    """All options of a site judged; `ranking` names them best first, `reasons` say why.

    `steady` is what they were compared by where that is not how they are aimed; the reasons are then of it.
    """

    site: OpenedSite
    options: tuple[OptionResult, ...]
    ranking: tuple[str, ...]
    reasons: tuple[Reason, ...] = ()
    steady: Steady | None = None

    def __repr__(self) -> str:
        best = (f"best {self.ranking[0]!r}",) if self.ranking else ()
        return in_brief(self, f"site {self.site_name!r}", counted(len(self.options), "option"), *best)

    @property
    def site_name(self) -> str:
        return self.site.name

    @property
    def terrain(self) -> Terrain:
        return self.site.terrain

    @property
    def figure(self) -> Figure:
        return self.site.figure

    def on(self, terrain: Terrain) -> "Outcome":
        """The same shown on another terrain, such as one that reaches farther."""
        return replace(self, site=replace(self.site, terrain=terrain))

    def option(self, name: str) -> OptionResult:
        """An option by its name.

        Raises
        ------
        InputError
            When there is none of that name.
        """
        return one_named(name, self.options, "option")


def run(site_path: Path, progress: Progress | None = None) -> Outcome:
    """Open a site file and judge every option.

    Raises
    ------
    InputError
        When the site file, the survey or a detector type cannot be used.
    """
    return judge_ready(ready_site(site_path), progress)


def judge_ready(ready: Ready, progress: Progress | None = None) -> Outcome:
    """Read the survey of a site whose file is checked, and judge every option.

    Raises
    ------
    InputError
        When an option, a type or the survey cannot be used.
    """
    return judge(open_ready(ready, option_types(ready), progress), progress)


def judge(
    site: OpenedSite,
    progress: Progress | None = None,
    look: Look | None = None,
    before: Outcome | None = None,
) -> Outcome:
    """Judge every option that a site's file names.

    Parameters
    ----------
    site : OpenedSite
    progress : callable, optional
    look : callable, optional
        What sees the panorama of an eye; whoever judges a site again and again hands in one that remembers.
    before : Outcome, optional
        Of the same site: options whose units stand there as they stood then are taken from it.
    """
    tell = progress or (lambda _step, _fraction: None)
    # Options that hang a unit on the same mount at the same height see the same from there.
    look = look or remembered(_MOST_LOOKS)
    results = []
    for index, option in enumerate(site.file.option):
        tell("looking around from each mount", index / len(site.file.option))
        units = tuple(
            unit_on(
                site.terrain, one.mount, site.types[one.type], one.height, one.bearing, one.tilt, one.roll,
                one.range, one.pan, one.fill, one.pulses, one.name, one.sensitivity, head_settings(one),
                one.bracket,
            )
            for one in option.detector
        )  # fmt: skip
        as_before = None if before is None else _as_before(site, before, option.name, units, option.combine)
        results.append(as_before or _judged(site, option.name, units, option.combine, look))
    tell("looking around from each mount", 1.0)
    return _ranked_outcome(site, tuple(results))


def _as_before(
    site: OpenedSite, before: Outcome, name: str, units: tuple[Detector, ...], combine: str
) -> OptionResult | None:
    """An option as it was judged, where neither its units nor the ground under them are others."""
    now, then = ((one.terrain, *(under.terrain for under in one.scenarios)) for one in (site, before.site))
    is_same_ground = len(now) == len(then) and all(a is b for a, b in zip(now, then, strict=True))
    if not is_same_ground or site.figure != before.figure:
        return None
    same = (one for one in before.options if (one.name, one.combine) == (name, combine))
    return next((one for one in same if one.detectors == units), None)


def judge_units(
    site: OpenedSite, options: Mapping[str, tuple[Detector, ...]], combine: str = "any"
) -> Outcome:
    """Judge options given as units, on a site that may have no file.

    Parameters
    ----------
    site : OpenedSite
    options : mapping of str to tuple of Detector
        By the option's name.
    combine : {"any", "all"}
        How the units of an option share the work.

    Raises
    ------
    InputError
        When there is no option, or a unit is set as no site file could set it or does not stand on the
        ground.

    Examples
    --------
    On the level one head of 90 degrees holds a quarter of the circle of 12 m, pi 12^2 / 4 = 113.1 m2:

    >>> import numpy as np
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.opened import site_of
    >>> from terrain3d.terrain import terrain_from_heights
    >>> land = site_of(terrain_from_heights(np.zeros((401, 401)), cell_m=0.1))
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> round(judge_units(land, {"north": (unit,)}).option("north").area_m2["both"])
    113
    """
    if not options:
        raise InputError("there is no option to judge", mend="give one by its name, with its units")
    for name, units in options.items():
        _check_units(site.terrain, name, units, combine)
    look = remembered(_MOST_LOOKS)
    return _ranked_outcome(
        site, tuple(_judged(site, name, units, combine, look) for name, units in options.items())
    )


def with_units(outcome: Outcome, name: str, units: tuple[Detector, ...], look: Look = panorama) -> Outcome:
    """The same site with one option's units set otherwise, judged and ranked anew.

    A unit that looks from where one of the option did before sees what that one saw: no ray is cast.

    Parameters
    ----------
    outcome : Outcome
    name : str
        Of the option that changes.
    units : tuple of Detector
        Its units as they are now.
    look : callable
        What sees the panorama of an eye; whoever tries many settings hands in one that remembers.

    Raises
    ------
    InputError
        When there is no such option, or a unit is set as no site file could set it or does not stand on the
        ground.
    """
    site, old = outcome.site, outcome.option(name)
    _check_units(site.terrain, name, units, old.combine)
    new = _judged_from(site.terrain, old, units, site.figure, look)
    under = tuple(
        UnderScenario(one.name, _judged_from(one.terrain, was.option, units, site.figure, look))
        for one, was in zip(site.scenarios, old.scenarios, strict=False)
    )
    new = replace(new, scenarios=under)
    return _ranked_outcome(site, tuple(new if option is old else option for option in outcome.options))


def with_figure(outcome: Outcome, figure: str | Figure) -> Outcome:
    """The same options judged for another figure, from what their units see: no ray is cast.

    Parameters
    ----------
    outcome : Outcome
    figure : str or Figure
        A name, of the site's own figures or the package's, or one of your own.

    Raises
    ------
    InputError
        When nobody knows the figure, or its height is none.
    """
    whom = figure_of(figure, outcome.site.own_figures)
    site = replace(outcome.site, figure=whom)
    results = []
    for option in outcome.options:
        new = judge_option(site.terrain, option.name, option.units, option.combine, whom.height_m)
        under = tuple(
            UnderScenario(
                one.name,
                judge_option(one.terrain, option.name, was.option.units, option.combine, whom.height_m),
            )
            for one, was in zip(site.scenarios, option.scenarios, strict=False)
        )
        results.append(replace(new, scenarios=under))
    return _ranked_outcome(site, tuple(results))


#: Panoramas that are kept while options are judged.
_MOST_LOOKS = 64
#: A unit's ground may be given as roughly as this, metres: to the centimetre.
_ROUGHLY_M = 0.01


def _check_units(terrain: Terrain, name: str, units: tuple[Detector, ...], combine: str) -> None:
    """Refuse units that no site file could have, or that do not stand on the ground where it is known."""
    check_units(name, units, combine, {unit.mount: terrain.wall_of(unit.mount) for unit in units})
    for unit in units:
        where = f"option {name!r}: detector {unit.name!r}"
        if not (math.isfinite(unit.x) and math.isfinite(unit.y)):
            raise InputError(f"it stands at ({unit.x}, {unit.y})", where, "give x and y in local metres")
        ground_z = float(terrain.ground.height_at(unit.x, unit.y))
        if math.isfinite(ground_z) and not abs(unit.ground_z - ground_z) <= _ROUGHLY_M:
            raise InputError(
                f"ground_z is {unit.ground_z:g}, the ground beneath is at {ground_z:.3f}",
                where,
                "give that height, or place the unit on a mount with unit_on",
            )


def _judged(
    site: OpenedSite, name: str, units: tuple[Detector, ...], combine: str, look: Look
) -> OptionResult:
    """An option on the site as it is and, beside it, under each scenario."""

    def on(terrain: Terrain) -> OptionResult:
        seeing = tuple(sighted(terrain, unit, look=look) for unit in units)
        return judge_option(terrain, name, seeing, combine, site.figure.height_m)

    under = tuple(UnderScenario(one.name, on(one.terrain)) for one in site.scenarios)
    return replace(on(site.terrain), scenarios=under)


def _judged_from(
    terrain: Terrain, old: OptionResult, units: tuple[Detector, ...], figure: Figure, look: Look
) -> OptionResult:
    """An option's units set otherwise: one that looks from where one did before sees what that one saw."""
    seeing: list[SightedUnit] = []
    for unit in units:
        there = (
            one
            for one in (*old.units, *seeing)
            if one.unit.eye == unit.eye and one.seen.reach_m == unit.type.reach_m
        )
        same = next(there, None)
        seeing.append(sighted(terrain, unit, look=look) if same is None else same.set_to(unit))
    return judge_option(terrain, old.name, tuple(seeing), old.combine, figure.height_m)


def _ranked_outcome(site: OpenedSite, results: tuple[OptionResult, ...]) -> Outcome:
    best_first = ranked(results)
    names = tuple(option.name for option in best_first)
    ground = site.terrain.ground
    weight, cell_m2 = protected_weight(ground, site.terrain.protect), ground.cell_m**2
    found = reasons(best_first, weight, cell_m2)
    return Outcome(site, results, names, found)
