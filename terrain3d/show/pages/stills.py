"""Pictures without a display, each a page by itself: which kinds there are, and in what order they come."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path

from terrain3d.cover.option import OptionResult
from terrain3d.cover.profile import head_bearings
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.show import words
from terrain3d.show.camera import Camera, site_camera
from terrain3d.show.extent import Extent, site_extent
from terrain3d.show.pages import sheet
from terrain3d.show.pages.beside import MOST, beside_sheet, best_options
from terrain3d.show.pages.column import option_sheet
from terrain3d.show.pages.contact import contact_pages, contact_sheet
from terrain3d.show.pages.drawing import Page, draw_pages
from terrain3d.show.pages.names import KINDS, check_units
from terrain3d.show.pages.oblique import draw_oblique
from terrain3d.show.pages.outlook import outlook_sheet
from terrain3d.show.pages.plan import Base, draw_plan, plan_base, printed_base
from terrain3d.show.pages.section import section_sheet
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.pages.size import SCREEN, Size, scale_words
from terrain3d.show.scene import build_scene
from terrain3d.show.shapes import Reach
from terrain3d.sight.hits import reach_of


@dataclass(frozen=True)
class Lines:
    """Of which units sections and outlooks are drawn, and along which bearing the sections run.

    Parameters
    ----------
    units : tuple of str
        Names of units; those of every option where it is empty.
    bearing_deg : float, optional
        One section of each unit along this bearing; along the facing of each of its heads without it.
    """

    units: tuple[str, ...] = ()
    bearing_deg: float | None = None

    def drawn(self, option: OptionResult) -> list[Detector]:
        """The units of an option that are drawn."""
        return [unit for unit in option.detectors if not self.units or unit.name in self.units]


@dataclass(frozen=True)
class _Job:
    """What every way of drawing starts from.

    What pages share is worked out when the first of them is drawn: their names are had for nothing.
    """

    outcome: Outcome
    size: Size = SCREEN
    date: str = ""
    lines: Lines = Lines()
    best_only: bool = False

    @cached_property
    def base(self) -> Base:
        """The plan as a screen shows it."""
        return plan_base(self.outcome, site_extent(self.outcome, sheet.PICTURE_ASPECT))

    @cached_property
    def printed(self) -> Base:
        """The plan of an option's page."""
        return printed_base(self.outcome, self.size, sheet.PICTURE[2:], self.base)

    @cached_property
    def oblique(self) -> tuple[Extent, Reach, Camera]:
        """What the oblique views show, and from where."""
        extent, reach = site_extent(self.outcome), reach_of(self.outcome.terrain)
        return extent, reach, site_camera(self.outcome, extent, reach, sheet.PICTURE_ASPECT)


def write_stills(
    outcome: Outcome,
    folder: Path,
    progress: Callable[[float], None] | None = None,
    kinds: tuple[str, ...] = KINDS,
    size: Size = SCREEN,
    date: str = "",
    lines: Lines = Lines(),
    best_only: bool = False,
    is_shared: bool = False,
) -> list[Path]:
    """Draw every option of an outcome.

    Parameters
    ----------
    outcome : Outcome
    folder : Path
        An existing folder.
    progress : callable, optional
        Told the share that is done.
    kinds : tuple of str
        Of `KINDS`.
    size : Size
        What the pages are made for.
    date : str
        Printed on each page as it is given.
    lines : Lines
        Which sections and outlooks.
    best_only : bool
        Only what shows all options, and the pages of the one that is ranked first.
    is_shared : bool
        Whether other processes may help (`draw_pages` says on what condition).

    Returns
    -------
    list of Path
        `01-plan-...png`, `01-oblique-...png` and so on, in the order of the options; what shows all
        of them starts with `00`. The same outcome gives the same bytes.

    Raises
    ------
    InputError
        Where no option has a unit that is asked for.
    """
    check_units(lines.units, [unit.name for option in outcome.options for unit in option.detectors])
    job = _Job(outcome, size, date, lines, best_only)
    return draw_pages(partial(_pages, job, kinds), folder, progress, is_shared)


def still_names(
    outcome: Outcome, kinds: tuple[str, ...] = KINDS, lines: Lines = Lines(), best_only: bool = False
) -> tuple[str, ...]:
    """The names of the files that `write_stills` draws, without drawing them."""
    return tuple(f"{name}.png" for name, _ in _pages(_Job(outcome, lines=lines, best_only=best_only), kinds))


