"""Sites opened, brought back and left: nothing of one is lost by another, or shown of it."""

import shutil
from importlib.resources import files

import numpy as np
import pytest
from made_files import write_tif
from rasterio.transform import from_origin

from terrain3d.draft.document import read_draft


def write_other(folder, *changes):
    """Another site beside the small one, changed in these words."""
    text = (folder / "site.toml").read_text(encoding="utf-8")
    for old, new in (('name = "slope"', 'name = "other slope"'), *changes):
        text = text.replace(old, new)
    (folder / "other.toml").write_text(text, encoding="utf-8")


def own_type(folder):
    """A type of the user's own beside the site file."""
    shutil.copy(str(files("terrain3d.detector") / "builtin" / "one-head-90.toml"), folder / "own.toml")


def test_what_was_asked_of_one_site_is_not_told_of_the_next(page, folder):
    """An answer and what work found are of the site that they were asked of."""
    write_other(folder)
    page("would_hold", x=0, y=5)
    page("study", parts=["animals"])
    assert page.state["why"]
    assert page.state["work"]
    page("open", file="other.toml")
    state = page.state
    assert state["site"]["name"] == "other slope"
    assert (state["why"], state["work"], state["found"]) == (None, None, None)


def test_what_is_still_dragged_is_kept_when_another_site_is_opened(page, folder):
    """The journal waits while something is dragged; it is written before its site is left."""
    write_other(folder)
    page("choose_unit", option="from below", unit="D1")
    page("set", setting="bearing", value=35, is_same=True)
    page("open", file="other.toml")
    page("open", file="site.toml")
    assert page.session.unit.bearing_deg == 35


def test_a_site_that_cannot_be_opened_leaves_the_units_of_the_one_that_is(page, folder):
    """What it says of units is its own."""
    write_other(
        folder,
        ("[ground]", '[paper]\nunits = "ft"\n[ground]'),
        ("plane = { fall = 10, towards = 180, extent = 30 }", 'file = "levels.csv"'),
    )
    (folder / "levels.csv").write_text("x,y,z\n1,2,high\n", encoding="utf-8")
    page("open", file="other.toml")
    state = page.state
    assert state["said"]["is_refusal"]
    assert (state["site"]["name"], state["units"]) == ("slope", "m")


@pytest.mark.parametrize("loss", ["a type", "the journal"])
def test_unsaved_work_that_cannot_be_brought_back_stays(page, folder, begin, loss):
    """The site is not opened without it: the next change would take its place."""
    own_type(folder)
    page("choose_unit", option="from below", unit="D1")
    page("type", type="own.toml")
    journal = folder / ".site.toml.unsaved"
    if loss == "a type":
        (folder / "own.toml").unlink()
    else:
        journal.write_text(journal.read_text()[:-2])
    kept = journal.read_bytes()
    again = begin(folder)
    again("open", file="site.toml")
    state = again.state
    assert state["said"]["is_refusal"]
    assert ".site.toml.unsaved" in state["said"]["text"]
    assert state["site"] is None
    again("set", setting="bearing", value=50)
    again("draw", kind="mark", points=[[1, 1]])
    assert journal.read_bytes() == kept


def test_a_new_site_that_was_never_saved_is_not_lost_to_another(tmp_path, begin):
    """It is offered after a crash, and nothing new is begun in its place until it is saved or left."""
    begin(tmp_path)("begin_plane", fall=5, towards=180, extent=30, name="first")
    again = begin(tmp_path)
    assert again.state["begin"]["unsaved"]
    again.refuses("begin_plane", "never saved", fall=5, towards=180, extent=30, name="second")
    again("bring_back")
    assert again.state["site"]["name"] == "first"
    again("drop")
    again("begin_plane", fall=5, towards=180, extent=30, name="second")
    assert again.state["site"]["name"] == "second"


