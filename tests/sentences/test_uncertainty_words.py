"""What the draws say: how firmly the options rank, and what was varied."""

import numpy as np
import pytest

from terrain3d.sentences.uncertainty import SOURCE_WORDS, error_size_words, ranking_words
from terrain3d.uncertainty.error_field import ErrorSizes, Source
from terrain3d.uncertainty.monte_carlo import OptionUncertainty, Uncertainty

SOME = ErrorSizes(0.08, 4.0, 0.03, 3.0, 1.0)


def test_the_ranking_is_told_with_its_rival():
    """The sentence names how often the best stays best, and who else is."""
    maps = np.zeros((1, 1), np.float32)
    options = tuple(
        OptionUncertainty(name, maps, np.ones(100), np.ones(100), share)
        for name, share in (("a", 0.1), ("b", 0.87), ("c", 0.03))
    )
    words = ranking_words(Uncertainty(options, SOME, 100, 0, ("b", "a", "c"), 0.6, 0.87))
    assert words == (
        '"b" stays the best option in 87% of 100 draws; "a" is best in 10%; '
        "all options keep their order in 60%."
    )


@pytest.mark.parametrize("source", Source)
def test_where_the_error_of_the_ground_is_from_is_said(source):
    """Stated or assumed, and of what it is assumed: each source has its own words in the sentence."""
    ground, _ = error_size_words(ErrorSizes(0.1, 5.0, 0.02, 2.5, 1.0, source))
    assert f"by 0.1 m ({SOURCE_WORDS[source]})" in ground
    assert len(set(SOURCE_WORDS.values())) == len(Source)
