"""A whole search: against brute force over sets, stopped and gone on with, and as the command writes it."""

import itertools
import json
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from blank_pages import draw_blanks
from small_sites import coarse, every_setting, held_by_cover, hillside, weight_of

from terrain3d.cli.main import main
from terrain3d.detector.pose import in_head, posed_heads
from terrain3d.errors import InputError
from terrain3d.opened import site_of
from terrain3d.paper.search import search_part, search_results_json
from terrain3d.ranking.compare import held_m2
from terrain3d.search.best import Limits
from terrain3d.search.checkpoint import Checkpoint
from terrain3d.search.result import as_options
from terrain3d.search.run import Search, in_threads, open_checkpoint, read_search, run_search, tilts_for
from terrain3d.search.target import target_of
from terrain3d.sentences.search import search_why
from terrain3d.terrain import Mount

MOUNTS = (
    Mount("west", -8.0, -3.0, (1.0,)),
    Mount("middle", -1.0, -5.0, (0.8, 1.0)),
    Mount("east", 8.0, 1.0, (1.2,), ("two-head-180",)),
)


def quiet(_step, _share):
    """Progress that nobody looks at."""


def search(mounts=MOUNTS, space=None, **limits) -> Search:
    terrain = hillside(mounts)
    space = space or coarse()
    return Search(site_of(terrain, "small"), space, target_of(terrain, 1.7), Limits(**limits))


def brute(one: Search):
    """{(mount, setting): (ny, nx) held} of every setting of every mount, by `judge_option`."""
    return {
        (mount.name, setting): held_by_cover(one.terrain, one.space, mount, setting)
        for mount in one.terrain.mounts
        for setting in every_setting(one.space, mount)
    }


@pytest.fixture(scope="module")
def held():
    return brute(search())


def settings_of(choice):
    """The units of a choice as keys of `brute`."""
    return [
        (
            u.mount,
            (
                ("one-head-90", "two-head-180").index(u.type.name),
                u.height_m,
                u.bearing_deg,
                u.tilt_deg,
                u.range_m,
            ),
        )
        for u in choice.option.detectors
    ]


def test_the_best_unit_is_that_of_brute_force(held):
    """One unit: value, share and proof, and the numbers of the full judging."""
    one = search()
    weight, cell_m2 = weight_of(one.terrain), one.terrain.ground.cell_m**2
    most = max(float(weight[cells].sum()) for cells in held.values())
    result = run_search(one, quiet)
    assert result.settings_judged == len(held)
    assert result.best.held_m2 == pytest.approx(most * cell_m2)
    assert result.best.share == pytest.approx(most / weight.sum())
    assert (result.gap, result.gap_all) == (0.0, 0.0)
    (key,) = settings_of(result.best)
    assert float(weight[held[key]].sum()) == most
    assert held_m2(result.best.steady) == pytest.approx(result.best.held_m2)


def test_the_best_pair_and_the_runner_up_are_those_of_brute_force(held):
    """Two units on two mounts, over all settings, and the best pair with another mount or type in it."""
    one = search(units=2)
    weight, cell_m2 = weight_of(one.terrain), one.terrain.ground.cell_m**2
    pairs = {}
    keys = list(held)
    worth = np.array([weight[held[key]].sum() for key in keys])
    flat = np.array([held[key].ravel() for key in keys], float)
    both = worth[:, None] + worth[None, :] - (flat * weight.ravel()) @ flat.T
    for a, b in itertools.combinations(range(len(keys)), 2):
        if keys[a][0] != keys[b][0]:
            kinds = frozenset([(keys[a][0], keys[a][1][0]), (keys[b][0], keys[b][1][0])])
            pairs[kinds] = max(pairs.get(kinds, 0.0), float(both[a, b]))
    result = run_search(one, quiet)
    assert result.best.held_m2 == pytest.approx(max(pairs.values()) * cell_m2)
    assert (result.gap, result.gap_all) == (0.0, 0.0)
    chosen = frozenset((mount, setting[0]) for mount, setting in settings_of(result.best))
    # A single unit counts among the others too: a second that adds nothing is not taken.
    others = [value for kinds, value in pairs.items() if kinds != chosen]
    assert result.runner_up.held_m2 == pytest.approx(max(others) * cell_m2)
    assert result.margin == pytest.approx(result.best.held_m2 - result.runner_up.held_m2)


def test_fewest_units_that_hold_a_share(held):
    """A share one unit cannot hold takes two, and no set is smaller."""
    one = search()
    weight = weight_of(one.terrain)
    alone = max(float(weight[cells].sum()) for cells in held.values()) / weight.sum()
    result = run_search(search(units=None, hold=alone * 1.05), quiet)
    assert len(result.best.option.detectors) == 2
    assert result.best.share >= alone * 1.05 - 1e-9
    assert result.gap == 0.0
    with pytest.raises(InputError, match="no set of units holds 100%"):
        run_search(search(units=None, hold=1.0), quiet)


