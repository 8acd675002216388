"""The pages of a study, each part by itself: which there are, and in what order they come."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import Any

from terrain3d.cover.option import OptionResult
from terrain3d.nuisance.animals import AnimalGround
from terrain3d.show import words
from terrain3d.show.extent import site_extent
from terrain3d.show.pages import sheet
from terrain3d.show.pages.animals import animals_sheet
from terrain3d.show.pages.beside import best_options
from terrain3d.show.pages.drawing import Page, draw_pages
from terrain3d.show.pages.fans import fans_sheet
from terrain3d.show.pages.heat import heat_sheet
from terrain3d.show.pages.plan import Base, plan_base, printed_base
from terrain3d.show.pages.route_scene import routes_oblique_sheet
from terrain3d.show.pages.routes import routes_sheet
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.pages.size import SCREEN, Size
from terrain3d.show.pages.spill import spill_sheet
from terrain3d.show.pages.spill_plan import on_wider_ground
from terrain3d.show.pages.sun import sun_sheet
from terrain3d.show.pages.uncertainty import uncertainty_sheet
from terrain3d.show.pages.walks import walk_pages, walks_sheet
from terrain3d.sight.hits import reach_of
from terrain3d.study import OptionStudy, Study
from terrain3d.walk.routes import OpenRoutes


@dataclass(frozen=True)
class _Job:
    """What every page starts from; what they share is worked out when the first of them is drawn."""

    study: Study
    size: Size = SCREEN
    date: str = ""
    best_only: bool = False

    @cached_property
    def base(self) -> Base:
        """The plan as a screen shows it."""
        return plan_base(self.study.outcome, site_extent(self.study.outcome, sheet.PICTURE_ASPECT))

    @cached_property
    def printed(self) -> Base:
        """The same to scale."""
        return printed_base(self.study.outcome, self.size, sheet.PICTURE[2:], self.base)


def write_study_stills(
    study: Study,
    folder: Path,
    progress: Callable[[float], None] | None = None,
    size: Size = SCREEN,
    date: str = "",
    best_only: bool = False,
    is_shared: bool = False,
) -> list[Path]:
    """Draw the parts of a study.

    Parameters
    ----------
    study : Study
    folder : Path
        An existing folder.
    progress : callable, optional
        Told the share that is done.
    size : Size
        What the pages are made for.
    date : str
        Printed on each page as it is given.
    best_only : bool
        Only what shows all options, and the pages of the one that is ranked first.
    is_shared : bool
        Whether other processes may help (`draw_pages` says on what condition).

    Returns
    -------
    list of Path
        `01-walks-...png`, `01-routes-...png` and so on, in the order of the options; what shows all of
        them starts with `00`. The same study gives the same bytes.
    """
    return draw_pages(partial(_pages, _Job(study, size, date, best_only)), folder, progress, is_shared)


def study_still_names(study: Study, best_only: bool = False) -> tuple[str, ...]:
    """The names of the files that `write_study_stills` draws, without drawing them."""
    return tuple(f"{name}.png" for name, _ in _pages(_Job(study, best_only=best_only)))


def _pages(job: _Job) -> list[Page]:
    return [page for part in job.study.parts for page in _WAYS[part](job)]


def _options(job: _Job) -> Iterator[tuple[str, str, OptionResult, OptionStudy]]:
    """Number, name for files, result and study of each option that has pages of its own."""
    outcome = job.study.outcome
    best = best_options(outcome)[0].name
    for number, (option, found) in enumerate(zip(outcome.options, job.study.options, strict=True), 1):
        if not job.best_only or option.name == best:
            yield f"{number:02d}", words.slug(option.name), option, found


def _on_plan(job: _Job, draw: Callable[..., Sheet], *shown: Any) -> Sheet:
    """A page on the plan as a screen shows it."""
    return draw(job.study.outcome, *shown, job.base, job.size, job.date)


def _walks(job: _Job) -> Iterator[Page]:
    for number, name, option, found in _options(job):
        assert found.walks is not None
        pages = walk_pages(found.walks)
        for page, walks in enumerate(pages, 1):
            which = f"-{page}" if len(pages) > 1 else ""
            yield f"{number}-walks{which}-{name}", partial(_on_plan, job, walks_sheet, option, walks)
        units = option.detectors
        for index, unit in enumerate(units):
            to, across = found.walks.fans[2 * index : 2 * index + 2]
            which = f"-{index + 1}" if len(units) > 1 else ""
            draw = partial(_on_plan, job, fans_sheet, option, unit, to, across)
            yield f"{number}-fans{which}-{name}", draw


def _routes(job: _Job) -> Iterator[Page]:
    outcome, reach = job.study.outcome, reach_of(job.study.outcome.terrain)

    def oblique(option: OptionResult, route: OpenRoutes) -> Sheet:
        return routes_oblique_sheet(outcome, option, route, job.base, reach, job.size, job.date)

    for number, name, option, found in _options(job):
        routes = found.routes or ()
        for index, route in enumerate(routes, 1):
            which = f"-{index}" if len(routes) > 1 else ""
            yield f"{number}-routes{which}-{name}", partial(_on_plan, job, routes_sheet, option, route)
            yield f"{number}-routes-oblique{which}-{name}", partial(oblique, option, route)


def _animals(job: _Job) -> Iterator[Page]:
    def draw(option: OptionResult, ground: AnimalGround) -> Sheet:
        return animals_sheet(job.study.outcome, option, ground, job.printed, job.size, job.date)

    for number, name, option, found in _options(job):
        assert found.animals is not None
        yield f"{number}-animals-{name}", partial(draw, option, found.animals)


def _beyond(job: _Job) -> Iterator[Page]:
    around = on_wider_ground(job.study.outcome, job.study.surroundings)
    wider = {option.name: option for option in around.options}
    for number, name, option, found in _options(job):
        assert found.spill is not None
        draw = partial(
            spill_sheet, around, wider[option.name], found.spill, found.nuisances or (), job.size, job.date
        )
        yield f"{number}-beyond-{name}", draw


def _heat(job: _Job) -> Iterator[Page]:
    every = zip(job.study.outcome.options, job.study.options, strict=True)
    warmed = tuple((option, found.heat) for option, found in every if found.heat is not None)
    yield "00-heat", partial(heat_sheet, job.study.outcome, warmed, job.size, job.date)


def _sun(job: _Job) -> Iterator[Page]:
    for number, name, option, found in _options(job):
        assert found.sun is not None
        yield (
            f"{number}-sun-{name}",
            partial(sun_sheet, job.study.outcome, option, found.sun, job.size, job.date),
        )


def _uncertainty(job: _Job) -> Iterator[Page]:
    uncertainty = job.study.uncertainty
    assert uncertainty is not None
    told = dict(zip((option.name for option in job.study.options), uncertainty.options, strict=True))
    for number, name, option, found in _options(job):
        shown = (option, uncertainty, told[option.name], found.tolerances or ())
        yield f"{number}-doubt-{name}", partial(_on_plan, job, uncertainty_sheet, *shown)


#: How the pages of each part are drawn.
_WAYS: dict[str, Callable[[_Job], Iterator[Page]]] = {
    "walks": _walks,
    "routes": _routes,
    "animals": _animals,
    "beyond": _beyond,
    "heat": _heat,
    "sun": _sun,
    "doubt": _uncertainty,
}
