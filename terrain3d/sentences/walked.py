"""That an option was walk-tested, and how it went."""

from terrain3d.job import Outcome
from terrain3d.site import WalkTested
from terrain3d.wording import counted


def walked_lines(outcome: Outcome) -> list[str]:
    """A line for each option that was walk-tested, best first."""
    tested = [(name, outcome.site.walk_tested(name)) for name in outcome.ranking]
    return [f"{name}: {walked_words(one)}" for name, one in tested if one is not None]


def walked_words(tested: WalkTested) -> str:
    """A walk test that was done.

    >>> import datetime
    >>> walked_words(WalkTested(name="a", on=datetime.date(2026, 5, 3), points=12, as_told=11))
    'Walk-tested on 2026-05-03: 11 of 12 points as told.'
    """
    return f"W{walked_briefly(tested)[1:]}."


def walked_briefly(tested: WalkTested) -> str:
    """The same within a line of its own page.

    >>> import datetime
    >>> walked_briefly(WalkTested(name="a", on=datetime.date(2026, 5, 3), points=1, as_told=1))
    'walk-tested on 2026-05-03: 1 of 1 point as told'
    """
    points = counted(tested.points, "point")
    return f"walk-tested on {tested.on.isoformat()}: {tested.as_told} of {points} as told"
