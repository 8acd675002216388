"""Names over a view kept apart: each beside its point at the first spot that is free, or not at all."""

from terrain3d.units import Floats

#: Left, bottom, right, top, pixels from the view's lower left.
Box = tuple[float, float, float, float]
#: Where a name may stand about its point, as shares of its own width and height: the lower left corner.
#: Over it, under it, to its right and left, then farther up and to the upper sides.
_SPOTS = ((-0.5, 0.0), (-0.5, -1.15), (0.06, -0.5), (-1.06, -0.5), (-0.5, 1.1), (0.06, 0.6), (-1.06, 0.6))
#: Free pixels between two names.
_AIR = 3.0


def free_spots(
    points: Floats, sizes: Floats, room: tuple[float, float], taken: list[Box]
) -> list[tuple[float, float] | None]:
    """Lower left corners for names, the ones that matter most first; None for one that finds no spot.

    Parameters
    ----------
    points : (n, 2) float
        What is named, pixels from the view's lower left.
    sizes : (n, 2) float
        Width and height of each name, pixels.
    room : (width, height)
        Of the view.
    taken : list of Box
        Where no name may stand.

    Examples
    --------
    Two names of one point; the second goes under it:

    >>> import numpy as np
    >>> free_spots(np.full((2, 2), 50.0), np.full((2, 2), 20.0), (100, 100), [])
    [(40.0, 50.0), (40.0, 27.0)]

    A name whose point is out of view is not written:

    >>> free_spots(np.array([[-5.0, 50.0]]), np.full((1, 2), 20.0), (100, 100), [])
    [None]
    """
    used = list(taken)
    found: list[tuple[float, float] | None] = []
    for (x, y), (width, height) in zip(points, sizes, strict=True):
        spot = None
        if 0 <= x <= room[0] and 0 <= y <= room[1]:
            boxes = [_box(x, y, width, height, aside, up) for aside, up in _SPOTS]
            box = next((b for b in boxes if _is_within(b, room) and not any(meet(b, u) for u in used)), None)
            if box is not None:
                used.append(box)
                spot = (box[0], box[1])
        found.append(spot)
    return found


def meet(a: Box, b: Box, air: float = _AIR) -> bool:
    """Whether two boxes come nearer to each other than `air`.

    >>> meet((0, 0, 10, 10), (14, 0, 20, 10)), meet((0, 0, 10, 10), (12, 0, 20, 10))
    (False, True)
    """
    return a[0] < b[2] + air and b[0] < a[2] + air and a[1] < b[3] + air and b[1] < a[3] + air


def _box(x: float, y: float, width: float, height: float, aside: float, up: float) -> Box:
    left, foot = float(x + aside * width), float(y + up * height)
    return left, foot, left + float(width), foot + float(height)


def _is_within(box: Box, room: tuple[float, float]) -> bool:
    return box[0] >= 0 and box[1] >= 0 and box[2] <= room[0] and box[3] <= room[1]
