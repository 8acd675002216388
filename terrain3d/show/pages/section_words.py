"""What a section says: where the verdict changes, how high layers pass there, and what ends them."""

import math
from itertools import pairwise

import numpy as np

from terrain3d.cover.causes import CAUSE_WORDS
from terrain3d.cover.layer_outcomes import PASSES_ABOVE
from terrain3d.cover.profile import Beam, Profile, Run
from terrain3d.cover.verdict import UNKNOWN, VERDICT_WORDS, Verdict
from terrain3d.show import words
from terrain3d.sight.hits import Hit
from terrain3d.units import Floats

#: Stretches shorter than this get no figure and no row, metres.
SHORT_RUN_M = 0.2


def metres(value_m: float) -> str:
    """A distance to a decimetre; halves go up, whatever their last binary digit.

    >>> metres(8.45), metres(8.449), metres(0.04)
    ('8.5 m', '8.4 m', '0.0 m')
    """
    return f"{math.floor(value_m * 10 + 0.5 + 1e-6) / 10:.1f} m"


def long_runs(profile: Profile) -> list[Run]:
    """The line cut where its verdict changes; a stretch too short to stand on goes to its neighbours."""
    # A layer's own end is known exactly, a change of verdict to a step of the line.
    ends = np.array([beam.ends[beam.axis] for beam in profile.beams])
    step = float(profile.along[1] - profile.along[0])
    runs: list[Run] = []
    for run in profile.runs():
        if run.stop_m - run.start_m < SHORT_RUN_M:
            continue
        if runs and runs[-1].code == run.code:
            runs[-1] = Run(runs[-1].start_m, run.stop_m, run.code)
        elif runs:
            middle = (runs[-1].stop_m + run.start_m) / 2
            near = ends[np.abs(ends - middle) <= step]
            middle = float(near[0]) if len(near) else middle
            runs[-1] = Run(runs[-1].start_m, middle, runs[-1].code)
            runs.append(Run(middle, run.stop_m, run.code))
        else:
            runs.append(run)
    return runs


def changes(profile: Profile) -> list[float]:
    """Distances at which the verdict changes on known ground, metres; the unit's own foot left out."""
    return [
        after.start_m
        for before, after in pairwise(long_runs(profile))
        if after.start_m > 0.5 and UNKNOWN not in (before.code, after.code)
    ]


def ground_at(profile: Profile, at_m: float) -> float:
    """Height of the ground at a distance; NaN where not known."""
    return float(np.interp(at_m, profile.along, profile.ground))


def over_ground(profile: Profile, beam: Beam, at_m: float) -> float | None:
    """How high the axis of a layer passes over the ground at a distance; None past its end."""
    height = profile.eye_z + float(beam.slopes[beam.axis]) * at_m - ground_at(profile, at_m)
    return height if at_m <= beam.ends[beam.axis] + 1e-9 and math.isfinite(height) else None


def change_words(profile: Profile, at_m: float) -> list[str]:
    """What stands over a figure: its distance, and how high each layer passes there.

    The same layer of two heads is told once.
    """
    lines = [metres(at_m)]
    for layer, beam in {beam.layer: beam for beam in profile.beams}.items():
        height = over_ground(profile, beam, at_m)
        if height is not None:
            lines.append(f"{layer} {height:.2f} m up" if height > 0.005 else f"{layer} lands")
    return lines


def end_words(profile: Profile) -> dict[str, list[Beam]]:
    """What ends layers before their range does, in words with the distance, and which layers those are."""
    met: dict[tuple[str, str], list[Beam]] = {}
    for beam in profile.beams:
        what = beam.hits[beam.axis]
        if what != Hit.NOTHING:
            thing = "" if what == Hit.GROUND else _solid_at(profile, beam)
            met.setdefault((thing, metres(float(beam.ends[beam.axis]))), []).append(beam)
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


def _solid_at(profile: Profile, beam: Beam) -> str:
    end = float(beam.ends[beam.axis])
    point = np.array([end, profile.eye_z + beam.slopes[beam.axis] * end])
    near = [
        (float(np.hypot(*(_along_edges(piece) - point).T).min()), solid.name)
        for solid in profile.solids
        for piece in solid.pieces
    ]
    name = min(near)[1] if near else ""
    return "a solid" if not name or name.startswith("surveyed solid") else name


def _along_edges(outline: Floats) -> Floats:
    """Points along an outline, close enough to tell which one a layer meets."""
    share = np.linspace(0, 1, 40)[:, None, None]
    return ((1 - share) * outline[:-1] + share * outline[1:]).reshape(-1, 2)


def passing_from(profile: Profile, layer: str) -> float | None:
    """Distance from which a layer passes over the figure's head; None where it never does."""
    over = np.flatnonzero(profile.layer_outcomes[layer] == PASSES_ABOVE)
    step = float(profile.along[1] - profile.along[0])
    return float(profile.along[over[0]]) - step / 2 if len(over) else None


def run_rows(profile: Profile) -> list[tuple[Run, str]]:
    """The stretches of the line within reach, each with its verdict and the causes in words."""
    rows = []
    for run in long_runs(profile):
        if run.code == Verdict.OUTSIDE or run.stop_m <= 0:
            continue
        if run.code == UNKNOWN:
            rows.append((run, "ground not known"))
            continue
        here = (profile.along >= run.start_m) & (profile.along <= run.stop_m)
        causes: dict[str, list[str]] = {}
        for layer, outcomes in profile.layer_outcomes.items():
            codes, counts = np.unique(outcomes[here], return_counts=True)
            outcome_code = int(codes[counts.argmax()])
            if outcome_code in CAUSE_WORDS and run.code != Verdict.BOTH:
                causes.setdefault(CAUSE_WORDS[outcome_code], []).append(layer)
        told = [f"{' and '.join(layers)}: {cause}" for cause, layers in causes.items()]
        rows.append((run, "; ".join([VERDICT_WORDS[Verdict(run.code)], *told])))
    return rows


def section_sentence(profile: Profile) -> str:
    """What to take from a section."""
    step = float(profile.along[1] - profile.along[0])
    reach = profile.unit.type.max_range
    both = [run for run in long_runs(profile) if run.code == Verdict.BOTH]
    held = sum(run.stop_m - max(run.start_m, 0.0) for run in both)
    text = f"Along this line both layers hold {metres(held)} of {reach:g} m"
    losses = []
    for layer, outcomes in profile.layer_outcomes.items():
        for code, cause in CAUSE_WORDS.items():
            lost = (profile.codes != Verdict.BOTH) & (profile.codes != UNKNOWN) & (outcomes == code)
            lost &= (profile.along > 0) & (profile.along <= reach)
            losses.append((float(lost.sum()) * step, layer, cause))
    length, layer, cause = max(losses, key=lambda loss: loss[0])
    if length < SHORT_RUN_M:
        return f"{text}."
    return f"{text}; most is lost where the {layer} layer {words.cause_clause(cause)} ({metres(length)})."
