"""One printed page: title, picture, legend column, sentence and caution; knows nothing of pictures."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN, VERDICT_KEYS, VERDICT_WORDS, Verdict
from terrain3d.job import Outcome
from terrain3d.show import palette, words
from terrain3d.show.extent import Extent
from terrain3d.show.lettering import fitted_lines, line_width

WIDTH_PX, HEIGHT_PX, DPI = 1600, 1132, 160
#: Left, bottom, width, height of the picture as shares of the page; beside it the legend column.
PICTURE = (0.05, 0.15, 0.655, 0.725)
COLUMN_LEFT, COLUMN_RIGHT = 0.73, 0.978
PICTURE_ASPECT = PICTURE[2] * WIDTH_PX / (PICTURE[3] * HEIGHT_PX)


@dataclass(frozen=True)
class Sign:
    """One entry of the key: a patch where `fill` names a colour, a line (with a mark) where not."""

    text: str
    fill: str = ""
    line: str = palette.INK
    width: float = 1.0
    dashes: Any = "-"
    marker: str = ""


@dataclass(frozen=True)
class Stripe:
    """The second cue of a swatch, as the drape has it: a hatch of matplotlib and its colour."""

    hatch: str = ""
    colour: str = ""


_STRIPES = {
    Verdict.UPPER_ONLY: Stripe("---", palette.UPPER_STRIPE),
    Verdict.DEAD: Stripe(r"\\\\", palette.DEAD_STRIPE),
}


class Sheet:
    """A page being filled from top to bottom of its legend column."""

    def __init__(self) -> None:
        self.figure = Figure(figsize=(WIDTH_PX / DPI, HEIGHT_PX / DPI), dpi=DPI, facecolor=palette.PAPER)
        FigureCanvasAgg(self.figure)
        self._below = PICTURE[1] + PICTURE[3] + 0.018

    def picture_axes(self) -> Axes:
        return self.figure.add_axes(PICTURE)

    def lines(
        self, text: str, width: float, size: float, max_lines: int, weight: str = "normal"
    ) -> list[str]:
        """A text from a file as lines that fit `width`, a share of the page."""
        return fitted_lines(text, width * WIDTH_PX * 72 / DPI / size, max_lines, weight)

    def text(self, x: float, y: float, text: str, size: float, **look: Any) -> None:
        self.figure.text(x, y, text, fontsize=size, **look)

    def heading(self, text: str) -> None:
        self._below -= 0.036
        self.text(COLUMN_LEFT, self._below, text, 9, weight="bold", va="baseline")
        self._below -= 0.009
        self._line(self._below)
        self._below -= 0.004

    def row(self, text: str, figure: str = "", size: float = 8, indent: float = 0.0, **look: Any) -> float:
        """One line of the column, a figure at its right edge; returns its baseline."""
        self._below -= _line_height(size)
        self.text(COLUMN_LEFT + indent, self._below, text, size, va="baseline", **look)
        if figure:
            self.text(COLUMN_RIGHT, self._below, figure, size, va="baseline", ha="right", **look)
        return self._below

    def paragraph(self, text: str, max_lines: int, size: float = 7.5, **look: Any) -> None:
        for line in self.lines(text, COLUMN_RIGHT - COLUMN_LEFT, size, max_lines):
            self.row(line, size=size, **look)

    def gap(self, height: float = 0.006) -> None:
        self._below -= height

    def room_for(self, lines: int, size: float = 7.5) -> bool:
        return self._below - lines * _line_height(size) > PICTURE[1]

    def swatch(self, baseline: float, colour: str, stripe: Stripe, edge: str = palette.QUIET_INK) -> None:
        box = Rectangle(
            (COLUMN_LEFT, baseline - 0.003), 0.024, 0.018, facecolor=colour, edgecolor=edge, linewidth=0.8
        )
        self.figure.add_artist(box)
        if stripe.hatch:
            box.set(hatch=stripe.hatch, edgecolor=stripe.colour)
            self.figure.add_artist(
                Rectangle(box.get_xy(), 0.024, 0.018, fill=False, edgecolor=edge, linewidth=0.8)
            )

    def bar(self, fraction: float) -> None:
        """A share as a bar over the column's width."""
        self._below -= 0.015
        full = COLUMN_RIGHT - COLUMN_LEFT
        for width, colour in ((full, palette.VERDICT_COLOURS[Verdict.OUTSIDE]), (full * fraction, _BOTH)):
            self.figure.add_artist(
                Rectangle((COLUMN_LEFT, self._below), width, 0.008, facecolor=colour, edgecolor="none")
            )
        self.figure.add_artist(
            Rectangle(
                (COLUMN_LEFT, self._below),
                full,
                0.008,
                fill=False,
                edgecolor=palette.QUIET_INK,
                linewidth=0.5,
            )
        )

    def key(self, signs: list[Sign]) -> None:
        """What the marks of the picture mean, in a row under it."""
        x, y = PICTURE[0], 0.107
        for sign in signs:
            self.figure.add_artist(
                Rectangle(
                    (x, y - 0.002),
                    0.02,
                    0.0145,
                    facecolor=sign.fill,
                    edgecolor=sign.line,
                    linewidth=sign.width,
                    linestyle=sign.dashes,
                )
                if sign.fill
                else mpl.lines.Line2D(
                    [x, x + 0.02],
                    [y + 0.005] * 2,
                    color=sign.line,
                    linewidth=sign.width,
                    linestyle=sign.dashes,
                    marker=sign.marker,
                    markevery=[0],
                    markersize=5.5,
                    markerfacecolor="white",
                )
            )
            self.text(x + 0.026, y, sign.text, 7.2, va="baseline", color=palette.INK)
            x += 0.026 + _share(sign.text, 7.2) + 0.022

    def save(self, path: Path) -> Path:
        # matplotlib would write its own version into the file: other bytes for the same picture.
        self.figure.savefig(
            path, format="png", dpi=DPI, metadata={"Software": None}, pil_kwargs={"compress_level": 3}
        )
        return path

    def _line(self, y: float) -> None:
        self.figure.add_artist(
            mpl.lines.Line2D([COLUMN_LEFT, COLUMN_RIGHT], [y, y], color=palette.HAIRLINE, linewidth=0.7)
        )


