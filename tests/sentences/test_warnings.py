"""Warnings: each thing that would mislead a client is said."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from shapes import box, judged, plane, terrain, unit

from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.sentences.client import client_warnings
from terrain3d.sentences.warnings import option_warnings, voiding, warnings_by_option
from terrain3d.terrain import Area, Mount

ONE = load_type("one-head-90", Path())
TWO = load_type("two-head-180", Path())


def warned(site, *units: Detector):
    """What is said of an option of these units."""
    return option_warnings(judged(site, *units), site)


def test_warnings_say_what_would_mislead():
    """Mount height, a solid around the unit, a wall before it, ground out of reach: each is named."""
    far = Area("far yard", np.array([[-14, -14], [-13, -14], [-13, -13], [-14, -13.0]]))
    site = terrain(plane(0.0), box((-1, 0.3, -1), (1, 0.5, 2)), protect=(far,))
    text = " / ".join(warned(site, unit(ONE, 1.5)))
    assert "1.5 m is outside the 0.8 to 1.2 m" in text
    assert "faces into a solid 0.3 m away" in text
    assert '1.0 m² of "far yard" (100%) lie beyond the reach' in text
    inside = terrain(plane(0.0), box((-1, -1, -1), (1, 1, 2)))
    assert any("inside a solid" in w and "[[mount]] wall" in w for w in warned(inside, unit(ONE)))
    assert warned(terrain(plane(0.0)), unit(TWO)) == []


def test_a_unit_that_looks_into_its_own_wall_is_said():
    """Facing 180 on a wall that faces north; along the wall, and away from it, nothing is said."""
    on = Mount("m", 0.0, 0.0, (1.0,), wall_deg=0.0)
    site = replace(terrain(plane(0.0)), mounts=(on,))

    def told(bearing: float) -> list[str]:
        return [w for w in warned(site, replace(unit(ONE), bearing_deg=bearing, mount="m")) if "wall" in w]

    (warning,) = told(180.0)
    assert "faces 180°, and the wall of its mount 0°" in warning
    assert "mend [[mount]] wall" in warning
    assert told(90.0) == told(0.0) == told(270.0) == []


def test_sight_across_unknown_ground_is_said():
    """A hole in the survey before the unit is named with the ground behind it."""
    on = plane(0.0)
    on.z[(np.abs(on.ys - 3) < 0.5), :] = np.nan
    assert any("not known" in w for w in warned(terrain(on), unit(ONE)))


def test_a_fan_that_runs_off_the_survey_is_said():
    """A pole 2 m from the edge of the ground, facing out, holds little that is known; that is told."""
    edge = Detector("D1", ONE, "rim", 0.0, 13.0, 0.0, 1.0, 0.0)
    text = " / ".join(warned(terrain(plane(0.0)), edge))
    assert "of the arc and range of D1" in text
    assert "off the known ground" in text
    assert not any("off the known" in w for w in warned(terrain(plane(0.0)), unit(ONE)))


def test_an_alarm_on_any_layer_is_said():
    """Where one layer is enough, the words "both layers" are explained."""
    loose = ONE.model_copy(update={"alarm": "any"})
    assert any("any one layer" in w for w in warned(terrain(plane(0.0)), unit(loose)))


def test_each_is_said_once_the_most_serious_first():
    """A doubt of the survey comes once, for every option, after what one unit's option is void for."""
    far = Area("far yard", np.array([[-14, -14], [-13, -14], [-13, -13], [-14, -13.0]]))
    site = replace(
        terrain(plane(0.0), box((-1, 0.3, -1), (1, 0.5, 2)), protect=(far,)), doubts=("the survey is thin",)
    )
    high, low = judged(site, unit(ONE, 1.5), name="high"), judged(site, unit(ONE), name="low")
    away = judged(site, unit(ONE, bearing_deg=180.0), name="away")
    told = warnings_by_option(Outcome(site_of(site), (high, low, away), ("low", "high", "away")))
    assert [who for _, who in told] == ["high; low", "high", "every option", "every option"]
    assert [text.split(" ")[1] for text, _ in told] == ["faces", "at", "m²", "survey"]
    assert voiding(high) == voiding(low) != []
    assert voiding(away) == []


def test_a_client_is_not_told_what_the_site_file_could_say():
    """A client writes none: the fact stays, its keys go."""
    roofs = "roofs are taken to stand out 0.5 m over their walls"
    hedge = '"hedge; a: [[x]] y" takes 12 m²'
    site = replace(
        terrain(plane(0.0)),
        doubts=(
            f"{roofs}: [ground] eaves says how far they do, [[mount]] wall which wall a unit is on",
            f'{hedge}: a [[scenario]] with without = ["..."] judges the site without a thing, by its name',
            "returns were split by their shape; [[treat]] outlines can say otherwise",
            "the survey was flown in 2019, 3 years before [site] date, 2022: what was felled has changed it",
        ),
    )
    option = judged(site, unit(TWO))
    told = client_warnings(option, site)
    assert len(told) == len(option_warnings(option, site)) == 4
    for kept in (roofs, hedge, "returns were split by their shape", site.doubts[3]):
        assert kept in told
