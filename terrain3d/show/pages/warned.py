"""All warnings on a page of their own: each once and whole, with the options it is about."""

from functools import partial

from terrain3d.sentences.warnings import WARNINGS_LINE, warnings_by_option
from terrain3d.show.blocks import Gap, Paragraph, Piece, Row
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Page, Sheet

_TOP, _FLOOR = 0.86, 0.11
#: More lines than any warning has.
_WHOLE = 40


def pages(context: PageContext) -> list[Page]:
    """As many pages as the warnings take; none where there is nothing to warn of."""
    parts = _parts(context)
    notes = [f"page {k} of {len(parts)}" if len(parts) > 1 else "" for k in range(1, len(parts) + 1)]
    return context.pages_of_all(
        "warnings", [partial(warnings_sheet, context, *one) for one in zip(parts, notes, strict=True)]
    )


def warnings_sheet(context: PageContext, told: list[tuple[str, str]], note: str) -> Sheet:
    """One page of warnings, each with the options it is about."""
    page = _begun(context, note)
    before = ""
    for warning, who in told:
        for piece in _pieces(warning, "" if who == before else who):
            page.put(piece)
        before = who
    return page


def _begun(context: PageContext, note: str) -> Sheet:
    page = context.begin("Warnings", "all of this site and its options", WARNINGS_LINE, note)
    page.begin_column(PICTURE[0], COLUMN_RIGHT, _TOP, _FLOOR)
    return page


def _pieces(warning: str, who: str) -> tuple[Piece, ...]:
    """A warning under the options it is about, which are not told again under their own last one."""
    head = (Row(who, is_bold=True, most=_WHOLE),) if who else ()
    return (*head, Paragraph(warning, _WHOLE, "row"), Gap(), Gap())


def _parts(context: PageContext) -> list[list[tuple[str, str]]]:
    """The warnings of each page."""
    told = warnings_by_option(context.outcome)
    if not told:
        return []
    page = _begun(context, "")
    parts: list[list[tuple[str, str]]] = [[]]
    left = page.room()
    for one in told:
        height = sum(page.height_of(piece) for piece in _pieces(*one))
        if height > left and parts[-1]:
            parts.append([])
            left = page.room()
        parts[-1].append(one)
        left -= height
    return parts