_BOTH = palette.VERDICT_COLOURS[Verdict.BOTH]


def _share(text: str, size: float) -> float:
    """Width of a line as a share of the page."""
    return line_width(text) * size * DPI / 72 / WIDTH_PX


def _line_height(size: float) -> float:
    return size * 1.42 / 72 * DPI / HEIGHT_PX


def option_sheet(outcome: Outcome, option: OptionResult, view: str, extent: Extent) -> Sheet:
    """A page with everything but its picture.

    Parameters
    ----------
    outcome : Outcome
    option : OptionResult
    view : str
        What the picture is, such as "plan, north up".
    extent : Extent
        The part of the site that it shows.
    """
    sheet = Sheet()
    _title(sheet, outcome, option, view)
    _verdict_rows(sheet, option, extent)
    _protected_rows(sheet, option)
    _unit_rows(sheet, option)
    _warning_rows(sheet, words.warnings_of(outcome, option))
    _footer(sheet, words.one_line(outcome, option))
    return sheet


def _title(sheet: Sheet, outcome: Outcome, option: OptionResult, view: str) -> None:
    place = words.place_in_ranking(outcome, option)
    (title,) = sheet.lines(option.name, COLUMN_RIGHT - PICTURE[0] - 0.13, 16, 1, "bold")
    sheet.text(PICTURE[0], 0.943, title, 16, weight="bold", va="baseline")
    figure = f"{outcome.figure.name}, {outcome.figure.height_m:g} m"
    subtitle = f"{outcome.site_name}  |  {view}  |  figure: {figure}"
    (line,) = sheet.lines(subtitle, COLUMN_RIGHT - PICTURE[0], 9.5, 1)
    sheet.text(PICTURE[0], 0.907, line, 9.5, va="baseline", color=palette.QUIET_INK)
    if place:
        sheet.text(COLUMN_RIGHT, 0.943, place, 11, va="baseline", ha="right", color=palette.QUIET_INK)


