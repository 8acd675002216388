"""What stands at the foot of every page."""

import pytest
from site_files import SLOPE, option_text, written

from terrain3d.opened import open_site
from terrain3d.sentences.paper import foot_words

LEVELS = "points = [[-9, -9, 0], [9, -9, 1], [9, 9, 0], [-9, 9, 1]]"
SHOTS = "shots = [" + ", ".join(
    f'{{ from = "pole", bearing = {bearing}, tape = 9, drop = 0.5 }}' for bearing in (0, 90, 180, 270)
) + "]"  # fmt: skip


@pytest.mark.parametrize(
    ("ground", "words"),
    [
        (None, "ground drawn, not surveyed"),
        (LEVELS, "ground from spot levels"),
        (SHOTS, "ground taken by tape"),
    ],
)
def test_ground_that_somebody_measured_is_not_called_drawn(tmp_path, ground, words):
    """A plane is drawn; levels and shots were taken on the land."""
    (plane,) = (line for line in SLOPE.splitlines() if line.startswith("plane"))
    text = SLOPE if ground is None else SLOPE.replace(plane, ground)
    path = written(tmp_path, text + option_text("one"))
    assert foot_words(open_site(path)).startswith(words)
