"""What needs no ground is told before the survey is opened: reading one may take minutes."""

import json
from pathlib import Path

import pytest
from site_files import OWN_TYPE, YARD, option_text

from terrain3d.cli.main import main
from terrain3d.errors import InputError
from terrain3d.job import run
from terrain3d.ready import option_types, ready_site
from terrain3d.search.propose import propose_for
from terrain3d.search.run import read_search
from terrain3d.study import study_of

SITE = YARD.replace("plane = { fall = 5, towards = 180, extent = 30 }", 'file = "survey.laz"') + option_text(
    "down", bearing=180
)
MOUNT = SITE[SITE.index("[[mount]]") : SITE.index("[[protect]]")]
OWN_TESTS = """
status = "invented"
[[test]]
name = "creep"
walk = "to"
speed = [0.0, 0.3, 0.3, 0.3]
figure = ["ghost", "person", "ghost", "person"]
"""


class _OpenedError(Exception):
    """The survey was opened."""


def quiet(_step, _share):
    """Progress that nobody looks at."""


@pytest.fixture
def site(tmp_path, monkeypatch) -> Path:
    """A site whose survey must not be opened, with mounts in a map file, a type and tests beside it."""

    def opened(*_args, **_keys):
        raise _OpenedError

    monkeypatch.setattr("terrain3d.survey.build.read_headers", opened)
    monkeypatch.setattr("terrain3d.survey.read_ground.read_tiles", opened)
    (tmp_path / "own.toml").write_text(OWN_TYPE, encoding="utf-8")
    (tmp_path / "tests.toml").write_text(OWN_TESTS, encoding="utf-8")
    place = {"type": "Point", "coordinates": [5.0, 45.0]}
    feature = {"type": "Feature", "properties": {"name": "north pole"}, "geometry": place}
    mounts = {"type": "FeatureCollection", "features": [feature]}
    (tmp_path / "mounts.geojson").write_text(json.dumps(mounts), encoding="utf-8")
    path = tmp_path / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    return path


def looked_at(site: Path) -> None:
    propose_for(site, 5.0, quiet)


def searched(site: Path) -> None:
    read_search(site, quiet)


def studied(site: Path) -> None:
    study_of(run(site))


JOBS = (run, studied, searched, looked_at)
IN_A_FILE = '[[mount]]\nfile = "mounts.geojson"\n'


@pytest.mark.parametrize("job", JOBS)
def test_a_site_without_a_mistake_has_its_survey_opened(site, job):
    """So the other tests cannot pass for want of a survey."""
    with pytest.raises(_OpenedError):
        job(site)


