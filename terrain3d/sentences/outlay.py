"""What an option costs and draws, and which wedges stay open between its heads."""

from terrain3d.cover.option import OptionResult
from terrain3d.cover.wedges import heads_on_a_mount, wedges_of
from terrain3d.job import Outcome
from terrain3d.lengths import area_words
from terrain3d.ranking.outlay import Outlay, outlay_of
from terrain3d.wording import listed, money_words


def version_lines(outcome: Outcome) -> list[str]:
    """What each option holds, leaves open, costs and draws, best first; none where that is alike for all."""
    options = [outcome.option(name) for name in outcome.ranking]
    told = {
        (outlay_of(one.detectors), tuple(w.width_deg for w in wedges_of(one.detectors))) for one in options
    }
    if len(told) < 2 or all(outlay is None for outlay, _ in told):
        return []
    return [version_words(option) for option in options]


def version_words(option: OptionResult) -> str:
    """What one option holds, leaves open, costs and draws, in a sentence."""
    parts = [f"holds {area_words(option.area_m2['both'])} with both layers"]
    if wedge := wedge_words(option):
        parts.append(f"leaves {wedge}")
    outlay = outlay_of(option.detectors)
    if outlay is not None and outlay.price is not None:
        parts.append(f"costs {money_words(outlay.price)}")
    if outlay is not None and outlay.milliamps is not None:
        parts.append(f"draws {current_words(outlay)}")
    return f'"{option.name}" {listed(parts, 4)}.'


def wedge_words(option: OptionResult) -> str:
    """The wedges that stay open between heads on one mount; empty where no mount has several heads."""
    wedges = wedges_of(option.detectors)
    if wedges:
        told = [f"{wedge.width_deg:g}° at {wedge.bearing_deg:g}°" for wedge in wedges]
        return f"{'a wedge' if len(told) == 1 else 'wedges'} of {listed(told)} open between its heads"
    return "no wedge open between its heads" if heads_on_a_mount(option.detectors) > 1 else ""


def outlay_words(option: OptionResult) -> str:
    """Price and current, short; empty where the types state neither."""
    outlay = outlay_of(option.detectors)
    if outlay is None:
        return ""
    price = "" if outlay.price is None else f"price {money_words(outlay.price)}"
    current = "" if outlay.milliamps is None else current_words(outlay)
    return ", ".join(filter(None, [price, current]))


def current_words(outlay: Outlay) -> str:
    """What is drawn, and at which voltage.

    >>> current_words(Outlay(None, 50.0, (9.0, 16.0))), current_words(Outlay(None, 25.02, None))
    ('50 mA at 9 to 16 V', '25.02 mA, and no voltage suits all')
    """
    drawn = f"{outlay.milliamps:g} mA"
    if outlay.volts is None:
        return f"{drawn}, and no voltage suits all"
    return f"{drawn} at {outlay.volts[0]:g} to {outlay.volts[1]:g} V"
