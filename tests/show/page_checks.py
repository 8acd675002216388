"""What every page has to keep: no text leaves it, and none runs into another."""

import numpy as np
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import boxes_meet
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.pages.size import SIZES
from terrain3d.study import OptionStudy, Study


def lay_out(figure: Figure) -> None:
    """Put everything where drawing would put it, without drawing: axes that keep a shape take it."""
    for axes in figure.axes:
        locator = axes.get_axes_locator()
        axes.apply_aspect(locator(axes, figure.canvas.get_renderer()) if locator else None)


def texts_of(page: Sheet) -> list[tuple[str, Bbox]]:
    """All that is written on a page, with the pixels it takes."""
    lay_out(page.figure)
    texts = list(page.figure.texts)
    for axes in page.figure.axes:
        of_x, of_y = axes.get_xticklabels(), axes.get_yticklabels()
        low_x, high_x = sorted(axes.get_xlim())
        low_y, high_y = sorted(axes.get_ylim())
        texts += [t for t in axes.texts if t.get_visible()]
        texts += [t for t in of_x if low_x <= t.get_position()[0] <= high_x and t.get_visible()]
        texts += [t for t in of_y if low_y <= t.get_position()[1] <= high_y and t.get_visible()]
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
    cores = [shrunk(box) for _, box in boxes]
    low, high = np.array([core.min for core in cores]), np.array([core.max for core in cores])
    # Those that surely keep clear are set aside at once, for there are thousands of pairs.
    may_meet = ((low[:, None] <= high) & (low <= high[:, None])).all(axis=-1)
    for one, other in np.argwhere(np.triu(may_meet, 1)):
        assert not boxes_meet(cores[one], cores[other]), (boxes[one][0], boxes[other][0])


def shrunk(box: Bbox) -> Bbox:
    """A text's box without the room for letters that reach below the line, which may interlock."""
    return Bbox.from_extents(box.x0 + 1, box.y0 + 0.25 * box.height, box.x1 - 1, box.y1 - 0.1 * box.height)


def context_of(outcome, size="screen", date="", found=lambda option: {}, uncertainty=None) -> PageContext:
    """What pages start from; `found` gives what a study found out about an option, by field."""
    options = tuple(OptionStudy(option.name, **found(option)) for option in outcome.options)
    study = Study(outcome, options, uncertainty, (), outcome.terrain)
    return PageContext(outcome, SIZES[size], date, study)
