"""Pictures without a display, each a page by itself: who draws which kind."""

from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path

from terrain3d.show.pages import (
    against,
    animals,
    beside,
    causes,
    client,
    close_in,
    contact,
    fans,
    film,
    frames,
    heat,
    oblique,
    outlook,
    plan,
    route_scene,
    routes,
    section,
    spill,
    sun,
    surveyed,
    uncertainty,
    views,
    walks,
    walks_table,
    warned,
)
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.drawing import draw_pages
from terrain3d.show.pages.names import KINDS, check_units
from terrain3d.show.pages.sheet import Drawn, Page

#: What lists the pages of each kind, in the order they are drawn; those of a study need one.
_PAGES: dict[str, Callable[[PageContext], list[Page]]] = {
    "client": client.pages,
    "contact": contact.pages,
    "warnings": warned.pages,
    "survey": surveyed.pages,
    "side-by-side": beside.pages,
    "plan": plan.pages,
    "oblique": oblique.pages,
    "section": section.pages,
    "outlook": outlook.pages,
    "views": views.pages,
    "frames": frames.pages,
    "causes": causes.pages,
    "against": against.pages,
    "film": film.pages,
    "walks": walks.pages,
    "walks-table": walks_table.pages,
    "fans": fans.pages,
    "routes": routes.pages,
    "routes-oblique": route_scene.pages,
    "close-in": close_in.pages,
    "animals": animals.pages,
    "beyond": spill.pages,
    "heat": heat.pages,
    "sun": sun.pages,
    "doubt": uncertainty.pages,
}


def write_stills(
    context: PageContext,
    folder: Path,
    kinds: Iterable[str] = KINDS,
    progress: Callable[[float], None] | None = None,
    is_shared: bool = False,
) -> list[Path]:
    """Draw pages of some kinds.

    Parameters
    ----------
    context : PageContext
    folder : Path
        An existing folder.
    kinds : iterable of str
        Of `names.KINDS`; those of `names.PART_KINDS` too where the context has a study with their part.
    progress : callable, optional
        Told the share that is done.
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
    units = [unit.name for option in context.outcome.options for unit in option.detectors]
    check_units(context.lines.units, units)
    return draw_pages(partial(listed_pages, context, tuple(kinds)), folder, progress, is_shared)


def still_names(context: PageContext, kinds: Iterable[str] = KINDS) -> tuple[str, ...]:
    """The names of the files that `write_stills` draws, without drawing them."""
    return tuple(page.file for page in listed_pages(context, tuple(kinds)))


def listed_pages(context: PageContext, kinds: tuple[str, ...]) -> list[Page]:
    """The pages of some kinds, numbered by name, each with what draws it; listing them draws nothing."""
    found = [page for kind, pages in _PAGES.items() if kind in kinds for page in pages(context)]
    # A film is nothing that is leafed through.
    leaves = sorted(page.name for page in found if page.ending == "png")
    places = {name: place for place, name in enumerate(leaves, 1)}
    return [
        page._replace(draw=partial(_numbered, page, places[page.name], len(leaves)))
        if page.name in places
        else page
        for page in found
    ]


def _numbered(page: Page, number: int, count: int) -> Drawn:
    return page.draw().number(number, count)
