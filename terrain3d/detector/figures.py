"""Heights of what walks, each with its source."""

import difflib
import math
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from importlib.resources import files

from terrain3d.errors import InputError

#: A site's own figure that is lower than this is taken for an animal, but for a person, metres.
_LOW_M = 1.1


class Posture(Enum):
    """How a figure goes."""

    UPRIGHT = "upright"
    CROUCHING = "crouching"
    CRAWLING = "crawling"
    ANIMAL = "on four legs"


@dataclass(frozen=True)
class Figure:
    """What walks, as an upright line from the ground; animals by shoulder height.

    `source` says where the height is from.
    """

    name: str
    height_m: float
    source: str = "given"
    is_animal: bool = False
    posture: Posture = Posture.UPRIGHT


#: No figure is taller; views are computed up to this height above the ground once and for all.
TALLEST_M = 2.5


@lru_cache(maxsize=1)
def known_figures() -> tuple[Figure, ...]:
    """The figures that come with the package.

    >>> [figure.name for figure in known_figures()][:2]
    ['person', 'short person']
    """
    table = tomllib.loads(files("terrain3d.detector").joinpath("figures.toml").read_text("utf-8"))
    return tuple(
        Figure(name, row["height"], row["source"], row.get("animal", False), Posture(row["posture"]))
        for name, row in table.items()
    )


def own_figure(name: str, height_m: float) -> Figure:
    """A site's own figure: it goes as the package's of that name, or as its name and height let one think.

    >>> own_figure("dog", 1.2).posture.value, own_figure("goat", 0.7).posture.value
    ('on four legs', 'on four legs')
    >>> own_figure("person kneeling", 0.9).posture.value
    'upright'
    """
    known = {figure.name: figure.posture for figure in known_figures()}
    if name in known:
        posture = known[name]
    elif "crawling" in name:
        posture = Posture.CRAWLING
    elif "crouching" in name:
        posture = Posture.CROUCHING
    else:
        is_low = "person" not in name and height_m < _LOW_M
        posture = Posture.ANIMAL if is_low else Posture.UPRIGHT
    return Figure(name, height_m, "site file", posture=posture)


def find_figure(name: str, own: Iterable[Figure] = ()) -> Figure:
    """The figure of that name, the site's own before the package's.

    >>> find_figure("person").height_m
    1.7
    >>> find_figure("persson")
    Traceback (most recent call last):
    terrain3d.errors.InputError: unknown figure 'persson'
      to mend: did you mean 'person'?
    """
    known = {figure.name: figure for figure in (*known_figures(), *own)}
    if name in known:
        return known[name]
    near = difflib.get_close_matches(name, known, n=1)
    raise InputError(
        f"unknown figure {name!r}",
        mend=f"did you mean {near[0]!r}?" if near else f"known: {', '.join(known)}",
    )


def figure_of(figure: str | Figure, own: Iterable[Figure] = ()) -> Figure:
    """A figure by its name, or one that is given, if views are computed as high as it is.

    Raises
    ------
    InputError
        When nobody knows its name, or its height is none.

    Examples
    --------
    >>> figure_of("dog").height_m, figure_of(Figure("pony", 1.1)).source
    (0.6, 'given')
    >>> figure_of(Figure("giant", 3.0))
    Traceback (most recent call last):
    terrain3d.errors.InputError: figure 'giant' is 3 m high
      to mend: give metres, more than 0 and at most 2.5
    """
    if isinstance(figure, str):
        return find_figure(figure, own)
    if not (math.isfinite(figure.height_m) and 0 < figure.height_m <= TALLEST_M):
        raise InputError(
            f"figure {figure.name!r} is {figure.height_m:g} m high",
            mend=f"give metres, more than 0 and at most {TALLEST_M:g}",
        )
    return figure
