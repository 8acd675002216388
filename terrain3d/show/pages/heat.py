"""The page of heat: contrast by ground temperature over what the options still hold at it."""

import math
from dataclasses import replace
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator, PercentFormatter

from terrain3d import palette
from terrain3d.conditions.heat import HeatResult, band_radiance, reference_contrast
from terrain3d.cover.option import OptionResult
from terrain3d.lengths import area_unit, in_areas
from terrain3d.sentences.heat import BORROWED, MIND, condition_words, heat_line, loss_rows
from terrain3d.show.blocks import Gap, Listing, Paragraph, Row, Section, fill
from terrain3d.show.legend import CONTRAST, NOTHING_HELD, OPTION_LINES, WEAK_CONTRAST, Sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.sheet import PICTURE, Page, Sheet

#: One option and what it holds by temperature.
Warmed = tuple[OptionResult, HeatResult]
#: Options drawn on one page; the rest is in results.json.
MOST = len(OPTION_LINES)
#: Height of three rows under a heading, as a share of the page.
_FACTS = 0.12
#: The two charts, shares of the page; between them lies the shared scale of temperature.
_UPPER = (PICTURE[0] + 0.022, 0.545, PICTURE[2] - 0.052, 0.315)
_LOWER = (_UPPER[0], 0.195, _UPPER[2], 0.275)


def pages(context: PageContext) -> list[Page]:
    """One page for all options."""
    return context.pages_of_all("heat", [partial(heat_sheet, context)])


def heat_sheet(context: PageContext) -> Sheet:
    """The page of the options whose heat was studied: at least one."""
    found = [(option, context.studied(option).heat) for option in context.best_first]
    warmed = [(option, heat) for option, heat in found if heat is not None]
    shown = tuple(warmed[:MOST])
    best = shown[0][1]
    sentence = heat_line(best, shown[0][0].name if len(shown) > 1 else "")
    page = context.begin("Heat: figure against ground", "what is held as the ground warms", sentence)
    _contrast(page, page.picture_axes(_UPPER), best, _silent(shown))
    _held(page, page.picture_axes(_LOWER), shown, _silent(shown))
    _column(page, shown, len(warmed) - len(shown))
    page.key(_signs(shown))
    return page


def _silent(shown: tuple[Warmed, ...]) -> tuple[float, float] | None:
    """Ground temperatures at which none of the options holds anything; None where none are drawn."""
    spans = [
        (
            -math.inf if heat.silent_from_c is None else heat.silent_from_c,
            math.inf if heat.silent_to_c is None else heat.silent_to_c,
        )
        for _, heat in shown
        if heat.losses
    ]
    if not spans:
        return None
    low, high = max(start for start, _ in spans), min(end for _, end in spans)
    grounds = shown[0][1].curve.grounds_c
    return (low, high) if low < high and low < grounds[-1] and high > grounds[0] else None


