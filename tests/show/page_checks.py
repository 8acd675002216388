"""What every page has to keep: no text leaves it, and none runs into another."""

from itertools import combinations

from matplotlib.transforms import Bbox

from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import boxes_meet
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.pages.size import SIZES
from terrain3d.study import OptionStudy, Study


def texts_of(page: Sheet) -> list[tuple[str, Bbox]]:
    """All that is written on a page, with the pixels it takes."""
    page.figure.canvas.draw()
    texts = list(page.figure.texts)
    for axes in page.figure.axes:
        ticks = [*axes.get_xticklabels(), *axes.get_yticklabels()]
        low_x, high_x = sorted(axes.get_xlim())
        low_y, high_y = sorted(axes.get_ylim())
        shown = [t for t in ticks if low_x <= t.get_position()[0] <= high_x or t in axes.get_yticklabels()]
        texts += [t for t in axes.texts if t.get_visible()]
        texts += [
            t
            for t in shown
            if t.get_visible() and (t in axes.get_xticklabels() or low_y <= t.get_position()[1] <= high_y)
        ]
    return [(t.get_text(), t.get_window_extent()) for t in texts if t.get_text()]


def check_texts(page: Sheet) -> None:
    """Fail where a text leaves the page or covers another."""
    boxes = texts_of(page)
    width, height = page.figure.bbox.size
    for text, box in boxes:
        assert box.x0 >= 0, text
        assert box.x1 <= width, text
        assert box.y0 >= 0, text
        assert box.y1 <= height, text
    for (text, box), (other, other_box) in combinations(boxes, 2):
        assert not boxes_meet(shrunk(box), shrunk(other_box)), (text, other)


def shrunk(box: Bbox) -> Bbox:
    """A text's box without the room for letters that reach below the line, which may interlock."""
    return Bbox.from_extents(box.x0 + 1, box.y0 + 0.25 * box.height, box.x1 - 1, box.y1 - 0.1 * box.height)


def context_of(outcome, size="screen", date="", found=lambda option: {}, uncertainty=None) -> PageContext:
    """What pages start from; `found` gives what a study found out about an option, by field."""
    options = tuple(OptionStudy(option.name, **found(option)) for option in outcome.options)
    study = Study(outcome, options, uncertainty, (), outcome.terrain)
    return PageContext(outcome, SIZES[size], date, study)
