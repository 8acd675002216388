"""Clouds whose heights are above the ground already, with the land beneath them as a grid."""

import shutil

import numpy as np
import pytest
import trimesh
from affine import Affine

from terrain3d.cover.verdict import Verdict
from terrain3d.errors import InputError
from terrain3d.site import Site
from terrain3d.survey.build import build_terrain
from terrain3d.survey.gaps import carried_on
from terrain3d.terrain import Ground
from tests import virtual_survey as known
from tests.made_files import write_las, write_tif

KEYS = {"heights": "above ground", "terrain": "land.tif"}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The known hillside at ten returns a square metre, in a folder: `cloud.las`, the ground that is read out
    of it, and `above.las`, the same cloud normalised by that."""
    folder = tmp_path_factory.mktemp("heights")
    returns = known.from_the_air(10)
    classes = known.classed(returns, "vendor")
    of_pulse = {"number_of_returns": returns.n_returns, "return_number": returns.number}
    write_las(folder / "cloud.las", returns.xyz, classes=classes, crs=None, **of_pulse)
    plain = read(folder, "cloud.las")
    on = plain.ground
    feet = Ground(on.x0, on.y0, on.cell_m, carried_on(on.z))
    west, south, east, north = on.bounds
    x, y = np.clip(returns.xyz[:, 0], west, east), np.clip(returns.xyz[:, 1], south, north)
    above = np.where(classes == 2, 0.0, returns.xyz[:, 2] - feet.height_at(x, y))
    write_las(
        folder / "above.las",
        np.column_stack([returns.xyz[:, :2], above]),
        classes=classes,
        crs=None,
        **of_pulse,
    )
    return folder, plain


@pytest.fixture
def folder(made, tmp_path):
    """`above.las` with the land beneath it, `land.tif`, to be spoilt."""
    shutil.copy(made[0] / "above.las", tmp_path)
    write_land(tmp_path, made[1].ground.z, made[1].ground)
    return tmp_path


def write_land(folder, z, on, east_m=0.0):
    west, _, _, north = on.bounds
    transform = Affine(on.cell_m, 0, west + east_m, 0, -on.cell_m, north)
    write_tif(folder / "land.tif", z[::-1], transform, crs=None, dtype="float64")


def read(folder, file, **ground):
    values = known.site_values(file)
    values["ground"] |= ground
    return build_terrain(Site.model_validate(values), folder, 12.0)


def test_verdicts_are_those_of_the_cloud_itself(made, folder):
    """For every mount on at most 2 % of the ground inside arc and range another."""
    plain, normal = made[1], read(folder, "above.las", **KEYS)
    assert plain.ground.bounds == normal.ground.bounds
    rows, columns = plain.ground.part_of(known.truth().ground)
    ours, theirs, true = known.judged_on(normal), known.judged_on(plain), known.judged_on(known.truth())
    for name, option in theirs.items():
        fan = true[name].verdicts[rows, columns] != Verdict.OUTSIDE
        assert (option.verdicts != ours[name].verdicts)[fan].mean() < 0.02, name


def test_without_the_keys_it_is_refused_with_one_message(folder):
    """The land is not in it: what to give is said."""
    with pytest.raises(InputError, match="flat to the millimetre, 0 m throughout") as fault:
        read(folder, "above.las")
    assert '[ground] heights = "above ground" and the land as terrain' in fault.value.mend


@pytest.mark.parametrize("ground", [{"terrain": "land.tif"}, {"heights": "above ground"}])
def test_one_key_without_the_other_is_refused(ground):
    """Before any file is looked for."""
    with pytest.raises(
        ValueError, match="heights above ground and the terrain that they are above go together"
    ):
        Site.model_validate(known.site_values("above.las") | {"ground": {"file": "above.las"} | ground})


@pytest.mark.parametrize("file", ["mesh.ply", "land.tif"])
def test_heights_go_with_points_alone(folder, file):
    """A mesh and a grid have the land in themselves."""
    trimesh.creation.box(bounds=[[-20, -20, -1], [20, 20, 0]]).export(folder / "mesh.ply")
    with pytest.raises(InputError, match="heights above ground go with points, and file is") as fault:
        read(folder, file, **KEYS)
    assert fault.value.where == "site.toml: ground.heights"


def test_land_that_is_no_grid_is_refused(folder):
    """The cloud as its own land."""
    with pytest.raises(InputError, match="it is no elevation grid but LAS"):
        read(folder, "above.las", **(KEYS | {"terrain": "above.las"}))


def test_land_that_lies_elsewhere_is_refused(made, folder):
    """A kilometre off: nothing is judged on nothing."""
    on = made[1].ground
    write_land(folder, on.z, on, 1000.0)
    with pytest.raises(InputError) as fault:
        read(folder, "above.las", **KEYS)
    assert "land.tif" in fault.value.where


def test_land_that_covers_a_part_leaves_a_mount_without_ground(made, folder):
    """Data east of the house alone: the mount on its west wall has none near it."""
    on = made[1].ground
    write_land(folder, np.where(on.xs < -9.0, np.nan, on.z), on)
    with pytest.raises(InputError, match="no ground is known at the mount 'west wall'"):
        read(folder, "above.las", **KEYS)
