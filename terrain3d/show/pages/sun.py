"""The page of the low sun: a year of dates across and hours up, marked where the sun stands in a layer."""

from dataclasses import dataclass
from datetime import date
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, MultipleLocator
from numpy.typing import NDArray

from terrain3d import palette
from terrain3d.conditions.sun import HIDDEN, SEEN, STEP_MIN, SunLayer, SunResult, SunSpan
from terrain3d.cover.option import OptionResult
from terrain3d.palette import Rgb
from terrain3d.sentences.sun import (
    NO_PLACE,
    SHORT_MONTHS,
    clock_span,
    clock_words,
    day_span,
    stay_words,
    sun_line,
)
from terrain3d.sentences.words import minutes_words
from terrain3d.show.blocks import Gap, Listing, Piece, Row, Section, fill
from terrain3d.show.legend import SUN_DOWN, SUN_HIDDEN, SUN_IN_SEVERAL, SUN_UP, Sign, sun_sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.sheet import PICTURE, Page, Place, Sheet
from terrain3d.show.pages.size import HEIGHT_PX, WIDTH_PX

#: Height of a heading, as a share of the page.
_HEADING = 0.05
#: Heads drawn on one page; the rest is in results.json.
MOST = 6
#: Columns and rows of charts for so many heads.
_GRID = {1: (1, 1), 2: (1, 2), 3: (1, 3), 4: (2, 2), 5: (2, 3), 6: (2, 3)}
#: Room of a chart for its hours and its name, pixels of the layout.
_LEFT_PX, _TOP_PX, _FOOT_PX = 52.0, 30.0, 26.0


@dataclass(frozen=True)
class HeadYear:
    """The layers of one head of one unit, in the order of the head."""

    unit: str
    head: int
    facing_deg: float
    layers: tuple[SunLayer, ...]


def pages(context: PageContext) -> list[Page]:
    """A page of each option."""
    return context.pages_of_options("sun", lambda option: [partial(sun_sheet, context, option)])


def sun_sheet(context: PageContext, option: OptionResult) -> Sheet:
    """The page of one option."""
    sun = context.studied(option).sun
    assert sun is not None
    heads = heads_of(sun)
    shown = heads[:MOST]
    view = f"low sun in {sun.setting.year}, by the clock of {sun.zone}"
    page = context.begin_option(option, view, sun_line(sun))
    if not heads:
        axes = page.picture_axes()
        axes.set(xticks=[], yticks=[])
        (line,) = page.lines(NO_PLACE, PICTURE[2] - 0.1, 11, 1)
        page.text(PICTURE[0] + PICTURE[2] / 2, PICTURE[1] + PICTURE[3] / 2, line, 11, ha="center")
        return page
    hours = _hours(sun.daylight)
    for place_of_chart, head in zip(_places(len(shown)), shown, strict=True):
        _chart(page, page.picture_axes(place_of_chart), sun, head, hours)
    _column(page, heads)
    page.key(_signs(shown))
    return page


def heads_of(sun: SunResult) -> tuple[HeadYear, ...]:
    """The layers of a result, gathered by unit and head."""
    keys = dict.fromkeys((layer.unit, layer.head, layer.facing_deg) for layer in sun.layers)
    return tuple(
        HeadYear(
            unit, head, facing,
            tuple(found for found in sun.layers if (found.unit, found.head) == (unit, head)),
        )
        for unit, head, facing in keys
    )  # fmt: skip


def year_image(daylight: NDArray[np.bool_], layers: tuple[SunLayer, ...]) -> Rgb:
    """(steps, days, 3) colours of one head's year: hours up, days across, the first row the earliest."""
    seen = np.stack([layer.states == SEEN for layer in layers])
    behind = np.any([layer.states == HIDDEN for layer in layers], axis=0)
    image = np.where(daylight[..., None], palette.rgb(SUN_UP.fill), palette.rgb(SUN_DOWN.fill))
    image[behind] = palette.rgb(SUN_HIDDEN.fill)
    for layer, mask in zip(layers, seen, strict=True):
        image[mask] = palette.rgb(sun_sign(layer.layer).fill)
    image[seen.sum(axis=0) > 1] = palette.rgb(SUN_IN_SEVERAL.fill)
    return np.ascontiguousarray(image.swapaxes(0, 1).astype(np.uint8))


