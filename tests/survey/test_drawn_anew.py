"""Drawn things put to a survey again: the same site as if all had been read anew, and nothing read."""

import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest

from terrain3d.opened import open_again, open_ready
from terrain3d.ready import option_types, ready_of
from terrain3d.site import Site
from terrain3d.survey import build, kept, read_ground

DEMO = Path(__file__).parents[2] / "data"
WALL = {
    "name": "wall",
    "path": [[560030.0, 4950012.0], [560034.0, 4950013.0]],
    "height": 1.4,
    "thickness": 0.2,
}


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The tables of the demo, its folder, and it opened once."""
    folder = tmp_path_factory.mktemp("demo")
    shutil.copy(DEMO / "demo.laz", folder)
    tables = tomllib.loads((DEMO / "demo.toml").read_text(encoding="utf-8"))
    ready = ready_for(folder, tables)
    return folder, tables, open_again(ready, option_types(ready))


def ready_for(folder, tables):
    return ready_of(Site.model_validate(tables), folder / "demo.toml")


def again(folder, tables, read):
    ready = ready_for(folder, tables)
    return open_again(ready, option_types(ready), read)


def anew(folder, tables):
    ready = ready_for(folder, tables)
    return open_ready(ready, option_types(ready))


def nothing_is_read(monkeypatch):
    """Whoever opens the survey, or makes ground of its points again, fails."""

    def nobody(*_args, **_keys):
        raise AssertionError("the survey is read again")

    monkeypatch.setattr(build, "read_headers", nobody)
    for name in ("read_tiles", "surveyed", "ground_points"):
        monkeypatch.setattr(read_ground, name, nobody)


def is_same(one, other):
    """Whether two terrains hold the same ground, solids, leaves and drawn things, name by name."""
    return (
        np.array_equal(one.ground.z, other.ground.z, equal_nan=True)
        and kept.is_same(one.solids, other.solids)
        and kept.is_same(one.foliage, other.foliage)
        and kept.is_same(one.protect, other.protect)
        and kept.is_same(one.mounts, other.mounts)
        and one.doubts == other.doubts
    )


def changed_tables(tables):
    """The demo with a wall more, the hedge gone, the yard moved, a pole moved within its ground."""
    mounts = [tables["mount"][0], {**tables["mount"][1], "at": [560038.8, 4950025.6]}]
    yard = tables["protect"][0]
    moved = {**yard, "outline": [[x + 0.5, y] for x, y in yard["outline"]]}
    return [
        {**tables, "solid": [*tables["solid"], WALL]},
        {**tables, "foliage": []},
        {**tables, "protect": [moved, tables["protect"][1]]},
        {**tables, "mount": mounts},
        {**tables, "walk": [], "boundary": {"outline": yard["outline"]}, "nuisance": []},
    ]


def test_a_thing_drawn_otherwise_reads_nothing_again(demo, monkeypatch):
    """Each change gives the terrain that a fresh reading gives, with the survey shut."""
    folder, tables, (site, read) = demo
    cases = []
    for new in changed_tables(tables):
        fresh = anew(folder, new)
        # Another middle of the site is another frame, and another pole other ground; here both stay.
        is_alike = fresh.terrain.ground.bounds == site.terrain.ground.bounds
        if is_alike and fresh.terrain.frame == site.terrain.frame:
            cases.append((new, fresh))
    assert len(cases) >= 3
    nothing_is_read(monkeypatch)
    for new, fresh in cases:
        live, _ = again(folder, new, read)
        assert is_same(live.terrain, fresh.terrain)
    for new in changed_tables(tables):
        again(folder, new, read)


def test_what_did_not_change_is_the_very_same(demo, monkeypatch):
    """Ground, solids and leaves that no change is about stay the values they were, and sight of them true."""
    folder, tables, (site, read) = demo
    nothing_is_read(monkeypatch)
    same, _ = again(folder, tables, read)
    assert same.terrain is site.terrain
    walled, of_wall = again(folder, {**tables, "solid": [*tables["solid"], WALL]}, read)
    assert walled.terrain.ground is site.terrain.ground
    assert walled.terrain.foliage is site.terrain.foliage
    assert walled.terrain.solids is not site.terrain.solids
    back, _ = again(folder, tables, of_wall)
    assert is_same(back.terrain, site.terrain)


def test_the_frame_stays_where_the_middle_of_the_site_moves(demo):
    """Protected ground far to one side moves the middle of a site opened anew, and not of this one."""
    folder, tables, (site, read) = demo
    far = {"name": "far", "outline": [[560045.0, 4950035.0], [560049.0, 4950035.0], [560049.0, 4950039.0]]}
    new = {**tables, "protect": [*tables["protect"], far]}
    live, _ = again(folder, new, read)
    assert live.terrain.frame == site.terrain.frame
    assert anew(folder, new).terrain.frame != site.terrain.frame


def test_more_ground_is_read_where_it_is_asked_for_and_forgotten_again(demo):
    """A pole at the edge has more ground read; when it is gone the numbers are those of before."""
    folder, tables, (site, read) = demo
    pole = {"name": "far pole", "at": [560012.0, 4950012.0]}
    wide, of_wide = again(folder, {**tables, "mount": [*tables["mount"], pole]}, read)
    assert wide.terrain.ground.z.size > site.terrain.ground.z.size
    part = site.terrain.ground.part_of(wide.terrain.ground)
    known = site.terrain.ground.known & wide.terrain.ground.known[part]
    off = np.abs(wide.terrain.ground.z[part] - site.terrain.ground.z)[known]
    assert np.median(off) < 0.01
    back, _ = again(folder, tables, of_wide)
    assert is_same(back.terrain, site.terrain)
    assert np.array_equal(back.terrain.ground.z, site.terrain.ground.z, equal_nan=True)


def test_an_outline_that_says_how_returns_are_taken_sorts_them_again_without_the_file(demo, monkeypatch):
    """Without its outline the returns of the drawn wall stand there again, as a fresh reading has it."""
    folder, tables, (site, read) = demo
    new = {**tables, "treat": []}
    fresh = anew(folder, new)

    def nobody(*_args, **_keys):
        raise AssertionError("the file is read again")

    monkeypatch.setattr(read_ground, "read_tiles", nobody)
    live, _ = again(folder, new, read)
    assert is_same(live.terrain, fresh.terrain)
    assert not is_same(live.terrain, site.terrain)


def test_another_ground_is_read(demo):
    """Where [ground] says something else, what was read does not count."""
    folder, tables, (site, read) = demo
    new = {**tables, "ground": {**tables["ground"], "eaves": 0.0}}
    live, _ = again(folder, new, read)
    assert live.terrain.frame == site.terrain.frame
    assert not any("roofs are taken" in doubt for doubt in live.terrain.doubts)
    assert any("roofs are taken" in doubt for doubt in site.terrain.doubts)


def test_drawn_ground_follows_its_table():
    """A plane that falls otherwise is another ground at once; with one fall it is the very same."""
    tables = {
        "site": {"name": "slope", "cell": 0.5},
        "ground": {"plane": {"fall": 10, "towards": 90, "extent": 20}},
        "mount": [{"name": "pole", "at": [0, 0]}],
    }
    first, read = build.build_surveyed(Site.model_validate(tables), Path(), 12.0)
    same, read = build.build_surveyed(Site.model_validate(tables), Path(), 12.0, before=read)
    assert same is first
    tables["ground"] = {"plane": {"fall": 20, "towards": 90, "extent": 20}}
    steep, _ = build.build_surveyed(Site.model_validate(tables), Path(), 12.0, before=read)
    assert steep.ground.height_at(5.0, 0.0) == pytest.approx(-1.0)


def test_a_whole_survey_is_looked_at_as_coarsely_as_it_must_be(demo):
    """Where nothing is drawn all of the survey is shown, in no more cells than are allowed."""
    folder, tables, _ = demo
    bare = {key: tables[key] for key in ("site", "ground")}
    site = Site.model_validate(bare)
    fine, _ = build.build_surveyed(site, folder, 12.0, most_cells=1_000_000)
    coarse, _ = build.build_surveyed(site, folder, 12.0, most_cells=5_000)
    assert fine.ground.cell_m == 0.25
    assert coarse.ground.z.size <= 5_000
    assert coarse.ground.cell_m == pytest.approx(1.0)
    # The demo's survey is 60 by 50 m.
    for ground in (fine.ground, coarse.ground):
        west, south, east, north = ground.bounds
        assert east - west == pytest.approx(60.0, abs=2.0)
        assert north - south == pytest.approx(50.0, abs=2.0)
