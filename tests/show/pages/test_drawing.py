"""Pages drawn by several processes: the same bytes, and nothing lost when one of them fails or is killed."""

import multiprocessing
import os
from functools import partial
from pathlib import Path

import pytest

from terrain3d.errors import InputError
from terrain3d.show.pages import drawing
from terrain3d.show.pages.drawing import draw_pages
from terrain3d.show.pages.sheet import Page, Sheet

COUNT = 7


@pytest.fixture(autouse=True)
def two_at_it(monkeypatch):
    """As on a machine of two cores with many pages to draw."""
    monkeypatch.setattr(drawing, "_cores", lambda: 2)
    monkeypatch.setattr(drawing, "_PAGES_EACH", 2)


def page(number: int) -> Sheet:
    sheet = Sheet()
    sheet.text(0.5, 0.5, f"page {number}", 20)
    return sheet


def by_whom(number: int, folder: Path) -> Sheet:
    """A page that leaves word of the process that draws it."""
    (folder / f"{number}.by").write_text(str(os.getpid()))
    return page(number)


def failing(number: int, place: int, fault: Exception | None) -> Sheet:
    """A page that cannot be drawn by a helper: it fails, or ends outright where there is no fault."""
    if number == place and multiprocessing.parent_process() is not None:
        if fault is None:
            os._exit(1)
        raise fault
    return page(number)


def pages_of(draw):
    """In the shape that pages are handed over in; on the top level of a module, so that it pickles."""
    return [Page(f"{number:02d}-page", partial(draw, number)) for number in range(COUNT)]


def test_the_same_bytes_whoever_draws(tmp_path, monkeypatch):
    """Alone or shared by three: the same files with the same bytes; and the work was shared."""
    monkeypatch.setattr(drawing, "_cores", lambda: 3)
    (tmp_path / "alone").mkdir()
    (tmp_path / "shared").mkdir()
    told: list[float] = []
    alone = draw_pages(partial(pages_of, page), tmp_path / "alone")
    draw = partial(by_whom, folder=tmp_path)
    shared = draw_pages(partial(pages_of, draw), tmp_path / "shared", told.append, is_shared=True)
    assert [path.name for path in alone] == [path.name for path in shared]
    assert [path.read_bytes() for path in alone] == [path.read_bytes() for path in shared]
    assert told == [pytest.approx((k + 1) / COUNT) for k in range(COUNT)]
    who = {(tmp_path / f"{number}.by").read_text() for number in range(COUNT)}
    assert len(who) == 3
    assert str(os.getpid()) in who
    assert multiprocessing.active_children() == []


def test_a_fault_of_a_helper_is_raised_here(tmp_path):
    """What goes wrong elsewhere arrives as it was, and no helper is left."""
    draw = partial(failing, place=1, fault=InputError("no ground", "site.toml", "name a survey"))
    with pytest.raises(InputError, match="no ground") as failed:
        draw_pages(partial(pages_of, draw), tmp_path, is_shared=True)
    assert failed.value.where == "site.toml"
    assert multiprocessing.active_children() == []


def test_a_helper_that_is_killed_costs_no_page(tmp_path):
    """As when memory runs out: what it left is drawn here."""
    draw = partial(failing, place=3, fault=None)
    drawn = draw_pages(partial(pages_of, draw), tmp_path, is_shared=True)
    assert len(drawn) == COUNT
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in drawn)


def test_few_pages_are_drawn_alone(tmp_path, monkeypatch):
    """No process is started where it would not pay."""
    monkeypatch.setattr(drawing, "_PAGES_EACH", COUNT)
    draw_pages(partial(pages_of, partial(by_whom, folder=tmp_path)), tmp_path, is_shared=True)
    assert {(tmp_path / f"{number}.by").read_text() for number in range(COUNT)} == {str(os.getpid())}
