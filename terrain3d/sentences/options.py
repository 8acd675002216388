"""What one option holds, and where most of the rest is lost."""

from terrain3d.cover.causes import ELSEWHERE
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import VERDICT_KEYS
from terrain3d.job import Outcome
from terrain3d.ranking.compare import held_share
from terrain3d.sentences.verdicts import CAUSES, VERDICT_WORDS
from terrain3d.sentences.why import why
from terrain3d.sentences.words import square_metres

#: What a map of causes leaves out.
IN_REACH = "Beyond the range and outside the arcs no cause is counted."
#: Ground too small to be worth a word, m2.
TRIFLE_M2 = 0.5


def one_line(outcome: Outcome, option: OptionResult) -> str:
    """The sentence under a picture: what the option holds and its main loss; why the best is best."""
    text = loss_line(outcome, option)
    if len(outcome.ranking) > 1 and option.name == outcome.ranking[0]:
        return f"{text} {why(outcome)}"
    return text


def loss_line(outcome: Outcome, option: OptionResult) -> str:
    """What the option holds and where most of the rest is lost."""
    return f"{_held(option)}{_main_loss(outcome, option)}."


def most_lost(option: OptionResult) -> str:
    """The layer and cause that take most, for a row."""
    losses = [loss for loss in _losses(option) if loss[0] >= TRIFLE_M2]
    if not losses:
        return "nothing"
    m2, layer, cause = max(losses)
    return f"{cause} ({m2:.1f} m2)" if cause in ELSEWHERE else f"{layer} layer {cause} ({m2:.1f} m2)"


def area_lines(option: OptionResult) -> list[str]:
    """Its areas, what it holds of each protected area, and what costs each layer most."""
    lines = [
        ", ".join(f"{words} {option.area_m2[VERDICT_KEYS[v]]:.1f} m2" for v, words in VERDICT_WORDS.items())
    ]
    for area in option.protect:
        held = f"{area.both_fraction:.0%} of {area.area_m2:.1f} m2 held with both layers"
        lines.append(f"{area.name}: {held}" if area.area_m2 else f"{area.name}: smaller than a cell")
    for layer, causes in option.causes.items():
        inside = {cause: m2 for cause, m2 in causes.items() if cause not in ELSEWHERE}
        lines.append(f"{layer} layer, within arc and range, lost to: {_listed(inside)}")
    if option.protect:
        for layer, causes in option.lost_m2.items():
            lines.append(f"{layer} layer, on protected ground not held, lost to: {_listed(causes)}")
    return lines


def cause_line(layer: str, reach_m2: float, broken_m2: float, lost: tuple[str, float] | None) -> str:
    """What becomes of a layer on ground in its reach: where it is broken, and what takes most of the rest.

    >>> cause_line("lower", 30.0, 1.0, ("lands short", 20.0))
    'Of 30 m² in its reach the lower layer is broken on 1.0 m²; most is lost where it lands short (20 m²).'
    """
    whole, broken = square_metres(reach_m2), square_metres(broken_m2)
    text = f"Of {whole} in its reach the {layer} layer is broken on {broken}"
    if lost is None:
        return f"{text}; nothing takes it there."
    return f"{text}; most is lost where it {CAUSES[lost[0]].does} ({square_metres(lost[1])})."


def _held(option: OptionResult) -> str:
    share = held_share(option)
    if share is None:
        return f"Holds {square_metres(option.area_m2.get('both', 0.0))} with both layers"
    amount = "none" if share == 0 else "all" if share == 1 else f"{share:.0%}"
    return f"Holds {amount} of the protected ground with both layers"


def _main_loss(outcome: Outcome, option: OptionResult) -> str:
    """The layer and cause that take most."""
    losses = _losses(option)
    if not losses:
        return ""
    area, layer, cause = max(losses, key=lambda loss: loss[0])
    if area < TRIFLE_M2:
        return ""
    lead = "most is lost" if option.protect else "of the rest in its reach most is lost"
    where = CAUSES[cause].where.format(layer=layer, figure=outcome.figure.name)
    return f"; {lead} {where} ({square_metres(area)})"


def _losses(option: OptionResult) -> list[tuple[float, str, str]]:
    """Square metres by layer and cause: of protected ground, or else of ground within arc and range."""
    return [
        (m2, layer, cause)
        for layer, causes in (option.lost_m2 if option.protect else option.causes).items()
        for cause, m2 in causes.items()
        if option.protect or cause not in ELSEWHERE
    ]


def _listed(causes: dict[str, float]) -> str:
    """Causes and their areas, largest first."""
    ordered = sorted(((m2, cause) for cause, m2 in causes.items()), reverse=True)
    return ", ".join(f"{cause} {m2:.1f} m2" for m2, cause in ordered) or "nothing"
