"""Boxes side by side in one row, each as near to where it is wanted as the others let it."""


def placed_in_a_row(
    wanted: list[float], widths: list[float], left: float, right: float, gap: float = 16.0
) -> tuple[list[int], list[float]]:
    """Places for boxes side by side, each as near to where it is wanted as the others let it.

    Returns
    -------
    kept : list of int
        Which of them found room; those closest to their neighbours go first.
    middles : list of float

    Examples
    --------
    >>> placed_in_a_row([50.0, 60.0], [40.0, 40.0], 0.0, 200.0)
    ([0, 1], [27.0, 83.0])
    >>> placed_in_a_row([50.0, 60.0], [40.0, 40.0], 0.0, 60.0)
    ([0], [40.0])
    """
    kept = list(range(len(wanted)))
    while kept and sum(widths[k] + gap for k in kept) - gap > right - left:
        closest = min(range(1, len(kept)), key=lambda n: wanted[kept[n]] - wanted[kept[n - 1]], default=0)
        kept.pop(closest)
    # Groups of touching boxes move as one, to the middle of what their members want.
    groups: list[list[int]] = []
    for k in kept:
        groups.append([k])
        while (
            len(groups) > 1
            and _span(groups[-2], wanted, widths, left, right, gap)[1] + gap
            > _span(groups[-1], wanted, widths, left, right, gap)[0]
        ):
            groups[-2:] = [groups[-2] + groups[-1]]
    middles = []
    for group in groups:
        at = _span(group, wanted, widths, left, right, gap)[0]
        for k in group:
            middles.append(at + widths[k] / 2)
            at += widths[k] + gap
    return kept, middles


def _span(
    group: list[int], wanted: list[float], widths: list[float], left: float, right: float, gap: float
) -> tuple[float, float]:
    """Where a group of touching boxes starts and ends."""
    total = sum(widths[k] + gap for k in group) - gap
    offset, starts = 0.0, []
    for k in group:
        starts.append(wanted[k] - widths[k] / 2 - offset)
        offset += widths[k] + gap
    start = min(max(sum(starts) / len(starts), left), right - total)
    return start, start + total