def test_what_cannot_be_taken_back_leaves_the_draft_that_is_shown(page, folder):
    """A type that is gone since: text, views and what would be taken back stay as they were."""
    own_type(folder)
    page("choose_unit", option="from below", unit="D1")
    page("type", type="own.toml")
    page("type", type="one-head-90")
    (folder / "own.toml").unlink()
    label = page.state["site"]["undo"]
    page.refuses("undo", "no such file")
    assert page.state["site"]["undo"] == label


def test_a_journal_that_cannot_be_written_while_something_is_dragged_is_told(page, folder):
    """In words: it is no fault of the program."""
    page("choose_unit", option="from below", unit="D1")
    (folder / ".site.toml.unsaved").mkdir()
    page("set", setting="bearing", value=35, is_same=True)
    page.session.tick()
    assert "unsaved work cannot be kept" in page.said
    assert page.session.unit.bearing_deg == 35


def test_a_folder_that_is_taken_away_offers_nothing(tmp_path, begin):
    """Before anything is open it is looked at again and again."""
    (tmp_path / "farm").mkdir()
    page = begin(tmp_path / "farm")
    (tmp_path / "farm").rmdir()
    assert page.state["begin"] == {"unsaved": False, "sites": [], "surveys": []}


def test_levels_in_a_crs_are_set_by_the_table_that_shows_them(tmp_path, begin):
    """Northings of UTM are thousands of kilometres; a row more is a row more."""
    rows = [[500000.0, 5000000.0, 0.0], [500020.0, 5000000.0, 0.5], [500000.0, 5000020.0, 1.0]]
    text = f'[site]\nname = "yard"\ncrs = "EPSG:32631"\n[ground]\npoints = {rows}\n'
    (tmp_path / "site.toml").write_text(text, encoding="utf-8")
    page = begin(tmp_path)
    page("open", file="site.toml")
    shown = page.state["ground_table"]["rows"]
    assert shown == rows
    page("ground_set", points=[*shown, [500020.0, 5000020.0, 1.2]])
    assert not page.state["said"]["is_refusal"], page.said
    assert page.state["ground_table"]["rows"][-1] == [500020.0, 5000020.0, 1.2]


@pytest.mark.parametrize("how", ["brought back", "read again"])
def test_places_stay_in_the_degrees_of_a_survey(tmp_path, begin, how):
    """A place drawn after work was brought back, or read again, is as exact as before: to 1.1 mm."""
    steps = np.arange(60)
    z = 100 + 0.1 * steps[:, None] + 0 * steps
    write_tif(tmp_path / "survey.tif", z, from_origin(3.757, 44.7012, 1e-5, 1e-5), crs="EPSG:4326")
    path = tmp_path / "site.toml"
    text = '[site]\nname = "slope"\n[ground]\nfile = "survey.tif"\n[[mount]]\nname = "pole"\n'
    path.write_text(f"{text}at = [3.7573, 44.7009]\n", encoding="utf-8")
    page = begin(tmp_path)
    page("open", file="site.toml")
    if how == "brought back":
        page("draw", kind="mark", points=[[3.0, 3.0]], name="first")
        page = begin(tmp_path)
        page("open", file="site.toml")
        assert "brought back" in page.said
    else:
        path.write_text(read_draft(path).text.replace('"slope"', '"bank"'), encoding="utf-8")
        page("reread")
        assert page.state["site"]["name"] == "bank"
    page("draw", kind="mark", points=[[1.234, -2.345]], name="post")
    at = next(one["at"] for one in page.session.draft.get(("mark",)) if one["name"] == "post")
    x, y = page.session.site.terrain.frame.to_local(*map(np.array, at), page.session.site.site_crs)
    assert (float(x), float(y)) == pytest.approx((1.234, -2.345), abs=2e-3)


@pytest.mark.parametrize("name", ["yard\0", "yard\ud800"])
def test_letters_that_no_file_can_hold_are_refused_in_words(page, name):
    """NUL, and half of a pair of UTF-16 (RFC 3629, section 3: no character of UTF-8)."""
    page.refuses("open", "cannot be written", file=name)
