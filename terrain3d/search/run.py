"""The order of a search: read the site, judge every mount, choose, judge the choice in full."""

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from terrain3d.detector.types import DetectorType
from terrain3d.errors import InputError
from terrain3d.opened import OpenedSite, Progress, open_ready
from terrain3d.ready import Ready, ready_site, search_types
from terrain3d.search.best import Limits, best_sets
from terrain3d.search.budget import NothingFits, cheapest_beyond
from terrain3d.search.checkpoint import Checkpoint, inputs_digest
from terrain3d.search.judge import Judged, judge_mount
from terrain3d.search.result import SearchResult, compared, found, shares
from terrain3d.search.settings import MOST_RANGE_SETS, MOST_ZONES, Space, count_settings
from terrain3d.search.target import Target, target_of
from terrain3d.search.tasks import DoTasks, Task
from terrain3d.site import SearchSetting
from terrain3d.tables import checked
from terrain3d.terrain import Mount, Terrain

#: Where the site file names no tilts: as steep as nine tenths of the ground that counts, but at least and at
#: most so many degrees, in whole ones. A unit on a hillside is tilted with it.
LEAST_TILT_DEG, MOST_TILT_DEG = 4, 12


@dataclass(frozen=True, eq=False)
class Search:
    """All that a search needs, read and checked."""

    site: OpenedSite
    space: Space
    target: Target
    limits: Limits

    @property
    def terrain(self) -> Terrain:
        return self.site.terrain


def read_search(
    path: Path, progress: Progress, units: int | None = None, budget: float | None = None,
    hold: float | None = None,
) -> Search:  # fmt: skip
    """Read a site file and its survey for a search; what is given here goes before the file's [search].

    Raises
    ------
    InputError
        When the site file, the survey or a type cannot be used, or there is nothing to search.
    """
    return ready_search(ready_site(path), progress, units, budget, hold)


def ready_search(
    ready: Ready, progress: Progress, units: int | None = None, budget: float | None = None,
    hold: float | None = None,
) -> Search:  # fmt: skip
    """Read the survey of a site whose file is checked, for a search; as `read_search`.

    Raises
    ------
    InputError
        As `read_search`.
    """
    types, space, limits = _checked(ready, units, budget, hold)
    return _on(open_ready(ready, types, progress), space, limits)


def search_of(
    site: OpenedSite, units: int | None = None, budget: float | None = None, hold: float | None = None,
    progress: Progress | None = None,
) -> SearchResult | NothingFits:  # fmt: skip
    """Search a site that is open; what is given here goes before its file's [search].

    Its survey is read again only where the types that are searched reach farther, or less far, than those it
    was opened for.

    Raises
    ------
    InputError
        When it has no file, a limit is none that the file could have, or there is nothing to search.
    """
    limits = {"units": units, "budget": budget, "hold": hold}
    given = {name: limit for name, limit in limits.items() if limit is not None}
    checked(SearchSetting, given, "search_of")
    if site.path is None:
        raise InputError(
            "a search needs a site file, for its mounts and types", mend="open one with open_site"
        )
    tell = progress or (lambda _step, _fraction: None)
    ready = ready_site(site.path)
    types, space, within = _checked(ready, units, budget, hold)
    reach_m = max(detector_type.reach_m for detector_type in site.types.values())
    is_read = reach_m == space.reach_m
    site = replace(site, types=types) if is_read else open_ready(ready, types, tell)
    return run_search(_on(site, space, within), tell)


def _checked(
    ready: Ready, units: int | None, budget: float | None, hold: float | None
) -> tuple[Mapping[str, DetectorType], Space, Limits]:
    """What is searched and within which limits, as far as no ground is needed."""
    types = search_types(ready)
    space = _space(ready, types)
    limits = _limits(ready, space, units, budget, hold)
    _check_mounts(ready, space)
    return types, space, limits


def _on(site: OpenedSite, space: Space, limits: Limits) -> Search:
    target = target_of(site.terrain, site.figure.height_m)
    if not len(target.cells):
        raise InputError(
            "no cell of known ground is protected",
            f"{site.path or 'site.toml'}: protect",
            "draw the areas on surveyed ground",
        )
    if site.file.search.tilts is None:
        space = replace(space, tilts_deg=tilts_for(site.terrain, target))
    return Search(site, space, target, limits)


