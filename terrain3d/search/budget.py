"""A budget that buys no unit: an answer, with what the cheapest of them costs."""

from collections.abc import Iterable
from dataclasses import dataclass

from terrain3d.job import Outcome
from terrain3d.search.searched import Searched
from terrain3d.search.settings import Space
from terrain3d.wording import in_brief, money_words

#: A price may be beyond the budget by the dust of arithmetic.
_DUST = 1e-9


@dataclass(frozen=True, eq=False)
class NothingFits(Searched):
    """The outcome of a search whose budget is less than the cheapest unit costs.

    No setting is judged where no type that may be fixed is cheap enough.

    Parameters
    ----------
    cheapest : str
        The type of that unit as the site file names it.
    price : float
        What it costs.
    """

    cheapest: str
    price: float

    def __repr__(self) -> str:
        return in_brief(self, f"cheapest {self.cheapest!r}", f"price {money_words(self.price)}")

    @property
    def outcome(self) -> Outcome:
        """No option."""
        return Outcome(self.site, (), ())


def cheapest_beyond(
    space: Space, type_indices: Iterable[int], budget: float | None
) -> tuple[str, float] | None:
    """The cheapest of some types and its price, where even that is beyond the budget; else None.

    Parameters
    ----------
    space : Space
    type_indices : iterable of int
        Places in `Space.detector_types` of the types that come into question; at least one.
    budget : float, or None
        None is as much as it takes.

    Examples
    --------
    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> names = ("one-head-90", "two-head-180")
    >>> space = Space(tuple(load_type(name, Path()) for name in names), names)
    >>> cheapest_beyond(space, (0, 1), 99.0)
    ('one-head-90', 100.0)
    >>> cheapest_beyond(space, (1,), 100.0)
    ('two-head-180', 170.0)
    >>> cheapest_beyond(space, (0, 1), 100.0)
    """
    if budget is None:
        return None
    prices = [
        (price, index) for index in type_indices if (price := space.detector_types[index].price) is not None
    ]
    price, index = min(prices)
    return None if price <= budget + _DUST else (space.labels[index], price)
