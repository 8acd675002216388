"""The ground along a walk that turns, laid out straight: heights, chance of alarm, layers broken, pulses."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from terrain3d import palette
from terrain3d.lengths import given, in_metres, in_unit, scale_words, tick
from terrain3d.sentences.routes import NO_WALK, profile_words
from terrain3d.show.legend import ALARM
from terrain3d.show.pages.on_picture import marked
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.pages.walk_strip import draw_strip
from terrain3d.terrain import Terrain
from terrain3d.walk.track import spots_at
from terrain3d.walk.ways_in import WayIn

#: Share of the height that the ground takes; the strip of layers and pulses lies under it.
_GROUND_SHARE = 0.62
_STEP_M = 0.1
#: Round steps of a scale, within a power of ten.
_STEPS = (1, 2, 5, 10)


def draw_walk_profile(
    page: Sheet, terrain: Terrain, least: WayIn, place: tuple[float, float, float, float]
) -> None:
    """Draw the ground along a walk into a part of a page, with its strip under it.

    Parameters
    ----------
    page : Sheet
    terrain : Terrain
    least : WayIn
        Of some length.
    place : (left, bottom, width, height)
        Shares of the page.
    """
    left, bottom, width, height = place
    if least.length_m == 0.0:
        page.text(left, bottom + height / 2, NO_WALK, 9)
        return
    gap = 0.045
    strip = draw_strip(
        page, least.walked, terrain.protect,
        (left, bottom, width, height * (1 - _GROUND_SHARE) - gap / 2), least.length_m,
    )  # fmt: skip
    strip.set(xticks=[])
    strip.spines["bottom"].set_visible(False)
    ground_place = (left, bottom + height * (1 - _GROUND_SHARE), width, height * _GROUND_SHARE)
    axes = page.picture_axes(ground_place)
    _ground(axes, terrain, least)
    _chance(page.picture_axes(ground_place), least)
    box = axes.get_window_extent()
    low, high = axes.get_ylim()
    stretch = box.height / (high - low) * least.length_m / box.width
    top = bottom + height + 0.008
    page.text(left, top, profile_words(stretch), 7, color=palette.QUIET_INK, va="baseline")
    page.text(
        left + width, top, "chance of alarm so far", 7, color=palette.BOTH_EDGE, ha="right", va="baseline"
    )


def _ground(axes: Axes, terrain: Terrain, least: WayIn) -> None:
    along = np.linspace(0, least.length_m, max(int(least.length_m / _STEP_M), 2) + 1)
    z = terrain.ground.height_at(*spots_at(least.line, along))
    known = z[np.isfinite(z)]
    low, high = float(known.min()), float(known.max())
    room = max(high - low, 0.5)
    foot, top = low - 0.35 * room, high + 0.55 * room
    axes.fill_between(along, foot, z, color=palette.BLOCK_SIDE, linewidth=0, zorder=1)
    axes.plot(along, z, color=palette.INK, linewidth=1.3, zorder=3)
    axes.set(xlim=(0, least.length_m), ylim=(foot, top))
    # A height beside the foot of the picture would run into the first distance.
    heights = MaxNLocator(3, steps=[*_STEPS]).tick_values(in_unit(low), in_unit(low + room))
    axes.set(yticks=[z for z in map(in_metres, heights) if low - 0.1 * room <= z <= top])
    axes.yaxis.set_major_formatter(scale_words(given))
    places = MaxNLocator(14, steps=[*_STEPS]).tick_values(0.0, in_unit(least.length_m))
    axes.set(xticks=[place for place in map(in_metres, places) if 0 <= place <= least.length_m])
    axes.xaxis.set_major_formatter(scale_words(tick))
    axes.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.QUIET_INK, pad=2)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    alarm = least.walked.alarm
    if alarm is not None:
        marked(axes, np.array([alarm.along_m, np.interp(alarm.along_m, along, z)]), ALARM, 6)


def _chance(right: Axes, least: WayIn) -> None:
    """The chance so far as a line, its scale at the right edge."""
    right.patch.set_visible(False)
    right.yaxis.tick_right()
    right.plot(least.along_m, 100 * least.chance_along, color=palette.BOTH_EDGE, linewidth=2.0, zorder=5)
    right.set(xlim=(0, least.length_m), ylim=(0, 104), xticks=[], yticks=[0, 50, 100])
    right.yaxis.set_major_formatter(lambda value, _: f"{value:g} %")
    right.tick_params(labelsize=6.5, length=3, width=0.6, colors=palette.BOTH_EDGE, pad=2)
    for side in ("top", "left", "bottom"):
        right.spines[side].set_visible(False)
    right.spines["right"].set_color(palette.BOTH_EDGE)
