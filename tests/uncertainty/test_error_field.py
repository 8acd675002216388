"""Error fields: their size, their correlation against the model, and what cannot be drawn."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import plane, terrain

from terrain3d.errors import InputError
from terrain3d.sentences.uncertainty import SOURCE_WORDS
from terrain3d.site import DoubtSetting
from terrain3d.terrain import Ground
from terrain3d.uncertainty.error_field import ASSUMED_RMSE_M, Source, draw_field, error_sizes_of, field_law


def flat(ny: int, nx: int, cell_m: float) -> Ground:
    return Ground(0.0, 0.0, cell_m, np.zeros((ny, nx)))


def covariance(law) -> np.ndarray:
    """(ny, nx) covariance of the first node with every other one, worked out of the law, not of draws."""
    ny, nx = law.closed
    return np.fft.irfft2(law.root**2, (ny, nx))[: law.shape[0], : law.shape[1]]


@settings(max_examples=40, deadline=None)
@given(
    st.integers(2, 90), st.integers(2, 90), st.floats(0.1, 1.0), st.floats(0.2, 40.0), st.floats(0.01, 0.5)
)
def test_covariance_of_the_law_is_the_model(ny, nx, cell_m, correlation_m, rmse_m):
    """On the whole grid, whatever its shape, the law's covariance is the exponential model's."""
    law = field_law(flat(ny, nx, cell_m), rmse_m, correlation_m)
    away = np.hypot(np.arange(ny)[:, None], np.arange(nx)) * cell_m
    model = rmse_m**2 * np.exp(-away / correlation_m)
    # What closing the grid leaves out is a ten thousandth of the variance; 2e-4 is twice that.
    np.testing.assert_allclose(covariance(law), model, rtol=0, atol=2e-4 * rmse_m**2)


def test_drawn_fields_have_the_stated_size_and_correlation():
    """400 draws: standard deviation and correlation at a few lags within four standard errors."""
    law = field_law(flat(60, 60, 0.5), 0.1, 5.0)
    fields = np.array([draw_field(law, np.random.default_rng(k)) for k in range(400)])
    # Nodes 28 m apart share 0.4 % of their error: four corners of 400 draws are 1600 nearly free samples.
    corners = fields[:, [0, 0, -1, -1], [0, -1, 0, -1]].ravel()
    assert corners.std() == pytest.approx(0.1, abs=4 * 0.1 / math.sqrt(2 * 1600))
    assert abs(corners.mean()) < 4 * 0.1 / math.sqrt(1600)
    for row, column in ((0, 1), (4, 0), (0, 10), (20, 0), (7, 7), (3, 20)):
        model = math.exp(-0.5 * math.hypot(row, column) / 5.0)
        found = np.corrcoef(fields[:, 5, 5], fields[:, 5 + row, 5 + column])[0, 1]
        # Fisher's z of a correlation from n pairs has the standard error 1 / sqrt(n - 3).
        assert abs(math.atanh(found) - math.atanh(model)) < 4 / math.sqrt(397)


def test_opposite_edges_are_as_far_apart_as_they_are():
    """The closed grid does not make the first and the last column neighbours."""
    law = field_law(flat(40, 40, 1.0), 1.0, 10.0)
    assert covariance(law)[0, -1] == pytest.approx(math.exp(-3.9), abs=2e-4)


def test_no_error_is_a_field_of_zeros():
    """An RMSE of nothing moves nothing."""
    law = field_law(flat(20, 30, 0.5), 0.0, 10.0)
    assert not draw_field(law, np.random.default_rng(0)).any()


def test_same_seed_same_field():
    """A draw depends on its generator alone."""
    law = field_law(flat(20, 30, 0.5), 0.1, 10.0)
    first, again = (draw_field(law, np.random.default_rng(7)) for _ in range(2))
    assert first.tobytes() == again.tobytes()
    assert not np.array_equal(first, draw_field(law, np.random.default_rng(8)))


def test_lengths_that_outgrow_memory_are_refused():
    """A correlation length far beyond the site says what to give instead, and that is accepted."""
    ground = flat(100, 100, 0.1)
    with pytest.raises(
        InputError, match=r"(?s)alike over 1000 m.*doubt\.correlation.*at most 45 m"
    ) as refused:
        field_law(ground, 0.1, 1000.0)
    assert refused.value.where == "site.toml: doubt.correlation"
    field_law(flat(10, 10, 5.0), 0.1, 1000.0)


@pytest.mark.parametrize(
    ("spacing_m", "words"), [(None, "the ground is drawn"), (0.4, "the survey states no error")]
)
def test_an_error_nobody_states_is_assumed_and_said(spacing_m, words):
    """Without a figure of its own a survey counts as quality level 2, and the words say so."""
    site = replace(terrain(plane(0.1)), spacing_m=spacing_m)
    error_sizes = error_sizes_of(DoubtSetting(), site)
    assert error_sizes.ground_m == ASSUMED_RMSE_M == 0.10
    said = SOURCE_WORDS[error_sizes.source]
    assert "quality level 2" in said
    assert words in said
    stated = error_sizes_of(DoubtSetting(ground=0.03), site)
    assert (stated.ground_m, stated.source) == (0.03, Source.STATED)