def _pages(job: _Job, kinds: tuple[str, ...]) -> list[Page]:
    return [page for kind in KINDS if kind in kinds for page in _WAYS[kind](job)]


def _numbered(job: _Job, kind: str) -> Iterator[tuple[str, OptionResult]]:
    best = [option.name for option in best_options(job.outcome)[:1]]
    for number, option in enumerate(job.outcome.options, 1):
        if not job.best_only or option.name in best:
            yield f"{number:02d}-{kind}-{words.slug(option.name)}", option


def _plans(job: _Job) -> Iterator[Page]:
    def draw(option: OptionResult) -> Sheet:
        view, base = "plan, north up", job.printed
        if base.scale is not None:
            view += f", {scale_words(base.scale, job.size)}"
        page = option_sheet(job.outcome, option, view, base.extent, job.size, job.date)
        draw_plan(page, job.outcome, option, base)
        return page

    for name, option in _numbered(job, "plan"):
        yield name, partial(draw, option)


def _obliques(job: _Job) -> Iterator[Page]:
    view = "oblique view, the same for every option"

    def draw(option: OptionResult) -> Sheet:
        extent, reach, camera = job.oblique
        page = option_sheet(job.outcome, option, view, extent, job.size, job.date)
        scene = build_scene(job.outcome, option, extent, reach, camera)
        draw_oblique(page, job.outcome, option, extent, scene, camera)
        return page

    for name, option in _numbered(job, "oblique"):
        yield name, partial(draw, option)


def _sections(job: _Job) -> Iterator[Page]:
    def draw(option: OptionResult, unit: Detector, bearing: float, which: str) -> Sheet:
        return section_sheet(job.outcome, option, unit, bearing, which, job.base, job.size, job.date)

    for name, option in _numbered(job, "section"):
        cuts = [cut for unit in job.lines.drawn(option) for cut in _cuts(unit, job.lines.bearing_deg)]
        for number, (unit, bearing, which) in enumerate(cuts, 1):
            yield _one_of(name, "section", number, len(cuts)), partial(draw, option, unit, bearing, which)


def _cuts(unit: Detector, bearing_deg: float | None) -> list[tuple[Detector, float, str]]:
    """The lines of a unit: each with its bearing, and what looks that way."""
    if bearing_deg is not None:
        return [(unit, bearing_deg % 360, unit.name)]
    bearings = head_bearings(unit)
    if len(bearings) == 1:
        return [(unit, bearings[0], unit.name)]
    heads = enumerate(bearings, 1)
    return [(unit, bearing, f"{unit.name}, head {head} of {len(bearings)}") for head, bearing in heads]


def _outlooks(job: _Job) -> Iterator[Page]:
    for name, option in _numbered(job, "outlook"):
        units = job.lines.drawn(option)
        for number, unit in enumerate(units, 1):
            draw = partial(outlook_sheet, job.outcome, option, unit, job.size, job.date)
            yield _one_of(name, "outlook", number, len(units)), draw


def _one_of(name: str, kind: str, number: int, count: int) -> str:
    """A file name with a number of its own where an option has several pictures of a kind."""
    return name.replace(f"-{kind}-", f"-{kind}-{number}-", 1) if count > 1 else name


def _side_by_side(job: _Job) -> Iterator[Page]:
    options = best_options(job.outcome)[:MOST]
    if len(options) > 1:
        yield "00-side-by-side", lambda: beside_sheet(job.outcome, options, job.base, job.size, job.date)


def _contacts(job: _Job) -> Iterator[Page]:
    def draw(options: tuple[OptionResult, ...], note: str) -> Sheet:
        return contact_sheet(job.outcome, options, note, job.base, job.size, job.date)

    pages = contact_pages(job.outcome)
    for number, options in enumerate(pages, 1):
        note = f"page {number} of {len(pages)}" if len(pages) > 1 else ""
        name = f"00-contact-{number}" if note else "00-contact"
        yield name, partial(draw, options, note)


#: The kinds of picture, in the order they are drawn, and how.
_WAYS: dict[str, Callable[[_Job], Iterator[Page]]] = {
    "contact": _contacts,
    "side-by-side": _side_by_side,
    "plan": _plans,
    "oblique": _obliques,
    "section": _sections,
    "outlook": _outlooks,
}
