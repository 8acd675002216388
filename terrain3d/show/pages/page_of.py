"""One page as a figure, for a notebook or a script."""

from matplotlib.figure import Figure

from terrain3d.errors import InputError
from terrain3d.job import Outcome
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.names import KINDS, PART_KINDS
from terrain3d.show.pages.stills import listed_pages
from terrain3d.study import Study


def page_of(
    outcome: Outcome, kind: str, option: str = "", number: int = 1, study: Study | None = None
) -> Figure:
    """A page of an option, or of all options where none is named, as a matplotlib figure.

    Parameters
    ----------
    outcome : Outcome
    kind : str
        As `terrain3d stills --kind` has them; with a study of the outcome also the kinds of its parts.
    option : str
        Its name.
    number : int
        Which page of the kind, where the option has several, such as a section of each head.
    study : Study, optional

    Raises
    ------
    InputError
        Where there is no such page.
    """
    parts = study.parts if study is not None else ()
    kinds = [*KINDS, *(own for part in parts for own in PART_KINDS[part])]
    if kind not in kinds:
        raise InputError(f"there is no page of kind {kind!r}", mend=f"there are {', '.join(kinds)}")
    if option:
        outcome.option(option)
    pages = listed_pages(PageContext(outcome, study=study), (kind,))
    mine = [page for page in pages if page.option == option]
    if not 1 <= number <= len(mine):
        whose = f"{option!r} has" if option else "all options together have"
        raise InputError(f"{whose} {len(mine)} pages of kind {kind!r}, and no page {number}")
    with page_style():
        return mine[number - 1].draw().figure
