"""What is written beside the views, as sections: the same for the window and for the page of a browser."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.option import OptionResult
from terrain3d.lengths import area_words
from terrain3d.ranking.compare import held_beside
from terrain3d.sentences import words
from terrain3d.sentences.heads import setting_lines
from terrain3d.sentences.options import loss_line
from terrain3d.sentences.walked import walked_briefly
from terrain3d.sentences.warnings import option_warnings
from terrain3d.show.blocks import Paragraph, Row, Section
from terrain3d.show.legend import (
    GAINED,
    HELD_BY_BOTH,
    LOST,
    PROTECTED,
    Stripe,
    layer_signs,
    masked_signs,
)
from terrain3d.show.live.findings import finding_sections, legend_sections, study_signs
from terrain3d.show.live.state import WindowState
from terrain3d.show.sections import protected_sections, warning_sections

Options = tuple[OptionResult, ...]


@dataclass(frozen=True)
class OptionHead:
    """What stands over the figures of an option; `is_otherwise` where it is set otherwise than studied."""

    name: str
    notes: tuple[str, ...]
    loss: str
    is_otherwise: bool


def options_shown(state: WindowState) -> Options:
    """The options in view, from left to right."""
    return tuple(state.outcome.options[index] for index in state.shown)


def sides_of(options: Options) -> tuple[str, ...]:
    """What stands over the figures of two options; nothing over those of one."""
    return ("left", "right") if len(options) > 1 else ()


def option_heads(state: WindowState) -> tuple[OptionHead, ...]:
    """The head of each option in view."""
    return tuple(_head(state, option) for option in options_shown(state))


def column_sections(state: WindowState) -> list[Section]:
    """All that a column says under the heads of its options, where it may be as long as it likes."""
    options = options_shown(state)
    sides = sides_of(options)
    return [
        *legend_sections(state, options, sides),
        *protected_sections(options, sides),
        *head_sections(state),
        *warning_sections(warnings_shown(state, options)),
        *finding_sections(state, options, sides),
    ]


def beside_sections(state: WindowState) -> list[Section]:
    """Of two options in view: ground that both hold, and that one of them alone does; none of one."""
    options = options_shown(state)
    if len(options) < 2:
        return []
    left, right = options
    terrain = state.outcome.terrain
    cell_m2 = terrain.ground.cell_m**2
    told = held_beside(right, left)
    signs = (
        HELD_BY_BOTH,
        replace(GAINED, text="held by the right alone"),
        # On a screen its colour tells it.
        replace(LOST, text="held by the left alone", stripe=Stripe()),
    )

    def rows(counted: NDArray[np.bool_] | bool) -> tuple[Row, ...]:
        return tuple(
            Row(sign.text, (area_words(float((where & counted).sum()) * cell_m2),), sign)
            for sign, where in zip(signs, told, strict=True)
        )

    protected = protected_weight(terrain.ground, terrain.protect) > 0
    own = [Section("Of that protected", rows(protected))] if protected.any() else []
    return [Section("Gained and lost, left to right", rows(True)), *own]


def sign_section(state: WindowState, options: Options) -> Section:
    """What the bodies and lines in the views are."""
    units = [unit for option in options for unit in option.detectors]
    signs = [*layer_signs(units), *masked_signs(units, is_scene=True)]
    if state.outcome.terrain.protect:
        signs.append(PROTECTED)
    rows = [Row(sign.text, sign=sign) for sign in [*signs, *study_signs(state, options)]]
    return Section("In the view", tuple(rows))


def head_sections(state: WindowState) -> list[Section]:
    """What is set by name or head by head of the chosen unit; none where nothing is."""
    lines = tuple(Paragraph(line, 2) for line in setting_lines(state.unit))
    return [Section(f"{state.unit.name}, head by head", lines)] if lines else []


def warnings_shown(state: WindowState, options: Options) -> list[str]:
    """The warnings of the options in view, each once; what is not of all of them with its side."""
    common = set.intersection(*(set(option_warnings(option, state.outcome.terrain)) for option in options))
    found = [
        warning if warning in common else side + warning
        for option, side in zip(options, ("Left: ", "Right: ") if len(options) > 1 else ("",), strict=True)
        for warning in option_warnings(option, state.outcome.terrain)
    ]
    return list(dict.fromkeys(found))


def _head(state: WindowState, option: OptionResult) -> OptionHead:
    place = words.place_in_ranking(state.outcome, option)
    notes = [f"{place} in the ranking"] if place else []
    if option.name in state.unsaved:
        notes.append("not saved")
    tested = state.outcome.site.walk_tested(option.name)
    if tested is not None:
        notes.append(walked_briefly(tested))
    is_otherwise = state.study is not None and state.studied(option) is None
    return OptionHead(option.name, tuple(notes), loss_line(state.outcome, option), is_otherwise)
