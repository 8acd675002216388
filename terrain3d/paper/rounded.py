"""How finely numbers are told in `results.json`: far below what any is worth, and the same in each run."""

_SIZE_DECIMALS, _SHARE_DECIMALS = 4, 6


def size(value: float | None) -> float | None:
    """A length, angle, time or temperature: to a tenth of a millimetre, and so on; None stays None.

    >>> size(1.23456), size(None)
    (1.2346, None)
    """
    return None if value is None else round(float(value), _SIZE_DECIMALS)


def share(value: float | None) -> float | None:
    """A share, an area in square metres, a number of pulses to be expected; None stays None.

    >>> share(1 / 3), share(None)
    (0.333333, None)
    """
    return None if value is None else round(float(value), _SHARE_DECIMALS)


area = share
