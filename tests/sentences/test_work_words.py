"""Every kind of work, and every part of a study, has its words."""

from terrain3d.sentences.work import PARTS as ASKED
from terrain3d.study import PARTS


def test_every_part_of_a_study_says_what_it_asks():
    """The list beside which a person ticks the parts."""
    assert tuple(ASKED) == PARTS
    assert not any(words == part.replace("-", " ") for part, words in ASKED.items())
