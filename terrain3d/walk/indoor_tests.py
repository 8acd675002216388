"""Walk tests borrowed from the indoor standard: its speeds and postures, tried on an outdoor unit.

Borrowed means just that: the standard covers detectors in buildings, its figures here are from memory, and
nothing that passes is said to comply.
"""

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from terrain3d.detector.figures import Figure, find_figure
from terrain3d.detector.pose import Detector
from terrain3d.tables import Number, Table, Text, checked, key, read_toml
from terrain3d.terrain import Terrain
from terrain3d.walk.fans import Fan, fan_across, fan_to

Speed = Annotated[Number, Field(ge=0, le=10)]
Near = Annotated[Number, Field(gt=0, le=100)]
FourSpeeds = tuple[Speed, Speed, Speed, Speed]


class IndoorTest(Table):
    """One test; speeds (m/s, 0 where not required), distances and figures for grades 1 to 4."""

    name: Text
    walk: Literal["to", "across"]
    speed: Annotated[FourSpeeds, key("metres a second", "for grades 1 to 4; 0 is not required")]
    distance: Annotated[tuple[Near, Near, Near, Near] | None, key("metres", "from the unit")] = None
    figure: tuple[Text, Text, Text, Text]


class IndoorTests(Table):
    """A file of tests with a word on how far its figures can be trusted."""

    status: Text
    test: Annotated[tuple[IndoorTest, ...], Field(min_length=1)]


def load_tests(path: Path | None = None) -> IndoorTests:
    """The tests that come with the package, or those of a user's own file.

    >>> tests = load_tests()
    >>> tests.status
    'unverified, from memory: check your copy'
    >>> [(test.name, test.speed[1]) for test in tests.test][:2]
    [('across the boundary', 1.0), ('within the boundary', 0.3)]
    """
    own = path or Path(str(files("terrain3d.walk").joinpath("borrowed_tests.toml")))
    return checked(IndoorTests, read_toml(own), str(own))


@dataclass(frozen=True)
class IndoorTestFan:
    """One borrowed test as one unit walks it: `status` says how far the file's figures can be trusted."""

    test: str
    grade: int
    status: str
    fan: Fan


def indoor_test_fans(
    terrain: Terrain,
    unit: Detector,
    grade: int,
    tests: IndoorTests | None = None,
    own: tuple[Figure, ...] = (),
) -> tuple[IndoorTestFan, ...]:
    """Fans walked as the borrowed tests of a grade say, those that it does not require left out.

    Parameters
    ----------
    terrain : Terrain
    unit : Detector
    grade : int
        1 to 4.
    tests : BorrowedTests, optional
        A user's own; the package's where it is not given.
    own : tuple of Figure
        The site's own figures.
    """
    known = tests or load_tests()
    fans = []
    for test in known.test:
        speed = test.speed[grade - 1]
        if speed == 0:
            continue
        figure = find_figure(test.figure[grade - 1], own)
        if test.walk == "to":
            fan = fan_to(terrain, unit, figure, speed)
        else:
            distances = () if test.distance is None else (test.distance[grade - 1],)
            fan = fan_across(terrain, unit, figure, speed, distances)
        fans.append(IndoorTestFan(test.name, grade, known.status, fan))
    return tuple(fans)