def _verdict_rows(sheet: Sheet, option: OptionResult, extent: Extent) -> None:
    sheet.heading("Ground")
    for verdict in sorted(Verdict, reverse=True):
        area = option.area_m2.get(VERDICT_KEYS[verdict])
        # How much of the survey lies outside says nothing about the option.
        figure = "" if verdict == Verdict.OUTSIDE or area is None else words.square_metres(area)
        baseline = sheet.row(VERDICT_WORDS[verdict], figure, size=8.5, indent=0.033)
        edge = palette.BOTH_EDGE if verdict == Verdict.BOTH else palette.QUIET_INK
        sheet.swatch(baseline, palette.VERDICT_COLOURS[verdict], _STRIPES.get(verdict, Stripe()), edge)
    if (option.verdicts[extent.rows, extent.columns] == UNKNOWN).any():
        baseline = sheet.row("ground not known", size=8.5, indent=0.033)
        sheet.swatch(baseline, palette.UNKNOWN_GROUND, Stripe("////", palette.UNKNOWN_STRIPE))
    sheet.gap()


def _protected_rows(sheet: Sheet, option: OptionResult) -> None:
    if not option.protect:
        return
    sheet.heading("Protected ground, both layers")
    width = COLUMN_RIGHT - COLUMN_LEFT
    for shown, area in enumerate(option.protect):
        if shown == 5 and len(option.protect) > 6:
            sheet.row(f"and {len(option.protect) - shown} more: see results.json", size=7.5)
            break
        figure = f"{area.both_fraction:.0%} of {words.square_metres(area.area_m2)}"
        room = width - _share(figure, 8) - 0.012
        sheet.row(sheet.lines(area.name, room, 8, 1)[0], figure)
        sheet.bar(area.both_fraction)
    sheet.gap()


def _unit_rows(sheet: Sheet, option: OptionResult) -> None:
    sheet.heading("Units")
    for shown, unit in enumerate(option.detectors):
        if shown == 4 or not sheet.room_for(9):
            sheet.row(f"and {len(option.detectors) - shown} more: see results.json", size=7.5)
            break
        sheet.paragraph(f"{unit.name}: {unit.type.name} on {unit.mount}", 2, size=8)
        for line in words.unit_lines(unit):
            sheet.paragraph(line, 2, color=palette.QUIET_INK)
    sheet.gap()


def _warning_rows(sheet: Sheet, warnings: list[str]) -> None:
    if not warnings:
        return
    sheet.heading("Mind")
    for shown, warning in enumerate(warnings):
        lines = sheet.lines(warning, COLUMN_RIGHT - COLUMN_LEFT, 7.5, 4)
        last = shown == len(warnings) - 1
        if not sheet.room_for(len(lines) + (0 if last else 1)):
            sheet.row(f"and {len(warnings) - shown} more: see results.json", size=7.5)
            break
        for line in lines:
            sheet.row(line, size=7.5)
        sheet.gap(0.004)


def _footer(sheet: Sheet, sentence: str) -> None:
    width = COLUMN_RIGHT - PICTURE[0]
    y = 0.075
    for line in sheet.lines(sentence, width, 9.5, 2):
        sheet.text(PICTURE[0], y, line, 9.5, va="baseline")
        y -= 0.026
    y = 0.022
    for line in sheet.lines(SHORT_CAUTION, width, 6.8, 2):
        sheet.text(PICTURE[0], y, line, 6.8, va="baseline", color=palette.QUIET_INK)
        y -= 0.0155