def _contrast(page: Sheet, axes: Axes, heat: HeatResult, silent: tuple[float, float] | None) -> None:
    """Figure minus ground, with the borrowed condition as a band about nothing."""
    curve, level = heat.curve, reference_contrast()
    _shade(axes, silent)
    axes.axhspan(-level, level, facecolor=WEAK_CONTRAST.fill, zorder=1)
    for side in (-level, level):
        axes.axhline(side, color=palette.QUIET_INK, linewidth=0.8, linestyle=(0, (5, 3)), zorder=3)
    axes.axhline(0.0, color=palette.INK, linewidth=0.8, zorder=3)
    axes.plot(curve.grounds_c, curve.contrast, zorder=4, **CONTRAST.stroke)
    low, high = float(min(curve.contrast.min(), -level)), float(max(curve.contrast.max(), level))
    spare = 0.09 * (high - low)
    axes.set(xlim=(curve.grounds_c[0], curve.grounds_c[-1]), ylim=(low - spare, high + spare))
    _rule(axes)
    axes.set_xticklabels([])
    times = axes.secondary_yaxis(
        "right", functions=(lambda v: np.asarray(v, float) / level, lambda v: np.asarray(v, float) * level)
    )
    times.tick_params(labelsize=7, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
    axes.annotate(
        condition_words(level), (curve.grounds_c[0], -level), (5, -3), textcoords="offset points",
        fontsize=7, ha="left", va="top", color=palette.INK, zorder=6,
    )  # fmt: skip
    _above(page, axes, "Contrast, figure minus ground, W/m²/sr (8 to 14 µm)", "times the condition")


def _held(page: Sheet, axes: Axes, shown: tuple[Warmed, ...], silent: tuple[float, float] | None) -> None:
    """What each option holds, as a share of protected ground or, where there is none, in square metres."""
    _shade(axes, silent)
    as_share = all(heat.curve.protected_share is not None for _, heat in shown)
    most = 0.0
    for sign, (_, heat) in zip(OPTION_LINES, shown, strict=False):
        held = heat.curve.protected_share if as_share else in_areas(1.0) * heat.curve.held_m2
        assert held is not None
        axes.plot(heat.curve.grounds_c, held, zorder=4, **sign.stroke)
        most = max(most, float(held.max()))
    grounds = shown[0][1].curve.grounds_c
    axes.set(xlim=(grounds[0], grounds[-1]), ylim=(0.0, 1.12 * most if most > 0 else 1.0))
    _rule(axes)
    if as_share:
        axes.yaxis.set_major_formatter(PercentFormatter(1.0, decimals=0))
    if silent is not None and axes.get_xlim()[0] < sum(silent) / 2 < axes.get_xlim()[1]:
        axes.annotate(
            f"nothing held\n{silent[0]:.1f} to {silent[1]:.1f} °C",
            (sum(silent) / 2, 0.5), xycoords=("data", "axes fraction"), fontsize=7, ha="center", va="center",
            rotation=90, color=palette.INK, zorder=6,
        )  # fmt: skip
    _above(
        page,
        axes,
        f"{'Protected ground' if as_share else f'Ground, {area_unit()},'} held with both layers",
        "",
    )
    box = axes.get_position()
    page.text(
        (box.x0 + box.x1) / 2, box.y0 - 0.042, "temperature of the ground, °C", 7.5, ha="center",
        va="baseline", color=palette.QUIET_INK,
    )  # fmt: skip


def _shade(axes: Axes, silent: tuple[float, float] | None) -> None:
    if silent is not None:
        # Wider than any temperature is wide enough.
        axes.axvspan(max(silent[0], -500.0), min(silent[1], 500.0), facecolor=NOTHING_HELD.fill, zorder=2)


def _rule(axes: Axes) -> None:
    axes.xaxis.set_major_locator(MultipleLocator(5))
    axes.grid(color=palette.HAIRLINE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=7, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)


def _above(page: Sheet, axes: Axes, left: str, right: str) -> None:
    """What the scales at both sides of a chart are, over it."""
    box = axes.get_position()
    page.text(box.x0, box.y1 + 0.008, left, 8, weight="bold", va="baseline")
    if right:
        page.text(box.x1, box.y1 + 0.008, right, 7.5, ha="right", va="baseline", color=palette.QUIET_INK)


def _column(page: Sheet, shown: tuple[Warmed, ...], others: int) -> None:
    options = tuple(_option_rows(sign, *one) for sign, one in zip(OPTION_LINES, shown, strict=False))
    mind = [piece for text in (BORROWED, *MIND) for piece in (Paragraph(text, 4), Gap())]
    sections = [
        Section("As the ground warms", (Listing(options, others=others),)),
        Section("Note", tuple(mind)),
    ]
    fill(page, sections)
    # What the contrast is worked out for, and the law behind it in figures, where there is room.
    for section in (_surfaces(shown[0][1]), _black_body()):
        if page.room() > _FACTS:
            fill(page, [section])


def _option_rows(sign: Sign, option: OptionResult, heat: HeatResult) -> tuple[Row, ...]:
    losses = (
        Row(told, (figure,), size="small", is_quiet=True, is_inset=True) for told, figure in loss_rows(heat)
    )
    return (Row(option.name, sign=sign, most=3), *losses)


def _surfaces(heat: HeatResult) -> Section:
    setting = heat.setting
    figures = {
        "figure, apparent surface": f"{setting.figure:g} °C",
        "emissivity, figure and ground": f"{setting.emissivity:g}, {setting.ground_emissivity:g}",
        "sky": f"{setting.sky_below:g} K below ground" if setting.sky_below else "as warm as ground",
    }
    return Section("Surfaces", tuple(Row(text, (figure,)) for text, figure in figures.items()))


def _black_body() -> Section:
    radiance = {celsius: float(band_radiance(celsius)) for celsius in (0.0, 20.0, 40.0)}
    rows = (Row(f"{at:g} °C", (f"{found:.2f} W/m²/sr",), size="small") for at, found in radiance.items())
    return Section("Black body, 8 to 14 µm", tuple(rows))


def _signs(shown: tuple[Warmed, ...]) -> list[Sign]:
    signs = [CONTRAST, WEAK_CONTRAST]
    if _silent(shown) is not None:
        several = replace(NOTHING_HELD, text="no option holds anything")
        signs.append(several if len(shown) > 1 else NOTHING_HELD)
    return signs