def test_equals_go_to_more_slack():
    """Of all settings of the chosen type that hold as much, none has more slack."""
    small = np.array([[-3.0, -3], [-1, -3], [-1, -1], [-3, -1]])
    area = replace(hillside().protect[0], outline=small)
    terrain = hillside((Mount("south", -2.0, -8.0, (0.8, 1.0)),), protect=(area,))
    space = coarse(step_deg=15.0, ranges_m=(8.0, 12.0))
    one = Search(site_of(terrain, "small"), space, target_of(terrain, 1.7), Limits())
    result = run_search(one, quiet)
    assert result.best.share == pytest.approx(1.0)
    weight = weight_of(terrain)
    whole = weight.sum()
    full = {
        s
        for s in every_setting(space, terrain.mounts[0])
        if weight[held_by_cover(terrain, space, terrain.mounts[0], s)].sum() == whole
    }

    def slack(setting):
        """Steps to either side for which all of it stays held, as far as the search looks."""
        steps = 0
        while steps < 8:
            aims = [
                (setting[0], setting[1], (setting[2] + turn * 15.0 * (steps + 1)) % 360, *setting[3:])
                for turn in (-1, 1)
            ]
            share = [
                weight[held_by_cover(terrain, space, terrain.mounts[0], aim)].sum() / whole for aim in aims
            ]
            if min(share) < 0.95:
                break
            steps += 1
        return steps

    chosen = settings_of(result.best)[0][1]
    same_kind = [s for s in full if s[0] == chosen[0]]
    assert len(same_kind) > 5
    assert max(slack(s) for s in same_kind) == slack(chosen) == result.best.slack_deg / 15.0


def test_units_that_must_not_see_each_other_do_not():
    """Two poles in the open that face each other are never both set so; without the rule they are."""
    field = np.array([[-8.0, -9], [8, -9], [8, -3], [-8, -3]])
    area = replace(hillside().protect[0], outline=field)
    mounts = (Mount("west", -8.5, -6.0, (1.0,)), Mount("east", 2.0, -6.0, (1.0,)))
    terrain = hillside(mounts, protect=(area,))
    space = coarse(coarse().detector_types[:1], tilts_deg=(-6.0, -3.0, 0.0, 3.0, 6.0))
    base = Search(site_of(terrain, "apart"), space, target_of(terrain, 1.7), Limits(units=2))
    free = run_search(base, quiet)
    kept = run_search(replace(base, limits=Limits(units=2, apart=True)), quiet)

    def sees(unit, other):
        ray = np.subtract(other.eye, unit.eye)
        for head in posed_heads(unit):
            azimuth, elevation = in_head(head, ray)
            for layer in head.layers:
                if (
                    abs(azimuth) <= head.arc_deg / 2
                    and abs(elevation - layer.elevation_deg) <= layer.thickness_deg / 2
                ):
                    return True
        return False

    def facing(result):
        return any(sees(a, b) for a, b in itertools.permutations(result.best.option.detectors, 2))

    assert facing(free)
    assert not facing(kept)
    assert 0 < kept.best.held_m2 < free.best.held_m2


class _StoppedError(Exception):
    """Someone stops the search."""


def test_a_stopped_search_goes_on_and_ends_with_the_same_bytes(tmp_path):
    """After two of three mounts it is stopped; the rest is judged, and the results are those of one go."""
    one = search(units=2)
    done = []

    def stops(task, shared, items):
        for place, result in in_threads(task, shared, items):
            if len(done) == 2:
                raise _StoppedError
            done.append(place)
            yield place, result

    with pytest.raises(_StoppedError):
        run_search(one, quiet, open_checkpoint(tmp_path / "kept", one), stops)
    kept = open_checkpoint(tmp_path / "kept", one)
    assert sum(kept.load(mount) is not None for mount in MOUNTS) in (1, 2)
    judged = []

    def counts(task, shared, items):
        if not judged:
            judged.append(len(items))
        yield from in_threads(task, shared, items)

    def text(result):
        return search_results_json(result)

    resumed = run_search(one, quiet, kept, counts)
    assert judged[0] in (1, 2)
    assert text(resumed) == text(run_search(one, quiet))


def test_the_number_of_processors_changes_nothing(monkeypatch):
    """One worker, two, or more than there are mounts: the same results to the byte."""

    def text(n):
        monkeypatch.setattr("terrain3d.search.run.os.cpu_count", lambda: n)
        result = run_search(search(units=2), quiet)
        return search_results_json(result)

    assert text(1) == text(2) == text(7)


def test_a_changed_site_is_judged_anew(tmp_path):
    """Other inputs throw the kept mounts away and say so; another limit does not."""
    one = search()
    run_search(one, quiet, open_checkpoint(tmp_path / "kept", one))
    assert not open_checkpoint(tmp_path / "kept", replace(one, limits=Limits(units=3))).outdated
    assert open_checkpoint(tmp_path / "kept", one).load(MOUNTS[0]) is not None
    other = search(space=coarse(tilts_deg=(0.0,)))
    changed = open_checkpoint(tmp_path / "kept", other)
    assert changed.outdated
    assert changed.load(MOUNTS[0]) is None
    assert not list((tmp_path / "kept").glob("*.npz"))