def tilts_for(terrain: Terrain, target: Target) -> tuple[float, ...]:
    """Tilts worth trying on a site, by the slope of the ground that counts, degrees."""
    ground = terrain.ground
    north, east = np.gradient(ground.z, ground.cell_m)
    slope = np.hypot(north, east).ravel()[target.cells]
    slope = slope[np.isfinite(slope)]
    steep = np.degrees(np.arctan(np.quantile(slope, 0.9))) if len(slope) else 0.0
    most = int(np.clip(np.ceil(steep), LEAST_TILT_DEG, MOST_TILT_DEG))
    return tuple(float(tilt) for tilt in range(-most, most + 1))


def run_search(
    search: Search, progress: Progress, checkpoint: Checkpoint | None = None, do_tasks: DoTasks | None = None
) -> SearchResult | NothingFits:
    """Judge every setting and choose.

    Parameters
    ----------
    search : Search
    progress : callable
    checkpoint : Checkpoint, or None
        Keeps the mounts that are finished; those it has are not judged again.
    do_tasks : DoTasks, or None
        Who does the judging; None is this machine.

    Returns
    -------
    SearchResult, or NothingFits
        The second where no unit that holds ground is within the budget and the current.

    Raises
    ------
    InputError
        When no set holds the share that is asked for, or no setting holds anything.
    """
    do_tasks = do_tasks or in_threads
    mounts = search.terrain.mounts
    space = search.space
    there = {index for mount in mounts for index in space.types_on(mount)}
    if (beyond := cheapest_beyond(space, there, search.limits)) is not None:
        return _nothing(search, beyond, 0)
    judged = _judged(search, mounts, progress, checkpoint, do_tasks)
    if not any(len(one.value) for one in judged):
        raise InputError(
            "no setting of any mount holds ground that counts after its tolerance",
            "site.toml: search",
            "add mounts nearer to it, other types or more tilts",
        )
    holding = {int(index) for one in judged for index in one.type_index}
    if (beyond := cheapest_beyond(space, holding, search.limits)) is not None:
        return _nothing(search, beyond, sum(one.n_settings for one in judged))
    progress("choosing", 0.0)
    best = best_sets(search.terrain, mounts, judged, search.space, search.target, search.limits, do_tasks)
    unit, chosen, other = found(best, search.terrain, mounts, search.space, search.target, search.site.figure)
    cell_m2 = search.terrain.ground.cell_m**2
    margin = 0.0
    if best.runner_up is not None and search.limits.hold is not None:
        margin = best.runner_up.cost - best.chosen.cost
    elif best.runner_up is not None:
        margin = (best.chosen.value - best.runner_up.value) * cell_m2
    return SearchResult(
        search.site, search.space, search.limits,
        sum(one.n_settings for one in judged), len(mounts),
        unit, chosen, other, margin, *compared(chosen, other, search.space, search.terrain),
        best.chosen.gap,
        None if best.bound_all is None else shares(best.chosen.value, best.bound_all),
    )  # fmt: skip


def _nothing(
    search: Search, beyond: tuple[str, float | None, float | None], settings_judged: int
) -> NothingFits:
    """The answer where the cheapest unit is beyond the budget or the current."""
    return NothingFits(
        search.site, search.space, search.limits, settings_judged,
        len(search.terrain.mounts), *beyond,
    )  # fmt: skip


def open_checkpoint(folder: Path, search: Search, anew: bool = False) -> Checkpoint:
    """The finished mounts of a search, from a folder that may hold some of an earlier one."""
    return Checkpoint(folder, inputs_digest(search.terrain, search.space, search.target), anew)


def in_threads(task: Task, shared: Any, items: Sequence[Any]) -> Iterator[tuple[int, Any]]:
    """Do a task for each item on all processors of this machine, in the order they are ready.

    The kernels let go of the interpreter, so plain threads share the work.
    """
    n = os.cpu_count() or 1
    with ThreadPoolExecutor(n, thread_name_prefix="search") as pool:
        running: dict[Future[Any], int] = {}
        waiting = iter(enumerate(items))
        try:
            while True:
                # No more than the processors take: what is stopped has then little left to finish.
                while len(running) < n and (following := next(waiting, None)) is not None:
                    running[pool.submit(task, shared, following[1])] = following[0]
                if not running:
                    return
                for done in wait(running, return_when=FIRST_COMPLETED).done:
                    yield running.pop(done), done.result()
        finally:
            for future in running:
                future.cancel()


