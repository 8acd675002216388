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
    points = counted(tested.points, "point")
    return f"Walk-tested on {tested.on.isoformat()}: {tested.as_told} of {points} as told."
