"""Zones of a layer and where they point."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapes import plane, terrain, unit

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import head_table
from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import in_head
from terrain3d.detector.types import load_type
from terrain3d.sight.panorama import panorama
from terrain3d.walk.zones import heads_hold, layer_azimuth_deg, zone_edges_deg, zoned_layers

ONE, TWO = load_type("one-head-90", Path()), load_type("two-head-180", Path())


@given(st.floats(1, 360), st.integers(1, 40))
def test_zones_share_the_arc_equally(arc_deg, zones):
    """Zones lie side by side, as wide as each other, and fill the arc."""
    edges = zone_edges_deg(arc_deg, zones)
    assert len(edges) == zones + 1
    assert edges[0] == pytest.approx(-arc_deg / 2)
    assert edges[-1] == pytest.approx(arc_deg / 2)
    assert np.allclose(np.diff(edges), arc_deg / zones)


@given(
    st.floats(0, 360), st.floats(-20, 20), st.floats(-20, 20), st.floats(0, 360), st.sampled_from([4, 8, 12])
)
def test_azimuth_is_that_of_the_direction_along_the_layer(bearing, tilt, roll, towards, range_m):
    """The azimuth of a bearing is read where a direction along it has the layer's own elevation."""
    posed = unit(ONE, bearing_deg=bearing, tilt_deg=tilt, roll_deg=roll, range_m=range_m)
    east, north = np.sin(np.radians(towards)), np.cos(np.radians(towards))
    for layer in zoned_layers(posed):
        azimuth = layer_azimuth_deg(layer, [east], [north])[0]
        slopes = np.linspace(-3, 3, 20001)
        rays = np.column_stack([np.full_like(slopes, east), np.full_like(slopes, north), slopes])
        seen_azimuth, elevation = in_head(layer.axes, rays)
        nearest = np.argmin(np.abs(elevation - layer.elevation_deg))
        assert abs(elevation[nearest] - layer.elevation_deg) < 0.02
        turn = (azimuth - seen_azimuth[nearest] + 180) % 360 - 180
        assert abs(turn) < 0.05


@pytest.mark.parametrize("kind", [ONE, TWO])
@pytest.mark.parametrize("rise", [0.0, 0.12, -0.08])
def test_held_ground_is_that_of_the_verdict_map(kind, rise):
    """Where any head's rule is met the map says both layers, and nowhere else."""
    site = terrain(plane(rise, 30.0))
    posed = unit(kind, bearing_deg=20.0, tilt_deg=2.0, roll_deg=1.0)
    seen = panorama(site, posed.eye, 12.0)
    codes = verdict_codes(seen, head_table(kind), 20.0, 2.0, 1.0, 12.0, 1.7, 0.5)
    holds = heads_hold(posed, sighted(site, posed).broken(1.7))
    assert np.array_equal(holds.any(axis=0), codes == Verdict.BOTH)
    assert holds.any()


def test_a_type_that_takes_any_layer_holds_more():
    """A head whose alarm takes any layer holds wherever one of its layers is broken."""
    site = terrain(plane(0.12, 0.0))
    easy = ONE.model_copy(update={"alarm": "any"})
    broken = sighted(site, unit(ONE)).broken(1.7)
    assert np.array_equal(heads_hold(unit(easy), broken)[0], broken[0] | broken[1])
    assert heads_hold(unit(easy), broken).sum() > heads_hold(unit(ONE), broken).sum()
