"""A budget that buys no unit, or a current that feeds none: an answer, with what the least unit takes."""

from collections.abc import Iterable
from dataclasses import dataclass

from terrain3d.job import Outcome
from terrain3d.search.best import Limits
from terrain3d.search.searched import Searched
from terrain3d.search.settings import Space
from terrain3d.wording import in_brief, money_words

#: A price may be beyond the budget by the dust of arithmetic.
_DUST = 1e-9


@dataclass(frozen=True, eq=False)
class NothingFits(Searched):
    """The outcome of a search whose budget, or current, is less than any unit takes.

    No setting is judged where no type that may be fixed is within them.

    Parameters
    ----------
    cheapest : str
        The type of that unit as the site file names it: the cheapest of those within the current, or where
        there is none of these the one that draws least.
    price : float, or None
        What it costs; None where current is what lacks.
    milliamps : float, or None
        What it draws; None where money is what lacks.
    """

    cheapest: str
    price: float | None
    milliamps: float | None = None

    def __repr__(self) -> str:
        if self.price is None:
            return in_brief(self, f"drawing least {self.cheapest!r}", f"{self.milliamps:g} mA")
        return in_brief(self, f"cheapest {self.cheapest!r}", f"price {money_words(self.price)}")

    @property
    def outcome(self) -> Outcome:
        """No option."""
        return Outcome(self.site, (), ())


def cheapest_beyond(
    space: Space, type_indices: Iterable[int], limits: Limits
) -> tuple[str, float | None, float | None] | None:
    """Of some types the one that takes least, its price or its milliamps, where even that is too much.

    None where some type is within the limits.

    Parameters
    ----------
    space : Space
    type_indices : iterable of int
        Places in `Space.detector_types` of the types that come into question; at least one.
    limits : Limits
        Of which money and current count.

    Examples
    --------
    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> names = ("one-head-90", "two-head-180")
    >>> space = Space(tuple(load_type(name, Path()) for name in names), names)
    >>> cheapest_beyond(space, (0, 1), Limits(budget=99.0))
    ('one-head-90', 100.0, None)
    >>> cheapest_beyond(space, (1,), Limits(budget=100.0))
    ('two-head-180', 170.0, None)
    >>> cheapest_beyond(space, (0, 1), Limits(budget=100.0, milliamps=25.0))
    >>> cheapest_beyond(space, (0, 1), Limits(milliamps=20.0))
    ('one-head-90', None, 25.0)
    """
    left = list(type_indices)
    if limits.milliamps is not None:
        drawn = {k: supply.milliamps for k in left if (supply := space.detector_types[k].supply) is not None}
        left = [k for k in left if drawn[k] <= limits.milliamps + _DUST]
        if not left:
            least = min(drawn, key=lambda k: (drawn[k], k))
            return space.labels[least], None, drawn[least]
    if limits.budget is None:
        return None
    prices = [(price, index) for index in left if (price := space.detector_types[index].price) is not None]
    price, index = min(prices)
    return None if price <= limits.budget + _DUST else (space.labels[index], price, None)