@pytest.mark.parametrize("job", JOBS)
@pytest.mark.parametrize(
    ("edit", "where", "says"),
    [
        (("cell = 0.5", 'figure = "persom"'), "site: figure", "did you mean 'person'"),
        (("path =", 'figure = "gost"\npath ='), "walk 'across': figure", "unknown figure 'gost'"),
        (("[[walk]]", '[routes]\nfigure = "dogg"\n[[walk]]'), "routes: figure", "did you mean 'dog'"),
        (("[[walk]]", '[walk_test]\nfile = "no.toml"\n[[walk]]'), "no.toml", "no such file"),
        (
            ("[[walk]]", '[walk_test]\nfile = "tests.toml"\ngrade = 3\n[[walk]]'),
            "tests.toml: test 'creep': figure",
            "unknown figure 'ghost'",
        ),
        (("[[walk]]", '[sun]\nzone = "Europe/Pari"\n[[walk]]'), "sun: zone", "did you mean 'Europe/Paris'"),
        (("[3, -2], [3, 4]", "[3, 4], [3, -2]"), "protect 'yard'", "crosses or touches itself"),
        (
            (
                "[[walk]]",
                '[[solid]]\nname = "w"\npath = [[1, 1], [1, 1]]\nheight = 1\nthickness = 1\n[[walk]]',
            ),
            "solid 'w': path",
            "no length",
        ),
        (
            (
                "[[walk]]",
                '[[nuisance]]\nname = "n"\npath = [[1, 1], [1, 1]]\nwidth = 1\nheight = 1\n[[walk]]',
            ),
            "nuisance 'n': path",
            "no length",
        ),
        (("[[walk]]", '[[beyond]]\nfile = "no.gpkg"\n[[walk]]'), "no.gpkg", "no such file"),
        ((MOUNT, IN_A_FILE + MOUNT.replace("pole", "north pole")), "mount 'north pole'", "names must differ"),
        (("cell = 0.5", "cell = 50"), "site: cell", "out of bounds"),
    ],
)
def test_mistakes_of_a_site_are_told_first_by_every_job(site, job, edit, where, says):
    """Figures, walk tests, the time zone and shapes, those of map files too: what, where, mend."""
    assert edit[0] in SITE
    site.write_text(SITE.replace(*edit, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        job(site)
    assert where in caught.value.where
    assert str(site.parent) in caught.value.where
    assert says in str(caught.value)
    assert caught.value.mend


@pytest.mark.parametrize("job", [run, studied])
@pytest.mark.parametrize(
    ("edit", "where", "says"),
    [
        (('mount = "pole"', 'mount = "poole"'), "option 'down', detector 'D1': mount", "did you mean 'pole'"),
        ((MOUNT, IN_A_FILE), "option 'down', detector 'D1': mount", "known: north pole"),
        (("one-head-90", "one-head-09"), "detector 'D1': type", "did you mean 'one-head-90'"),
        (("one-head-90", "no.toml"), "detector 'D1': type, in ", "no such file"),
        (("bearing = 180", "bearing = 180\nrange = 11"), "detector 'D1': range", "it has 4, 6, 8, 10, 12"),
        (("bearing = 180", "bearing = 180\npulses = 2"), "detector 'D1': pulses", "it has 1, 3"),
        (("bearing = 180", "bearing = 180\npan = [1, 2]"), "detector 'D1': pan", "one angle for each head"),
        ((SITE[SITE.index("[[option]]") :], ""), "site.toml", "no [[option]]"),
    ],
)
def test_mistakes_of_an_option_are_told_first(site, job, edit, where, says):
    """A mount that is not there, wherever mounts are drawn, and what the type cannot do."""
    assert edit[0] in SITE
    site.write_text(SITE.replace(*edit, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        job(site)
    assert where in caught.value.where
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("more", "where", "says"),
    [
        ('types = ["one-head-09"]', "search: types", "did you mean 'one-head-90'"),
        ("types = []", "search: types", "no type is to be searched"),
        ("ranges = [5]", "search: ranges", "they have 4, 6, 8, 10, 12"),
        ("bearing_step = 7", "search: bearing_step", "does not divide the circle"),
        ("tilts = [40]", "search: tilts", "at most 30"),
        ("units = 0", "search: units", "at least 1"),
        ('types = ["own.toml"]\nbudget = 100', "search: budget", "own.toml has no price"),
    ],
)
def test_mistakes_of_a_search_are_told_first(site, more, where, says):
    """Types, settings and limits."""
    site.write_text(f"{SITE}[search]\n{more}\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        searched(site)
    assert where in caught.value.where
    assert says in str(caught.value)


def test_a_search_without_a_mount_for_its_types_is_told_first(site):
    """Mounts and what may not be fixed to them are known without the ground."""
    site.write_text(SITE.replace(MOUNT, ""), encoding="utf-8")
    with pytest.raises(InputError, match=r"no \[\[mount\]\]"):
        searched(site)
    barred = MOUNT + 'not_for = ["one-head-90", "two-head-180"]\n'
    site.write_text(SITE.replace(MOUNT, barred), encoding="utf-8")
    with pytest.raises(InputError, match="no mount that any of the types may be fixed to"):
        searched(site)


def test_options_are_no_concern_of_a_search(site):
    """One that names a mount that is gone keeps nobody from looking for places or for settings."""
    site.write_text(SITE.replace('mount = "pole"', 'mount = "gone"'), encoding="utf-8")
    for job in (searched, looked_at):
        with pytest.raises(_OpenedError):
            job(site)


def test_what_is_ready_is_what_the_file_says(site):
    """Figures, tests, types and shapes come along, the shapes of map files with the others."""
    tests = '[walk_test]\nfile = "tests.toml"\ngrade = 2\n[routes]\nfigure = "dog"\n'
    site.write_text(SITE.replace(MOUNT, MOUNT + IN_A_FILE) + tests, encoding="utf-8")
    ready = ready_site(site)
    assert (ready.figure.name, ready.walker.name, ready.tests.status) == ("person", "dog", "invented")
    assert [mount.name for mount, _ in ready.shapes.mount] == ["pole", "north pole"]
    assert list(option_types(ready)) == ["one-head-90"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("cover",), "did you mean 'pole'"),
        (("compare",), "did you mean 'pole'"),
        (("study",), "did you mean 'pole'"),
        (("stills",), "did you mean 'pole'"),
        (("view",), "did you mean 'pole'"),
        (("view", "--study"), "did you mean 'pole'"),
        (("stills", "--unit", "D2"), "no option has a unit 'D2'"),
        (("stills", "--bearing", "nan"), "nan is no finite number"),
        (("study", "--part", "walks", "--draws", "3"), "--draws counts the draws of the doubt"),
        (("mounts", "--every", "nan"), "nan is no finite number"),
        (("cover", "--out", "taken"), "there is a file of that name"),
        (("compare", "--out", "taken"), "there is a file of that name"),
        (("study", "--out", "taken"), "there is a file of that name"),
        (("stills", "--out", "taken"), "there is a file of that name"),
        (("mounts", "--out", "taken"), "there is a file of that name"),
        (("search", "--out", "taken"), "there is a file of that name"),
        (("search", "--out", "kept"), "there is a file of that name"),
        (("search", "--out", "taken/below"), "Not a directory"),
    ],
)
def test_on_the_command_line_nothing_waits_for_the_survey(site, monkeypatch, capsys, words, says):
    """The command's own words, the folder it writes to, the site file's mistakes: status 2, nothing left."""
    monkeypatch.setattr("terrain3d.show.window.views.check_display", lambda: None)
    monkeypatch.chdir(site.parent)
    for name in ("taken", "kept.judged"):
        Path(name).write_text("in the way")
    site.write_text(SITE.replace('mount = "pole"', 'mount = "poole"'), encoding="utf-8")
    before = sorted(site.parent.iterdir())
    with pytest.raises(SystemExit) as leaving:
        main([words[0], str(site), *words[1:]])
    assert leaving.value.code == 2
    assert says in capsys.readouterr().err
    assert sorted(site.parent.iterdir()) == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("sheet", "--option", "gone"), "there is no option 'gone'"),
        (("walktest", "--option", "gone"), "there is no option 'gone'"),
        (("sheet", "--on", "2040-01-01"), "no magnetic model covers 2040-01-01"),
    ],
)
def test_what_is_taken_to_a_site_waits_for_no_survey(site, monkeypatch, capsys, words, says):
    """An option that is not there, a day that no model of the compass covers."""
    monkeypatch.chdir(site.parent)
    with pytest.raises(SystemExit) as leaving:
        main([words[0], str(site), *words[1:]])
    assert leaving.value.code == 2
    assert says in capsys.readouterr().err
    assert not Path("out").exists()


@pytest.mark.parametrize("command", ["search", "mounts"])
@pytest.mark.parametrize("fault", ["locked", "braces"])
def test_a_file_that_will_not_take_what_is_found_is_told_first(site, capsys, monkeypatch, command, fault):
    """With --write: a file marked as not to be written, or laid out so that no table can be added."""
    monkeypatch.chdir(site.parent)
    if fault == "locked":
        site.chmod(0o444)
    elif command == "mounts":
        site.write_text(SITE.replace(MOUNT, "").replace("[site]", "mount = []\n[site]", 1), encoding="utf-8")
    else:
        head = SITE[: SITE.index("[[option]]")]
        site.write_text(head.replace("[site]", "option = []\n[site]", 1), encoding="utf-8")
    with pytest.raises(SystemExit) as leaving:
        main([command, str(site), "--write"])
    assert leaving.value.code == 2
    said = "may not be written" if fault == "locked" else "is laid out so that no"
    assert said in capsys.readouterr().err
