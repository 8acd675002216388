"""Work beside the page: a study laid on the ground, a search whose set is taken, and both stopped."""

import csv
import io
import json
import time

import numpy as np
import pytest
from PIL import Image
from site_files import run as run_command

from terrain3d.draft.document import checked_draft
from terrain3d.job import judge_ready
from terrain3d.study import study_of


def wait(page, seconds=240):
    """Look after the work as a server does, until it has ended."""
    steps = []
    for _ in range(20 * seconds):
        page.session.tick()
        work = page.state["work"]
        if work is None:
            return steps
        steps.append((work["share"], work["words"]))
        time.sleep(0.05)
    raise AssertionError("the work does not end")


def test_a_study_is_laid_on_the_ground_and_listed(page):
    """What the page shows of animals is what the study itself says, and the ground can be coloured by it."""
    assert page.state["grounds"] == ["verdicts"]
    page("study", parts=["animals", "close-in"])
    assert page.state["work"]["what"] == "study"
    page.refuses("search", "something else is being done", units=1)
    wait(page)
    assert page.state["grounds"] == ["verdicts", "animals"]
    verdicts = page.session.frame().jpeg
    page("ground", kind="animals")
    assert page.session.frame().jpeg != verdicts
    own = study_of(judge_ready(checked_draft(page.session.draft)), ("animals",))
    shown = page.session.study
    for name in own.outcome.ranking:
        told = [animal.area_m2 for animal in shown.of(name).animals.animals]
        assert told == [animal.area_m2 for animal in own.of(name).animals.animals]
    rows = [row["words"] for row in page.state["found"]["rows"]]
    assert any("animals" in row for row in rows)
    # Set otherwise the option is no longer the one that was studied, and taken back it is.
    page("choose_unit", option=page.session.now.option.name, unit="D1")
    page("set", setting="tilt", value=5)
    assert page.state["ground"] == "verdicts"
    page("undo")
    assert page.state["ground"] == "animals"


def test_a_study_of_a_site_that_was_begun_elsewhere_still_lies_on_its_ground(empty_page):
    """Drawn from nothing the frame is that of the beginning; the study is shown all the same."""
    page = empty_page
    page("begin_points", name="Levels", points=[[0, 0, 0], [30, 0, 1], [30, 30, 4], [0, 30, 3]])
    page("draw", kind="mount", points=[[15.0, 15.0]], name="pole")
    page("add_unit", option=None, mount="pole", type="one-head-90")
    page("study", parts=["animals"])
    wait(page)
    assert "animals" in page.state["grounds"]


def test_a_set_that_was_found_becomes_an_option_with_one_click(page):
    """Taken, it holds what the search says that it holds, to the whole percent."""
    page("value", id="search", key="bearing_step", value=30)
    page("value", id="search", key="tilts", value=[-6, 0])
    page("value", id="search", key="types", value=["one-head-90"])
    page("search", units=1)
    wait(page)
    (best, *_) = page.state["found"]["rows"]
    share = best["words"].rsplit(" ", 1)[1]
    before = page.text
    page.session.do(best["do"])
    assert page.state["options"][0]["is_shown"] or page.session.now.option.name in best["words"]
    taken = page.session.now.option
    held = taken.protect[0].both_fraction
    assert f"{held:.0%}" == share
    page("undo")
    assert page.text == before


def test_mounts_that_are_proposed_can_be_taken(page):
    """A place beside what is drawn, put into the site with one click."""
    page("propose_mounts", every_m=5)
    wait(page)
    row = next(row for row in page.state["found"]["rows"] if row["do"])
    count = len(page.session.site.terrain.mounts)
    page.session.do(row["do"])
    assert not page.state["said"]["is_refusal"], page.said
    assert len(page.session.site.terrain.mounts) == count + 1


def test_work_is_stopped_at_once(page):
    """Stopped, there is nothing to wait for and nothing found, and other work can be begun."""
    page("study", parts=["doubt"])
    page("stop")
    assert page.state["work"] is None
    page.session.tick()
    assert page.state["found"] is None
    page("study", parts=["close-in"])
    wait(page)
    assert page.state["found"] is not None


def test_work_for_a_site_ends_when_the_site_is_left(page):
    """Before anything is open nobody could see it or stop it, and it would hold up the work of the next."""
    page("study", parts=["doubt"])
    page("drop")
    assert not page.session.work.is_busy
    page("open", file="site.toml")
    assert page.state["work"] is None
    page("study", parts=["close-in"])
    wait(page)
    assert page.state["found"] is not None


def test_what_cannot_be_studied_is_said(empty_page):
    """Without a unit there is nothing to study; of parts there are those that there are."""
    page = empty_page
    page("begin_plane", fall=12, towards=180, extent=30, name="Yard")
    page.refuses("study", "no option")
    page.refuses("study", "no such part", parts=["weather"])
    page.refuses("take_found", "nothing to take", row=0)


def test_a_still_has_the_picture_and_says_what_it_is(page):
    """What is seen, whole, with the caution under it (every output carries it)."""
    page("moving", is_moving=True)
    answer = page("still")
    data, kind = page.session.picture("still")
    assert kind == "image/png"
    assert answer["url"].startswith("/picture/still")
    still = np.asarray(Image.open(io.BytesIO(data)))
    page("moving", is_moving=False)
    seen = np.asarray(Image.open(io.BytesIO(page.session.frame().jpeg)))
    height, width = seen.shape[:2]
    assert still.shape[1] == width
    assert still.shape[0] > height + 30
    assert np.abs(still[:height].astype(int) - seen).mean() < 3
    assert (still[height:] < 128).any()


