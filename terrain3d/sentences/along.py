"""What a section along a drawn line says: how much of it is held, and how high layers pass over it."""

from terrain3d.cover.profile import Run
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.lengths import half_up, half_up_span, length, span
from terrain3d.sentences.verdicts import UNKNOWN_WORDS, VERDICT_WORDS
from terrain3d.walk.along import LineProfile
from terrain3d.wording import listed

#: Said where a line lies outside every arc and range.
NO_STRETCH = "No arc or range holds any of it."
#: Whatever passes lower over the ground starts on it, metres.
_ON_THE_GROUND_M = 0.05


#: What lies on each kind of ground, after how many metres of it there are.
_LIES = {
    Verdict.BOTH: "are held by both layers",
    Verdict.UPPER_ONLY: "by the upper one alone",
    Verdict.LOWER_ONLY: "by the lower one alone",
    Verdict.DEAD: "are dead ground",
    Verdict.OUTSIDE: "lie outside every arc or range",
}


def along_sentence(profile: LineProfile) -> str:
    """What to take from the section."""
    lengths: dict[int, float] = {}
    for run in profile.runs():
        lengths[run.code] = lengths.get(run.code, 0.0) + run.stop_m - run.start_m
    # What is held is always told, and what is not known comes last.
    lengths.setdefault(Verdict.BOTH, 0.0)
    order = [*sorted(Verdict, reverse=True), UNKNOWN]
    told = [f"{half_up(lengths[code])} {_lies(code)}" for code in order if code in lengths]
    return f'Of the {half_up(profile.length_m)} of "{profile.name}" {listed(told, len(order))}.'


def _lies(code: int) -> str:
    return "have no ground that is known" if code == UNKNOWN else _LIES[Verdict(code)]


def run_words(run: Run) -> str:
    """The verdict of a stretch."""
    return UNKNOWN_WORDS if run.code == UNKNOWN else VERDICT_WORDS[Verdict(run.code)]


def run_stretch(run: Run) -> str:
    """From where to where.

    >>> run_stretch(Run(1.26, 3.0, 4))
    '1.3 to 3.0 m'
    """
    return half_up_span(max(run.start_m, 0.0), run.stop_m)


def layers_words(profile: LineProfile, at_m: float) -> str:
    """Each layer over a place of the line: from and to which height over the ground; empty for none."""
    place = min(range(len(profile.along)), key=lambda k: abs(float(profile.along[k]) - at_m))
    ground_z = float(profile.ground[place])
    by_unit: dict[str, list[str]] = {}
    for layer in profile.layers:
        over = layer.over(place, ground_z)
        if over is not None:
            low, high = over
            reach = span(low, high, 2) if low > _ON_THE_GROUND_M else f"0 to {length(high, 2)}"
            by_unit.setdefault(layer.unit, []).append(f"{layer.layer} {reach}")
    has_names = len({layer.unit for layer in profile.layers}) > 1
    told = [f"{unit + ' ' if has_names else ''}{', '.join(layers)}" for unit, layers in by_unit.items()]
    return f"at {half_up(at_m)} {'; '.join(told)}" if told else ""


def stretch_note(stretch: float) -> str:
    """How heights are drawn.

    >>> stretch_note(1), stretch_note(2.5), stretch_note(0.5)
    ('true scale', 'heights stretched 2.5 times', 'heights at 0.5 times the scale of distances')
    """
    if stretch == 1:
        return "true scale"
    return (
        f"heights stretched {stretch:g} times"
        if stretch > 1
        else (f"heights at {stretch:g} times the scale of distances")
    )
