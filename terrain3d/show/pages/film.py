"""A walk as moving pictures: who walks, what is broken, the pulses so far and the alarm, as one GIF."""

from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.text import Text
from PIL import Image

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.sentences.walks import ALARM_RAISED, moment_words, walk_words
from terrain3d.show.legend import ALARM, WALK
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.frames import WALKER, draw_path, frame_signs, walk_of, walks_with_length
from terrain3d.show.pages.plan import begin_plan, few_labels
from terrain3d.show.pages.sheet import COLUMN_LEFT, COLUMN_RIGHT, PICTURE, Page, PageFigure, Sheet
from terrain3d.show.pages.size import SCREEN
from terrain3d.show.pages.walk_strip import draw_strip
from terrain3d.units import Floats
from terrain3d.walk.moments import Moment, moments_of, walked_line
from terrain3d.walk.pulses import WalkResult
from terrain3d.walk.track import spots_at

#: Pictures of a film, and how long each stays, milliseconds; that of the alarm and the last stay longer.
PICTURES, EACH_MS, STAYS_MS = 25, 200, 1600
#: Pixels across.
WIDTH = 1200
_PLAN = (PICTURE[0], 0.285, PICTURE[2], 0.59)
_STRIP = (PICTURE[0], 0.155, PICTURE[2], 0.095)


class Film:
    """A sheet with what moves on it, from moment to moment."""

    def __init__(self, page: Sheet, walk: WalkResult, moving: "_Moving") -> None:
        self._page, self._walk, self._moving = page, walk, moving
        self.moments = moments_of(walk, PICTURES)

    @property
    def figure(self) -> PageFigure:
        """The page at its last moment."""
        self._moving.set_to(self._walk, self.moments[-1])
        return self._page.figure

    def number(self, _number: int, _count: int) -> "Film":
        """A film is none of the pages that are counted."""
        return self

    def durations_ms(self) -> list[int]:
        """How long each picture stays."""
        first = next((k for k, moment in enumerate(self.moments) if moment.has_alarm), -1)
        return [STAYS_MS if k in (first, PICTURES - 1) else EACH_MS for k in range(PICTURES)]

    def save(self, path: Path) -> Path:
        """Write it as a GIF that begins again at its end; the same film gives the same bytes."""
        pictures = self._pictures()
        table = _table(pictures[-1])
        told = [picture.quantize(palette=table, dither=Image.Dither.NONE) for picture in pictures]
        told[0].save(
            path, format="GIF", save_all=True, append_images=told[1:], duration=self.durations_ms(), loop=0,
            optimize=False,
        )  # fmt: skip
        return path

    def _pictures(self) -> list[Image.Image]:
        """Each moment; what stays is drawn once."""
        canvas: Any = self._page.figure.canvas
        self._moving.show(False)
        canvas.draw()
        still = canvas.copy_from_bbox(self._page.figure.bbox)
        self._moving.show(True)
        pictures = []
        for moment in self.moments:
            canvas.restore_region(still)
            self._moving.set_to(self._walk, moment)
            self._moving.draw()
            whole = Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3].copy())
            height = round(WIDTH * whole.height / whole.width)
            pictures.append(whole.resize((WIDTH, height), Image.Resampling.LANCZOS))
        return pictures


