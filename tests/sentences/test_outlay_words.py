"""Two units side by side against one wide unit: the question of data/side-by-side.toml, answered in words."""

from pathlib import Path

import pytest

from terrain3d.job import run
from terrain3d.paper.results import results_values
from terrain3d.sentences.outlay import outlay_words, version_lines

SITE = Path(__file__).parents[2] / "data" / "side-by-side.toml"


@pytest.fixture(scope="module")
def outcome():
    """The two options on the one pole."""
    return run(SITE)


def test_the_difference_is_told_in_words(outcome):
    """What each holds, the wedge that stays open, price and current as the sums of the units."""
    wide, pair = (f"{option.area_m2['both']:.0f} m² with both layers" for option in outcome.options)
    assert version_lines(outcome) == [
        f'"two units side by side" holds {pair}, leaves no wedge open'
        " between its heads, costs 200 and draws 50 mA at 9 to 16 V.",
        f'"one wide unit" holds {wide}, leaves a wedge of 6° at 270° open'
        " between its heads, costs 170 and draws 45 mA at 9 to 16 V.",
    ]
    assert [outlay_words(option) for option in outcome.options] == [
        "price 170, 45 mA at 9 to 16 V",
        "price 200, 50 mA at 9 to 16 V",
    ]


def test_the_numbers_stand_in_the_results(outcome):
    """As users who choose a version read them."""
    wide, pair = results_values(outcome)["options"]
    assert wide["supply"] == {"price": 170, "milliamps": 45, "volts": [9, 16]}
    assert wide["wedges"] == [{"mount": "shed pole", "bearing_deg": 270.0, "width_deg": 6.0}]
    assert pair["supply"] == {"price": 200, "milliamps": 50, "volts": [9, 16]}
    assert "wedges" not in pair


def test_the_pair_holds_what_the_wide_unit_holds_and_more(outcome):
    """Their arcs of 90 degrees hold those of 84 within them; layers, range and place are the same."""
    wide, pair = outcome.options
    assert (pair.verdicts >= wide.verdicts).all()
    assert pair.area_m2["both"] > wide.area_m2["both"]
