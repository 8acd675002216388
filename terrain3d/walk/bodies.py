"""How wide what walks is, seen from a unit; each size with its source."""

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import ArrayLike

from terrain3d.detector.figures import Figure
from terrain3d.units import Floats


@dataclass(frozen=True)
class Body:
    """A figure in plan: an oval as broad across its walk and as long along it, metres."""

    breadth_m: float
    length_m: float
    source: str


def body_of(figure: Figure) -> Body:
    """The body of a figure; one of the site's own, whose width nobody gave, is taken as a person.

    >>> from terrain3d.detector.figures import find_figure
    >>> body_of(find_figure("person")).breadth_m, body_of(find_figure("dog")).length_m
    (0.48, 0.8)
    >>> body_of(Figure("lama", 1.1, "site file")).source
    'width not given: a person is taken'
    """
    known = _known_bodies()
    if figure.name in known:
        return known[figure.name]
    person = known["person"]
    return Body(person.breadth_m, person.length_m, "width not given: a person is taken")


def seen_width_m(body: Body, turn_deg: ArrayLike) -> Floats:
    """Width of a body seen from afar.

    Parameters
    ----------
    body : Body
    turn_deg : (...) float
        Angle from the line of sight to the direction of the walk; 0 or 180 is straight away or at the eye.

    Returns
    -------
    (...) float
        Metres: the breadth straight on, the length side on, those of the oval between.

    Examples
    --------
    >>> seen_width_m(Body(0.3, 0.4, "invented"), [0, 90, 180])
    array([0.3, 0.4, 0.3])
    """
    turn = np.radians(np.asarray(turn_deg, float))
    return np.asarray(np.hypot(body.breadth_m * np.cos(turn), body.length_m * np.sin(turn)))


@lru_cache(maxsize=1)
def _known_bodies() -> dict[str, Body]:
    table = tomllib.loads(files("terrain3d.walk").joinpath("bodies.toml").read_text("utf-8"))
    return {name: Body(row["breadth"], row["length"], row["source"]) for name, row in table.items()}
