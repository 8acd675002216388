"""What is left open close to the units of an option: between heads, under a unit, along its wall."""

from terrain3d.lengths import area_words, length
from terrain3d.sentences.words import NO_FIGURE, capital
from terrain3d.walk.close_in import AlongWall, CloseIn
from terrain3d.wording import listed

_COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
#: Names of the three numbers.
BETWEEN, UNDER, ALONG = "Between heads", "Under a unit, to", "Along the wall, to"
#: What they are, for a page.
WHAT = (
    "Between heads: ground within range that lies in no arc, between two heads. Under a unit: ground that a"
    " layer passes over, and nothing holds. Along the wall: how near somebody comes who walks along it,"
    " before the alarm. Of several units the least good is told."
)


def close_in_lines(found: CloseIn) -> list[str]:
    """A line for each of the three that makes sense for the option."""
    between, along = _between_line(found), _along_line(found)
    return [line for line in (between, _under_line(found), along) if line]


def close_in_line(found: CloseIn) -> str:
    """What to take from the page."""
    return " ".join(f"{capital(line)}." for line in close_in_lines(found))


def close_in_figures(found: CloseIn) -> tuple[tuple[str, str], ...]:
    """The three as rows: what it is, and the figure; a dash where it makes no sense for the option."""
    nearest = found.nearest
    return (
        (BETWEEN, NO_FIGURE if found.wedge_m2 is None else area_words(found.wedge_m2)),
        (UNDER, length(found.under_m) if found.under_m else "none"),
        (ALONG, NO_FIGURE if nearest is None else near_words(nearest)),
    )


def near_words(walk: AlongWall) -> str:
    """How near somebody comes along a wall.

    >>> import numpy as np
    >>> walk = AlongWall(("D1",), 270.0, np.zeros((2, 2)), 2.44, True)
    >>> near_words(walk), near_words(AlongWall(("D1",), 90.0, walk.line, 0.0, False))
    ('2.4 m', 'no alarm')
    """
    return length(walk.near_m) if walk.is_noticed else "no alarm"


def from_words(walk: AlongWall) -> str:
    """Where a walk comes from.

    >>> import numpy as np
    >>> from_words(AlongWall(("D1",), 275.0, np.zeros((2, 2)), 2.4, True))
    'from the west'
    """
    return f"from the {_COMPASS[round(walk.from_deg / 45.0) % 8]}"


def _between_line(found: CloseIn) -> str:
    if found.wedge_m2 is None:
        return ""
    if not found.wedge_m2:
        return "all ground between neighbouring heads lies in some arc"
    return f"{area_words(found.wedge_m2)} between neighbouring heads lie within range and in no arc"


def _under_line(found: CloseIn) -> str:
    if not found.under_m:
        return "no ground is missed for lying too close in"
    return (
        f"within its arcs, ground under {found.under_unit} is not held out to {length(found.under_m)}:"
        " a layer passes over it"
    )


def _along_line(found: CloseIn) -> str:
    """From both sides of each mount on a wall."""
    told = []
    for units in dict.fromkeys(walk.units for walk in found.along_wall):
        named = listed(units)
        sides = [
            f"to within {length(walk.near_m)} of {named} {from_words(walk)}"
            if walk.is_noticed
            else f"to {named} {'itself' if len(units) == 1 else 'themselves'} {from_words(walk)}"
            for walk in found.along_wall
            if walk.units == units
        ]
        told.append(listed(sides))
    return f"along the wall somebody comes {'; '.join(told)} before the alarm" if told else ""


def close_in_short(found: CloseIn) -> str:
    """The three in a line, for a narrow place; what makes no sense for the option is left out.

    >>> import numpy as np
    >>> walk = AlongWall(("D1",), 270.0, np.zeros((2, 2)), 2.44, True)
    >>> close_in_short(CloseIn(7.54, np.zeros((2, 2), bool), 0.0, None, (walk,)))
    '7.5 m² between heads in no arc; along the wall to within 2.4 m'
    """
    told = [] if found.wedge_m2 is None else [f"{area_words(found.wedge_m2)} between heads in no arc"]
    told += [f"under a unit open to {length(found.under_m)}"] if found.under_m else []
    nearest = found.nearest
    if nearest is not None:
        told.append(
            "along the wall " + ("to within " + near_words(nearest) if nearest.is_noticed else "no alarm")
        )
    return "; ".join(told)
