"""What the draws say, in sentences that a client understands."""

import math

from terrain3d.uncertainty.error_field import ErrorSizes
from terrain3d.uncertainty.monte_carlo import OptionUncertainty, Uncertainty
from terrain3d.uncertainty.tolerance import LOSS, Slack, UnitTolerance


def ranking_words(uncertainty: Uncertainty, best: str) -> str:
    """How firmly the options rank; empty where there is nothing to compare.

    Parameters
    ----------
    doubt : Doubt
    best : str
        Name of the option that is best without errors: the first of `uncertainty.ranking`.
    """
    if len(uncertainty.options) < 2:
        return ""
    stays = next(option.best_share for option in uncertainty.options if option.name == best)
    text = f'"{best}" stays the best option in {chance_words(stays)} of {uncertainty.draws} draws'
    rivals = [option for option in uncertainty.options if option.name != best and option.best_share > 0]
    if rivals:
        rival = max(rivals, key=lambda option: option.best_share)
        text += f'; "{rival.name}" is best in {chance_words(rival.best_share)}'
    if len(uncertainty.options) > 2:
        text += f"; all options keep their order in {chance_words(uncertainty.order_share)}"
    return f"{text}."


def held_words(option: OptionUncertainty) -> str:
    """What an option holds in the middle draw and in the worst twentieth.

    Examples
    --------
    >>> import numpy as np
    >>> shares = np.linspace(0.3, 0.5, 101)
    >>> held_words(OptionUncertainty("pole", np.zeros((1, 1), np.float32), 100 * shares, shares, 1.0))
    'It holds 40% of the protected ground in the middle draw and 31% or less in the worst twentieth.'
    """
    what = "of ground" if option.held_share is None else "of the protected ground"
    middle, worst = amount_words(option, option.middle), amount_words(option, option.worst)
    if middle == worst:
        return f"It holds {middle} {what} in the middle draw and in the worst twentieth."
    return f"It holds {middle} {what} in the middle draw and {worst} or less in the worst twentieth."


def amount_words(option: OptionUncertainty, amount: float) -> str:
    """A share of protected ground, or square metres where none is protected; of nothing, none."""
    if amount == 0:
        return "none"
    return f"{amount:.0f} m2" if option.held_share is None else f"{amount:.0%}"


def chance_words(share: float) -> str:
    """A share of draws; all and none are said only of all and none.

    >>> [chance_words(share) for share in (0.0, 0.001, 0.455, 0.999, 1.0)]
    ['none', 'under 1%', '46%', 'over 99%', 'all']
    """
    if share in (0.0, 1.0):
        return "all" if share else "none"
    if share < 0.005:
        return "under 1%"
    return "over 99%" if share > 0.995 else f"{share:.0%}"


def error_size_words(error_sizes: ErrorSizes) -> tuple[str, str]:
    """What was varied, of the ground and of the units: standard deviations.

    Examples
    --------
    >>> error_size_words(ErrorSizes(0.1, 10.0, 0.02, 2.5, 1.0))[1]
    'units in height by 0.02 m, in bearing by 2.5°, in tilt and roll by 1°'
    """
    return (
        f"heights of the ground by {error_sizes.ground_m:g} m ({error_sizes.source}), alike over some "
        f"{error_sizes.correlation_m:g} m",
        f"units in height by {error_sizes.height_m:g} m, in bearing by {error_sizes.bearing_deg:g}°, "
        f"in tilt and roll by {error_sizes.tilt_deg:g}°",
    )


def tolerance_words(unit: UnitTolerance) -> str:
    """How far each setting of a unit may be off, in one sentence.

    >>> slacks = (Slack("tilt", "deg", 2.71, 0.04), Slack("range", "m", 0.0, 0.0))
    >>> tolerance_words(UnitTolerance("D1", 9.0, slacks))
    'D1 may be off in tilt by -2.7° to 0° before 5% of what it holds is lost; no other range setting will do'
    """
    if not unit.slacks:
        return f"{unit.unit} holds nothing that a setting could lose"
    told = ", ".join(_slack_words(slack) for slack in unit.slacks if slack.setting != "range")
    ranges = [f"; {range_words(slack)}" for slack in unit.slacks if slack.setting == "range"]
    return f"{unit.unit} may be off {told} before {LOSS:.0%} of what it holds is lost{''.join(ranges)}"


def _slack_words(slack: Slack) -> str:
    """One setting of that sentence.

    >>> _slack_words(Slack("height", "m", 0.1468, 0.3, more_open=True))
    'in height by -0.14 m to +0.30 m or more'
    >>> _slack_words(Slack("tilt", "deg", 0.0, 0.04))
    'in tilt not at all'
    """
    less, more = side_words(slack)
    if less == more:  # signs tell them apart but for nought
        return f"in {slack.setting} not at all"
    sides = [
        f"{text} or more" if is_open and not text.startswith("0") else text
        for text, is_open in ((less, slack.less_open), (more, slack.more_open))
    ]
    return f"in {slack.setting} by {sides[0]} to {sides[1]}"


def side_words(slack: Slack) -> tuple[str, str]:
    """How far a setting may be off to each side; nought has no sign.

    >>> side_words(Slack("bearing", "deg", 7.58, 4.0)), side_words(Slack("tilt", "deg", 0.0, 0.04))
    (('-7.5°', '+4.0°'), ('0°', '0°'))
    """
    digits, unit = (2, " m") if slack.unit == "m" else (1, "°")
    # Rounded down: what is told must hold.
    less, more = (math.floor(off * 10**digits + 1e-6) / 10**digits for off in (slack.less, slack.more))
    return (
        f"-{less:.{digits}f}{unit}" if less else f"0{unit}",
        f"+{more:.{digits}f}{unit}" if more else f"0{unit}",
    )


def range_words(slack: Slack) -> str:
    """Which other range settings would do.

    >>> range_words(Slack("range", "m", 4.0, 0.0)), range_words(Slack("range", "m", 0.0, 0.0))
    ('the range setting may be 4 m shorter', 'no other range setting will do')
    """
    ways = [f"{off:g} m {way}" for way, off in (("shorter", slack.less), ("longer", slack.more)) if off > 0]
    if not ways:
        return "no other range setting will do"
    return f"the range setting may be {' or '.join(ways)}"