def _hours(daylight: NDArray[np.bool_]) -> tuple[float, float]:
    """The hours to show: all that is light on some day, to whole hours."""
    light = np.flatnonzero(daylight.any(axis=0))
    if not len(light):
        return 0.0, 24.0
    per_hour = 60 // STEP_MIN
    return max(light[0] // per_hour - 1.0, 0.0), min(light[-1] // per_hour + 2.0, 24.0)


def _places(n: int) -> list[Place]:
    """Left, bottom, width, height of the charts, row by row from the top."""
    across, down = _GRID[n]
    left, top, foot = _LEFT_PX / WIDTH_PX, _TOP_PX / HEIGHT_PX, _FOOT_PX / HEIGHT_PX
    width, height = PICTURE[2] / across, PICTURE[3] / down
    places = []
    for k in range(n):
        row, column = divmod(k, across)
        x, y = PICTURE[0] + column * width, PICTURE[1] + PICTURE[3] - (row + 1) * height
        places.append((x + left, y + foot, width - left - 0.004, height - top - foot))
    return places


def _chart(page: Sheet, axes: Axes, sun: SunResult, head: HeadYear, hours: tuple[float, float]) -> None:
    days = sun.daylight.shape[0]
    axes.imshow(
        year_image(sun.daylight, head.layers),
        extent=(0, days, 0, 24),
        origin="lower",
        aspect="auto",
        interpolation="nearest",
        zorder=1,
    )
    middles = np.arange(days) + 0.5, (np.arange(sun.daylight.shape[1]) + 0.5) * STEP_MIN / 60
    for layer in head.layers:
        if layer.minutes:
            seen = (layer.states == SEEN).T.astype(float)
            axes.contour(*middles, seen, [0.5], colors=[palette.INK], linewidths=0.7, zorder=3)
    starts = np.array(
        [(date(sun.setting.year, month, 1) - date(sun.setting.year, 1, 1)).days for month in range(1, 13)]
    )
    axes.xaxis.set_major_locator(FixedLocator(list(starts)))
    axes.set_xticklabels([])
    axes.yaxis.set_major_locator(MultipleLocator(3))
    axes.yaxis.set_major_formatter(lambda value, _: clock_words(round(60 * value)))
    axes.set(xlim=(0, days), ylim=hours)
    axes.grid(color=palette.QUIET_INK, linewidth=0.4, alpha=0.35, zorder=2)
    axes.tick_params(labelsize=7, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
    box = axes.get_position()
    narrow = box.width < 0.25
    for month, (start, stop) in enumerate(zip(starts, [*starts[1:], days], strict=True)):
        name = SHORT_MONTHS[month][0] if narrow else SHORT_MONTHS[month]
        page.text(
            box.x0 + box.width * (start + stop) / 2 / days, box.y0 - 0.016, name, 7, ha="center",
            va="baseline", color=palette.QUIET_INK,
        )  # fmt: skip
    (line,) = page.lines(_head_words(head), box.width, 8, 1, "bold")
    page.text(box.x0, box.y1 + 0.007, line, 8, weight="bold", va="baseline")


def _head_words(head: HeadYear) -> str:
    return f"{head.unit}, head {head.head}, facing {head.facing_deg:.0f}°"


def _column(page: Sheet, heads: tuple[HeadYear, ...]) -> None:
    """The spans in words; where there is no room for all, the first and last day of each layer."""
    items = [_head_pieces(head, in_full=True) for head in heads]
    in_full = sum(page.height_of(piece) for item in items for piece in item) + _HEADING < page.room()
    if not in_full:
        items = [_head_pieces(head, in_full=False) for head in heads]
    blocks: list[Piece | Listing] = [Listing(tuple(items), spare=0 if in_full else 1)]
    if not in_full:
        blocks.append(Row("All times: see results.json", size="small", is_quiet=True))
    fill(page, [Section("The sun near each layer", tuple(blocks))])


def _head_pieces(head: HeadYear, in_full: bool) -> tuple[Piece, ...]:
    pieces: list[Piece] = [Row(_head_words(head), is_bold=True)]
    for layer in head.layers:
        pieces.append(Row(f"{layer.layer} layer", (stay_words(layer),)))
        pieces += [Row(days, (hours,), size="small", is_inset=True) for days, hours in _rows(layer, in_full)]
        if in_full and layer.hidden_minutes:
            hidden = minutes_words(layer.hidden_minutes)
            pieces.append(Row("hidden there", (hidden,), size="small", is_quiet=True, is_inset=True))
    return (*pieces, Gap())


def _rows(layer: SunLayer, in_full: bool) -> list[tuple[str, str]]:
    """Days and hours of every span, or of all of them together."""
    spans, season = layer.spans, layer.season
    if not in_full and season is not None:
        starts, ends = [span.start_min for span in spans], [span.end_min for span in spans]
        spans = (SunSpan(*season, min(starts), max(ends), max(span.longest_min for span in spans)),)
    return [(day_span(span), clock_span(span)) for span in spans]


def _signs(shown: tuple[HeadYear, ...]) -> list[Sign]:
    names = dict.fromkeys(layer.layer for head in shown for layer in head.layers if layer.minutes)
    signs = [sun_sign(name) for name in list(names)[:3]]
    if any((sum(layer.states == SEEN for layer in head.layers) > 1).any() for head in shown):
        signs.append(SUN_IN_SEVERAL)
    if any(layer.hidden_minutes for head in shown for layer in head.layers):
        signs.append(SUN_HIDDEN)
    return [*signs, SUN_UP, SUN_DOWN]
