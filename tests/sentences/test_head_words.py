"""Words about heads set by themselves: what a fitter reads back is what he set."""

from pathlib import Path

import numpy as np
import pytest
from shapes import judged, plane, terrain, unit

from terrain3d.cover.profile import line_profile, masked_along
from terrain3d.detector.pose import HeadSetting
from terrain3d.detector.types import load_type
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.options import area_lines, protected_words
from terrain3d.sentences.section import section_sentence
from terrain3d.sentences.walks import counting_words
from terrain3d.sentences.words import unit_lines
from terrain3d.terrain import Area

ONE, TWO = load_type("one-head-90", Path()), load_type("two-head-180", Path())


#: A strip north of the origin.
YARD = Area("yard", np.array([[-1.0, 3], [1, 3], [1, 8], [-1, 8]]))


def test_masked_ground_is_said_to_be_outside_or_masked_and_only_there():
    """Of two units alike but for a mask, one alone speaks of masks."""
    site = terrain(plane(0.0), protect=(YARD,))
    masked = judged(site, unit(ONE, 1.0, heads=(HeadSetting(masked=(5,)),)))
    plain = judged(site, unit(ONE, 1.0, 180.0))
    assert has_masks(masked.detectors)
    assert not has_masks(plain.detectors)
    assert "outside the arc or masked" in protected_words(masked.protect[0], has_masks(masked.detectors))
    words = protected_words(plain.protect[0], has_masks(plain.detectors))
    assert "outside the arc" in words
    assert "masked" not in words
    assert any("outside arc or masked" in line for line in area_lines(masked))
    assert not any("masked" in line for line in area_lines(plain))


@pytest.mark.parametrize(("off_deg", "zone"), [(-22.0, 3), (-17.0, 3), (44.0, 9)])
def test_a_section_through_a_masked_zone_names_it(off_deg, zone):
    """Nine zones of 10 degrees: from -25 to -15 is the third, from 35 to 45 the ninth; no layer is there."""
    site = terrain(plane(0.0))
    one = unit(ONE, 1.0, 30.0, heads=(HeadSetting(masked=(3, 9)),))
    profile = line_profile(site, one, 30.0 + off_deg, 1.7, 1.0, 1.0)
    assert profile.beams == ()
    assert f"zone {zone} of head 1 is masked" in section_sentence(profile)
    assert "masked" in section_sentence(profile).split(";")[1]
    assert masked_along(one, 30.0) == ()
    assert "masked" not in section_sentence(line_profile(site, one, 30.0, 1.7, 1.0, 1.0))


def test_settings_are_read_back_head_by_head():
    """Range, sensitivity with its share, pulses and masks of each head; nothing where nothing is set."""
    kind = TWO.model_copy(update={"sensitivity": {"low": 0.65, "high": 0.35}})
    heads = (HeadSetting(range_m=6.0, sensitivity=("high",), pulses=3, masked=(1, 2, 3, 7)), HeadSetting())
    lines = unit_lines(unit(kind, 1.0, 135.0, sensitivity="low", heads=heads))
    assert lines[0].endswith("ranges 6 and 12 m")
    assert lines[2:] == (
        "sensitivity low (65% of a layer)",
        "head 1: range 6 m, sensitivity high (35% of a layer), 3 pulses, zones 1 to 3 and 7 masked",
    )
    assert len(unit_lines(unit(TWO, 1.0, 135.0))) == 2


def test_pulses_of_heads_are_counted_head_by_head():
    """An option whose heads take one pulse and three says both, and that heads are set so."""
    site = terrain(plane(0.0))
    mixed = judged(site, unit(TWO, 1.0, heads=(HeadSetting(pulses=3), HeadSetting())))
    words = counting_words(mixed)
    assert "1 in each or 3 in each within 10 s (set head by head)" in words
    assert "(the unit's setting)" in counting_words(judged(site, unit(TWO, 1.0)))
