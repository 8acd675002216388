"""What the units of an option cost and draw together, as far as their types state it."""

from collections.abc import Sequence
from dataclasses import dataclass

from terrain3d.detector.pose import Detector


@dataclass(frozen=True)
class Outlay:
    """Price and current of all units of an option, and the voltage that suits them all.

    `price` and `milliamps` are None where a type does not state its own; `volts`, lowest and highest, is
    None then and where no voltage suits all.
    """

    price: float | None
    milliamps: float | None
    volts: tuple[float, float] | None


def outlay_of(units: Sequence[Detector]) -> Outlay | None:
    """What some units cost and draw; None where their types state neither for all of them.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> kinds = [load_type("one-head-90"), load_type("one-head-90-microwave")]
    >>> outlay_of([Detector("D", kind, "pole", 0, 0, 0, 1.0, 0.0) for kind in kinds])
    Outlay(price=255.0, milliamps=73.0, volts=(10.0, 16.0))
    """
    prices = [unit.type.price for unit in units if unit.type.price is not None]
    supplies = [unit.type.supply for unit in units if unit.type.supply is not None]
    has_price, has_supply = (len(units) == len(stated) > 0 for stated in (prices, supplies))
    if not has_price and not has_supply:
        return None
    low = max((supply.volts[0] for supply in supplies), default=0.0)
    high = min((supply.volts[1] for supply in supplies), default=0.0)
    return Outlay(
        round(sum(prices), 6) if has_price else None,
        round(sum(supply.milliamps for supply in supplies), 6) if has_supply else None,
        (low, high) if has_supply and low <= high else None,
    )
