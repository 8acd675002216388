"""One page as a figure, for a notebook or a script."""

from matplotlib.figure import Figure

from terrain3d.errors import InputError
from terrain3d.job import Outcome
from terrain3d.lengths import lengths_in
from terrain3d.search.budget import NothingFits
from terrain3d.search.result import SearchResult
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.names import KINDS, PART_KINDS
from terrain3d.show.pages.sheet import Page
from terrain3d.show.pages.stills import listed_pages
from terrain3d.study import Study
from terrain3d.wording import counted


def page_of(
    result: Outcome | Study | SearchResult | NothingFits, kind: str, option: str = "", number: int = 1
) -> Figure:
    """A page of an option, or of all options where none is named, as a matplotlib figure.

    At the end of a notebook's cell the figure is a picture.

    Parameters
    ----------
    result : Outcome, Study, SearchResult or NothingFits
    kind : str
        As `terrain3d stills --kind` has them; of a study also the kinds of its parts.
    option : str
        Its name.
    number : int
        Which page of the kind, where the option has several, such as a section of each head.

    Raises
    ------
    InputError
        Where there is no such page.
    """
    study = result if isinstance(result, Study) else None
    outcome = result if isinstance(result, Outcome) else result.outcome
    _check_kind(kind, study.parts if study is not None else ())
    if not outcome.options:
        raise InputError("there is no option to draw")
    if option:
        outcome.option(option)
    with lengths_in(outcome.site.file.paper.units), page_style():
        pages = listed_pages(PageContext(outcome, study=study), (kind,))
        mine = [page for page in pages if page.option == option]
        if not 1 <= number <= len(mine):
            raise _no_such_page(pages, kind, option, number)
        return mine[number - 1].draw().figure


def _check_kind(kind: str, parts: tuple[str, ...]) -> None:
    """Refuse a kind that there is not, or whose part of a study is not there."""
    for part, own in PART_KINDS.items():
        if kind in own and part not in parts:
            raise InputError(
                f"a page of kind {kind!r} needs a study with its part {part!r}",
                mend=f"study it first with study_of(outcome, ({part!r},)), and give what it returns",
            )
    kinds = [*KINDS, *(own for part in parts for own in PART_KINDS[part])]
    if kind not in kinds:
        raise InputError(f"there is no page of kind {kind!r}", mend=f"there are {', '.join(kinds)}")


def _no_such_page(pages: list[Page], kind: str, option: str, number: int) -> InputError:
    """What to say where an option, or all of them together, have no page of that number."""
    whole = [page for page in pages if not page.option]
    if option and whole and len(whole) == len(pages):
        return InputError(f"a page of kind {kind!r} shows all options", mend="name no option")
    if not option and pages and not whole:
        names = ", ".join(dict.fromkeys(repr(page.option) for page in pages))
        return InputError(f"a page of kind {kind!r} shows one option", mend=f"name one of {names}")
    count = sum(page.option == option for page in pages)
    whose = f"{option!r} has" if option else "all options together have"
    return InputError(f"{whose} {counted(count, 'page')} of kind {kind!r}, and no page {number}")
