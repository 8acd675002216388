"""Returns that are called ground and are not: dropped, and no bank, cliff or rock with them."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.survey.outliers import off_neighbours


def land(density, height, *, size=40.0, noise=0.03, seed=0):
    """Returns strewn over a square, `height(x, y)` with noise."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, size, (2, round(density * size**2)))
    return np.column_stack([x, y, height(x, y) + rng.normal(0, noise, x.size)])


def slope(x, y):
    return 0.2 * x + 0.1 * y


SHAPES = {
    "level": lambda x, y: 0.0 * x,
    "slope of 60 %": lambda x, y: 0.6 * x,
    "slope of 100 %": lambda x, y: 0.8 * x + 0.6 * y,
    "terrace": lambda x, y: slope(x, y) + 2.0 * (x + 0.3 * y > 20),
    "steps": lambda x, y: 1.2 * np.floor(x / 6),
    "cliff": lambda x, y: 8.0 * (x > 20) + 0.1 * y,
    "ditch": lambda x, y: slope(x, y) - 1.5 * (np.abs(x - 20) < 1.0),
    "dyke": lambda x, y: np.maximum(0.0, 2.5 - np.abs(x - 20) / 1.5),
}


@pytest.mark.parametrize("density", [0.5, 4, 30])
@pytest.mark.parametrize("name", SHAPES)
def test_land_of_any_shape_keeps_its_returns(name, density):
    """None of a slope, none of a bank, and few of those at the edge of a cliff that is sparsely flown."""
    xyz = land(density, SHAPES[name])
    assert off_neighbours(xyz).sum() <= (0.002 * len(xyz) if density < 1 else 0)


@pytest.mark.parametrize(
    ("density", "off_m"),
    [(0.5, 14.0), (0.5, -9.0), *((d, off) for d in (4, 30) for off in (2.0, 14.0, -2.0, -9.0))],
)
@pytest.mark.parametrize("name", ["slope of 60 %", "terrace", "cliff"])
def test_a_spike_and_a_pit_are_found(name, density, off_m):
    """One return far from any bank, above or below; where neighbours are 1.4 m away, of more than a slope."""
    xyz = land(density, SHAPES[name])
    k = int(np.hypot(xyz[:, 0] - 8, xyz[:, 1] - 10).argmin())
    xyz[k, 2] += off_m
    off = off_neighbours(xyz)
    assert off[k]
    assert np.delete(off, k).sum() <= (0.002 * len(xyz) if density < 1 else 0)


@pytest.mark.parametrize("density", [1, 10, 30])
def test_five_together_in_one_crown_are_found(density):
    """Level with each other, 14 to 15 m up and within a metre: the ground under them is known."""
    xyz = land(density, slope)
    rng = np.random.default_rng(1)
    place = rng.uniform((20, 20), (21, 21), (5, 2))
    crown = np.column_stack([place, slope(*place.T) + rng.uniform(14, 15, 5)])
    off = off_neighbours(np.vstack([xyz, crown]))
    assert off[-5:].all()
    assert not off[:-5].any()


def test_a_rock_of_forty_returns_stays():
    """2 x 2 m at ten a square metre, 1.5 m high with steep sides: ground that hides what lies behind."""
    xyz = land(10, lambda x, y: slope(x, y) + 1.5 * ((np.abs(x - 20) < 1) & (np.abs(y - 20) < 1)))
    rock = (np.abs(xyz[:, :2] - 20) < 1).all(axis=1)
    assert 30 < rock.sum() < 50
    assert not off_neighbours(xyz).any()


def test_few_returns_are_left_as_they_are():
    """Too few to have neighbours: nothing is known of them."""
    xyz = land(10, slope)[:20]
    xyz[3, 2] += 9.0
    assert not off_neighbours(xyz).any()
    assert not off_neighbours(np.zeros((0, 3))).any()


@settings(max_examples=40, deadline=None)
@given(
    fall=st.floats(0, 0.6),
    towards=st.floats(0, 6.28),
    swell_m=st.floats(0, 2),
    length_m=st.floats(12, 60),
    noise=st.floats(0, 0.06),
    density=st.sampled_from([0.3, 1, 5, 20]),
    seed=st.integers(0, 99),
)
def test_no_return_of_a_smooth_hillside_is_dropped(fall, towards, swell_m, length_m, noise, density, seed):
    """Whatever its slope, its swells and the noise of the survey."""
    turn = 2 * np.pi / length_m

    def height(x, y):
        return fall * (x * np.sin(towards) + y * np.cos(towards)) + swell_m * np.sin(turn * x) * np.cos(
            turn * (y + seed)
        )

    xyz = land(density, height, noise=noise, seed=seed)
    assert not off_neighbours(xyz).any()


def test_returns_strewn_over_a_country_take_no_more_memory():
    """A damaged file had them 400 km apart: squares of a metre over all that took 4.6 GiB for each grid."""
    x, y = np.random.default_rng(0).uniform(0, (400_000.0, 1500.0), (500, 2)).T
    xyz = np.column_stack([x, y, 0.01 * y])
    tracemalloc.start()
    try:
        assert off_neighbours(xyz).shape == (500,)
        assert tracemalloc.get_traced_memory()[1] < 1e9
    finally:
        tracemalloc.stop()
