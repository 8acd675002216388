"""Why the first option is the best, in words a client understands."""

from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome, Steady
from terrain3d.lengths import plain_area, plain_area_figure
from terrain3d.ranking.compare import held_m2, held_share, weighted_share, worst_scenario
from terrain3d.ranking.reasons import Reason, holds_as_much, holds_at_least, rivals
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.verdicts import NAMED_BECAUSE, cause_words, sense_words


def why(outcome: Outcome) -> str:
    """The sentence of an outcome; where aim counts, of what stays of its options within the tolerance."""
    if outcome.steady is not None:
        return steady_why(outcome.steady, outcome.figure.name, outcome.reasons)
    by_name = {option.name: option for option in outcome.options}
    ranked = tuple(by_name[name] for name in outcome.ranking)
    return why_words(ranked, outcome.figure.name, outcome.reasons) + _at_worst(ranked)


def steady_why(steady: Steady, figure: str, found: tuple[Reason, ...]) -> str:
    """Why the first is the best, of what stays within the tolerance of aim; its parameters as `why_words`."""
    told = why_words(steady.options, figure, found, first="option")
    text = f"Wherever each unit is aimed within {within_words(steady)}: {told}"
    if len(steady.options) > 1 and holds_as_much(*steady.options[:2]):
        text += " Of equals fewer units or less cost go first, then what bears more error of aim."
    return text


def within_words(steady: Steady) -> str:
    """The tolerance of aim.

    >>> within_words(Steady((), 5.0, 1.0))
    '5 degrees of bearing and 1 of tilt'
    """
    return f"{steady.bearing_deg:g} degrees of bearing and {steady.tilt_deg:g} of tilt"


def why_words(
    options: tuple[OptionResult, ...], figure: str, found: tuple[Reason, ...], first: str = "Option"
) -> str:
    """Why the first of several ranked options wins.

    Where the runner-up stands on the same mounts, the best option from other mounts is told as well.

    Parameters
    ----------
    options : tuple of OptionResult
        Best first.
    figure : str
        Name of the figure the verdicts are for.
    found : tuple of Reason
        Of these options.
    first : str
        Its first word.
    """
    if not options:
        return "There is no option to compare."
    best = options[0]
    ground = "protected ground" if best.protect else "ground"
    text = f'{first} "{best.name}" holds {_amount(best)} of the {ground} with both layers'
    against = [
        _against(best, rival, reason, figure) for rival, reason in zip(rivals(options), found, strict=True)
    ]
    if not against:
        return f"{text}."
    elsewhere = [f" From other mounts the best is this: {told}." for told in against[1:]]
    return "".join([text, f"; {against[0]}.", *elsewhere])


def _at_worst(options: tuple[OptionResult, ...]) -> str:
    """What the first holds under its worst scenario, where that is less, and which is best under it then."""
    worst = worst_scenario(options[0]) if options else None
    if worst is None or holds_at_least(worst.option, options[0]):
        return ""
    text = f' Under the scenario "{worst.name}" it holds {_amount(worst.option)}'
    then = {
        option.name: one.option for option in options for one in option.scenarios if one.name == worst.name
    }
    best = max(then, key=lambda name: round(held_m2(then[name]), 6))
    if holds_at_least(worst.option, then[best]):
        return f"{text}."
    return f'{text}, and "{best}" then holds more: {_amount(then[best])}.'


def _against(best: OptionResult, other: OptionResult, reason: Reason, figure: str) -> str:
    """What another option holds, and the cause that costs it most."""
    if holds_as_much(best, other):
        return f'"{other.name}" holds as much'
    text = f'"{other.name}" holds {_amount(other)}'
    if reason.cause is None:
        return text
    words = NAMED_BECAUSE if reason.name else cause_words(reason.cause, has_masks(other.detectors)).because
    because = words.format(
        area=_of_what(best, reason),
        layer=reason.layer,
        sense=sense_words(reason.layer or ""),
        figure=figure,
        name=reason.name,
    )
    return f"{text}, because {because}"


def _of_what(best: OptionResult, reason: Reason) -> str:
    """How much a cause takes, of which ground: that which the best holds and the other does not."""
    assert reason.lost_m2 is not None  # or there would be no cause
    assert reason.of_m2 is not None
    lost, whole = plain_area(reason.lost_m2, 0), plain_area(reason.of_m2, 0)
    part = plain_area_figure(reason.lost_m2, 0)
    share = f"all {whole}" if lost == whole else f"{part} of the {whole}"
    return f'{share} that only "{best.name}" holds'


def _amount(option: OptionResult) -> str:
    share, weighted = held_share(option), weighted_share(option)
    if share is None:
        return plain_area(held_m2(option), 0)
    return f"{share:.0%}" if weighted is None else f"{share:.0%} ({weighted:.0%} by weight)"
