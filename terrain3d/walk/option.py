"""All walks of one option: the paths of the site file, and fans to and across each of its units."""

from dataclasses import dataclass

from terrain3d.cover.option import OptionResult
from terrain3d.detector.figures import Figure, find_figure
from terrain3d.terrain import Terrain
from terrain3d.walk.fans import Fan, fan_across, fan_to
from terrain3d.walk.indoor_tests import IndoorTestFan, IndoorTests, indoor_test_fans
from terrain3d.walk.pulses import WalkResult, try_walk


@dataclass(frozen=True, eq=False)
class OptionWalks:
    """What walks through an option: one result for each path, two fans for each unit (to, across).

    `indoor_tests` holds the borrowed walk tests of every unit, where the site asks for them.
    """

    name: str
    walks: tuple[WalkResult, ...]
    fans: tuple[Fan, ...]
    indoor_tests: tuple[IndoorTestFan, ...] = ()


def option_walks(
    terrain: Terrain,
    option: OptionResult,
    figure: Figure,
    own: tuple[Figure, ...] = (),
    grade: int | None = None,
    tests: IndoorTests | None = None,
) -> OptionWalks:
    """Try the walks of a site under an option.

    Parameters
    ----------
    terrain : Terrain
        With its `walks`; there may be none.
    option : OptionResult
    figure : Figure
        The site's: walks the fans, and every path that names nobody else.
    own : tuple of Figure
        The site's own figures.
    grade : int, optional
        Of the borrowed walk tests to try, 1 to 4; none where it is not given.
    tests : BorrowedTests, optional
        A user's own copy of them.

    Raises
    ------
    InputError
        When a walk names a figure that nobody knows.
    """
    units = option.detectors
    walks = tuple(
        try_walk(
            terrain,
            units,
            option.combine,
            walk,
            figure if walk.figure is None else find_figure(walk.figure, own),
        )
        for walk in terrain.walks
    )
    fans = tuple(fan(terrain, unit, figure) for unit in units for fan in (fan_to, fan_across))
    indoor_tests: tuple[IndoorTestFan, ...] = ()
    if grade is not None:
        indoor_tests = tuple(
            fan for unit in units for fan in indoor_test_fans(terrain, unit, grade, tests, own)
        )
    return OptionWalks(option.name, walks, fans, indoor_tests)
