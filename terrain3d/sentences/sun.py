"""When the sun stands in a layer: seasons, hours, and how far they can be trusted."""

from datetime import date

from terrain3d.conditions.sun import LEAST_LIGHT, STEP_MIN, SunLayer, SunResult, SunSpan
from terrain3d.lengths import length_unit, to_digits_figure
from terrain3d.sentences.words import minutes_words

UNPLACED = (
    "The sun cannot be placed: the site file names no CRS, so nobody knows where on earth this is."
    " Set [site] crs, or take a survey that states its own."
)
#: The same where a picture of it would be.
NO_PLACE = "The sun cannot be placed without a CRS."
SHORT_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def sun_words(sun: SunResult) -> tuple[str, ...]:
    """All that is to say of one option: a sentence for each layer, then how it was worked out."""
    if sun.origin_lonlat is None:
        return (UNPLACED,)
    return (*(_layer_words(layer, sun) for layer in sun.layers), _how_words(sun))


def sun_line(sun: SunResult) -> str:
    """What to take from the page: the layer that the sun stands in longest."""
    worst = max(sun.layers, key=lambda layer: layer.minutes, default=None)
    if worst is None:
        return sun_words(sun)[0]
    if worst.minutes == 0:
        told = f"The sun never stands in view within an arc and {sun.setting.near:g}° of a layer."
    else:
        told = f"{'Most is ' if len(sun.layers) > 1 else ''}{_layer_words(worst, sun)}"
    return f"{told} {_how_words(sun)}"


def sun_lines(sun: SunResult) -> list[str]:
    """When the sun stands in a layer, a line for each that it reaches, the longest first.

    >>> from terrain3d.site import SunSetting
    >>> import numpy as np
    >>> sun_lines(SunResult(SunSetting(), "UTC", None, np.zeros((1, 1), bool), (), ()))[0][:38]
    'Low sun: The sun cannot be placed: the'
    """
    if not sun.layers:
        return [f"Low sun: {UNPLACED}"]
    reached = sorted((one for one in sun.layers if one.season), key=lambda one: -one.minutes)
    if not reached:
        return [f"Low sun: in no layer in {sun.setting.year}"]
    return [
        f"Low sun in {one.unit}, head {one.head}, {one.layer}: {minutes_words(one.minutes)},"
        f" {season_words(*one.season)}"
        for one in reached
        if one.season is not None
    ]


def _layer_words(layer: SunLayer, sun: SunResult) -> str:
    which = f"{layer.unit}, head {layer.head}, {layer.layer} layer"
    behind = (
        f" Ground, solids and foliage hide it there for {minutes_words(layer.hidden_minutes)}."
        if layer.hidden_minutes
        else ""
    )
    if layer.season is None:
        return f"{which}: the sun never stands in view near it in {sun.setting.year}.{behind}"
    return (
        f"{which}: the sun stands within its arc and {sun.setting.near:g}° of it for"
        f" {minutes_words(layer.minutes)} in {sun.setting.year}, {season_words(*layer.season)}.{behind}"
    )


def _how_words(sun: SunResult) -> str:
    return (
        f"Clock times of {sun.zone}, to {STEP_MIN} minutes; the middle of the sun, lifted by"
        f" refraction. {far_words(sun.far_cells_m)}What lies beyond the survey is taken as level. Foliage"
        f" hides the sun where it lets through less than {LEAST_LIGHT:.0%}; once its leaves are down it may"
        " not."
    )


def far_words(cells_m: tuple[float, ...]) -> str:
    """How the survey was read past the ground worked on; nothing where it ends with that.

    >>> far_words((0.5, 1.0, 2.0))
    'Far from the units the survey is a surface of cells of 0.5 to 2 m, crowns and roofs taken as solid. '
    """
    if not cells_m:
        return ""
    sizes = " to ".join(dict.fromkeys(to_digits_figure(cell_m, 2) for cell_m in (cells_m[0], cells_m[-1])))
    return (
        f"Far from the units the survey is a surface of cells of {sizes} {length_unit()},"
        " crowns and roofs taken as solid. "
    )


def stay_words(layer: SunLayer) -> str:
    return f"{minutes_words(layer.minutes)} in view" if layer.minutes else "never in view"


def day_span(span: SunSpan) -> str:
    days = [f"{day.day} {SHORT_MONTHS[day.month - 1]}" for day in (span.first, span.last)]
    return " to ".join(dict.fromkeys(days))


def clock_span(span: SunSpan) -> str:
    return f"{clock_words(span.start_min)} to {clock_words(span.end_min)}"


def day_words(day: date) -> str:
    """A day as a person writes it, in the same words on every machine.

    >>> day_words(date(2026, 3, 9))
    '9 March'
    """
    return f"{day.day} {_MONTHS[day.month - 1]}"


def season_words(first: date, last: date) -> str:
    """When in a year, as a person says it.

    >>> season_words(date(2026, 10, 20), date(2026, 2, 3)), season_words(date(2026, 1, 1), date(2026, 12, 31))
    ('from 20 October to 3 February', 'all through the year')
    """
    if (first.month, first.day, last.month, last.day) == (1, 1, 12, 31):
        return "all through the year"
    return f"from {day_words(first)} to {day_words(last)}" if first != last else f"on {day_words(first)}"


_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip


def clock_words(minutes: int) -> str:
    """Minutes after midnight as the clock shows them.

    >>> clock_words(400), clock_words(1440)
    ('06:40', '24:00')
    """
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
