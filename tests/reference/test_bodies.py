"""Heights of figures against published body measurements.

People: ANSUR II (2012 US Army survey, NATICK/TR-15/007), percentiles recomputed from its public files.
Animals: shoulder heights from the compilations named beside each range; those from memory say so.
"""

import pytest

from terrain3d.detector.figures import TALLEST_M, find_figure, known_figures

#: Stature p5, p50, p95 in metres.
MEN = (1.648, 1.755, 1.870)
WOMEN = (1.525, 1.626, 1.740)


def test_person_stands_between_the_medians():
    """An upright person is no taller than a median man and no shorter than a median woman."""
    assert WOMEN[1] <= find_figure("person").height_m <= MEN[1]


def test_person_is_a_walk_test_target():
    """An upright person lies within 1.60 to 1.85 m, a walk tester's height (from memory, unverified)."""
    assert 1.60 <= find_figure("person").height_m <= 1.85


def test_short_person_is_the_fifth_percentile_of_women():
    """The short person is ANSUR II's 5th percentile of women, to the centimetre, rounded down."""
    assert find_figure("short person").height_m == pytest.approx(WOMEN[0], abs=0.0051)


def test_crawling_person_is_bounded_by_thigh_length():
    """On hands and knees the back is little over buttock-knee length: 0.541 to 0.669 m (ANSUR)."""
    assert 0.541 < find_figure("person crawling").height_m < 0.669 + 0.11


def test_a_crouching_person_is_shorter_than_a_standing_one_and_taller_than_a_crawling_one():
    """Postures keep their order."""
    crawl, crouch, stand = (
        find_figure(n).height_m for n in ("person crawling", "person crouching", "person")
    )
    assert crawl < crouch < stand


@pytest.mark.parametrize(
    ("name", "low_m", "high_m"),
    [
        ("cat", 0.23, 0.30),  # from memory, unverified
        ("badger", 0.32, 0.44),  # the larger of two compilations that disagree
        ("fox", 0.35, 0.50),  # from memory, unverified
        ("dog", 0.51, 0.66),  # general pet page: labrador 51-58, german shepherd dog 56-66
        ("sheep", 0.60, 0.80),  # from memory, unverified
        ("roe deer", 0.63, 0.67),  # restated encyclopaedia text
        ("deer", 0.85, 0.95),  # fallow buck, two restatements
        ("red deer", 1.07, 1.37),  # photo guide restating deer-society figures
    ],
)
def test_animals_are_as_tall_as_their_source_says(name, low_m, high_m):
    """Shoulder heights lie within the published range."""
    assert low_m <= find_figure(name).height_m <= high_m


def test_every_figure_has_a_source_and_fits_the_view():
    """No figure is taller than the height views are computed to."""
    for figure in known_figures():
        assert len(figure.source) > 10
        assert figure.height_m < TALLEST_M
