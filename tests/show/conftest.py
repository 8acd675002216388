"""One drawn set of stills for all tests that look at it."""

import pytest
from scenes import slope_outcome

from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.stills import write_stills


@pytest.fixture(scope="session")
def outcome():
    """The invented slope with two options."""
    return slope_outcome()


@pytest.fixture(scope="session")
def stills(outcome, tmp_path_factory):
    """The pictures of the invented slope, drawn once."""
    return write_stills(PageContext(outcome), tmp_path_factory.mktemp("stills"))
