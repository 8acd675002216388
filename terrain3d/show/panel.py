"""The column beside the window's view: options, figures, warnings and keys, drawn as a picture."""

from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import VERDICT_KEYS, VERDICT_WORDS, Verdict
from terrain3d.job import Outcome
from terrain3d.show import palette, words
from terrain3d.show.lettering import fitted_lines, page_style
from terrain3d.show.palette import Rgb

WIDTH_PX, DPI = 330, 100
_MARGIN_PX = 16


class _Column:
    """Text set line by line from the top; what would leave the column is not set."""

    def __init__(self, height_px: int) -> None:
        self.height_px = max(height_px, 200)
        self.figure = Figure(figsize=(WIDTH_PX / DPI, self.height_px / DPI), dpi=DPI, facecolor=palette.PAPER)
        self.canvas: Any = FigureCanvasAgg(self.figure)
        self.y = float(self.height_px - _MARGIN_PX)

    def line(
        self, text: str, size: float, figures: tuple[str, ...] = (), indent: int = 0, **look: Any
    ) -> bool:
        height = size * 1.4 * DPI / 72
        if self.y - height < _MARGIN_PX:
            return False
        self.y -= height
        self._write(_MARGIN_PX + indent, text, size, "left", look)
        for place, figure in enumerate(reversed(figures)):
            self._write(WIDTH_PX - _MARGIN_PX - 74 * place, figure, size, "right", look)
        return True

    def text(self, text: str, size: float, max_lines: int, weight: str = "normal", **look: Any) -> None:
        width = (WIDTH_PX - 2 * _MARGIN_PX) * 72 / DPI / size
        for line in fitted_lines(text, width, max_lines, weight):
            self.line(line, size, weight=weight, **look)

    def heading(self, text: str, figures: tuple[str, ...] = ()) -> None:
        self.y -= 12
        self.line(text, 9, figures, weight="bold")
        self.y -= 3

    def swatch(self, colour: str) -> None:
        self.figure.add_artist(
            Rectangle(
                (_MARGIN_PX / WIDTH_PX, (self.y - 1) / self.height_px),
                20 / WIDTH_PX,
                11 / self.height_px,
                facecolor=colour,
                edgecolor=palette.QUIET_INK,
                linewidth=0.7,
            )
        )

    def _write(self, x: float, text: str, size: float, align: str, look: dict[str, Any]) -> None:
        place = (x / WIDTH_PX, self.y / self.height_px)
        self.figure.text(*place, text, fontsize=size, ha=align, va="baseline", **look)


def draw_panel(
    outcome: Outcome, shown: tuple[OptionResult, ...], keys: tuple[tuple[str, str], ...], height_px: int
) -> Rgb:
    """Draw the column for one option, or for two set beside each other.

    Parameters
    ----------
    outcome : Outcome
    shown : tuple of OptionResult
        From left to right.
    keys : tuple of (key, what it does)
    height_px : int

    Returns
    -------
    (height_px, 330, 3) uint8
        Row 0 at the top.
    """
    with page_style():
        column = _Column(height_px)
        column.text(outcome.site_name, 8.5, 2, color=palette.QUIET_INK)
        for option, side in zip(shown, ("left: ", "right: ") if len(shown) > 1 else ("",), strict=True):
            column.y -= 6
            column.text(f"{side}{option.name}", 12 if len(shown) == 1 else 10, 3, "bold")
            place = words.place_in_ranking(outcome, option)
            if place:
                column.line(f"{place} in the ranking", 8.5, color=palette.QUIET_INK)
        sides = ("left", "right") if len(shown) > 1 else ()
        _verdicts(column, shown, sides)
        _protected(column, shown, sides)
        warnings = list(dict.fromkeys(w for option in shown for w in words.warnings_of(outcome, option)))
        if warnings:
            column.heading("Mind")
            for warning in warnings[:3]:
                column.text(warning, 8, 3)
            if len(warnings) > 3:
                column.line(f"and {len(warnings) - 3} more: see results.json", 8)
        column.heading("Keys")
        for key, what in keys:
            column.line(key, 8, weight="bold")
            column.y += 8 * 1.4 * DPI / 72
            column.line(what, 8, indent=78)
        column.y -= 10
        column.text(SHORT_CAUTION, 7.5, 8, color=palette.QUIET_INK)
        column.canvas.draw()
        return np.asarray(column.canvas.buffer_rgba())[..., :3].copy()


def _verdicts(column: _Column, shown: tuple[OptionResult, ...], sides: tuple[str, ...]) -> None:
    column.heading("Ground", sides)
    for verdict in sorted(Verdict, reverse=True):
        areas = tuple(words.square_metres(option.area_m2.get(VERDICT_KEYS[verdict], 0.0)) for option in shown)
        figures = () if verdict == Verdict.OUTSIDE else areas
        if column.line(VERDICT_WORDS[verdict], 9, figures, indent=28):
            column.swatch(palette.VERDICT_COLOURS[verdict])


def _protected(column: _Column, shown: tuple[OptionResult, ...], sides: tuple[str, ...]) -> None:
    if not shown[0].protect:
        return
    column.heading("Both layers hold", sides)
    for index, area in enumerate(shown[0].protect[:6]):
        figures = tuple(f"{option.protect[index].both_fraction:.0%}" for option in shown)
        room = (WIDTH_PX - 2 * _MARGIN_PX - 74 * len(shown)) * 72 / DPI / 9
        column.line(fitted_lines(area.name, room, 1)[0], 9, figures)
