"""What the draws say, in sentences that a client understands."""

import math

from terrain3d.detector.pose import Detector
from terrain3d.lengths import given, in_unit, length_unit, plain_area, to_digits
from terrain3d.sentences.words import capital
from terrain3d.uncertainty.error_field import ErrorSizes, Source
from terrain3d.uncertainty.monte_carlo import OptionUncertainty, Uncertainty
from terrain3d.uncertainty.tolerance import LOSS, Slack, UnitTolerance

_ASSUMED = "assumed as for quality level 2"
#: Where the error of the ground is from.
SOURCE_WORDS = {
    Source.STATED: "as the site file says",
    Source.GROUND_STATED: "as [ground] error of the site file says",
    Source.SURVEY_STATED: "as the survey itself states",
    Source.DRAWN_GROUND: f"{_ASSUMED}, for the ground is drawn and nothing states its error",
    Source.SILENT_SURVEY: f"{_ASSUMED}, for the survey states no error",
}


#: What the bars of tolerances are.
TOLERANCE_KEY = (
    f"Until {LOSS:.0%} of the held ground is lost. Grey: 19 of 20 units fixed by hand, "
    "striped within it. Free: no end."
)


def uncertainty_line(uncertainty: Uncertainty, found: OptionUncertainty) -> str:
    """What to take from one option's page: what is held, and how firmly the options rank."""
    return f"{held_words(found)} {ranking_words(uncertainty)}".strip()


def of_all_lines(uncertainty: Uncertainty) -> list[str]:
    """What is true of all options: how firmly they rank, and what was varied."""
    ranking = ranking_words(uncertainty)
    drawn = f"drawn {uncertainty.draws} times: {'; '.join(error_size_words(uncertainty.error_sizes))}"
    return [words for words in (ranking, drawn) if words]


def varied_words(error_sizes: ErrorSizes) -> str:
    """What was varied, as a sentence."""
    return f"{capital('; '.join(error_size_words(error_sizes)))}: standard deviations."


def ranking_words(uncertainty: Uncertainty) -> str:
    """How firmly the options rank as they do without errors; empty where there is nothing to compare."""
    if len(uncertainty.options) < 2:
        return ""
    best = uncertainty.ranking[0]
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
    """What an option holds in half of the draws, and in the worst of twenty.

    Examples
    --------
    >>> import numpy as np
    >>> shares = np.linspace(0.3, 0.5, 101)
    >>> held_words(OptionUncertainty("pole", np.zeros((1, 1), np.float32), 100 * shares, shares, 1.0))
    'In half of the draws it holds 40% of the protected ground or more, in one of twenty 31% or less.'
    """
    what = "of ground" if option.held_share is None else "of the protected ground"
    middle, worst = amount_words(option, option.middle), amount_words(option, option.worst)
    if middle == worst:
        return f"In half of the draws it holds {middle} {what} or more, in one of twenty that or less."
    return f"In half of the draws it holds {middle} {what} or more, in one of twenty {worst} or less."


def amount_words(option: OptionUncertainty, amount: float) -> str:
    """A share of protected ground, or square metres where none is protected; of nothing, none."""
    if amount == 0:
        return "none"
    return plain_area(amount, 0) if option.held_share is None else f"{amount:.0%}"


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
    source = SOURCE_WORDS[error_sizes.source]
    return (
        f"heights of the ground by {given(error_sizes.ground_m)} ({source}), alike over some "
        f"{given(error_sizes.correlation_m)}",
        f"units in height by {given(error_sizes.height_m)}, in bearing by {error_sizes.bearing_deg:g}°, "
        f"in tilt and roll by {error_sizes.tilt_deg:g}°",
    )


