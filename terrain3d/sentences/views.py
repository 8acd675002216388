"""What is seen of units from where people stand: how far they are, and what hides them."""

from terrain3d.lengths import half_up
from terrain3d.sentences.words import tilt_words
from terrain3d.sight.hits import Hit
from terrain3d.walk.viewpoints import SeenUnit, Viewpoint
from terrain3d.wording import listed

#: Leaves that let less than this through are told to be before a unit.
_CLEAR = 0.98


def place_words(point: Viewpoint) -> str:
    """Where somebody stands.

    >>> place_words(Viewpoint("the lane", "middle", (0, 0, 0)))
    'the middle of "the lane"'
    """
    return f'the {point.where} of "{point.name}"' if point.where else f'"{point.name}"'


def view_words(points: tuple[Viewpoint, ...]) -> str:
    """What the pictures of some places are.

    >>> view_words((Viewpoint("path", "start", (0, 0, 0)), Viewpoint("path", "end", (0, 0, 0))))
    'what is seen from "path"'
    """
    names = dict.fromkeys(point.name for point in points)
    if len(names) == 1:
        return f'what is seen from "{next(iter(names))}"'
    return f"what is seen from {'ways in' if points[0].where else 'marks'}"


def heading_words(point: Viewpoint, is_named: bool) -> str:
    """Over what is told of one place; `is_named` where the page already names the line."""
    return f"From its {point.where}" if is_named and point.where else f"From {place_words(point)}"


def seen_words(seen: SeenUnit, solids: tuple[str, ...], surveyed: frozenset[int] = frozenset()) -> str:
    """Where a unit is, and whether it is in sight; `surveyed` are solids whose names are but numbers.

    >>> seen = SeenUnit("D1", 6.04, 90.0, 3.21, Hit.SOLID, 0, 1.0)
    >>> seen_words(seen, ("garden wall",))
    '6.0 m away at 90°, 3.2° up: hidden by "garden wall"'
    """
    towards = f"at {round(seen.bearing_deg) % 360}°, {tilt_words(seen.elevation_deg)}"
    return f"{half_up(seen.distance_m)} away {towards}: {_hidden(seen, solids, surveyed)}"


def _hidden(seen: SeenUnit, solids: tuple[str, ...], surveyed: frozenset[int]) -> str:
    if seen.met == Hit.GROUND:
        return "hidden by the ground"
    if seen.met == Hit.SOLID:
        return "hidden by a solid" if seen.solid in surveyed else f'hidden by "{solids[seen.solid]}"'
    if seen.through < _CLEAR:
        return f"behind leaves that let {seen.through:.0%} through"
    return "in sight"


def views_sentence(points: tuple[Viewpoint, ...], seen: tuple[tuple[SeenUnit, ...], ...]) -> str:
    """From where each unit is hidden by no ground and no solid; what leaves hide is told at each place."""
    leaves = "Leaves are looked through; what they dim is told with each picture."
    if len(points) == 1:
        in_sight = [one.unit for one in seen[0] if one.is_in_sight]
        return f"From {place_words(points[0])} a person sees {listed(in_sight) or 'no unit'}. {leaves}"
    is_one = len({point.name for point in points}) == 1 and bool(points[0].where)
    told = []
    for units in zip(*seen, strict=True):
        there = [point for point, one in zip(points, units, strict=True) if one.is_in_sight]
        places = [f"the {point.where}" if is_one else place_words(point) for point in there]
        told.append(f"{units[0].unit} from {listed(places)}" if places else f"{units[0].unit} from nowhere")
    who = f'On "{points[0].name}" a person' if is_one else "A person"
    return f"{who} sees {'; '.join(told)}. {leaves}"
