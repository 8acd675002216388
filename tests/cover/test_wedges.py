"""Wedges between heads on one mount: against a comb of bearings, each asked whether any arc holds it."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from shapes import unit

from terrain3d.cover.wedges import MOST_DEG, heads_on_a_mount, wedges_of
from terrain3d.detector.pose import HeadSetting
from terrain3d.detector.types import load_type

ONE, TWO = load_type("one-head-90"), load_type("two-head-180")
COMB = np.arange(0.25, 360.0, 0.5)
bearings = st.integers(0, 359)


def open_runs(units):
    """Runs of bearings that no arc holds, as (middle, width): the comb asked tooth by tooth, round north."""
    held = np.zeros(len(COMB), bool)
    for one in units:
        for head, kind in enumerate(one.type.head):
            off = (COMB - one.bearing_deg - one.pan_of(head) + 180) % 360 - 180
            held |= np.abs(off) <= kind.arc / 2
    if held.all() or not held.any():
        return []
    start = int(np.argmax(held))
    runs, width = [], 0
    for k in [*range(start, start + len(COMB)), start]:
        if held[k % len(COMB)]:
            if width:
                runs.append(((COMB[(k - 1) % len(COMB)] + 0.25 - width / 4) % 360, width / 2))
            width = 0
        else:
            width += 1
    return runs


@given(st.lists(st.tuples(st.sampled_from([ONE, TWO]), bearings), min_size=1, max_size=4))
def test_wedges_are_the_gaps_that_a_comb_of_bearings_finds(settings):
    """Each gap up to 45 degrees, by middle and width; of one head alone there is none."""
    units = [unit(kind, bearing_deg=float(bearing)) for kind, bearing in settings]
    found = sorted((round(w.bearing_deg, 3) % 360, round(w.width_deg, 3)) for w in wedges_of(units))
    meant = sorted((round(m, 3) % 360, round(w, 3)) for m, w in open_runs(units) if w <= MOST_DEG)
    assert found == meant


def test_a_wide_unit_leaves_what_its_arcs_lack():
    """Two heads of 84 degrees at 45 degrees each way leave 90 - 84 = 6 degrees straight ahead."""
    (wedge,) = wedges_of([unit(TWO, bearing_deg=10.0)])
    assert (wedge.bearing_deg, wedge.width_deg) == (10.0, 6.0)
    panned = unit(TWO, bearing_deg=10.0, pan_deg=(-42.0, 42.0))
    assert wedges_of([panned]) == ()


def test_two_units_at_right_angles_leave_none():
    """Two arcs of 90 degrees, 90 degrees apart, meet; 100 apart they leave 10; on two poles none."""
    for apart, width in ((90, []), (100, [10.0])):
        pair = [unit(ONE, bearing_deg=float(bearing)) for bearing in (0, apart)]
        assert [wedge.width_deg for wedge in wedges_of(pair)] == width
        assert heads_on_a_mount(pair) == 2
    assert wedges_of([unit(ONE), unit(ONE, bearing_deg=100.0, mount="other")]) == ()


def test_a_mask_within_a_head_is_no_wedge_and_one_at_its_edge_widens_it():
    """The middle zone covered is a mask; the first of the right head, of 84 / 9 degrees, adds to it."""
    middle = unit(ONE, heads=(HeadSetting(masked=(5,)),))
    assert wedges_of([middle]) == ()
    edge = unit(TWO, heads=(HeadSetting(), HeadSetting(masked=(1,))))
    (wedge,) = wedges_of([edge])
    assert abs(wedge.width_deg - (6 + 84 / 9)) < 1e-5
