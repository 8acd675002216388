"""What a survey is worth, and where: measured, bridged and unknown ground, spacing, error, date."""

from terrain3d.cover.areas import RETURN_STEPS, KnownGround, Measured, Standing
from terrain3d.lengths import about, area_words, given, length_name, per_area
from terrain3d.sentences.words import capital
from terrain3d.survey.dates import days
from terrain3d.terrain import Terrain
from terrain3d.wording import counted, listed, plain

#: A share of a piece of ground that is worth no word.
_TRIFLE = 0.001


def survey_line(terrain: Terrain, known: KnownGround, measured: Measured | None = None) -> str:
    """The sentence under the picture; where returns were counted, how many half of the ground has."""
    if terrain.spacing_m is None:
        are = "its heights are the site file's own"
        if known.unknown_m2 > _TRIFLE * known.all_m2:
            are = _parts_words(known, "is given")
        return f"The ground is drawn, not surveyed: {are}. {_STANDS_ON_IT}"
    many = ""
    if measured is not None:
        half = plain(per_area(measured.median_per_m2), 2)
        many = f", and half of what was measured has {half} or more a square {length_name()}"
    return (
        f"{capital(_parts_words(known, 'was measured'))}; ground points lie about"
        f" {about(terrain.spacing_m)} apart{many}. {_STANDS_ON_IT}"
    )


_STANDS_ON_IT = "A verdict is no better than the ground and the things that it stands on."


def _parts_words(known: KnownGround, is_known: str) -> str:
    parts = [f"{_percent(known.measured_m2, known)} of {area_words(known.all_m2)} {is_known}"]
    if known.bridged_m2 > _TRIFLE * known.all_m2:
        parts.append(f"{_percent(known.bridged_m2, known)} was bridged across gaps")
    if known.unknown_m2 > _TRIFLE * known.all_m2:
        parts.append(f"{_percent(known.unknown_m2, known)} is not known")
    return listed(parts)


def part_figures(part_m2: float, known: KnownGround) -> str:
    """A part of the ground, and what share of it that is.

    >>> part_figures(3.0, KnownGround(3.0, 1.0, 0.0))
    '3.0 m², 75%'
    """
    return f"{area_words(part_m2)}, {_percent(part_m2, known)}"


def measured_figure(known: KnownGround) -> str:
    """How much of a piece of ground was measured.

    >>> measured_figure(KnownGround(30.0, 9.0, 1.0))
    '75% of 40 m²'
    """
    return f"{_percent(known.measured_m2, known)} of {area_words(known.all_m2)}"


def not_measured_words(known: KnownGround) -> str:
    """What of a piece of ground was not measured; empty where all of it was.

    >>> not_measured_words(KnownGround(30.0, 9.0, 1.0)), not_measured_words(KnownGround(1.0, 0.0, 0.0))
    ('9.0 m² bridged, 1.0 m² not known', '')
    """
    parts = ((known.bridged_m2, "bridged"), (known.unknown_m2, "not known"))
    return ", ".join(f"{area_words(m2)} {word}" for m2, word in parts if m2 > _TRIFLE * known.all_m2)


def returns_words(step: int) -> str:
    """How many ground returns a unit of area a step of `RETURN_STEPS` stands for.

    >>> [returns_words(step) for step in range(5)]
    ['under 0.5', '0.5 to 2', '2 to 8', '8 to 32', '32 or more']
    """
    steps = [plain(per_area(many), 2) for many in RETURN_STEPS]
    if step == 0:
        return f"under {steps[0]}"
    if step == len(RETURN_STEPS):
        return f"{steps[-1]} or more"
    return f"{steps[step - 1]} to {steps[step]}"


def survey_facts(terrain: Terrain) -> list[str]:
    """Spacing, stated error and date, a line each; what nobody states is said to be not stated."""
    cell = f"cells of {given(terrain.ground.cell_m)}"
    if terrain.spacing_m is None:
        return [f"Ground drawn in the site file, in {cell}."]
    told = [f"Ground points about {about(terrain.spacing_m)} apart, in {cell}."]
    if terrain.error_m is None:
        told.append("No error of its heights is stated.")
    else:
        told.append(f"Heights within {given(terrain.error_m)} (RMSE), as {terrain.error_from} states.")
    dated = terrain.dated
    if dated is None:
        told.append("No date of it is stated.")
    else:
        what = "Measured" if dated.is_flown else "File written, and measured by then,"
        told.append(f"{what} {days(dated)}, as {dated.said_by} says.")
    return told


def standing_lines(there: Standing) -> list[str]:
    """What stands on the site, by where it comes from; none of what is not there."""
    found, drawn = there.solids_found, there.solids_drawn
    lines = []
    if found or there.leaves_found_m2:
        lines.append(f"Things found in the survey: {_things(found, there.leaves_found_m2)}.")
    if drawn or there.leaves_drawn_m2:
        lines.append(f"Things drawn in the site file: {_things(drawn, there.leaves_drawn_m2)}.")
    return lines or ["Nothing stands on it."]


def _things(solids: int, leaves_m2: float) -> str:
    parts = [counted(solids, "solid")] if solids else []
    return listed([*parts, f"leaves over {area_words(leaves_m2)}"] if leaves_m2 else parts)


def _percent(part_m2: float, known: KnownGround) -> str:
    share = part_m2 / known.all_m2 if known.all_m2 else 0.0
    if 0 < share < _TRIFLE / 2:
        return "under 0.1%"
    # What is nearly all is not all.
    return f"{share:.1%}" if 0.99 <= share < 1 - _TRIFLE / 2 or 0 < share < 0.01 else f"{share:.0%}"
