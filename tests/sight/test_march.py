"""Sight lines over the bilinear ground against plain sampling of the same ground."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.sight.march import first_ground, height_along, steepest_view
from terrain3d.terrain import Ground

seeds = st.integers(0, 2**32 - 1)


def rough(seed: int, unknown: float = 0.0) -> np.ndarray:
    """A rough 30 x 30 ground, some nodes unknown."""
    rng = np.random.default_rng(seed)
    z = rng.uniform(0, 1.5, (30, 30))
    z[rng.random(z.shape) < unknown] = np.nan
    return z


def sampled(z, u0, v0, du, dv, length, n=6000):
    """Distances and heights along the line, by plain bilinear look-ups."""
    t = np.linspace(length / n, length, n)
    return t, np.array([height_along(z, u0 + du * s, v0 + dv * s) for s in t])


@settings(max_examples=60, deadline=None)
@given(seeds, *[st.floats(-0.4, 29.4)] * 4)
def test_steepest_view_is_the_greatest_slope_of_many_samples(seed, u0, v0, u1, v1):
    """The closed form is never under the samples, and over them by no more than their spacing allows."""
    z = rough(seed)
    length = float(np.hypot(u1 - u0, v1 - v0))
    if length < 0.3:
        return
    du, dv = (u1 - u0) / length, (v1 - v0) / length
    eye = height_along(z, u0, v0) + 0.8
    on = Ground(0.0, 0.0, 1.0, z)
    slope, unknown = steepest_view(z, on.patch_top, on.block_top, u0, v0, eye, du, dv, length, -np.inf)
    t, h = sampled(z, u0, v0, du, dv, length)
    best = ((h - eye) / t).max()
    assert not unknown
    assert slope >= best - 1e-9
    far = np.argmax((h - eye) / t)
    assert slope <= best + 0.05 / t[far] + 1e-9
    again, _ = steepest_view(
        z, on.patch_top, on.block_top, u0, v0, eye, du, dv, length, (h[-1] - eye) / length
    )
    assert np.isclose(again, max(slope, (h[-1] - eye) / length), atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(seeds, st.floats(1.5, 27.5), st.floats(1.5, 27.5), st.floats(0, 2 * np.pi), st.floats(-0.6, 0.3))
def test_first_ground_is_where_samples_first_fall_below(seed, u0, v0, angle, rise):
    """The ray is above ground before the hit, and on it there."""
    z = rough(seed)
    du, dv = float(np.cos(angle)), float(np.sin(angle))
    edge = min(
        (29 - u0) / du if du > 0 else u0 / -du if du < 0 else np.inf,
        (29 - v0) / dv if dv > 0 else v0 / -dv if dv < 0 else np.inf,
    )
    eye = height_along(z, u0, v0) + 0.5
    hit = first_ground(z, u0, v0, eye, du, dv, rise, edge - 1e-9)
    t, h = sampled(z, u0, v0, du, dv, edge - 1e-6)
    under = h >= eye + rise * t + 1e-7
    if np.isinf(hit):
        assert not under.any()
    else:
        assert abs(height_along(z, u0 + du * hit, v0 + dv * hit) - (eye + rise * hit)) < 1e-6
        assert not under[t < hit - 1e-6].any()


@settings(max_examples=30, deadline=None)
@given(seeds, st.floats(0, 2 * np.pi))
def test_unknown_ground_is_noticed_and_blocks_nothing(seed, angle):
    """Crossing an unknown patch sets the flag; an unknown node never raises the view."""
    z = rough(seed, unknown=0.15)
    z[6:8, 6:8] = 0.0
    du, dv = float(np.cos(angle)), float(np.sin(angle))
    on = Ground(0.0, 0.0, 1.0, z)
    slope, unknown = steepest_view(z, on.patch_top, on.block_top, 6.5, 6.5, 1.0, du, dv, 5.0, -np.inf)
    t, h = sampled(z, 6.5, 6.5, du, dv, 5.0)
    assert np.isfinite(slope)
    assert unknown >= np.isnan(h).any()
    assert slope >= np.nanmax((h - 1.0) / t) - 1e-9


def test_a_straight_line_on_a_straight_slope_has_the_slope_of_its_end():
    """On a plane every point is seen: the steepest view is the last one."""
    z = np.add.outer(np.zeros(9), 0.1 * np.arange(9.0))
    on = Ground(0.0, 0.0, 1.0, z)
    slope, _ = steepest_view(z, on.patch_top, on.block_top, 1.0, 4.0, 0.1 + 1.0, 1.0, 0.0, 6.0, -np.inf)
    assert np.isclose(slope, (0.7 - 1.1) / 6)