@pytest.mark.parametrize("key", ["units", "budget"])
def test_numbers_of_a_search_have_bounds(page, key):
    """A search for a thousand units, or for less than nothing, is refused."""
    page.refuses("search", key, **{key: -5})


def test_what_is_handed_over_is_what_the_commands_write(page, folder):
    """Sheet and walk test of an option to the byte as by command, where they were put, and what they say."""
    site = folder / "site.toml"
    page("sheet", option="from below", on="2026-05-03")
    assert page.state["work"]["what"] == "sheet"
    wait(page)
    assert page.said == "The fixing sheet is done"
    found = page.state["found"]
    assert found["title"] == "Fixing sheet, written into the folder out"
    rows = [row["words"] for row in found["rows"]]
    assert rows[:2] == ["sheet.pdf", "results.json"]
    assert any("1.00 m" in row for row in rows)
    there = {name: (folder / "out" / name).read_bytes() for name in ("sheet.pdf", "results.json")}
    words = ("--option", "from below", "--on", "2026-05-03", "--out", folder / "by command")
    assert run_command("sheet", site, *words) == 0
    assert there == {name: (folder / "by command" / name).read_bytes() for name in there}
    page("walktest", option="from below")
    wait(page)
    assert [row["words"] for row in page.state["found"]["rows"]][:3] == [
        "walktest.csv", "walktest.pdf", "results.json",
    ]  # fmt: skip
    there = {name: (folder / "out" / name).read_bytes() for name in ("walktest.csv", "walktest.pdf")}
    assert run_command("walktest", site, *words[:2], *words[4:]) == 0
    assert there == {name: (folder / "by command" / name).read_bytes() for name in there}
    assert site.read_text(encoding="utf-8") == page.text


def test_a_walk_test_is_read_and_taken_as_the_command_writes_it(page, folder):
    """A nose 2 degrees too low (of a second site set so) is told; taken, the draft is what --write makes."""
    site = folder / "site.toml"
    assert page("walk_sheets")["files"] == []
    words = ("--option", "from below", "--out", folder / "out")
    assert run_command("walktest", site, *words) == 0
    sheet = list(csv.DictReader(io.StringIO((folder / "out" / "walktest.csv").read_text("utf-8"))))
    other = folder / "other"
    other.mkdir()
    text = site.read_text(encoding="utf-8")
    (other / "site.toml").write_text(text.replace("tilt = -6", "tilt = -3"), encoding="utf-8")
    write_sheet(other / "sheet.csv", sheet, {})
    words_there = ("--read", other / "sheet.csv", *words[:2], "--out", other / "out")
    assert run_command("walktest", other / "site.toml", *words_there) == 0
    option = next(
        one
        for one in json.loads((other / "out" / "results.json").read_text("utf-8"))["options"]
        if one["name"] == "from below"
    )
    seen = {
        str(point["number"]): "yes" if point["expect"] == "lights" else "no"
        for point in option["walktest"]["points"]
    }
    write_sheet(folder / "answers.csv", sheet, seen)
    assert page("walk_sheets")["files"] == ["answers.csv", "out/walktest.csv"]
    page("read_walks", option="from below", file="answers.csv", on="2026-05-03")
    wait(page)
    rows = page.state["found"]["rows"]
    assert "the nose is" in rows[0]["words"]
    assert "too low" in rows[0]["words"]
    assert [row["do"] for row in rows[:-1]] == [None] * (len(rows) - 1)
    assert site.read_text(encoding="utf-8") == text
    before = page.text
    page.session.do(rows[-1]["do"])
    assert page.session.now.option.name == "from below, as it hangs"
    assert run_command("walktest", site, "--read", folder / "answers.csv", "--write", "--on", "2026-05-03",
                       *words) == 0  # fmt: skip
    assert page.text == site.read_text(encoding="utf-8")
    page("undo")
    assert page.text == before


def write_sheet(path, rows, seen):
    """The sheet of a walk test as somebody fills it in: as the map expects, where nothing else is told."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows({**row, "seen": seen.get(row["point"], row["expect"])} for row in rows)


def test_a_pack_is_put_into_a_folder_of_its_own(page, folder):
    """Every kind that a site in local metres has; stopped, nothing is left, not even the folders."""
    page("pack")
    assert page.state["work"]["what"] == "pack"
    page("stop")
    assert sorted(path.name for path in folder.iterdir() if not path.name.startswith(".")) == ["site.toml"]
    page("pack")
    wait(page)
    found = page.state["found"]
    assert found["title"] == "Pack, written into the folder out/pack"
    rows = {row["words"] for row in found["rows"]}
    assert {"report.pdf", "scene.html", "tables.xlsx", "tables/options.csv"} <= rows
    assert all((folder / "out" / "pack" / row).is_file() for row in rows)


@pytest.mark.parametrize(
    ("do", "words", "keys"),
    [
        ("sheet", "no option 'nobody'", {"option": "nobody"}),
        ("sheet", "is no day", {"on": "tomorrow"}),
        ("read_walks", "outside of the folder", {"file": "../answers.csv", "on": "2026-05-03"}),
        ("read_walks", "on is missing", {"file": "answers.csv"}),
    ],
)
def test_what_cannot_be_handed_over_is_refused(page, do, words, keys):
    page.refuses(do, words, **keys)
    assert page.state["work"] is None


def test_a_sheet_that_is_none_is_told_in_words(page, folder):
    (folder / "answers.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    page("read_walks", file="answers.csv", on="2026-05-03")
    wait(page)
    assert page.state["said"]["is_refusal"]
    assert "there is no column 'point'" in page.said
