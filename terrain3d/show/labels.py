"""Names kept apart from each other and from what else is written: geometry of boxes alone.

Whoever draws measures the texts; a box is left, bottom, right, top, in pixels of the picture.
"""

import math
from collections.abc import Iterable, Sequence

Box = tuple[float, float, float, float]
#: Discs are pushed off each other so often at most.
_ROUNDS = 200
#: Spots tried around a mark, as (sideways, up) shares of the text's own size plus a gap.
_SPOTS = (
    (0, 1), (1, 0), (-1, 0), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1), (0, 2), (0, -2), (2, 0), (-2, 0),
)  # fmt: skip


def free_spot(
    mark: tuple[float, float],
    size: tuple[float, float],
    room: Box,
    taken: Iterable[Box],
    prefer: tuple[float, float] = (0, 1),
    gap: float = 9.0,
    air: float = 0.0,
    is_beside: bool = False,
) -> Box | None:
    """Where a name stands beside its mark: the first spot that is free and within the room.

    Parameters
    ----------
    mark : (x, y)
        What is named.
    size : (width, height)
        Of the text.
    room : Box
    taken : iterable of Box
        Where no name may stand.
    prefer : (sideways, up)
        The spot to try first; (0, 0) puts the name on the mark itself.
    gap : float
        From the mark to the text.
    air : float
        Least distance to what is taken.
    is_beside : bool
        Whether the text may not stand a width away from the mark, where no line leads to it.

    Returns
    -------
    Box or None
        None where no spot is free: the mark, and a row of the key, remain.

    Examples
    --------
    Two names of one mark; the second goes under it:

    >>> first = free_spot((50, 50), (20, 10), (0, 0, 100, 100), [], gap=0)
    >>> first, free_spot((50, 50), (20, 10), (0, 0, 100, 100), [first], gap=0)
    ((40.0, 50.0, 60.0, 60.0), (40.0, 40.0, 60.0, 50.0))
    """
    width, height = size
    used = list(taken)
    # A spot straight behind a mark lies on a square around it, or a name would cover the mark.
    reach = max(map(abs, prefer)) or 1.0
    for sideways, up in ((prefer[0] / reach, prefer[1] / reach), *_SPOTS):
        if is_beside and abs(sideways) > 1:
            continue
        x, y = mark[0] + sideways * (width / 2 + gap), mark[1] + up * (height / 2 + gap)
        box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        is_inside = room[0] < box[0] and box[2] < room[2] and room[1] < box[1] and box[3] < room[3]
        if is_inside and not any(meet(box, other, air) for other in used):
            return box
    return None


def meet(a: Box, b: Box, air: float = 0.0) -> bool:
    """Whether two boxes overlap, or come nearer to each other than `air`.

    >>> meet((0, 0, 10, 10), (10, 0, 20, 10)), meet((0, 0, 10, 10), (12, 0, 20, 10), 3.0)
    (False, True)
    """
    return a[0] < b[2] + air and b[0] < a[2] + air and a[1] < b[3] + air and b[1] < a[3] + air


def set_apart(wanted: Sequence[tuple[float, float]], radius: float, room: Box) -> list[tuple[float, float]]:
    """Places for discs of one size that do not overlap, each near to where it is wanted, within a room.

    Where there are more than find room they overlap still, by as little as comes about.

    Examples
    --------
    >>> [(round(x, 1), round(y, 1)) for x, y in set_apart([(50, 50), (54, 50)], 5.0, (0, 0, 100, 100))]
    [(47.0, 50.0), (57.0, 50.0)]
    """
    at = [(float(x), float(y)) for x, y in wanted]
    for _ in range(_ROUNDS):
        is_clear = True
        for i in range(len(at)):
            for k in range(i):
                dx, dy = at[i][0] - at[k][0], at[i][1] - at[k][1]
                away = math.hypot(dx, dy)
                if away >= 2 * radius - 1e-6:
                    continue
                is_clear = False
                if away < 1e-9:
                    # Each goes its own way from where several are wanted.
                    dx, dy, away = math.sin(2.4 * i), math.cos(2.4 * i), 1.0
                    push = radius
                else:
                    push = (2 * radius - away) / 2
                east, north = push * dx / away, push * dy / away
                at[i] = at[i][0] + east, at[i][1] + north
                at[k] = at[k][0] - east, at[k][1] - north
        at = [
            (min(max(x, room[0] + radius), room[2] - radius), min(max(y, room[1] + radius), room[3] - radius))
            for x, y in at
        ]
        if is_clear:
            break
    return at


def placed_in_a_row(
    wanted: list[float], widths: list[float], left: float, right: float, gap: float = 16.0
) -> tuple[list[int], list[float]]:
    """Places for boxes side by side, each as near to where it is wanted as the others let it.

    Returns
    -------
    kept : list of int
        Which of them found room; those closest to their neighbours go first.
    middles : list of float

    Examples
    --------
    >>> placed_in_a_row([50.0, 60.0], [40.0, 40.0], 0.0, 200.0)
    ([0, 1], [27.0, 83.0])
    >>> placed_in_a_row([50.0, 60.0], [40.0, 40.0], 0.0, 60.0)
    ([0], [40.0])
    """
    kept = list(range(len(wanted)))
    while kept and sum(widths[k] + gap for k in kept) - gap > right - left:
        closest = min(range(1, len(kept)), key=lambda n: wanted[kept[n]] - wanted[kept[n - 1]], default=0)
        kept.pop(closest)
    # Groups of touching boxes move as one, to the middle of what their members want.
    groups: list[list[int]] = []
    for k in kept:
        groups.append([k])
        while (
            len(groups) > 1
            and _span(groups[-2], wanted, widths, left, right, gap)[1] + gap
            > _span(groups[-1], wanted, widths, left, right, gap)[0]
        ):
            groups[-2:] = [groups[-2] + groups[-1]]
    middles = []
    for group in groups:
        at = _span(group, wanted, widths, left, right, gap)[0]
        for k in group:
            middles.append(at + widths[k] / 2)
            at += widths[k] + gap
    return kept, middles


def _span(
    group: list[int], wanted: list[float], widths: list[float], left: float, right: float, gap: float
) -> tuple[float, float]:
    """Where a group of touching boxes starts and ends."""
    total = sum(widths[k] + gap for k in group) - gap
    offset, starts = 0.0, []
    for k in group:
        starts.append(wanted[k] - widths[k] / 2 - offset)
        offset += widths[k] + gap
    start = min(max(sum(starts) / len(starts), left), right - total)
    return start, start + total
