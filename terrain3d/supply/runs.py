"""The cable runs of a site: a tree that starts at the panel, and how long each is over the ground."""

import difflib
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pyproj

from terrain3d.errors import InputError
from terrain3d.site import SupplyRun, SupplySetting
from terrain3d.supply.conductors import Conductor, ohm_per_m
from terrain3d.terrain import Terrain
from terrain3d.units import Floats

#: Where the runs begin.
PANEL = "panel"


@dataclass(frozen=True, eq=False)
class Run:
    """A cable from one place to another.

    Parameters
    ----------
    start, end : str
        Names of its ends: the panel, a mount, or a joint.
    length_m : float
        Of the cable, with what is added to its path.
    unknown_m : float
        Of that, what lies over ground that is not known: there it is measured level.
    conductor : Conductor
    line : (n, 2) float or None
        Its path in local metres; None where its length is stated.
    price_a_m : float or None
        Of a metre; None where it is not priced.
    """

    start: str
    end: str
    length_m: float
    unknown_m: float
    conductor: Conductor
    line: Floats | None = None
    price_a_m: float | None = None

    @property
    def ohm(self) -> float:
        """Of both its cores."""
        return 2 * self.length_m * ohm_per_m(self.conductor)


def check_runs(supply: SupplySetting, mounts: Collection[str], where: str) -> None:
    """Refuse runs that start nowhere, end twice, or close a ring.

    Parameters
    ----------
    supply : SupplySetting
    mounts : collection of str
        Names of the site's mounts.
    where : str
        The site file, for the message.

    Raises
    ------
    InputError
    """
    ends: set[str] = set()
    for run in supply.run:
        place = f"{where}: supply: run to {run.to!r}"
        if run.to == PANEL:
            raise InputError("it ends at the panel", place, "let runs start there: `from` to `to`")
        if run.to in ends:
            raise InputError(
                f"two runs end at {run.to!r}", place, "one cable feeds each place; several may start from one"
            )
        ends.add(run.to)
    known = {PANEL, *ends}
    for run in supply.run:
        place = f"{where}: supply: run to {run.to!r}"
        if run.start not in known:
            near = difflib.get_close_matches(run.start, known, n=1)
            raise InputError(
                f"no run ends at {run.start!r}",
                f"{place}: from",
                f"did you mean {near[0]!r}?" if near else f"known: {', '.join(sorted(known))}",
            )
    starts = {run.to: run.start for run in supply.run}
    for run in supply.run:
        at, steps = run.to, 0
        while at != PANEL:
            at, steps = starts[at], steps + 1
            if steps > len(starts):
                raise InputError(
                    "the runs close a ring that no panel feeds",
                    f"{where}: supply: run to {run.to!r}",
                    "let one of them start from the panel",
                )
    starting = set(starts.values())
    for run in supply.run:
        if run.to not in mounts and run.to not in starting:
            near = difflib.get_close_matches(run.to, mounts, n=1)
            mend = f"did you mean {near[0]!r}?" if near else f"name a mount: {', '.join(mounts) or 'none'}"
            raise InputError(
                f"there is no mount {run.to!r}, and no run goes on from there",
                f"{where}: supply: run to {run.to!r}",
                mend,
            )


def laid_runs(supply: SupplySetting, terrain: Terrain, crs: pyproj.CRS | None) -> tuple[Run, ...]:
    """The runs of a site file with their lengths, in its order.

    Parameters
    ----------
    supply : SupplySetting
    terrain : Terrain
        Its ground is what a drawn path follows.
    crs : pyproj.CRS or None
        Of the coordinates of the site file.

    Raises
    ------
    InputError
        Where the CRS cannot hold a path.
    """
    return tuple(_laid(run, supply, terrain, crs) for run in supply.run)


def _laid(run: SupplyRun, supply: SupplySetting, terrain: Terrain, crs: pyproj.CRS | None) -> Run:
    warm = supply.temperature if run.temperature is None else run.temperature
    conductor = Conductor(run.mm2, run.awg, run.ohm_per_km, run.iec_class, run.tinned, warm)
    if run.path is None:
        assert run.length is not None
        return Run(run.start, run.to, run.length + run.extra, 0.0, conductor, None, run.price)
    drawn = np.array(run.path, float)
    try:
        line = np.column_stack(terrain.frame.to_local(drawn[:, 0], drawn[:, 1], crs))
    except InputError as error:
        raise InputError(error.what, f"site.toml: supply: run to {run.to!r}: path", error.mend) from None
    length_m, unknown_m = over_ground(terrain, line)
    return Run(run.start, run.to, length_m + run.extra, unknown_m, conductor, line, run.price)


def over_ground(terrain: Terrain, line: Floats) -> tuple[float, float]:
    """How long a path is on the ground, and how much of it lies over ground that is not known, metres.

    Examples
    --------
    On a slope of 75 % ten metres in plan are twelve and a half along it:

    >>> from terrain3d.terrain import terrain_from_heights
    >>> hill = terrain_from_heights(np.tile(0.75 * np.arange(30.0), (30, 1)), 1.0)
    >>> over_ground(hill, np.array([[-5.0, 0.0], [5.0, 0.0]]))
    (12.5, 0.0)
    """
    known_m = unknown_m = 0.0
    for start, end in pairwise(line):
        level_m = float(np.hypot(*(end - start)))
        n = max(math.ceil(level_m / (terrain.ground.cell_m / 2)), 1)
        share = np.linspace(0.0, 1.0, n + 1)[:, None]
        spots = start + share * (end - start)
        z = terrain.ground.height_at(spots[:, 0], spots[:, 1])
        rise = np.diff(z)
        known = np.isfinite(rise)
        step_m = level_m / n
        known_m += float(np.hypot(step_m, rise[known]).sum())
        unknown_m += step_m * int((~known).sum())
    return round(known_m + unknown_m, 9), round(unknown_m, 9)


def way_to(runs: Sequence[Run], place: str) -> tuple[int, ...]:
    """Numbers of the runs that lead from the panel to a place, the last first; none where no run does."""
    ending = {run.end: number for number, run in enumerate(runs)}
    way = []
    while place in ending:
        way.append(ending[place])
        place = runs[ending[place]].start
    return tuple(way)
