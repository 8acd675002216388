"""Colours that colour-blind people tell apart and that stay ordered in grey print."""

from itertools import combinations, pairwise

import numpy as np
import pytest

from terrain3d import palette
from terrain3d.cover.causes import CAUSE_KEYS, ELSEWHERE
from terrain3d.cover.layer_outcomes import MOVES_ACROSS, NOT_REACHED
from terrain3d.cover.verdict import Verdict
from terrain3d.sentences.verdicts import CAUSES
from terrain3d.show.legend import layer_sign

# Machado, Oliveira and Fernandes 2009, "A physiologically-based model for simulation of color vision
# deficiency", doi 10.1109/TVCG.2009.113, severity 1.0, for linear RGB; the values agree with those of
# the package colorspacious 1.1.2.
SIGHT = {
    "normal": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.01182, 0.04294, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]]
    ),
}
# Linear sRGB to CIE XYZ, white D65 (IEC 61966-2-1, from memory).
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
BEST_TO_WORST = (Verdict.OUTSIDE, Verdict.BOTH, Verdict.UPPER_ONLY, Verdict.LOWER_ONLY, Verdict.DEAD)


def lab(colour: str, sight: np.ndarray) -> np.ndarray:
    """CIELAB 1976 of a colour as someone sees it."""
    value = palette.rgb(colour) / 255
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    xyz = TO_XYZ @ np.clip(sight @ linear, 0, 1) / TO_XYZ.sum(axis=1)
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_lab_of_known_colours():
    """The check itself is right: white and pure red of sRGB (Lab 53.24, 80.09, 67.20, from memory)."""
    assert lab("#ffffff", SIGHT["normal"]) == pytest.approx([100, 0, 0], abs=0.01)
    assert lab("#ff0000", SIGHT["normal"]) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)


@pytest.mark.parametrize("sight", SIGHT)
def test_any_two_verdicts_are_told_apart(sight):
    """Under every kind of sight two verdict colours lie at least 30 apart in CIELAB; 2.3 is just seen."""
    colours = {v: lab(colour, SIGHT[sight]) for v, colour in palette.VERDICT_COLOURS.items()}
    distances = {
        (a.name, b.name): np.linalg.norm(colours[a] - colours[b]) for a, b in combinations(colours, 2)
    }
    assert min(distances.values()) > 30, distances


@pytest.mark.parametrize("sight", SIGHT)
def test_the_lines_of_ways_are_told_apart(sight):
    """A much shorter way is told from the least likely one, from ink and from any ground, as verdicts are."""
    others = [palette.FIGURE, palette.INK, palette.PAPER, *palette.VERDICT_COLOURS.values()]
    own = lab(palette.MUCH_SHORTER, SIGHT[sight])
    assert min(np.linalg.norm(own - lab(colour, SIGHT[sight])) for colour in others) > 29


_OF_MICROWAVE = (NOT_REACHED, MOVES_ACROSS)
_OF_LAYERS = tuple(
    code for code, key in CAUSE_KEYS.items() if key not in ELSEWHERE and code not in _OF_MICROWAVE
)


@pytest.mark.parametrize("sight", SIGHT)
def test_any_two_causes_are_told_apart(sight):
    """As verdicts are, also from bare ground and from ground that a layer is broken on."""
    ground = [
        palette.VERDICT_COLOURS[Verdict.OUTSIDE],
        *(layer_sign(name).on_paper for name in ("upper", "lower")),
    ]
    causes = [lab(palette.CAUSES[CAUSE_KEYS[code]], SIGHT[sight]) for code in (*_OF_LAYERS, *_OF_MICROWAVE)]
    of_layers = causes[: len(_OF_LAYERS)]
    assert min(np.linalg.norm(a - b) for a, b in combinations(of_layers, 2)) > 30
    assert min(np.linalg.norm(a - lab(colour, SIGHT[sight])) for a in of_layers for colour in ground) > 30
    # Those of the microwave lie on pages and strips of its own, beside what it reaches or senses.
    own = [
        *causes[len(_OF_LAYERS) :],
        lab(palette.VERDICT_COLOURS[Verdict.OUTSIDE], SIGHT[sight]),
        lab(layer_sign("microwave").on_paper, SIGHT[sight]),
    ]
    assert min(np.linalg.norm(a - b) for a, b in combinations(own, 2)) > 30
    sensed = lab(palette.layer_colour("microwave"), SIGHT[sight])
    assert min(np.linalg.norm(sensed - other) for other in own[:3]) > 30
    assert min(np.linalg.norm(a - b) for a, b in combinations(causes, 2)) > 20


def test_every_cause_in_reach_has_a_colour_and_words():
    """A cause that is added to `cover.causes` gets its colour and its words before it is drawn or told."""
    in_reach = set(CAUSE_KEYS.values()) - set(ELSEWHERE)
    assert in_reach == set(palette.CAUSES), "palette.CAUSES has no colour for a cause, or one too many"
    assert set(CAUSE_KEYS.values()) == set(CAUSES), "sentences.verdicts.CAUSES has no words for a cause"


def test_verdicts_stay_ordered_in_grey():
    """Grey print keeps the order from nearly paper through good to bad, in clear steps of lightness."""
    lightness = [lab(palette.VERDICT_COLOURS[v], SIGHT["normal"])[0] for v in BEST_TO_WORST]
    assert lightness[0] > 92
    assert all(lighter - darker > 12 for lighter, darker in pairwise(lightness))


def test_names_can_be_read_on_paper():
    """Ink on paper has at least the contrast 4.5 of WCAG 2 (ratio of relative luminances + 0.05)."""
    for ink in (palette.INK, palette.QUIET_INK):
        value = palette.rgb(ink) / 255
        linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
        assert 1.05 / (TO_XYZ[1] @ linear + 0.05) > 4.5