def tolerance_words(unit: UnitTolerance) -> str:
    """How far each setting of a unit may be off, in one sentence.

    >>> slacks = (Slack("tilt", "deg", 2.71, 0.04), Slack("range", "m", 0.0, 0.0))
    >>> tolerance_words(UnitTolerance("D1", 9.0, slacks))
    'D1 may be off in tilt by -2.7° to 0° before 5% of what it holds is lost; no other range holds enough'
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
    told = _rounded(slack)
    if not any(told):
        return f"in {slack.setting} not at all"
    sides = [
        f"{text} or more" if is_open and off > 0 else text
        for text, off, is_open in zip(
            side_words(slack), told, (slack.less_open, slack.more_open), strict=True
        )
    ]
    return f"in {slack.setting} by {sides[0]} to {sides[1]}"


def side_words(slack: Slack) -> tuple[str, str]:
    """How far a setting may be off to each side; nought has no sign.

    >>> side_words(Slack("bearing", "deg", 7.58, 4.0)), side_words(Slack("tilt", "deg", 0.0, 0.04))
    (('-7.5°', '+4.0°'), ('0°', '0°'))
    """
    digits, unit = (_digits(slack), f" {length_unit()}" if slack.unit == "m" else "°")
    less, more = (f"{off:.{digits}f}{unit}" if off else "" for off in _rounded(slack))
    return f"-{less}" if less else f"0{unit}", f"+{more}" if more else f"0{unit}"


def _rounded(slack: Slack) -> tuple[float, float]:
    """How far a setting may be off to each side, rounded down: what is told must hold."""
    scale, is_length = 10 ** _digits(slack), slack.unit == "m"
    less, more = (in_unit(off) if is_length else off for off in (slack.less, slack.more))
    return math.floor(less * scale + 1e-6) / scale, math.floor(more * scale + 1e-6) / scale


def _digits(slack: Slack) -> int:
    return 2 if slack.unit == "m" else 1


def range_words(slack: Slack) -> str:
    """Which other range settings would do.

    >>> range_words(Slack("range", "m", 4.0, 0.0)), range_words(Slack("range", "m", 0.0, 0.0))
    ('the range setting may be 4 m shorter', 'no other range holds enough')
    """
    ways = [
        f"{given(off)} {way}" for way, off in (("shorter", slack.less), ("longer", slack.more)) if off > 0
    ]
    of = "" if slack.head is None else f" of head {slack.head}"
    if not ways:
        return f"no other range{of} holds enough"
    return f"the range setting{of} may be {' or '.join(ways)}"


def setting_words(unit: Detector, setting: str, head: int | None = None) -> str:
    """A setting with its value, short; of a head by its number from 1 where it is one's own.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90", Path()), "pole", 0, 0, 0, 1.0, 135, -9.5)
    >>> [setting_words(unit, setting) for setting in ("height", "bearing", "tilt", "range")]
    ['height 1 m', 'bearing 135°', 'tilt -9.5°', 'range 12 m']
    """
    value = {
        "height": to_digits(unit.height_m, 4),
        "bearing": f"{unit.bearing_deg:.4g}°",
        "tilt": f"{unit.tilt_deg:.3g}°",
        "roll": f"{unit.roll_deg:.3g}°",
        "range": to_digits(unit.range_m, 4),
    }[setting]
    if head is not None:
        return f"{setting}, head {head} {to_digits(unit.range_of(head - 1), 4)}"
    return f"{setting} {value}"


def slack_figures(slack: Slack) -> tuple[str, str]:
    """How far off to each side; free where no limit was found.

    >>> slack_figures(Slack("height", "m", 0.1468, 0.3, more_open=True))
    ('-0.14 m', 'free')
    >>> slack_figures(Slack("tilt", "deg", 0.0, 4.0, less_open=True))       # it can be tilted no farther
    ('0°', '+4.0°')
    """
    less, more = side_words(slack)
    return (
        "free" if slack.less_open and slack.less else less,
        "free" if slack.more_open and slack.more else more,
    )


def range_figure(slack: Slack) -> str:
    """By how much another range setting may be taken.

    >>> range_figure(Slack("range", "m", 4.0, 0.0)), range_figure(Slack("range", "m", 0.0, 0.0))
    ('down by 4 m', 'only as it is set')
    """
    ways = [f"{way} by {given(off)}" for way, off in (("down", slack.less), ("up", slack.more)) if off > 0]
    return " or ".join(ways) or "only as it is set"
