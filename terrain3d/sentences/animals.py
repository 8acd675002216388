"""Which animals raise the alarm where, and where a person who crawls does not."""

from terrain3d.lengths import area_words, length, plain_area
from terrain3d.nuisance.animals import AnimalGround, FigureGround
from terrain3d.sentences.options import TRIFLE_M2
from terrain3d.wording import listed

#: What the colours of the ground are.
LOWEST_COLOUR = (
    "Ground takes the colour of the lowest animal that breaks both layers there; taller ones do so too."
)


def animals_lines(ground: AnimalGround) -> list[str]:
    """Who raises the alarm on how much ground, and who is not noticed."""
    rows = [row for row in ground.animals if row.area_m2 >= TRIFLE_M2]
    lines = [
        f"raise the alarm on: {', '.join(_from(row) for row in rows)}" if rows else "none breaks both layers"
    ]
    crawling = ground.crawling
    if crawling.area_m2 >= TRIFLE_M2:
        on = (
            f", {plain_area(ground.crawling_protected_m2)} of it protected"
            if ground.crawling_protected_m2
            else ""
        )
        lines.append(
            f"a {crawling.figure.name} is not noticed on {plain_area(crawling.area_m2)} "
            f"where a {ground.upright.name} upright is{on}"
        )
    return lines


def _from(row: FigureGround) -> str:
    near = "" if row.nearest_m is None else f" from {length(row.nearest_m)} on"
    return f"{row.figure.name} {plain_area(row.area_m2)}{near}"


def animal_words(ground: FigureGround) -> str:
    """A low figure with its height to a centimetre."""
    return f"{ground.figure.name}, {length(ground.figure.height_m, 2)}"


def stripes_words(found: AnimalGround) -> str:
    """What the stripes are."""
    return f"Stripes: ground that holds a {found.upright.name} walking upright, but not this one."


def animals_line(found: AnimalGround) -> str:
    """What to take from the page: the lowest animal that raises the alarm, and what a crawler gets.

    >>> from terrain3d.detector.figures import Figure
    >>> import numpy as np
    >>> nowhere = np.zeros((2, 2), bool)
    >>> dog = FigureGround(Figure("dog", 0.6, "invented"), 0.0, None, nowhere)
    >>> person = Figure("person", 1.7, "invented")
    >>> crawler = FigureGround(Figure("person crawling", 0.7, "invented"), 12.0, 2.0, ~nowhere)
    >>> animals_line(AnimalGround("gate", (dog,), person, crawler, 0.0))
    'No animal raises the alarm. A person crawling passes on 12 m² that hold a person, none of it protected.'
    """
    troublesome = [ground for ground in found.animals if ground.area_m2 > 0]
    if troublesome:
        lowest = troublesome[0]
        assert lowest.nearest_m is not None  # of ground that there is
        animals = (
            f"The lowest animal that raises the alarm is the {_named(lowest)}: on"
            f" {area_words(lowest.area_m2)}, from {length(lowest.nearest_m)} off."
        )
        others = [ground.figure.name for ground in troublesome[1:]]
        if others:
            animals += f" The taller ones do so on more: {listed(others, most=len(others))}."
    else:
        animals = "No animal raises the alarm."
    low = found.crawling
    if low.area_m2 == 0:
        return f"{animals} A {low.figure.name} is held wherever a {found.upright.name} is."
    yard = found.crawling_protected_m2
    protected = f"{area_words(yard)} of it" if yard > 0 else "none of it"
    return (
        f"{animals} A {low.figure.name} passes on {area_words(low.area_m2)} that hold"
        f" a {found.upright.name}, {protected} protected."
    )


def _named(ground: FigureGround) -> str:
    return f"{ground.figure.name} ({length(ground.figure.height_m, 2)})"
