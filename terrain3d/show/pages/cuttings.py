"""Pictures cut out of pages, without the title, sentence and foot that go around them."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from terrain3d.palette import Rgb
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.packing import packed
from terrain3d.show.pages.sheet import Place, Sheet
from terrain3d.show.pages.stills import listed_pages

#: From under the title down to the key and with it: left, bottom, width, height, as shares of the page.
WHOLE: Place = (0.0, 0.097, 1.0, 0.803)
#: The picture alone, without its key and the column beside it.
PICTURE_ALONE: Place = (0.0, 0.135, 0.715, 0.765)


@dataclass(frozen=True)
class Cutting:
    """A picture: of which kind of page and option, as PNG, and the sentence that goes with it.

    `of` tells it from others of its kind and option; it may be empty.
    """

    kind: str
    option: str
    png: bytes
    said: str
    of: str = ""


def cuttings(context: PageContext, kinds: Iterable[str], place: Place = WHOLE) -> Iterator[Cutting]:
    """The pictures of pages of some kinds, in the order of the pages.

    Parameters
    ----------
    context : PageContext
    kinds : iterable of str
    place : (left, bottom, width, height)
        What is cut out, as shares of the page.
    """
    for kind in kinds:
        with page_style():
            for page in listed_pages(context, (kind,)):
                drawn = page.draw()
                if isinstance(drawn, Sheet):
                    drawn.unsay()
                    picture = _cut(drawn.figure.dots(context.size), place)
                    said, of = drawn.said, drawn.of
                    # What a figure holds refers to it and would stay for long.
                    drawn.figure.clear()
                    yield Cutting(kind, page.option, packed(picture, context.size.dots_an_inch), said, of)


def _cut(whole: Rgb, place: Place) -> Rgb:
    """A part of a picture; cut out of its pixels, for names would move in one that is drawn smaller."""
    left, bottom, across, up = place
    height, width = whole.shape[:2]
    rows = slice(round((1 - bottom - up) * height), round((1 - bottom) * height))
    return whole[rows, round(left * width) : round((left + across) * width)]
