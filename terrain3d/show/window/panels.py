"""What the window writes beside the views: the column of figures, the bar of sliders, the sheets."""

from functools import lru_cache

import numpy as np

from terrain3d import palette
from terrain3d.caution import SHORT_CAUTION
from terrain3d.detector.fixing import fixing_of
from terrain3d.palette import Rgb
from terrain3d.sentences.warnings import height_warning
from terrain3d.show.blocks import Row, Section, fill
from terrain3d.show.live import controls
from terrain3d.show.live.column import (
    OptionHead,
    Options,
    head_sections,
    option_heads,
    options_shown,
    sides_of,
    sign_section,
    warnings_shown,
)
from terrain3d.show.live.controls import SETTINGS, Setting
from terrain3d.show.live.findings import CHANCE_HEADING, chance_rows, finding_sections, legend_sections
from terrain3d.show.live.state import CHANCE, EXTRAS, OTHERWISE, WindowState
from terrain3d.show.sections import protected_sections, warning_sections
from terrain3d.show.window.canvas import LINE, Canvas

COLUMN_PX = 330
BAR_PX = 146
_MARGIN = 16
#: Room of a heading and a line under it.
_HEADED_LINE_PX = 50.0

SHORT_KEYS = (
    ("Tab", "next unit"),
    ("\u2191 \u2193", "choose a setting"),
    ("\u2212 +", "less, more"),
    ("Enter", "type a value"),
    ("h m e", "head, mask zones, sensitivity"),
    ("u", "take the last change back"),
    ("s", "save to the site file"),
    ("\u2190 \u2192", "other option"),
    ("c", "compare two options"),
    ("k", "all keys"),
    ("q", "close"),
)
ALL_KEYS = (
    ("Setting a unit", ""),
    ("Tab, Shift Tab", "next unit, unit before"),
    ("1 to 9", "a unit by its number"),
    ("\u2191 \u2193", "setting above, below: height, bearing, tilt, range"),
    ("\u2212 +", "less, more, by the smallest step a hand can set"),
    ("Enter", "type a value: bearing 140, or 140 alone for the chosen setting"),
    ("h", "next head, then all of the unit: range and what follows are set for it"),
    ("m", "mask zones by number, from the left; Enter: open 3, pulses 3"),
    ("e", "next sensitivity by its name"),
    ("u", "take the last change back"),
    ("a", "this option as it was read"),
    ("s", "save the settings of all options to the site file"),
    ("Options", ""),
    ("\u2190 \u2192", "option before, after"),
    ("c", "compare with the option before; again: one option"),
    ("View", ""),
    ("Shift \u2190 \u2192 \u2191 \u2193", "turn it; or drag with the mouse"),
    ("Ctrl \u2190 \u2192 \u2191 \u2193", "move it; or drag with Shift held"),
    ("Page Up, Down", "nearer, farther; or the mouse wheel"),
    ("l, f", "layers, foliage on and off"),
    ("r", "view as at the start"),
    ("Window", ""),
    ("k or F1", "this list; Esc closes it"),
    ("q", "close; asks first where something is not saved"),
)


def draw_column(state: WindowState, height: int) -> Rgb:
    """The column: names, figures, warnings, and at its foot the keys and the caution.

    Returns
    -------
    (height, 330, 3) uint8
        Row 0 at the top.
    """
    canvas = Canvas(COLUMN_PX, max(height, 240), _MARGIN)
    options = options_shown(state)
    foot = _foot(_study_keys(state))
    canvas.bottom = canvas.height - len(foot) - 8.0
    canvas.text(state.outcome.site_name, 12, 1, colour=palette.QUIET_INK)
    for head, side in zip(
        option_heads(state), ("Left: ", "Right: ") if len(options) > 1 else ("",), strict=True
    ):
        _option_head(canvas, head, side, len(options) == 1)
    sides = sides_of(options)
    _draw_legend(canvas, state, options, sides)
    signs, held = sign_section(state, options), protected_sections(options, sides)
    mind = warning_sections(warnings_shown(state, options))
    if state.study is None:
        fill(canvas, [*held, *head_sections(state), *mind, signs])
    else:
        # What the lines in the view are has to be said before what else was found.
        fill(canvas, [signs, *held, *head_sections(state)])
        # However much was found, it is said that there is something to mind.
        kept = _HEADED_LINE_PX if mind else 0.0
        canvas.bottom -= kept
        fill(canvas, finding_sections(state, options, sides))
        canvas.bottom += kept
        fill(canvas, mind)
    canvas.paste(0, canvas.height - len(foot), foot)
    return canvas.picture()


