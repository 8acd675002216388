"""Where animals would raise the alarm, and where a person who crawls would not.

On the level an animal that stands under the upper layer is passed over; where the ground rises towards
the layer, or a unit is set nose down, it reaches both. The verdict of a cell is asked again for the
animal's height: no ray is cast.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.areas import cells_within
from terrain3d.cover.option import OptionResult, option_verdicts
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import Figure, find_figure, known_figures
from terrain3d.detector.pose import Detector
from terrain3d.terrain import Ground, Terrain

Mask = NDArray[np.bool_]

#: A site's own figure lower than this is taken for an animal: no person walks upright under it.
OWN_BELOW_M = 1.3


@dataclass(frozen=True, eq=False)
class FigureGround:
    """Ground on which something becomes of one figure.

    Parameters
    ----------
    figure : Figure
    area_m2 : float
    nearest_m : float or None
        Plan distance from the nearest unit to the nearest such cell; None where there is none.
    where : (ny, nx) bool
        On the ground's grid, row 0 the southernmost.
    """

    figure: Figure
    area_m2: float
    nearest_m: float | None
    where: Mask


@dataclass(frozen=True, eq=False)
class AnimalGround:
    """What low figures make of one option.

    Parameters
    ----------
    option : str
        Its name.
    animals : tuple of FigureGround
        Ground on which each animal would raise the alarm (break both layers), lowest animal first.
        The ground of a lower animal lies within that of a taller one.
    upright : Figure
        Who would be held walking upright.
    crawling : FigureGround
        Ground that holds the person upright while the alarm stays silent for one who crawls.
    crawling_protected_m2 : float
        How much of that is protected ground.
    """

    option: str
    animals: tuple[FigureGround, ...]
    upright: Figure
    crawling: FigureGround
    crawling_protected_m2: float


def animal_figures(own: Iterable[Figure] = (), own_below_m: float = OWN_BELOW_M) -> tuple[Figure, ...]:
    """The package's animals and the site's own low figures, lowest first.

    A figure of the site's own stands in for the package's of the same name.

    >>> [figure.name for figure in animal_figures([Figure("pony", 1.1, "site file")])][-3:]
    ['deer', 'pony', 'red deer']
    >>> len(animal_figures([Figure("tall man", 1.9, "site file")])) == len(animal_figures())
    True
    """
    people = {figure.name for figure in known_figures() if not figure.is_animal}
    found = {figure.name: figure for figure in known_figures() if figure.is_animal}
    for figure in own:
        if figure.name not in people and (figure.height_m < own_below_m or figure.name in found):
            found[figure.name] = figure
    return tuple(sorted(found.values(), key=lambda figure: figure.height_m))


def animal_ground(terrain: Terrain, option: OptionResult, own: Iterable[Figure] = ()) -> AnimalGround:
    """Where animals would raise the alarm of an option, and where a crawling person would not.

    Parameters
    ----------
    terrain : Terrain
    option : OptionResult
    own : iterable of Figure
        The site's own figures.

    Examples
    --------
    On ground that rises 1 in 10, a unit at 0.8 m comes down to a dog from (0.8 - 0.6) / 0.1 = 2 m on:

    >>> from pathlib import Path
    >>> from terrain3d.cover.option import judge_option
    >>> from terrain3d.cover.sighted import sighted
    >>> from terrain3d.detector.types import load_type
    >>> from terrain3d.terrain import terrain_from_heights
    >>> rise = np.repeat(0.05 * np.arange(27.0)[:, None] - 0.025, 40, axis=1)
    >>> site = terrain_from_heights(rise, 0.5, -9.75, -0.25)
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0.25, 0.25, 0.0, 0.8, 0)
    >>> found = animal_ground(site, judge_option(site, "pole", (sighted(site, unit),), "any", 1.7))
    >>> {ground.figure.name: ground.nearest_m for ground in found.animals}["dog"]
    2.0
    """
    own = tuple(own)

    def held(figure: Figure) -> Mask:
        return np.asarray(option_verdicts(terrain.ground, option, figure.height_m) == Verdict.BOTH)

    upright, low = find_figure("person", own), find_figure("person crawling", own)
    silent = held(upright) & ~held(low)
    protected = np.zeros(silent.shape, bool)
    for area in terrain.protect:
        protected |= cells_within(terrain.ground, area)
    return AnimalGround(
        option.name,
        tuple(
            _figure_ground(terrain.ground, option.detectors, figure, held(figure))
            for figure in animal_figures(own)
        ),
        upright,
        _figure_ground(terrain.ground, option.detectors, low, silent),
        float((silent & protected).sum()) * terrain.ground.cell_m**2,
    )


def _figure_ground(ground: Ground, units: tuple[Detector, ...], figure: Figure, where: Mask) -> FigureGround:
    rows, columns = np.nonzero(where)
    x, y = ground.xs[columns], ground.ys[rows]
    away = [float(np.hypot(x - unit.x, y - unit.y).min()) for unit in units] if len(rows) else []
    return FigureGround(figure, len(rows) * ground.cell_m**2, min(away, default=None), where)
