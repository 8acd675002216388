"""The order of the parts after the verdicts: what is asked for is done, and nothing else."""

from pathlib import Path

import pytest
from site_files import YARD, option_text

from terrain3d.errors import InputError
from terrain3d.job import run
from terrain3d.study import PARTS, study_of

SITE = YARD + "[doubt]\ndraws = 4\n" + option_text("down", bearing=180, tilt=3)


@pytest.fixture
def site(tmp_path) -> Path:
    """A small drawn site with a walk across it."""
    path = tmp_path / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    return path


def test_every_part_is_done(site):
    """All parts of a small site, each with something to say, and progress told of each."""
    told = []

    def tell(step, share):
        told.append((step, share))

    result = study_of(run(site, tell), progress=tell)
    (option,) = result.options
    assert result.parts == PARTS
    assert result.of("down") is option
    assert option.walks.walks[0].length_m > 0
    assert option.routes[0].area == "yard"
    assert option.animals.animals
    assert not option.spill.has_boundary
    assert option.nuisances == ()
    assert option.heat.full_m2 > 0
    assert option.sun.origin_lonlat is None
    assert option.tolerances[0].held_m2 > 0
    assert result.uncertainty.draws == 4
    assert len({step for step, _ in told}) > 6
    assert all(0 <= share <= 1 for _, share in told)


@pytest.mark.parametrize("part", ["walks", "animals", "heat"])
def test_only_what_is_asked_for_is_done(site, part):
    """One part leaves the others open."""
    result = study_of(run(site), (part,))
    (option,) = result.options
    done = [key for key in ("walks", "routes", "animals", "spill", "heat", "sun", "tolerances")
            if getattr(option, key) is not None]  # fmt: skip
    assert done == [part]
    assert result.uncertainty is None


def test_draws_given_go_before_the_site_file(site):
    """A number of draws asked for is the one drawn."""
    assert study_of(run(site), ("doubt",), draws=2).uncertainty.draws == 2


def test_an_unknown_walker_is_named(site):
    """The figure of open routes is refused with its key."""
    site.write_text(SITE + '[routes]\nfigure = "persom"\n', encoding="utf-8")
    with pytest.raises(InputError, match="routes: figure"):
        study_of(run(site), ("routes",))


def test_errors_too_long_for_the_cells_name_the_file(site):
    """What only the draws can refuse is still said of the site file's own key."""
    site.write_text(SITE.replace("draws = 4", "draws = 4\ncorrelation = 1000"), encoding="utf-8")
    with pytest.raises(InputError, match=r"site\.toml: doubt\.correlation") as caught:
        study_of(run(site), ("doubt",))
    assert str(site) in str(caught.value)