def draw_bar(state: WindowState, width: int) -> Rgb:
    """The bar below the views: the chosen unit, a slider for each setting, and what is said or typed.

    Returns
    -------
    (146, width, 3) uint8
        Row 0 at the top.
    """
    canvas = Canvas(width, BAR_PX, _MARGIN)
    canvas.rectangle((0, 0, width, 0), palette.HAIRLINE)
    unit, count = state.unit, len(state.option.detectors)
    title = ", ".join(filter(None, (f"{unit.name} on {unit.mount}", unit.type.name, state.head_words)))
    canvas.write(_MARGIN, 8, title, 14, bold=True, width=canvas.inner - 190)
    which = f"unit {state.unit_at + 1} of {count}" + (", Tab: next" if count > 1 else "")
    canvas.write(width - _MARGIN, 9, which, 12, colour=palette.QUIET_INK, align="r")
    for setting, (left, right) in slider_spans(width).items():
        _slider(canvas, state, setting, left, right)
    _said(canvas, state, 115)
    return canvas.picture()


def slider_spans(width: int) -> dict[Setting, tuple[float, float]]:
    """From where to where each slider's knob can stand, pixels from the bar's left edge.

    >>> spans = slider_spans(1000)
    >>> len(spans), min(left for left, _ in spans.values()) > 16
    (4, True)
    """
    share = (width - _MARGIN) / len(SETTINGS)
    return {
        setting: (_MARGIN + k * share + 12, _MARGIN + (k + 1) * share - _MARGIN - 12)
        for k, setting in enumerate(SETTINGS)
    }


#: Height of the sliders' grooves below the bar's upper edge, and of the part that takes the mouse.
GROOVE_Y, SLIDER_Y = 76, (32, 106)


def draw_sheet(rows: tuple[tuple[str, str], ...], title: str, width: int = 560) -> Rgb:
    """A sheet laid over the views: a title, then keys and what they do; headings have no second part."""
    size = 13
    heights = [LINE * size + (8 if not what else 2) for _, what in rows]
    canvas = Canvas(width, round(2 * 20 + 34 + sum(heights)), 20)
    canvas.rectangle((0, 0, width - 1, canvas.height - 1), palette.PAPER, palette.QUIET_INK)
    canvas.write(20, 16, title, 17, bold=True)
    canvas.y = 20 + 34
    for (key, what), height in zip(rows, heights, strict=True):
        if not what:
            canvas.write(20, canvas.y + 7, key, size, bold=True, colour=palette.QUIET_INK)
        else:
            canvas.write(20, canvas.y, key, size, bold=True)
            canvas.write(160, canvas.y, what, size, width=width - 180)
        canvas.y += height
    return canvas.picture()


def all_keys(state: WindowState) -> Rgb:
    """The list of all keys."""
    more = _study_keys(state)
    return draw_sheet(
        (*ALL_KEYS[:-3], *((("Study", ""),) if more else ()), *more, *ALL_KEYS[-3:]), "Keys", 640
    )


def _study_keys(state: WindowState) -> tuple[tuple[str, str], ...]:
    """The keys of what was studied."""
    grounds, extras = state.grounds_studied, state.extras_studied
    keys = []
    if len(grounds) > 1:
        keys.append(("g", f"ground: {', '.join(grounds)}"))
    if extras:
        letters, names = zip(*(EXTRAS[extra] for extra in extras), strict=True)
        keys.append((" ".join(letters), f"{', '.join(names)}: on, off"))
    return tuple(keys)


