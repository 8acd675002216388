"""The pages of a study, each part by itself: which there are, and in what order they come."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from terrain3d.cover.option import OptionResult
from terrain3d.show import words
from terrain3d.show.extent import site_extent
from terrain3d.show.lettering import page_style
from terrain3d.show.pages import sheet
from terrain3d.show.pages.animals import animals_sheet
from terrain3d.show.pages.doubt import doubt_sheet
from terrain3d.show.pages.fans import fans_sheet
from terrain3d.show.pages.heat import heat_sheet
from terrain3d.show.pages.past import on_wider_ground
from terrain3d.show.pages.plan import Base, plan_base, printed_base
from terrain3d.show.pages.route_scene import routes_oblique_sheet
from terrain3d.show.pages.routes import routes_sheet
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.pages.size import SCREEN, Size
from terrain3d.show.pages.spill import spill_sheet
from terrain3d.show.pages.stills import reach_of
from terrain3d.show.pages.sun import sun_sheet
from terrain3d.show.pages.walks import walk_pages, walks_sheet
from terrain3d.study import OptionStudy, Study

#: A picture's file name and what draws its page.
_Page = tuple[str, Callable[[], Sheet]]


@dataclass(frozen=True)
class _Job:
    """What every page starts from: `base` is the plan as a screen shows it, `printed` the same to scale."""

    study: Study
    base: Base
    printed: Base
    size: Size
    date: str


def write_study_stills(
    study: Study,
    folder: Path,
    progress: Callable[[float], None] | None = None,
    size: Size = SCREEN,
    date: str = "",
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

    Returns
    -------
    list of Path
        `01-walks-...png`, `01-routes-...png` and so on, in the order of the options; what shows all of
        them starts with `00`. The same study gives the same bytes.
    """
    drawn: list[Path] = []
    with page_style():
        base = plan_base(study.outcome, site_extent(study.outcome, sheet.PICTURE_ASPECT))
        printed = printed_base(study.outcome, size, sheet.PICTURE[2:], base)
        job = _Job(study, base, printed, size, date)
        pages = [page for part in study.parts for page in _WAYS[part](job)]
        for name, draw in pages:
            drawn.append(draw().save(folder / f"{name}.png"))
            if progress is not None:
                progress(len(drawn) / len(pages))
    return sorted(drawn)


def _options(job: _Job) -> Iterator[tuple[str, str, OptionResult, OptionStudy]]:
    """Number, name for files, result and study of each option."""
    for number, (option, found) in enumerate(
        zip(job.study.outcome.options, job.study.options, strict=True), 1
    ):
        yield f"{number:02d}", words.slug(option.name), option, found


def _walks(job: _Job) -> Iterator[_Page]:
    outcome = job.study.outcome
    for number, name, option, found in _options(job):
        assert found.walks is not None
        pages = walk_pages(found.walks)
        for page, walks in enumerate(pages, 1):
            which = f"-{page}" if len(pages) > 1 else ""
            yield (
                f"{number}-walks{which}-{name}",
                partial(walks_sheet, outcome, option, walks, job.base, job.size, job.date),
            )
        units = option.detectors
        for index, unit in enumerate(units):
            to, across = found.walks.fans[2 * index : 2 * index + 2]
            which = f"-{index + 1}" if len(units) > 1 else ""
            yield (
                f"{number}-fans{which}-{name}",
                partial(fans_sheet, outcome, option, unit, to, across, job.base, job.size, job.date),
            )


def _routes(job: _Job) -> Iterator[_Page]:
    outcome, reach = job.study.outcome, reach_of(job.study.outcome.terrain)
    for number, name, option, found in _options(job):
        routes = found.routes or ()
        for index, route in enumerate(routes, 1):
            which = f"-{index}" if len(routes) > 1 else ""
            yield (
                f"{number}-routes{which}-{name}",
                partial(routes_sheet, outcome, option, route, job.base, job.size, job.date),
            )
            yield (
                f"{number}-routes-oblique{which}-{name}",
                partial(routes_oblique_sheet, outcome, option, route, job.base, reach, job.size, job.date),
            )


def _animals(job: _Job) -> Iterator[_Page]:
    for number, name, option, found in _options(job):
        assert found.animals is not None
        draw = partial(
            animals_sheet, job.study.outcome, option, found.animals, job.printed, job.size, job.date
        )
        yield f"{number}-animals-{name}", draw


def _beyond(job: _Job) -> Iterator[_Page]:
    around = on_wider_ground(job.study.outcome, job.study.surroundings)
    for (number, name, _, found), option in zip(_options(job), around.options, strict=True):
        assert found.spill is not None
        draw = partial(spill_sheet, around, option, found.spill, found.nuisances or (), job.size, job.date)
        yield f"{number}-beyond-{name}", draw


def _heat(job: _Job) -> Iterator[_Page]:
    warmed = tuple((option, found.heat) for _, _, option, found in _options(job) if found.heat is not None)
    yield "00-heat", partial(heat_sheet, job.study.outcome, warmed, job.size, job.date)


def _sun(job: _Job) -> Iterator[_Page]:
    for number, name, option, found in _options(job):
        assert found.sun is not None
        yield (
            f"{number}-sun-{name}",
            partial(sun_sheet, job.study.outcome, option, found.sun, job.size, job.date),
        )


def _doubt(job: _Job) -> Iterator[_Page]:
    doubt = job.study.doubt
    assert doubt is not None
    for (number, name, option, found), told in zip(_options(job), doubt.options, strict=True):
        draw = partial(
            doubt_sheet, job.study.outcome, option, doubt, told, found.tolerances or (), job.base,
            job.size, job.date,
        )  # fmt: skip
        yield f"{number}-doubt-{name}", draw


#: How the pages of each part are drawn.
_WAYS: dict[str, Callable[[_Job], Iterator[_Page]]] = {
    "walks": _walks,
    "routes": _routes,
    "animals": _animals,
    "beyond": _beyond,
    "heat": _heat,
    "sun": _sun,
    "doubt": _doubt,
}
