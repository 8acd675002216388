"""A walk as a strip: distance along it, what each piece of ground is, pulses and alarm."""

import itertools
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import MultipleLocator

from terrain3d import palette
from terrain3d.cover.layer_outcomes import BROKEN, MOVES_ACROSS
from terrain3d.lengths import in_metres, in_unit, scale_words, tick
from terrain3d.show.legend import ALARM, MICROWAVE_ACROSS, MICROWAVE_SENSES, verdict_sign
from terrain3d.show.pages.on_picture import marked
from terrain3d.show.pages.sheet import Sheet
from terrain3d.terrain import Area
from terrain3d.walk.pulses import WalkResult
from terrain3d.walk.track import spots_at

#: Heights of the strip's rows, from the foot: protected ground, verdicts, one row for each layer's pulses.
_ROWS = (0.0, 0.27), (0.33, 0.66), (0.7, 1.0)
#: The same, lower, where what a microwave senses lies over them.
_LOWER_ROWS = (0.0, 0.24), (0.28, 0.52), (0.55, 0.77)
_SENSED, _TOP = (0.82, 1.0), 1.0

Span = tuple[float, float]
#: Size of type of a protected area's name.
_NAME_SIZE = 6.8


def draw_strip(
    page: Sheet,
    walk: WalkResult,
    protect: tuple[Area, ...],
    place: tuple[float, float, float, float],
    longest_m: float,
) -> Axes:
    """Draw the strip of one walk into a part of a page.

    Parameters
    ----------
    page : Sheet
    walk : WalkResult
    protect : tuple of Area
    place : (left, bottom, width, height)
        Shares of the page, for a walk of `longest_m`: strips of one page have one scale.
    longest_m : float
    """
    left, bottom, width, height = place
    axes = page.picture_axes((left, bottom, width * walk.length_m / longest_m, height))
    axes.set(xlim=(0, walk.length_m), ylim=(0, _TOP), yticks=[])
    inside, verdicts, pulses = _LOWER_ROWS if walk.sensed else _ROWS
    for start, stop, code in runs(walk):
        _block(axes, start, stop, code, verdicts)
    for area in protect:
        for start, stop in within(walk, area):
            _protected(page, axes, area.name, (start, stop), place[2] / longest_m, inside)
    _pulses(axes, walk, pulses)
    _sensed(axes, walk)
    if walk.alarm is not None:
        at = walk.alarm.along_m
        axes.plot([at, at], [inside[0], _TOP], color=palette.INK, linewidth=1.6, zorder=6)
        marked(axes, np.array([at, sum(verdicts) / 2]), ALARM, 7, clip_on=False)
    # One pitch of ticks for all strips of a page, or a short walk would look as long as a long one.
    pitch = next((step for step in (0.5, 1, 2, 5, 10, 20, 50) if in_unit(longest_m) / step <= 16), 100)
    axes.xaxis.set_major_locator(MultipleLocator(in_metres(pitch)))
    axes.xaxis.set_major_formatter(scale_words(tick))
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
    for side in ("top", "left", "right"):
        axes.spines[side].set_visible(False)
    return axes


def runs(walk: WalkResult) -> list[tuple[float, float, int]]:
    """Stretches of a walk with one verdict: from, to (metres along it) and code."""
    cuts = np.flatnonzero(np.diff(walk.strip)) + 1
    edges = [0, *cuts.tolist(), len(walk.strip)]
    return [(walk.strip_m * a, walk.strip_m * b, int(walk.strip[a])) for a, b in itertools.pairwise(edges)]


def within(walk: WalkResult, area: Area) -> list[tuple[float, float]]:
    """Stretches of a walk inside a protected area, metres along it, told piece by piece of the strip."""
    x, y = spots_at(walk.line, np.arange(0.5, len(walk.strip)) * walk.strip_m)
    inside = shapely.contains_xy(shapely.Polygon(area.outline), x, y).astype(int)
    turns = np.diff(np.concatenate([[0], inside, [0]]))
    starts, stops = np.flatnonzero(turns == 1), np.flatnonzero(turns == -1)
    return [
        (walk.strip_m * a, walk.strip_m * b) for a, b in zip(starts.tolist(), stops.tolist(), strict=True)
    ]


def _block(axes: Axes, start: float, stop: float, code: int, row: Span) -> None:
    low, high = row
    box, sign = ((start, low), stop - start, high - low), verdict_sign(code)
    axes.add_patch(Rectangle(*box, zorder=2, **sign.patch))
    axes.add_patch(Rectangle(*box, fill=False, edgecolor=palette.QUIET_INK, linewidth=0.5, zorder=3))


def _protected(page: Sheet, axes: Axes, name: str, span_m: Span, share_per_m: float, row: Span) -> None:
    (start, stop), (low, high) = span_m, row
    axes.add_patch(
        Rectangle(
            (start, low), stop - start, high - low, facecolor=palette.PROTECTED, edgecolor="none", zorder=2
        )
    )
    # A name that one line does not hold is left out.
    lines = page.lines(name, (stop - start) * share_per_m - 0.01, _NAME_SIZE, 2)
    if len(lines) == 1:
        axes.text(
            (start + stop) / 2, (low + high) / 2, lines[0], fontsize=_NAME_SIZE, color="white",
            ha="center", va="center_baseline", zorder=4,
        )  # fmt: skip


def _pulses(axes: Axes, walk: WalkResult, rows: Span) -> None:
    """One row of ticks for each layer, the uppermost on top."""
    names = layer_names(walk)
    depth = (rows[1] - rows[0]) / max(len(names), 1)
    for row, name in enumerate(reversed(names)):
        foot = rows[0] + row * depth
        at = [pulse.along_m for pulse in walk.pulses if pulse.layer == name]
        axes.vlines(at, foot, foot + 0.8 * depth, color=palette.layer_colour(name), linewidth=1.4, zorder=5)


def _sensed(axes: Axes, walk: WalkResult) -> None:
    """One row for each unit with a microwave, the first on top: where it senses, and where it reaches."""
    depth = (_SENSED[1] - _SENSED[0]) / max(len(walk.sensed), 1)
    for row, own in enumerate(reversed(walk.sensed)):
        foot = _SENSED[0] + row * depth
        box: dict[str, Any] = {
            "height": 0.85 * depth,
            "linewidth": 0.5,
            "edgecolor": palette.QUIET_INK,
            "zorder": 3,
        }
        axes.add_patch(Rectangle((0.0, foot), walk.length_m, facecolor="none", **box))
        for sign, code in ((MICROWAVE_SENSES, BROKEN), (MICROWAVE_ACROSS, MOVES_ACROSS)):
            edges = np.diff(np.concatenate([[0], (own.outcomes == code).astype(int), [0]]))
            for a, b in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
                place = (own.piece_m * a, foot)
                axes.add_patch(Rectangle(place, own.piece_m * (b - a), facecolor=sign.fill, **box))


def layer_names(walk: WalkResult) -> list[str]:
    """Layers that pulses come from: upper before lower, others by name."""
    order = {"upper": 0, "lower": 2}
    return sorted({pulse.layer for pulse in walk.pulses}, key=lambda name: (order.get(name, 1), name))