def question(state: WindowState) -> Rgb:
    """The one question: what becomes of settings that are not saved."""
    changed = state.unsaved
    names = f"\u201c{changed[0]}\u201d" if len(changed) == 1 else f"{len(changed)} options"
    rows = (
        ("s", "save to the site file, then close"),
        ("l", "leave without saving"),
        ("Esc", "stay here"),
    )
    height = 214 if state.is_refusal else 170
    canvas = Canvas(560, height, 24)
    canvas.rectangle((0, 0, 559, height - 1), palette.PAPER, palette.INK)
    canvas.y = 20
    canvas.text(f"The settings of {names} are changed and not saved.", 16, 2, bold=True)
    canvas.y += 10
    for key, what in rows:
        canvas.write(24, canvas.y, key, 14, bold=True)
        canvas.write(80, canvas.y, what, 14)
        canvas.y += 24
    if state.is_refusal:
        canvas.bottom = height
        canvas.text(state.message, 12, 2, colour=palette.REFUSED)
    return canvas.picture()


def _option_head(canvas: Canvas, head: OptionHead, side: str, is_alone: bool) -> None:
    canvas.y += 6
    canvas.text(f"{side}{head.name}", 18 if is_alone else 14, 2, bold=True)
    for note in head.notes:
        canvas.put(Row(note, size="small", is_quiet=True))
    canvas.y += 3
    canvas.text(head.loss, 12, 4)
    if head.is_otherwise:
        canvas.text(f"{OTHERWISE}.", 12, 2, colour=palette.REFUSED)


def _draw_legend(canvas: Canvas, state: WindowState, options: Options, sides: tuple[str, ...]) -> None:
    """What the colours on the ground are; the chance as one band of them."""
    if state.ground_shown != CHANCE:
        fill(canvas, legend_sections(state, options, sides))
        return
    if not canvas.head(Section(CHANCE_HEADING, ())):
        return
    width, top = canvas.inner, round(canvas.y) + 3
    if canvas.y + 18 + LINE * 12 > canvas.bottom:
        return
    canvas.rectangle(
        (canvas.margin - 1, top - 1, canvas.margin + width, top + 14), palette.PAPER, palette.QUIET_INK
    )
    bar = palette.chance_rgb(np.linspace(0, 1, width))
    canvas.paste(canvas.margin, top, np.repeat(bar[None], 14, axis=0))
    canvas.y += 20
    for share, align in ((0.0, "l"), (0.5, "m"), (1.0, "r")):
        canvas.write(canvas.margin + share * width, canvas.y, f"{share:.0%}", 12, align=align)
    canvas.y += LINE * 12 + 2
    if sides:
        canvas.put(Row("", sides, size="small", is_bold=True))
    for row in chance_rows(state, options):
        canvas.put(row)


@lru_cache(maxsize=4)
def _foot(more: tuple[tuple[str, str], ...]) -> Rgb:
    """The short list of keys and the caution, the same at every moment."""
    keys = (*SHORT_KEYS[:-2], *more, *SHORT_KEYS[-2:])
    canvas = Canvas(COLUMN_PX, round(38 + 1.32 * 12 * len(keys) + 4 * LINE * 11), _MARGIN)
    canvas.rectangle((_MARGIN, 0, canvas.width - _MARGIN, 0), palette.HAIRLINE)
    canvas.y, canvas.bottom = 10.0, float(canvas.height)
    for key, what in keys:
        canvas.write(_MARGIN, canvas.y, key, 12, bold=True)
        canvas.write(_MARGIN + 62, canvas.y, what, 12)
        canvas.y += 1.32 * 12
    canvas.y += 8
    canvas.text(SHORT_CAUTION, 11, 4, colour=palette.QUIET_INK)
    return canvas.picture()