def _table(last: Image.Image) -> Image.Image:
    """One table of colours for all pictures: those of signs as they are, the rest as the last picture has."""
    signs = [*palette.VERDICT_COLOURS.values(), palette.ALARM, palette.FIGURE, palette.PROTECTED]
    fixed = [palette.PAPER, palette.INK, palette.FOLIAGE, palette.FOLIAGE_EDGE, *signs]
    rest = last.quantize(256 - len(fixed), method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    table = Image.new("P", (1, 1))
    own = [int(part) for colour in fixed for part in palette.rgb(colour)]
    table.putpalette((own + list(rest.getpalette() or []))[: 3 * 256])
    return table


class _Moving:
    """What moves: the path walked, its pulses, who walks, the alarm, a line on the strip, and words."""

    def __init__(self, lines: dict[str, list[Line2D]], texts: list[Text]) -> None:
        self._lines, self._texts = lines, texts

    def show(self, is_shown: bool) -> None:
        for artist in self._all():
            artist.set_visible(is_shown)

    def draw(self) -> None:
        for artist in self._all():
            holder: Any = artist.axes or artist.figure
            holder.draw_artist(artist)

    def set_to(self, walk: WalkResult, moment: Moment) -> None:
        alarm = [walk.alarm.x, walk.alarm.y] if moment.has_alarm and walk.alarm is not None else []
        places: dict[str, Floats] = {
            "walked": walked_line(walk, moment.along_m),
            "pulses": np.array([(pulse.x, pulse.y) for pulse in moment.pulses]),
            "walker": np.array([moment.x, moment.y]),
            "alarm": np.array(alarm),
            "strip": np.array([(moment.along_m, 0.0), (moment.along_m, 1.0)]),
        }
        for name, at in places.items():
            for line in self._lines[name]:
                line.set_data(*np.reshape(at, (-1, 2)).T)
        words = [*moment_words(moment), ALARM_RAISED if moment.has_alarm else ""]
        for text, said in zip(self._texts, words, strict=True):
            text.set_text(said)

    def _all(self) -> list[Line2D | Text]:
        return [*(line for lines in self._lines.values() for line in lines), *self._texts]


def pages(context: PageContext) -> list[Page]:
    """A film of each walk through each option."""
    return context.pages_of_options(
        "film",
        lambda option: [partial(film_of, context, option, place) for place in walks_with_length(context)],
        "gif",
    )


def film_of(context: PageContext, option: OptionResult, place: int) -> Film:
    """The film of one walk, by its place among those of the site."""
    walk, outcome = walk_of(context, option, place), context.outcome
    # A film is for a screen, whatever the pages are made for.
    screen = PageContext(outcome, SCREEN, context.date, context.study, context.lines)
    page = screen.begin_option(option, f'"{walk.name}", plan north up', walk_words(walk))
    plan = begin_plan(
        page, outcome, option, screen.base_in(_PLAN[2:], [walk.line]), _PLAN, "W", is_ruled=False
    )
    draw_path(plan.axes, walk)
    spots = np.column_stack(spots_at(walk.line, np.linspace(0, walk.length_m, 60)))
    plan.finish(few_labels(plan), [plan.around(walk.line[0], 12)], plan.pixels(spots))
    strip = draw_strip(page, walk, outcome.terrain.protect, _STRIP, walk.length_m)
    page.key(frame_signs(screen))
    axes = plan.axes
    lines = {
        "walked": axes.plot([], [], zorder=21, **WALK.stroke),
        "pulses": _mark(axes, WALK, 22),
        "walker": _mark(axes, WALKER, 23),
        "alarm": _mark(axes, ALARM, 24),
        "strip": strip.plot([], [], color=palette.FIGURE, linewidth=2.4, zorder=20),
    }
    texts = [
        page.figure.text(COLUMN_LEFT, 0.84 - 0.035 * k, "", fontsize=size, weight=weight, va="baseline")
        for k, (size, weight) in enumerate(((12, "bold"), (9.5, "normal"), (9.5, "normal"), (12, "bold")))
    ]
    film = Film(page, walk, _Moving(lines, texts))
    _fit(page, texts, film)
    return film


def _mark(axes: Any, sign: Any, zorder: float) -> list[Line2D]:
    """The mark of a sign, at no place yet."""
    return [axes.plot([], [], zorder=zorder, **look)[0] for look in sign.mark.looks(1.2)]


def _fit(page: Sheet, texts: list[Text], film: Film) -> None:
    """Words that are too wide for the column at any moment are set smaller at all of them."""
    width = COLUMN_RIGHT - COLUMN_LEFT
    for k, text in enumerate(texts[:3]):
        widest = max((moment_words(moment)[k] for moment in film.moments), key=len)
        weight, size = text.get_fontweight(), float(text.get_fontsize())
        while size > 6 and len(page.lines(widest, width, size, 2, str(weight))) > 1:
            size -= 0.5
        text.set_fontsize(size)