def _judged(
    search: Search, mounts: tuple[Mount, ...], progress: Progress, checkpoint: Checkpoint | None,
    do_tasks: DoTasks,
) -> list[Judged]:  # fmt: skip
    """What was judged of every mount, as far as it is not kept already."""
    done: dict[int, Judged] = {}
    if checkpoint is not None:
        done = {k: kept for k, mount in enumerate(mounts) if (kept := checkpoint.load(mount)) is not None}
    left = [k for k in range(len(mounts)) if k not in done]
    progress("judging settings", len(done) / len(mounts))
    shared = (search.terrain, search.space, search.target)
    for place, judged in do_tasks(_judge, shared, [mounts[k] for k in left]):
        done[left[place]] = judged
        if checkpoint is not None:
            checkpoint.save(mounts[left[place]], judged)
        progress("judging settings", len(done) / len(mounts))
    return [done[k] for k in range(len(mounts))]


def _judge(shared: tuple[Terrain, Space, Target], mount: Mount) -> Judged:
    return judge_mount(shared[0], mount, shared[1], shared[2])


def _space(ready: Ready, types: Mapping[str, DetectorType]) -> Space:
    setting = ready.site.search
    where = f"{ready.path}: search"
    detector_types, labels = tuple(types.values()), tuple(types)
    steps = 360 / setting.bearing_step
    if abs(steps - round(steps)) > 1e-9:
        raise InputError(
            f"a bearing step of {setting.bearing_step:g} degrees does not divide the circle",
            f"{where}: bearing_step",
            "take 2.5, 5 or another part of 360",
        )
    space = Space(
        detector_types,
        labels,
        setting.bearing_step,
        tuple(sorted(set(setting.tilts or (0.0,)))),
        setting.ranges,
        masks=setting.masks,
        mask_nuisances=setting.mask_nuisances,
    )
    _check_heads(space, where)
    if not any(space.range_sets_of(k) for k in range(len(detector_types))):
        every = {r for kind in detector_types for h in range(len(kind.head)) for r in kind.ranges_of(h)}
        offered = sorted(every)
        raise InputError(
            "none of the types has any of these range settings",
            f"{where}: ranges",
            "they have " + ", ".join(f"{r:g}" for r in offered),
        )
    return space


def _check_heads(space: Space, where: str) -> None:
    """Refuse types whose heads have more to set than a search can try."""
    for k, (kind, label) in enumerate(zip(space.detector_types, space.labels, strict=True)):
        n_sets = space.count_range_sets(k)
        if n_sets > MOST_RANGE_SETS:
            raise InputError(
                f"the heads of type {label} can be set to {n_sets:,} ranges together,"
                f" and {MOST_RANGE_SETS} are searched at most",
                f"{where}: ranges",
                "name fewer range settings",
            )
        zones = max(head.zones for head in kind.head)
        if (space.masks or space.mask_nuisances) and zones > MOST_ZONES:
            raise InputError(
                f"type {label} has {zones} zones to a head, and masks are tried of {MOST_ZONES} at most",
                f"{where}: types",
                "leave masks out, or the type",
            )


def _check_mounts(ready: Ready, space: Space) -> None:
    """Refuse a site on whose mounts nothing may be fixed."""
    mounts = tuple(
        Mount(shape.name, *shape.at, shape.heights, shape.not_for, shape.wall)
        for shape, _ in ready.shapes.mount
    )
    if not count_settings(space, mounts):
        raise InputError(
            "there is no mount that any of the types may be fixed to" if mounts else "there is no [[mount]]",
            str(ready.path),
            f"add some, or let `terrain3d mounts {ready.path.name}` propose them",
        )


def _limits(
    ready: Ready, space: Space, units: int | None, budget: float | None, hold: float | None
) -> Limits:
    setting = ready.site.search
    budget = setting.budget if budget is None else budget
    hold = setting.hold if hold is None else hold
    is_limited = any(limit is not None for limit in (budget, hold, setting.milliamps))
    if units is None and ("units" in setting.model_fields_set or not is_limited):
        units = setting.units
    if setting.milliamps is not None:
        for detector_type, label in zip(space.detector_types, space.labels, strict=True):
            if detector_type.supply is None:
                raise InputError(
                    f"a most current is given and type {label} does not say what it draws",
                    f"{ready.path}: search: milliamps",
                    "add [supply] to its file, or leave the type out of types",
                )
    if budget is not None:
        for detector_type, label in zip(space.detector_types, space.labels, strict=True):
            if detector_type.price is None:
                raise InputError(
                    f"a budget is given and type {label} has no price",
                    f"{ready.path}: search: budget",
                    "add price = ... to its file, or leave the type out of types",
                )
    return Limits(units, budget, hold, setting.apart, setting.milliamps)