def _slider(canvas: Canvas, state: WindowState, setting: Setting, left: float, right: float) -> None:
    unit, y = state.unit, GROOVE_Y
    is_chosen = setting is state.setting
    if is_chosen:
        canvas.rectangle((left - 12, SLIDER_Y[0], right + 12, SLIDER_Y[1]), palette.CHOSEN)
    warning = height_warning(unit) if setting is controls.HEIGHT else ""
    head = state.head_at
    value = controls.shown(controls.value_of(unit, setting, head), setting)
    canvas.write(left - 4, 38, setting.name, 13, bold=is_chosen)
    canvas.write(
        right + 4, 36, value, 16, bold=True, colour=palette.REFUSED if warning else palette.INK, align="r"
    )
    canvas.rectangle((left, y - 2, right, y + 2), palette.GROOVE)
    low, high = controls.slider_span(unit, setting, head)

    def at(number: float) -> float:
        return left + (right - left) * (number - low) / max(high - low, 1e-9)

    for first, last in _allowed(state, setting):
        canvas.rectangle((at(max(first, low)), y - 2, at(min(last, high)), y + 2), palette.ALLOWED)
    for mark in _marks(state, setting, low, high):
        canvas.rectangle((at(mark) - 0.5, y + 5, at(mark) + 0.5, y + 9), palette.QUIET_INK)
    for number, align, x in ((low, "l", left - 4), (high, "r", right + 4)):
        canvas.write(x, y + 11, controls.shown(number, setting), 11, colour=palette.QUIET_INK, align=align)
    if warning:
        canvas.write((left + right) / 2, y + 11, warning, 11, colour=palette.REFUSED, align="m")
    knob = left + (right - left) * controls.share_of(unit, setting, head)
    canvas.disc(knob, y, 8, palette.INK if is_chosen else palette.PAPER, palette.INK)


def _allowed(state: WindowState, setting: Setting) -> list[tuple[float, float]]:
    """The stretches of a slider that the type means, or that its housing can be turned to."""
    unit, wall_deg = state.unit, state.wall_deg
    if setting is controls.HEIGHT:
        return [unit.type.mount_height]
    limits = fixing_of(unit.type, unit.bracket)
    if setting is controls.TILT and limits is not None:
        return [limits.tilt]
    if setting is controls.BEARING and limits is not None and wall_deg is not None and limits.swivel < 180:
        first = (wall_deg - limits.swivel) % 360
        last = first + 2 * limits.swivel
        return [(first, min(last, 360.0)), *([(0.0, last - 360)] if last > 360 else [])]
    return []


def _marks(state: WindowState, setting: Setting, low: float, high: float) -> tuple[float, ...]:
    if setting is controls.RANGE:
        return tuple(controls.ranges_offered(state.unit, state.head_at))
    marks = {controls.BEARING: (0.0, 90.0, 180.0, 270.0), controls.TILT: (-30.0, -15.0, 0.0, 15.0, 30.0)}
    return tuple(mark for mark in marks.get(setting, state.unit.type.mount_height) if low <= mark <= high)


def _said(canvas: Canvas, state: WindowState, y: float) -> None:
    """The last line of the bar: what is typed, or what was said."""
    if state.mode != "type":
        colour = palette.REFUSED if state.is_refusal else palette.INK
        canvas.y, canvas.bottom = y, float(canvas.height)
        # What is too long for one line takes two smaller ones: a refusal has to be read to its end.
        size = 13 if canvas.height_of_text(state.message, 13, 2, state.is_refusal) < 2 * LINE * 13 else 11
        canvas.text(state.message, size, 2, state.is_refusal, colour)
        return
    canvas.rectangle((_MARGIN, y, _MARGIN + 250, y + 22), palette.PAPER, palette.INK)
    canvas.write(_MARGIN + 8, y + 3, f"{state.entry}\u258f", 13, width=236)
    hint = f"a number for {state.setting.name}, or such as: bearing 140.  Enter sets, Esc cancels"
    told, colour = (state.message, palette.REFUSED) if state.is_refusal else (hint, palette.QUIET_INK)
    canvas.write(
        _MARGIN + 264, y + 3, told, 13, bold=state.is_refusal, colour=colour, width=canvas.inner - 264
    )  # fmt: skip
