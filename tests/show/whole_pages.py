"""All pages of the studied sites, laid out once and shared by the tests of what is on every page."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import pytest
from matplotlib.transforms import Bbox
from page_checks import texts_of
from studied_sites import all_pages, studied

from terrain3d.show.drape import drape
from terrain3d.show.lettering import page_style
from terrain3d.show.pages import oblique, outlook, plan, views
from terrain3d.show.pages.sheet import Page, Sheet
from terrain3d.study import Study


class Laid(NamedTuple):
    """A page laid out, and all that is written on it with the pixels it takes."""

    page: Page
    sheet: Sheet
    texts: list[tuple[str, Bbox]]

    @property
    def kind(self) -> str:
        """Its kind, as its name has it."""
        return next(kind for kind in _KINDS if f"-{kind}-" in f"{self.page.name}-")

    @property
    def said(self) -> str:
        """All that is written on it in one line, in the order it was written."""
        return " ".join(" ".join(text.split()) for text, _ in self.texts)


#: Those that begin with the name of another stand before it.
_KINDS = (
    "client", "contact", "warnings", "survey", "side-by-side", "plan", "routes-oblique", "oblique", "section",
    "outlook", "views", "frames", "causes", "against", "walks-table", "walks", "fans", "routes", "close-in",
    "animals", "beyond", "heat", "sun", "doubt",
)  # fmt: skip


@contextmanager
def in_few_dots() -> Iterator[None]:
    """Ground and views in few pixels and scenes in none: words and signs lie as on fine ones."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan, "drape", lambda codes, shade, _pixels, seen: drape(codes, shade, 1, seen))
        patch.setattr(oblique, "render", lambda _s, _c, *_: np.full((2, 2, 3), 255, np.uint8))
        patch.setattr(outlook, "_FINEST", 0.25)
        patch.setattr(views, "_FINENESS", 0.15)
        yield


@lru_cache(maxsize=4)
def laid_out(site: str, size: str = "screen") -> list[Laid]:
    """All pages of a site of `studied_sites`."""
    return laid_out_pages(studied(site), size)


def laid_out_pages(study: Study, size: str = "screen") -> list[Laid]:
    """All pages of a study."""
    laid = []
    with in_few_dots(), page_style():
        for page in all_pages(study, size):
            sheet = page.draw()
            laid.append(Laid(page, sheet, texts_of(sheet)))
    return laid
