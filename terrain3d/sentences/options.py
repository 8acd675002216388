"""What one option holds, and where most of the rest is lost."""

from terrain3d.cover.causes import ELSEWHERE
from terrain3d.cover.option import OptionResult, ProtectedResult
from terrain3d.cover.verdict import VERDICT_KEYS
from terrain3d.detector.types import MICROWAVE
from terrain3d.job import Outcome
from terrain3d.lengths import area_words, plain_area
from terrain3d.ranking.compare import hanging_m2, hanging_share, held_m2, held_share, worst_scenario
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.verdicts import VERDICT_WORDS, cause_name, cause_words, sense_words
from terrain3d.sentences.why import why
from terrain3d.wording import counted, listed

#: What a map of causes leaves out.
IN_REACH = "Beyond the range and outside the arcs no cause is counted."
IN_REACH_MASKED = "Beyond the range, outside the arcs and where they are masked no cause is counted."
#: Ground too small to be worth a word, m2.
TRIFLE_M2 = 0.5
#: Protected areas that a line tells of one by one, those that lose most; every one is in the list beside it.
_MOST_AREAS = 3


def one_line(outcome: Outcome, option: OptionResult) -> str:
    """The sentence under a picture: what the option holds and its main loss; why the best is best."""
    if len(outcome.ranking) < 2 or option.name != outcome.ranking[0]:
        return loss_line(outcome, option)
    # What it holds of all is said by the reason.
    lines = _area_lines(option) if option.protect else [loss_line(outcome, option)]
    return " ".join([*lines, why(outcome)])


def brief_reason(outcome: Outcome, option: OptionResult) -> str:
    """The same without its areas, where a page tells of them beside its picture."""
    is_best = len(outcome.ranking) > 1 and option.name == outcome.ranking[0]
    return why(outcome) if is_best else f"{_held(option)}{_main_loss(outcome, option)}."


def loss_line(outcome: Outcome, option: OptionResult) -> str:
    """What the option holds, and a sentence for each protected area: what keeps the rest from being held."""
    if not option.protect:
        return f"{_held(option)}{_main_loss(outcome, option)}."
    if len(option.protect) == 1:
        return protected_words(option.protect[0], has_masks(option.detectors))
    return " ".join([f"{_held(option)}.", *_area_lines(option)])


def _area_lines(option: OptionResult) -> list[str]:
    """A sentence for each of the protected areas that lose most."""
    masks, areas = has_masks(option.detectors), wanting(option)
    told = [protected_words(area, masks) for area in areas[:_MOST_AREAS]]
    more = len(areas) - _MOST_AREAS
    return [*told, f"Of {counted(more, 'more area')} less is missing."] if more > 0 else told


def wanting(option: OptionResult) -> list[ProtectedResult]:
    """The protected areas that are not held whole, those that lose most first."""
    return sorted(
        (area for area in option.protect if area.both_fraction < 1),
        key=lambda area: -area.area_m2 * (1 - area.both_fraction),
    )


def against_line(option: OptionResult, best: OptionResult, gained_m2: float, lost_m2: float) -> str:
    """What an option holds that the best does not, and the other way round."""
    gained = f"holds {area_words(gained_m2)} with both layers that the best does not"
    lost = f"leaves {area_words(lost_m2)} that the best holds"
    if max(gained_m2, lost_m2) < TRIFLE_M2:
        return f'"{option.name}" holds the same ground as "{best.name}".'
    return (
        f'"{option.name}" {gained}, and {lost}; of the protected ground it holds'
        f' {held_words(option)}, "{best.name}" {held_words(best)}.'
        if option.protect
        else f'"{option.name}" {gained}, and {lost}.'
    )


def brief_line(outcome: Outcome, option: OptionResult) -> str:
    """What the option holds, and what keeps most of the rest of all protected ground from being held."""
    if not option.protect:
        return loss_line(outcome, option)
    lost = _lost_by_kind(option.protect, has_masks(option.detectors))
    if not lost or lost[0][0] < TRIFLE_M2:
        return f"{_held(option)}."
    m2, what = lost[0]
    return f"{_held(option)}; most of the rest is {what} ({area_words(m2)})."


def most_lost(option: OptionResult) -> str:
    """What takes most of what is not held, for a row."""
    if option.protect:
        found = _lost_by_kind(option.protect, has_masks(option.detectors))
        return (
            f"{found[0][1]} ({plain_area(found[0][0])})" if found and found[0][0] >= TRIFLE_M2 else "nothing"
        )
    losses = [loss for loss in _losses(option) if loss[0] >= TRIFLE_M2]
    if not losses:
        return "nothing"
    m2, layer, cause = max(losses)
    return (
        f"{cause} ({plain_area(m2)})" if layer == MICROWAVE else f"{layer} layer {cause} ({plain_area(m2)})"
    )


def area_lines(option: OptionResult) -> list[str]:
    """Its areas, what it holds of each protected area, and what costs each layer most."""
    lines = [
        ", ".join(
            f"{words} {plain_area(option.area_m2[VERDICT_KEYS[v]])}" for v, words in VERDICT_WORDS.items()
        )
    ]
    masks = has_masks(option.detectors)
    lines += [protected_words(area, masks) for area in option.protect]
    for layer, causes in option.causes.items():
        inside = {cause: m2 for cause, m2 in causes.items() if cause not in ELSEWHERE}
        lines.append(f"{sense_words(layer)}, within arc and range, lost to: {_listed(inside)}")
    if option.protect:
        for layer, causes in option.lost_m2.items():
            told = _listed(causes, masks)
            lines.append(f"{sense_words(layer)}, on protected ground not held, lost to: {told}")
    if option.hangs_on_leaves_m2 >= TRIFLE_M2:
        lines.append(leaves_words(option))
    lines += scenario_lines(option)
    return lines


