"""What a search found: why its best is the best, how far that is proved, or why nothing fits."""

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.lengths import given
from terrain3d.ranking.compare import held_share
from terrain3d.search.budget import NothingFits
from terrain3d.search.result import Choice, SearchResult
from terrain3d.search.sites import SiteDone
from terrain3d.sentences.heads import setting_lines
from terrain3d.sentences.why import steady_why
from terrain3d.wording import money_words

#: Said of a gap that is left.
_BROKEN_OFF = "to prove that none can takes more work than is spent on it"


def search_why(result: SearchResult | NothingFits) -> str:
    """Why the best set beats the runner-up, or why there is none."""
    if not isinstance(result, NothingFits):
        return steady_why(result.steady, result.figure.name, result.reasons)
    holds = result.settings_judged > 0
    limits = result.limits
    if result.price is None:
        assert limits.milliamps is not None  # or nothing could draw too much
        assert result.milliamps is not None
        return undrawn_words(result.cheapest, result.milliamps, limits.milliamps, holds)
    assert limits.budget is not None  # or nothing could be beyond it
    return beyond_words(result.cheapest, result.price, limits.budget, holds, limits.milliamps)


def site_line(done: SiteDone) -> str:
    """One site of many in a line, or its fault in a few."""
    if done.fault:
        return f"{done.path.name}: failed: {done.fault}"
    if isinstance(done.result, NothingFits):
        return f"{done.path.name}: {search_why(done.result)}"
    result: SearchResult = done.result
    units = ", ".join(unit.mount for unit in result.best.option.detectors)
    return f"{done.path.name}: {share_held(result.best.steady, result.best.share)} held from {units}"


def share_held(option: OptionResult, by_weight: float) -> str:
    """The share of protected ground that is held, as every page has it; of all ground where none is."""
    plain = held_share(option)
    return f"{by_weight if plain is None else plain:.1%}"


def set_words(choice: Choice) -> str:
    """The units of a set: types, mounts, heights and bearings."""
    return "; ".join(
        f"{label} on {unit.mount}, {given(unit.height_m)}, bearing {unit.bearing_deg:g}"
        for unit, label in zip(choice.option.detectors, choice.labels, strict=True)
    )


def beyond_words(
    cheapest: str, price: float, budget: float, holds: bool, milliamps: float | None = None
) -> str:
    """Why nothing fits a budget, in a sentence.

    Parameters
    ----------
    cheapest : str
    price, budget : float
    holds : bool
        Whether settings were judged: the cheapest is then that of the units that hold ground.
    milliamps : float, or None
        Most current, where that is limited too.

    Examples
    --------
    >>> beyond_words("one-head-90", 1100.0, 99.5, False)
    'Nothing fits the budget of 99.5: the cheapest unit that may be fixed here, one-head-90, costs 1,100.'
    >>> beyond_words("one-head-90", 1100.0, 99.5, True, 40.0)
    'Nothing fits the budget of 99.5: the cheapest unit that holds ground that counts on 40 mA, one-head-90, costs 1,100.'
    """  # noqa: E501
    return (
        f"Nothing fits the budget of {money_words(budget)}: the cheapest {_unit_that(holds, milliamps)},"
        f" {cheapest}, costs {money_words(price)}."
    )


def undrawn_words(least: str, drawn: float, milliamps: float, holds: bool) -> str:
    """Why nothing fits a current, in a sentence; arguments as those of `beyond_words`, in milliamps.

    >>> undrawn_words("one-head-90", 25.0, 20.0, False)
    'Nothing fits the current of 20 mA: the unit that may be fixed here and draws least, one-head-90, draws 25 mA.'
    """  # noqa: E501
    return (
        f"Nothing fits the current of {milliamps:g} mA: the {_unit_that(holds)} and draws least, {least},"
        f" draws {drawn:g} mA."
    )


def _unit_that(holds: bool, milliamps: float | None = None) -> str:
    what = "unit that " + ("holds ground that counts" if holds else "may be fixed here")
    return what if milliamps is None else f"{what} on {milliamps:g} mA"


def set_by_itself_words(name: str, unit: Detector) -> str:
    """What a unit of a set is set to beside its range, or head by head; empty where nothing is.

    >>> from terrain3d.detector.pose import HeadSetting
    >>> from terrain3d.detector.types import load_type
    >>> heads = (HeadSetting(range_m=6.0, masked=(1, 2)), HeadSetting(range_m=8.0))
    >>> two = Detector("D1", load_type("two-head-180"), "pole", 0, 0, 0, 1.0, 0.0, heads=heads, bracket=True)
    >>> set_by_itself_words("best", two)
    'D1 of best: on its bracket; head 1: range 6 m, zones 1 and 2 masked; head 2: range 8 m.'
    """
    told = [*(["on its bracket"] if unit.bracket else []), *setting_lines(unit)]
    return f"{unit.name} of {name}: {'; '.join(told)}." if told else ""


def current_words(result: SearchResult) -> str:
    """What the best set draws, where that is limited; else nothing."""
    limit, drawn = result.limits.milliamps, result.best.milliamps
    return "" if limit is None or drawn is None else f"It draws {drawn:g} mA of the {limit:g} mA allowed."


def millions(n: int) -> str:
    """A large count.

    >>> millions(8640), millions(12_345_678)
    ('8,640', '12.3 million')
    """
    return f"{n / 1e6:.1f} million" if n >= 1e6 else f"{n:,}"


def proof_words(result: SearchResult) -> str:
    """How far the choice is proved, in words."""
    if result.limits.hold is not None:
        what = "cheaper" if result.best.price is not None else "smaller"
        if result.gap == 0.0:
            return f"No {what} set of the settings kept of each mount holds as much."
        return f"A set could be {what} by {result.gap:.1%}: {_BROKEN_OFF}."
    if result.gap_all == 0.0:
        return "No set of any of these settings holds more."
    if result.gap == 0.0:
        kept = "No set of the settings kept of each mount holds more"
        return f"{kept}; no set of any settings holds more than {result.gap_all or 0.0:.1%} above it."
    return f"A set could hold more by {result.gap:.1%}: {_BROKEN_OFF}."
