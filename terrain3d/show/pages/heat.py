"""The page of heat: contrast by ground temperature over what the options still hold at it."""

import math
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator, PercentFormatter

from terrain3d.conditions.heat import (
    REFERENCE_GROUND_C,
    REFERENCE_K,
    HeatResult,
    band_radiance,
    reference_contrast,
)
from terrain3d.cover.option import OptionResult
from terrain3d.sentences.heat import BORROWED, MIND, heat_line, loss_rows
from terrain3d.show import palette
from terrain3d.show.legend import Sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.sheet import PICTURE, Page, Sheet

#: One option and what it holds by temperature.
Warmed = tuple[OptionResult, HeatResult]
#: Options drawn on one page; the rest is in results.json.
MOST = 4
#: Colours and dashes of the options' lines, best first: told apart by either.
_LINES = tuple(
    Sign("", line=colour, width=1.8, dashes=dashes)
    for colour, dashes in (
        ("#124b66", ()),
        ("#c0561f", (7, 2)),
        ("#6a4a8c", (4, 1.5, 1, 1.5)),
        ("#4f7a2a", (2, 1.5)),
    )
)
_BAND, _SILENT, _CURVE = "#e9eef2", "#d9c3c6", "#1d1d1b"
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
    _column(page, shown, len(warmed))
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
    axes.axhspan(-level, level, facecolor=_BAND, zorder=1)
    for side in (-level, level):
        axes.axhline(side, color=palette.QUIET_INK, linewidth=0.8, linestyle=(0, (5, 3)), zorder=3)
    axes.axhline(0.0, color=palette.INK, linewidth=0.8, zorder=3)
    axes.plot(curve.grounds_c, curve.contrast, color=_CURVE, linewidth=1.8, zorder=4)
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
        f"borrowed test condition: {REFERENCE_K:g} K over {REFERENCE_GROUND_C:g} °C, {level:.2f} W/m²/sr",
        (curve.grounds_c[0], -level), (5, -3), textcoords="offset points", fontsize=7, ha="left",
        va="top", color=palette.INK, zorder=6,
    )  # fmt: skip
    _above(page, axes, "Contrast, figure minus ground, W/m²/sr (8 to 14 µm)", "times the condition")


def _held(page: Sheet, axes: Axes, shown: tuple[Warmed, ...], silent: tuple[float, float] | None) -> None:
    """What each option holds, as a share of protected ground or, where there is none, in square metres."""
    _shade(axes, silent)
    as_share = all(heat.curve.protected_share is not None for _, heat in shown)
    most = 0.0
    for sign, (_, heat) in zip(_LINES, shown, strict=False):
        held = heat.curve.protected_share if as_share else heat.curve.held_m2
        assert held is not None
        axes.plot(
            heat.curve.grounds_c, held, color=sign.line, linestyle=sign.style, linewidth=sign.width, zorder=4
        )
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
    _above(page, axes, f"{'Protected ground' if as_share else 'Ground, m²,'} held with both layers", "")
    box = axes.get_position()
    page.text(
        (box.x0 + box.x1) / 2, box.y0 - 0.042, "temperature of the ground, °C", 7.5, ha="center",
        va="baseline", color=palette.QUIET_INK,
    )  # fmt: skip


def _shade(axes: Axes, silent: tuple[float, float] | None) -> None:
    if silent is not None:
        # Wider than any temperature is wide enough.
        axes.axvspan(max(silent[0], -500.0), min(silent[1], 500.0), facecolor=_SILENT, zorder=2)


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


def _column(page: Sheet, shown: tuple[Warmed, ...], n_options: int) -> None:
    page.heading("As the ground warms")
    for sign, (option, heat) in zip(_LINES, shown, strict=False):
        (name,) = page.lines(option.name, page.right - page.left - 0.033, 8, 1)
        page.swatch(page.row(name, indent=0.033), sign)
        for told, figure in loss_rows(heat):
            page.row(told, figure, size=7.5, indent=0.033, color=palette.QUIET_INK)
    if n_options > len(shown):
        page.row(f"and {n_options - len(shown)} more: see results.json", size=7.5)
    page.gap()
    page.heading("Mind")
    for text in (BORROWED, *MIND):
        page.paragraph(text, 4)
        page.gap(0.004)
    _surfaces(page, shown[0][1])


def _surfaces(page: Sheet, heat: HeatResult) -> None:
    """What the contrast is worked out for; and, where there is room, the law behind it in figures."""
    setting = heat.setting
    if not page.room_for(7, 8):
        return
    page.gap()
    page.heading("Surfaces")
    page.row("figure, apparent surface", f"{setting.figure:g} °C")
    page.row("emissivity, figure and ground", f"{setting.emissivity:g}, {setting.ground_emissivity:g}")
    page.row("sky", f"{setting.sky_below:g} K below ground" if setting.sky_below else "as warm as ground")
    if page.room_for(6, 8):
        page.gap()
        page.heading("Black body, 8 to 14 µm")
        for celsius in (0.0, 20.0, 40.0):
            page.row(f"{celsius:g} °C", f"{float(band_radiance(celsius)):.2f} W/m²/sr", size=7.5)


def _celsius(value: float | None, beyond: str) -> str:
    return beyond if value is None else f"{value:.1f}"


def _signs(shown: tuple[Warmed, ...]) -> list[Sign]:
    signs = [
        Sign("contrast", line=_CURVE, width=1.8),
        Sign("weaker than the borrowed condition", fill=_BAND, line=palette.QUIET_INK),
    ]
    if _silent(shown) is not None:
        signs.append(Sign("no option holds anything" if len(shown) > 1 else "nothing is held", fill=_SILENT))
    return signs
