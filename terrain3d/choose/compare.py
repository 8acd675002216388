"""Options ranked by the protected ground they hold with both layers, weighted."""

from terrain3d.cover.option import OptionResult


def held_m2(option: OptionResult) -> float:
    """What an option is ranked by: weighted protected ground held with both layers, m2.

    Where nothing is marked as protected, all ground held with both layers counts.
    """
    if not option.protect:
        return option.area_m2["both"]
    return sum(area.area_m2 * area.both_fraction * area.weight for area in option.protect)


def held_share(option: OptionResult) -> float | None:
    """`held_m2` as a share of the weighted protected ground; None where nothing is protected."""
    whole = sum(area.area_m2 * area.weight for area in option.protect)
    return held_m2(option) / whole if whole > 0 else None


def ranked(options: tuple[OptionResult, ...]) -> tuple[OptionResult, ...]:
    """Options, best first; equals keep their order in the site file."""
    return tuple(sorted(options, key=lambda option: -round(held_m2(option), 6)))
