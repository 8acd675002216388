"""Levels of the ground from lines of tape, each with its bearing and its drop."""

from collections.abc import Sequence

import numpy as np

from terrain3d.errors import InputError
from terrain3d.site import Shot
from terrain3d.terrain import Mark, Mount
from terrain3d.units import Floats, direction
from terrain3d.wording import listed

#: A shot that ends this far from where its mark is drawn, or from the height that another shot gave it, is
#: told, metres: more than a compass errs over a usual tape (common practice, no source).
CLOSES_M, CLOSES_IN_HEIGHT_M = 0.5, 0.1


def shot_levels(
    shots: Sequence[Shot], mounts: Sequence[Mount], marks: Sequence[Mark]
) -> tuple[Floats, tuple[str, ...]]:
    """The levels that shots give: the places they are held at, and those where they end.

    Parameters
    ----------
    shots : sequence of Shot
        In order: each starts at a mount, at a mark or where an earlier shot ended.
    mounts : sequence of Mount
    marks : sequence of Mark
        In local metres, where bearings are from true north.

    Returns
    -------
    (n, 3) float, and doubts
        Local metres; the first start lies at z = 0.

    Raises
    ------
    InputError
        Where a start is not known, or its height is not, or two things have one name.

    Examples
    --------
    A tape of 5 m that drops by 3 m spans 4 m in plan:

    >>> shot = Shot.model_validate({"from": "pole", "bearing": 90, "tape": 5.0, "drop": 3.0})
    >>> shot_levels([shot], [Mount("pole", 1.0, 2.0)], [])[0] + 0.0
    array([[ 1.,  2.,  0.],
           [ 5.,  2., -3.]])
    """
    drawn = _places(mounts, marks)
    placed = dict(drawn)
    height: dict[str, float] = {}
    levels: list[tuple[float, float, float]] = []
    doubts = []
    for number, shot in enumerate(shots, 1):
        where = f"site.toml: ground: shots number {number}"
        if not height and shot.start in placed:
            height[shot.start] = 0.0
            levels.append((*placed[shot.start], 0.0))
        if shot.start not in height:
            raise _unknown(shot.start, placed, where)
        x, y = placed[shot.start]
        east, north = direction(shot.bearing)
        end_x, end_y, end_z = (
            x + shot.level_m * east, y + shot.level_m * north, height[shot.start] - shot.drop,
        )  # fmt: skip
        if shot.name in placed:
            # Where it is drawn is believed: a compass errs more than a map, or than what was paced out once.
            at_x, at_y = placed[shot.name]
            miss_m = float(np.hypot(at_x - end_x, at_y - end_y))
            if miss_m > CLOSES_M:
                doubts.append(
                    f"shot {number} ends {miss_m:.1f} m from where {shot.name!r} lies: check its bearing, "
                    "which counts from true north, its tape and that place"
                )
            off_m = end_z - height.get(shot.name, end_z)
            if abs(off_m) > CLOSES_IN_HEIGHT_M:
                side = "higher" if off_m > 0 else "lower"
                doubts.append(
                    f"shot {number} puts {shot.name!r} {abs(off_m):.2f} m {side} "
                    "than an earlier one did, which is taken: check their drops"
                )
            if shot.name in height:
                continue
            end_x, end_y = at_x, at_y
        if shot.name is not None:
            placed[shot.name], height[shot.name] = (end_x, end_y), end_z
        levels.append((end_x, end_y, end_z))
    return np.array(levels), tuple(doubts)


def _places(mounts: Sequence[Mount], marks: Sequence[Mark]) -> dict[str, tuple[float, float]]:
    both = {mount.name for mount in mounts} & {mark.name for mark in marks}
    if both:
        raise InputError(
            f"a mount and a mark are both named {min(both)!r}, and shots name both kinds",
            "site.toml: mark",
            "give each a name of its own",
        )
    return {m.name: (m.x, m.y) for m in mounts} | {m.name: (m.x, m.y) for m in marks}


def _unknown(start: str, placed: dict[str, tuple[float, float]], where: str) -> InputError:
    if start in placed:
        return InputError(
            f"the height at {start!r} is not known there: only the first `from` lies at 0 m",
            f"{where}: from",
            f"shoot to it first, with name = {start!r} in that shot",
        )
    known = f"known are {listed(sorted(placed), 5)}" if placed else "draw a [[mount]] or a [[mark]] there"
    return InputError(
        f"nothing that is known is called {start!r}",
        f"{where}: from",
        f"name a mount, a mark or the name of a shot before; {known}",
    )
