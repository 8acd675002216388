"""What options cost and draw: sums of what their types state, and nothing where one states nothing."""

from dataclasses import replace

from shapes import unit

from terrain3d.detector.types import load_type
from terrain3d.ranking.outlay import Outlay, outlay_of

ONE, BATTERY = load_type("one-head-90"), load_type("one-head-90-battery")


def test_two_units_cost_and_draw_twice_as_much():
    """At the voltage that one takes: they hang on one supply side by side."""
    one = outlay_of([unit(ONE)])
    assert one == Outlay(100, 25, (9, 16))
    assert outlay_of([unit(ONE)] * 2) == Outlay(200, 50, (9, 16))


def test_no_voltage_suits_a_battery_and_the_mains():
    """2.5 to 3.6 V and 9 to 16 V have none in common."""
    assert outlay_of([unit(ONE), unit(BATTERY)]) == Outlay(220, 25.02, None)


def test_what_a_type_does_not_state_is_not_summed():
    """A sum of some would be taken for that of all."""
    unpriced = ONE.model_copy(update={"price": None})
    unsupplied = ONE.model_copy(update={"supply": None})
    assert outlay_of([unit(ONE), unit(unpriced)]) == Outlay(None, 50, (9, 16))
    assert outlay_of([unit(ONE), unit(unsupplied)]) == Outlay(200, None, None)
    assert outlay_of([unit(unpriced), unit(unsupplied)]) is None
    assert outlay_of([replace(unit(ONE), name="D2"), unit(ONE)]) is not None
