"""What stays held as the ground warms, and how far that is known."""

from terrain3d.conditions.heat import REFERENCE_GROUND_C, REFERENCE_K, HeatResult, Loss
from terrain3d.lengths import plain_area
from terrain3d.sentences.words import NO_FIGURE

#: What the contrast is measured by.
BORROWED = (
    f"The measure is a borrowed test condition of indoor units, {REFERENCE_K:g} K over ground of"
    f" {REFERENCE_GROUND_C:g} °C, from memory and not verified; nothing is said to comply with it."
)
#: What else a reader has to know.
MIND = (
    "Where contrast is weaker than the condition, a layer needs its mark of fill divided by their ratio;"
    " where it is stronger, nothing is made easier.",
    "The figure's surface is kept at one temperature, though clothing follows the air.",
)
_HOTTER = (
    "On hotter ground the figure shows again, colder than what is behind it; whether a unit answers"
    " to that as well, ask the maker and walk-test on a hot evening."
)
_NOTHING = "Nothing is held with both layers at any ground temperature."


def heat_words(heat: HeatResult) -> tuple[str, ...]:
    """All that is to say of one option, in sentences."""
    return (*_told(heat), BORROWED)


def heat_line(heat: HeatResult, name: str = "") -> str:
    """What to take from the page; with the name of the option where there are others."""
    first, *others = _told(heat)
    return f"{f'{name}: ' if name else ''}{first} {' '.join(others)}"


def _told(heat: HeatResult) -> tuple[str, ...]:
    if not heat.losses:
        return (_NOTHING,)
    course = (
        f"At full contrast {plain_area(heat.full_m2, 0)} is held with both layers. As the ground warms to the"
        f" figure's {heat.setting.figure:g} °C, {_course(heat.losses)}."
    )
    return course, _HOTTER


def _course(losses: tuple[Loss, ...]) -> str:
    """The losses in one sentence; those that come together with the loss of everything are not told."""
    *parts, everything = losses
    told = [
        f"{loss.share:.0%} of it is lost from {loss.from_c:.1f} °C on"
        for loss in parts
        if loss.from_c is not None
        and everything.from_c is not None
        and everything.from_c - loss.from_c > 0.05
    ]
    start = "from the coldest" if everything.from_c is None else f"from {everything.from_c:.1f}"
    end = "the hottest ground" if everything.to_c is None else f"{everything.to_c:.1f} °C"
    return ", ".join([*told, f"{'and ' if told else ''}nothing is held {start} to {end}"])


def loss_rows(heat: HeatResult) -> list[tuple[str, str]]:
    """What is told of an option's losses, and its figures."""
    if not heat.losses:
        return [("holds nothing", "")]
    early = [loss for loss in heat.losses[:-1] if loss.from_c is not None]
    rows = []
    if early:
        shares = ", ".join(f"{loss.share:.0%}" for loss in early)
        rows.append((f"{shares} lost from", f"{', '.join(_celsius(loss.from_c, '') for loss in early)} °C"))
    ends = f"{_celsius(heat.silent_from_c, 'coldest')} to {_celsius(heat.silent_to_c, 'hottest')} °C"
    return [*rows, ("nothing held", ends)]


def silent_words(heat: HeatResult) -> str:
    """Between which ground temperatures nothing is held, degrees C."""
    low, high = heat.silent_from_c, heat.silent_to_c
    if low is None and high is None:
        return "none" if heat.losses else NO_FIGURE
    if low is None:
        return f"to {high:.0f}"
    return f"from {low:.0f}" if high is None else f"{low:.0f} to {high:.0f}"


def condition_words(level: float) -> str:
    """The borrowed condition with its contrast, W/m2/sr, beside a chart.

    >>> condition_words(2.8)
    'borrowed test condition: 3.5 K over 20 °C, 2.80 W/m²/sr'
    """
    return f"borrowed test condition: {REFERENCE_K:g} K over {REFERENCE_GROUND_C:g} °C, {level:.2f} W/m²/sr"


def _celsius(value: float | None, beyond: str) -> str:
    return beyond if value is None else f"{value:.1f}"
