"""What a section says: where the verdict changes, how high layers pass there, and what ends them."""

from terrain3d.cover.profile import (
    Beam,
    CutSolid,
    Profile,
    Run,
    held_m,
    masked_along,
    most_lost,
    over_ground,
    solid_met,
    stretches,
)
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.lengths import given, half_up, half_up_span, length
from terrain3d.sentences.heads import has_masks, masked_words
from terrain3d.sentences.verdicts import UNKNOWN_WORDS, VERDICT_WORDS, cause_name, cause_words, sense_words
from terrain3d.sight.hits import Hit
from terrain3d.wording import listed


def change_words(profile: Profile, at_m: float) -> list[str]:
    """What stands over a figure: its distance, and how high each layer passes there.

    The same layer of two heads is told once.
    """
    lines = [half_up(at_m)]
    for layer, beam in {beam.layer: beam for beam in profile.beams}.items():
        height = over_ground(profile, beam, at_m)
        if height is not None:
            lines.append(f"{layer} {length(height, 2)} up" if height > 0.005 else f"{layer} lands")
    return lines


def passing_words(layer: str, figure: Figure, from_m: float) -> str:
    """From where on a layer is over the figure's head."""
    return f"{layer} layer passes over the {figure.name} from {half_up(from_m)}"


def stretch_words(run: Run) -> str:
    return half_up_span(run.start_m, run.stop_m)


def end_words(profile: Profile) -> dict[str, list[Beam]]:
    """What ends layers before their range does, in words with the distance, and which layers those are."""
    met: dict[tuple[str, str], list[Beam]] = {}
    for beam in profile.beams:
        what = beam.hits[beam.axis]
        if what != Hit.NOTHING:
            thing = "" if what == Hit.GROUND else _solid_words(solid_met(profile, beam))
            met.setdefault((thing, half_up(float(beam.ends[beam.axis]))), []).append(beam)
    told = {}
    for (thing, at), beams in met.items():
        names = list(dict.fromkeys(beam.layer for beam in beams))
        several = len(names) > 1
        layers = f"{' and '.join(names)} {'layers' if several else 'layer'}"
        verb = (
            f"{'meet' if several else 'meets'} {thing}" if thing else f"{'land' if several else 'lands'} here"
        )
        told[f"{layers} {verb}, {at}"] = beams
    return told


def _solid_words(solid: CutSolid | None) -> str:
    """A solid by its name, where somebody gave it one."""
    return solid.name if solid is not None and solid.name and not solid.is_surveyed else "a solid"


def run_rows(profile: Profile) -> list[tuple[Run, str]]:
    """The stretches of the line within reach, each with its verdict and the causes in words."""
    rows, masks = [], has_masks((profile.unit,))
    for run, by_layer in stretches(profile):
        if run.code == UNKNOWN:
            rows.append((run, UNKNOWN_WORDS))
            continue
        causes: dict[str, list[str]] = {}
        for layer, cause in by_layer.items():
            causes.setdefault(cause_name(cause, masks), []).append(layer)
        told = [f"{' and '.join(layers)}: {cause}" for cause, layers in causes.items()]
        rows.append((run, "; ".join([VERDICT_WORDS[Verdict(run.code)], *told])))
    return rows


def section_sentence(profile: Profile) -> str:
    """What to take from a section."""
    reach = profile.unit.type.max_range
    text = f"Along this line both layers hold {half_up(held_m(profile))} of {given(reach)}"
    most = most_lost(profile)
    masked = masked_words(masked_along(profile.unit, profile.bearing_deg))
    also = f"; {masked}" if masked else ""
    if most is None:
        return f"{text}{also}."
    length, layer, cause = most
    does = cause_words(cause, has_masks((profile.unit,))).does
    return f"{text}; most is lost where the {sense_words(layer)} {does} ({half_up(length)}){also}."


def broken_words(unit: Detector) -> list[str]:
    """What a layer takes to be broken, and what its range setting does not do.

    >>> from terrain3d.detector.types import load_type
    >>> unit = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0, range_m=6)
    >>> for line in broken_words(unit):
    ...     print(line)
    A layer is broken where a figure in sight fills 50% of its height.
    The range setting of 6 m lowers the lower layer alone; the others look to 12 m.
    """
    heads = range(len(unit.type.head))
    every = [share for head in heads for share in unit.fills_of(head) or (unit.fill_needed,)]
    least, most = f"{min(every):.0%}", f"{max(every):.0%}"
    fills = least if least == most else f"{least} to {most}, as it is set,"
    words = [f"A layer is broken where a figure in sight fills {fills} of its height."]
    follows = dict.fromkeys(
        layer.name for head in unit.type.head for layer in head.layer if layer.elevation == "range"
    )
    ranges = sorted({unit.range_of(head) for head in heads})
    if follows and ranges[0] < unit.type.max_range:
        set_to = listed([given(one) for one in ranges])
        words.append(
            f"The range setting of {set_to} lowers the {listed(list(follows))} layer alone;"
            f" the others look to {given(unit.type.max_range)}."
        )
    return words