def leaves_words(option: OptionResult) -> str:
    """How much ground hangs on leaves; empty where it is a trifle."""
    if hanging_m2(option) < TRIFLE_M2 and option.hangs_on_leaves_m2 < TRIFLE_M2:
        return ""
    share = hanging_share(option)
    protected = "" if share is None else f", {share:.0%} of the protected ground"
    return (
        f"On {area_words(option.hangs_on_leaves_m2)}{protected}, the verdict hangs on leaves:"
        " it is another when they are off."
    )


def scenario_lines(option: OptionResult) -> list[str]:
    """What an option holds under each scenario."""
    return [
        f'with "{one.name}" it holds {held_words(one.option)}, on the site as it is {held_words(option)}'
        for one in option.scenarios
    ]


def worst_words(option: OptionResult) -> str:
    """The least that it holds, as the site is or under a scenario, then named; empty without scenarios."""
    worst = worst_scenario(option)
    if worst is None:
        return ""
    if held_m2(worst.option) < held_m2(option) - 1e-6:
        return f"{held_words(worst.option)} ({worst.name})"
    return held_words(option)


def held_words(option: OptionResult) -> str:
    """What an option holds: a share of the protected ground, or square metres where none is protected."""
    share = held_share(option)
    return area_words(held_m2(option)) if share is None else f"{share:.0%}"


def protected_words(area: ProtectedResult, has_masks: bool = False) -> str:
    """What an option holds of a protected area and what keeps it from the rest, in one sentence.

    Causes of one kind stand together, things with names by their names, most first; `has_masks` tells whether
    anything is masked of the option's units.

    >>> from terrain3d.cover.causes import Loss
    >>> lost = Loss("hidden by a solid", "shed", 6.0), Loss("lands short", None, 9.0)
    >>> lost += (Loss("hidden by a solid", "wall", 2.0),)
    >>> words = protected_words(ProtectedResult("yard", 40.0, 0.5, 1.0, unknown_m2=3.0, lost_to=lost))
    >>> for part in words.split("; "):
    ...     print(part)
    Both layers hold 50% of "yard" (40 m²)
    not held: 9.0 m² past where a layer lands, 8.0 m² behind "shed" and "wall", 3.0 m² not known.
    """
    if not area.area_m2:
        return f'"{area.name}" is smaller than a cell.'
    held = f'Both layers hold {area.both_fraction:.0%} of "{area.name}" ({area_words(area.area_m2)})'
    lost = not_held_words(area, has_masks)
    return f"{held}; {lost}." if lost else f"{held}."


def not_held_words(area: ProtectedResult, has_masks: bool = False) -> str:
    """What keeps the rest of a protected area from being held; empty where that is a trifle."""
    told = [
        f"{area_words(m2)} {what}"
        for m2, what in [*_lost_by_kind((area,), has_masks), (area.unknown_m2, "not known")]
        if m2 >= TRIFLE_M2
    ]
    return f"not held: {', '.join(told)}" if told else ""


def _lost_by_kind(areas: tuple[ProtectedResult, ...], has_masks: bool) -> list[tuple[float, str]]:
    """Square metres not held and what takes them: causes of one kind together, with names; most first."""
    together: dict[str, dict[str, float]] = {}
    for loss in (loss for area in areas for loss in area.lost_to):
        by_name = together.setdefault(loss.cause, {})
        by_name[loss.name or ""] = by_name.get(loss.name or "", 0.0) + loss.area_m2
    found = []
    for cause, by_name in together.items():
        most_first = sorted((name for name in by_name if name), key=lambda name: (-by_name[name], name))
        names = [f'"{name}"' for name in most_first]
        found.append(
            (sum(by_name.values()), f"{cause_words(cause, has_masks).lost} {listed(names)}".rstrip())
        )
    return sorted(found, key=lambda item: -item[0])


def cause_line(layer: str, reach_m2: float, broken_m2: float, lost: tuple[str, float] | None) -> str:
    """What becomes of a layer on ground in its reach: where it is broken, and what takes most of the rest.

    >>> cause_line("lower", 30.0, 1.0, ("lands short", 20.0))
    'Of 30 m² in its reach the lower layer is broken on 1.0 m²; most is lost where it lands short (20 m²).'
    """
    whole, broken = area_words(reach_m2), area_words(broken_m2)
    does = "reaches a figure on" if layer == MICROWAVE else "is broken on"
    text = f"Of {whole} in its reach the {sense_words(layer)} {does} {broken}"
    if lost is None:
        return f"{text}; nothing takes it there."
    return f"{text}; most is lost where it {cause_words(lost[0]).does} ({area_words(lost[1])})."


def _held(option: OptionResult) -> str:
    share = held_share(option)
    if share is None:
        return f"Holds {area_words(option.area_m2.get('both', 0.0))} with both layers"
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
    where = cause_words(cause).where.format(layer=layer, figure=outcome.figure.name)
    return f"; of the rest in its reach most is lost {where} ({area_words(area)})"


def _losses(option: OptionResult) -> list[tuple[float, str, str]]:
    """Square metres of ground within arc and range, by layer and cause."""
    return [
        (m2, layer, cause)
        for layer, causes in option.causes.items()
        for cause, m2 in causes.items()
        if cause not in ELSEWHERE
    ]


def _listed(causes: dict[str, float], has_masks: bool = False) -> str:
    """Causes and their areas, largest first."""
    ordered = sorted(((m2, cause) for cause, m2 in causes.items()), reverse=True)
    return ", ".join(f"{cause_name(cause, has_masks)} {plain_area(m2)}" for m2, cause in ordered) or "nothing"