def test_a_checkpoint_leaves_alone_what_it_did_not_write(tmp_path):
    """Arrays of the user's stay when finished mounts are thrown away; a file with its name is refused."""
    Checkpoint(tmp_path, "a" * 64)
    for name in ("mine.npz", "0123.npz", f"{'0' * 32}.npz"):
        (tmp_path / name).write_bytes(b"mine")
    assert Checkpoint(tmp_path, "b" * 64).outdated
    assert sorted(path.name for path in tmp_path.glob("*.npz")) == ["0123.npz", "mine.npz"]
    (tmp_path / "inputs.sha256").write_bytes(b"\xff mine")
    with pytest.raises(InputError, match="not written by terrain3d"):
        Checkpoint(tmp_path, "a" * 64)
    assert (tmp_path / "inputs.sha256").read_bytes() == b"\xff mine"


def test_a_broken_checkpoint_file_is_judged_again(tmp_path):
    """Half a file counts as none."""
    one = search()
    kept = open_checkpoint(tmp_path / "kept", one)
    run_search(one, quiet, kept)
    for path in (tmp_path / "kept").glob("*.npz"):
        path.write_bytes(path.read_bytes()[:100])
    assert all(kept.load(mount) is None for mount in MOUNTS)


def test_what_is_told_agrees_with_itself():
    """The part of results.json, the options to write back and the sentence are of one result."""
    result = run_search(search(units=2), quiet)
    part = search_part(result)
    assert part["settings_judged"] == result.settings_judged
    assert part["best"]["weighted_m2"]["surely"] == round(result.best.held_m2, 6)
    best, other = as_options(result)
    assert (best.name, other.name) == ("search: best", "search: runner-up")
    for unit, written in zip(result.best.option.detectors, best.detector, strict=True):
        assert (unit.mount, unit.bearing_deg, unit.range_m) == (written.mount, written.bearing, written.range)
    assert "Wherever each unit is aimed within 30 degrees" in search_why(result)


def test_tilts_follow_the_slope():
    """Level ground gives the least span, a 17 % hillside up to ten degrees."""
    assert tilts_for(hillside(), target_of(hillside(), 1.7))[-1] >= 6
    flat = hillside()
    flat = replace(flat, ground=replace(flat.ground, z=np.zeros(flat.ground.z.shape)))
    assert tilts_for(flat, target_of(flat, 1.7)) == tuple(float(t) for t in range(-4, 5))


SITE = """
[site]
name = "Invented bank"
cell = 0.5
[ground]
plane = {{ fall = 8, towards = 135, extent = 24 }}
[search]
bearing_step = 30
tilts = [0]
{more}
[[mount]]
name = "pole"
at = [-6.0, 0.0]
heights = [1.0]
[[mount]]
name = "post"
at = [5.0, 5.0]
heights = [1.0]
[[protect]]
name = "yard"
outline = [[-5, -5], [5, -5], [5, 5], [-5, 5]]
"""


def test_the_command_writes_results_and_pictures(tmp_path, capsys, monkeypatch):
    """End to end: results.json with its search part, the rasters, the stills, the table."""
    draw_blanks(monkeypatch)
    path = tmp_path / "site.toml"
    path.write_text(SITE.format(more=""))
    with pytest.raises(SystemExit) as left:
        main(["search", str(path), "--out", str(tmp_path / "out"), "--units", "2", "--stills", "best"])
    assert left.value.code == 0
    document = json.loads((tmp_path / "out" / "results.json").read_text())
    found = document["search"]
    assert found["settings_judged"] == 2 * 12 * 5 * 2
    assert found["limits"]["most_units"] == 2
    assert found["best"]["option"] == document["ranking"][0] == document["options"][0]["name"]
    assert list((tmp_path / "out" / "stills").glob("*.png"))
    printed = capsys.readouterr().out
    assert "settings judged" in printed
    assert "walk-test" in printed


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("ranges = [99]", "none of the types has any of these range settings"),
        ('types = ["own.toml"]\nbudget = 100', "a budget is given and type .* has no price"),
        ('types = ["one-head-09"]', "unknown detector type"),
    ],
)
def test_a_search_that_cannot_be_is_refused_with_its_key(tmp_path, more, says):
    """Faults of [search] name the key."""
    path = tmp_path / "site.toml"
    own = files("terrain3d.detector").joinpath("builtin", "one-head-90.toml").read_text()
    own = "".join(line for line in own.splitlines(keepends=True) if not line.startswith("price"))
    (tmp_path / "own.toml").write_text(own)
    path.write_text(SITE.format(more=more))
    with pytest.raises(InputError, match=says) as fault:
        read_search(path, quiet)
    assert "search: " in fault.value.where


def test_a_step_that_does_not_divide_the_circle_is_refused(tmp_path):
    """7 degrees would leave a gap in the north."""
    path = tmp_path / "site.toml"
    path.write_text(SITE.format(more="").replace("bearing_step = 30", "bearing_step = 7"))
    with pytest.raises(InputError, match="7 degrees does not divide the circle"):
        read_search(path, quiet)
