"""All options by all walks: who raises the alarm, how far into each walk, and who never does."""

from functools import partial

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.sentences.walks import in_time_sentence, short_walk_words
from terrain3d.show.legend import ALARM
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import page_mark
from terrain3d.show.pages.sheet import COLUMN_RIGHT, PICTURE, Page, Sheet
from terrain3d.walk.pulses import WalkResult

#: Options and walks of one page.
_OPTIONS, _WALKS = 4, 12
_NAMES_RIGHT, _TOP, _FLOOR = 0.29, 0.86, 0.12
_PITCH = 0.056


def pages(context: PageContext) -> list[Page]:
    """Some options and some walks on each page, the best options first."""
    options = context.best_first
    columns = [options[k : k + _OPTIONS] for k in range(0, len(options), _OPTIONS)]
    count = len(_walks_of(context, options[0].name)) if options else 0
    rows = [slice(k, k + _WALKS) for k in range(0, count, _WALKS)]
    return context.pages_of_all(
        "walks-table", [partial(walks_table, context, some, part) for some in columns for part in rows]
    )


def walks_table(context: PageContext, options: tuple[OptionResult, ...], rows: slice) -> Sheet:
    """One page: walks down, options across."""
    told = {option.name: _walks_of(context, option.name)[rows] for option in options}
    sentence = in_time_sentence({name: _walks_of(context, name) for name in told})
    page = context.begin("Walks", "every walk through every option, best option first", sentence)
    width = (COLUMN_RIGHT - _NAMES_RIGHT) / len(options)
    for k, option in enumerate(options):
        left = _NAMES_RIGHT + k * width
        lines = page.lines(option.name, width - 0.015, 9, 2, "bold")
        for n, line in enumerate(lines):
            page.text(left, _TOP - 0.022 * n, line, 9, weight="bold", va="baseline")
    y = _TOP - 0.06
    for place, first in enumerate(told[options[0].name]):
        page.rule(PICTURE[0], COLUMN_RIGHT, y + 0.029)
        for n, line in enumerate(page.lines(first.name, _NAMES_RIGHT - PICTURE[0] - 0.02, 8.5, 2)):
            page.text(PICTURE[0], y - 0.019 * n, line, 8.5, va="baseline")
        for k, option in enumerate(options):
            walk = told[option.name][place]
            left = _NAMES_RIGHT + k * width
            if walk.alarm is not None:
                page_mark(page.figure, ALARM, left + 0.006, y + 0.006, 0.6)
            colour = palette.INK if walk.alarm is not None else palette.QUIET_INK
            size, lines = page.fitting(short_walk_words(walk), width - 0.03, ((8, 2), (6.8, 3)))
            page.rows(lines, left + 0.018, y, size, 0.019 * size / 8, color=colour)
        y -= _PITCH
    page.key([ALARM])
    return page


def _walks_of(context: PageContext, name: str) -> tuple[WalkResult, ...]:
    assert context.study is not None
    walks = context.study.of(name).walks
    assert walks is not None
    return walks.walks
