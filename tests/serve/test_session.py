"""A session opened, looked at, drawn in, aimed and taken back: picture, numbers and text tell one story."""

import io
import json

import numpy as np
import pytest
from PIL import Image

from terrain3d.cover.verdict import Verdict
from terrain3d.draft.document import checked_draft, read_draft
from terrain3d.job import judge_ready, run
from terrain3d.serve.session import Session
from terrain3d.survey import read_ground

#: The words of the verdicts (the design page, 2).
VERDICTS = {
    Verdict.BOTH: "both layers",
    Verdict.UPPER_ONLY: "upper only",
    Verdict.LOWER_ONLY: "lower only",
    Verdict.DEAD: "dead ground",
    Verdict.OUTSIDE: "outside",
}


def numbers(outcome):
    return {
        option.name: (
            option.area_m2,
            option.protect,
            option.causes,
            [one.option.area_m2 for one in option.scenarios],
        )
        for option in outcome.options
    }


def image(frame):
    return np.asarray(Image.open(io.BytesIO(frame.jpeg)).convert("RGB"))


def test_an_untouched_site_has_the_numbers_of_cover_to_the_digit(demo):
    """What the page shows of the demo is what the command writes of it, option by option, scenarios too."""
    written = run(demo.session.folder / "demo.toml")
    assert numbers(demo.session.now.outcome) == numbers(written)
    shown = {option["name"]: option for option in demo.state["options"]}
    assert [option["name"] for option in demo.state["options"]] == list(written.ranking)
    for option in written.options:
        whole = sum(area.area_m2 for area in option.protect)
        held = sum(area.area_m2 * area.both_fraction for area in option.protect) / whole
        assert shown[option.name]["held_share"] == pytest.approx(held)
    assert demo.state["site"]["unsaved"] == []


def test_the_state_is_plain_and_a_frame_comes_once(page):
    """All of the state can be written as JSON; a picture comes where it changed, and none where not."""
    json.dumps(page.state, allow_nan=False)
    first = page.session.frame()
    assert page.session.frame() is None
    assert first.size == image(first).shape[1::-1]
    page("turn", across=20, up=0)
    second = page.session.frame()
    assert second.serial == first.serial + 1
    assert (image(second) != image(first)).any()


def test_the_matrix_takes_a_place_to_where_it_is_drawn(page):
    """A pixel's ground, taken through the view's matrix, comes out at the pixel, in plan and side by side."""
    page("show_option", name="from the side")
    for go in ({}, {"do": "view", "view": "plan"}, {"do": "compare", "name": "from below"}):
        page.session.do(go)
        frame = page.session.frame()
        for pane in frame.panes:
            matrix = np.array(pane["matrix"]).reshape(4, 4)
            for share in (0.4, 0.5, 0.6):
                px, py = pane["x"] + share * pane["width"], pane["y"] + 0.55 * pane["height"]
                told = page("point", px=px, py=py)
                if told["ground"] is None:
                    continue
                x, y, _, w = matrix @ [*told["ground"], 1.0]
                assert pane["x"] + (x / w + 1) * pane["width"] / 2 == pytest.approx(px, abs=0.75)
                assert pane["y"] + (1 - y / w) * pane["height"] / 2 == pytest.approx(py, abs=0.75)
                assert told["option"] == pane["option"]


def test_pointing_tells_the_thing_and_the_verdict_there(page):
    """Over the wall the wall is told, in the yard the yard, and the verdict is that of the cell."""
    page("view", view="plan")
    frame = page.session.frame()
    (pane,) = frame.panes
    matrix = np.array(pane["matrix"]).reshape(4, 4)
    option = page.session.now.option
    ground = page.session.site.terrain.ground
    for (x, y), name in (
        ((-3.0, 4.0), "garden wall"),
        ((-1.2, 7.3), "yard"),
        ((8.0, 5.0), "side pole"),
        ((-9, -9), None),
    ):
        z = float(ground.height_at(x, y))
        u, v, _, w = matrix @ [x, y, z, 1.0]
        told = page("point", px=(u / w + 1) * pane["width"] / 2, py=(1 - v / w) * pane["height"] / 2)
        assert told["ground"][:2] == pytest.approx([x, y], abs=0.1)
        over = {one["id"]: one["name"] for one in page.state["things"]}.get(told["over"])
        assert over == name
        i, j = round((told["ground"][0] - ground.x0) / 0.5), round((told["ground"][1] - ground.y0) / 0.5)
        assert told["verdict"] == VERDICTS[Verdict(option.verdicts[j, i])]


def test_a_thing_drawn_reads_no_survey_and_looks_only_where_it_must(demo, monkeypatch):
    """A wall far from every pole has no eye look again; one before a pole has; either is in the numbers."""

    def nobody(*_args, **_keys):
        raise AssertionError("the survey is read again")

    monkeypatch.setattr(read_ground, "read_tiles", nobody)
    looks = demo.session.site.looks
    at, before = looks.looked, demo.session.now.outcome
    demo("draw", kind="wall", points=[[-11.0, 16.0], [-9.0, 16.0]], values={"height": 1.0})
    far = looks.looked - at
    demo("draw", kind="wall", points=[[-1.0, 1.0], [3.0, 1.0]], values={"height": 2.0})
    assert looks.looked - at > far
    now = demo.session.now.outcome
    assert numbers(now) != numbers(before)
    for _ in range(2):
        demo("undo")
    assert numbers(demo.session.now.outcome) == numbers(before)
    assert far == 0


def test_a_drawn_site_has_the_numbers_of_its_file(page, tmp_path):
    """After things were drawn, moved and aimed, saving and reading the file gives what the page shows."""
    page("draw", kind="wall", points=[[-2.0, 2.0], [0.0, 2.5]], name="new wall", values={"height": 0.9})
    page("draw", kind="hedge", points=[[-4.0, 6.0], [0.0, 6.5]], values={"density": 1.5})
    page("draw", kind="mount", points=[[-6.0, 5.0]], name="west pole")
    page("add_unit", option=None, mount="west pole", type="one-head-90")
    page("choose_unit", option="from below", unit="D1")
    page("set", setting="bearing", value=12.5)
    page("set", setting="tilt", value=-4)
    page("move", id=page.thing("yard")["id"], points=[[-4, 2], [4, 2], [4, 10], [-4, 10]])
    page("value", id=page.thing("garden wall")["id"], key="height", value=1.0)
    assert page.state["site"]["unsaved"]
    page("save")
    assert "Saved in site.toml" in page.said
    written = run(tmp_path / "site.toml")
    assert numbers(page.session.now.outcome) == numbers(written)
    assert page.state["site"]["unsaved"] == []


def test_a_setting_made_by_hand_is_in_the_text_at_once(page):
    """Views, figures and file tell one bearing; a drag of many steps is taken back in one, text and all."""
    page("choose_unit", option="from below", unit="D1")
    before, held = page.text, page.state["options"]
    for step in range(1, 9):
        page("set", setting="bearing", value=5.0 * step, is_same=step > 1)
        assert page.session.unit.bearing_deg == 5.0 * step
        assert checked_draft(page.session.draft).site.option[0].detector[0].bearing == 5.0 * step
    assert page.state["options"] != held
    page("undo")
    assert page.text == before
    assert page.session.unit.bearing_deg == 0.0
    assert page.state["options"] == held
    page("redo")
    assert page.session.unit.bearing_deg == 40.0
    assert "# of stone" in page.text


def test_what_is_judged_live_is_what_judging_anew_gives(page):
    """After a row of settings the option is to the digit what its text gives when it is judged afresh."""
    page("choose_unit", option="from the side", unit="D1")
    for setting, value, head in (
        ("height", 1.15, None), ("bearing", 255, None), ("tilt", 3, None), ("roll", -2, None),
        ("range", 8, 0), ("mask", [1, 2], 1), ("pan", -50, 0), ("pulses", 3, None),
    ):  # fmt: skip
        page("set", setting=setting, value=value, head=head)
        assert not page.state["said"]["is_refusal"], page.said
    fresh = judge_ready(checked_draft(page.session.draft))
    assert numbers(page.session.now.outcome) == numbers(fresh)
    assert page.session.now.option.detectors == fresh.option("from the side").detectors


def test_two_side_by_side_have_one_camera_and_what_each_gains(page):
    """Compared options are both drawn; ground gained and lost adds up to the difference of what they hold."""
    page("show_option", name="from below")
    page("compare", name="from the side")
    assert page.state["side"] == ["from the side", "from below"]
    frame = page.session.frame()
    left, right = frame.panes
    assert left["matrix"] == right["matrix"]
    assert left["width"] + right["width"] == frame.size[0]
    page("turn", across=15, up=5)
    left, right = page.session.frame().panes
    assert left["matrix"] == right["matrix"]
    rows = {
        row["text"]: row["figures"][0]
        for row in page.state["blocks"]
        if row["kind"] == "row" and row["figures"]
    }
    gained, lost = (float(rows[f"held by the {side} alone"].split()[0]) for side in ("right", "left"))
    outcome = page.session.now.outcome
    area = {
        option.name: option.protect[0].both_fraction * option.protect[0].area_m2 for option in outcome.options
    }
    assert gained - lost == pytest.approx(area["from below"] - area["from the side"], abs=1.0)
    page("compare", name=None)
    assert page.state["side"] == []
    assert len(page.session.frame().panes) == 1


def test_each_option_tells_its_worst_scenario(page):
    """The hedge takes ground, so the site as it is is the worst of the two."""
    for option in page.state["options"]:
        result = page.session.now.outcome.option(option["name"])
        held = [result.protect[0].both_fraction, result.scenarios[0].option.protect[0].both_fraction]
        assert option["worst"].startswith(f"{min(held):.0%}")


def test_pictures_beside_follow_the_unit(page):
    """Section and outlook are PNG, have a new address when the unit is turned, and the same one otherwise."""
    page("choose_unit", option="from below", unit="D1")
    before = page.state["section"], page.state["outlook"]
    assert (page.state["section"], page.state["outlook"]) == before
    shown = {name: page.session.picture(name) for name in ("section", "outlook")}
    page("set", setting="bearing", value=30)
    assert page.state["section"] != before[0]
    for name, (data, kind) in shown.items():
        assert kind == "image/png"
        assert Image.open(io.BytesIO(data)).size == (760, 250)
        assert page.session.picture(name)[0] != data
    assert page.session.picture("no such") is None
    page("choose", id=None)
    assert page.session.picture("section") is None
    assert page.state["section"] is None


def test_a_view_that_did_not_change_keeps_its_pixels(page):
    """While one of two options is set the other is not drawn again; the picture is what drawing all gives."""
    page("show_option", name="from below")
    page("compare", name="from the side")
    page("moving", is_moving=True)
    page.session.frame()
    for bearing in (10, 20, 30):
        page("set", setting="bearing", value=bearing, is_same=True)
        drawn = page.session.view.image().copy()
        page.session.view.stale |= {0, 1}
        # What is near and far of the one camera follows both views: a pixel of a line may come out otherwise.
        assert (page.session.view.image() != drawn).any(axis=-1).mean() < 1e-4
        page.session.frame()


def test_less_is_drawn_while_something_moves_and_the_verdicts_are_the_true_ones(page):
    """The ground has fewer faces while the hand moves; most of the picture stays as it is."""
    whole = image(page.session.frame())
    page("moving", is_moving=True)
    coarse = image(page.session.frame())
    assert np.abs(whole.astype(int) - coarse).mean() < 6
    page("moving", is_moving=False)
    assert np.array_equal(image(page.session.frame()), whole)


def test_leaves_have_fewer_faces_while_something_moves_and_are_hidden_then_too(demo):
    """Half of the faces of the demo are leaves; the picture hardly differs, and no leaf stays when hidden."""
    leaves = demo.session.view._panes[0].actors["foliage"]

    def faces():
        return sum(actor.mapper.dataset.n_cells for actor in leaves if actor.GetVisibility())

    demo("moving", is_moving=False)
    fine, whole = image(demo.session.frame()), faces()
    demo("moving", is_moving=True)
    assert np.abs(fine.astype(int) - image(demo.session.frame())).mean() < 6
    assert 0 < faces() < whole / 5
    demo("layer", name="foliage", is_shown=False)
    assert faces() == 0
    demo("layer", name="foliage", is_shown=True)
    demo("moving", is_moving=False)
    assert faces() == whole


def test_what_comes_into_the_folder_can_be_begun_with(page, folder):
    """Before anything is open the folder is looked at again, and each file of it is read once."""
    page("drop")
    assert page.state["begin"]["sites"] == ["site.toml"]
    text = (folder / "site.toml").read_text(encoding="utf-8")
    (folder / "other.toml").write_text(text, encoding="utf-8")
    assert page.session.tick()
    assert page.state["begin"]["sites"] == ["other.toml", "site.toml"]
    (folder / "other.toml").write_text("name = 'a type'\n", encoding="utf-8")
    assert page.state["begin"]["sites"] == ["site.toml"]


def test_two_sessions_on_one_file_tell_each_other_by_the_disk(page, folder):
    """What another saved meanwhile is noticed at the next look, and a save then asks who wins."""
    other = Session(folder, read_draft(folder / "site.toml"))
    other.do({"do": "draw", "kind": "mount", "points": [[3, -3]], "name": "theirs"})
    other.do({"do": "save"})
    other.end()
    page("draw", kind="mount", points=[[-3, -3]], name="mine")
    assert page.session.tick()
    assert not page.session.tick(), "told once"
    assert page.state["site"]["is_stale"]
    page.refuses("save", "changed on disk")
    page("keep_mine")
    page("save")
    assert "mine" in (folder / "site.toml").read_text(encoding="utf-8")
    assert "theirs" not in (folder / "site.toml").read_text(encoding="utf-8")
    (kept,) = folder.glob("site.toml.before*")
    assert "theirs" in kept.read_text(encoding="utf-8")


def test_rereading_takes_theirs_and_can_be_taken_back(page, folder):
    """Read again from disk, the page shows what stands there; taken back, what was drawn here."""
    page("draw", kind="mount", points=[[-3, -3]], name="mine")
    text = (folder / "site.toml").read_text(encoding="utf-8")
    (folder / "site.toml").write_text(text.replace("low pole", "south pole"), encoding="utf-8")
    page("reread")
    names = {one["name"] for one in page.state["things"]}
    assert "south pole" in names
    assert "mine" not in names
    page("undo")
    assert "mine" in {one["name"] for one in page.state["things"]}


def test_a_survey_changed_on_disk_is_told_and_read_again(levels_page, write_levels):
    """Levels lifted on one side are other ground: told once, kept if wished, read if wished."""
    page, session = levels_page, levels_page.session
    page("draw", kind="mount", points=[[-3, -3]], name="mine")
    session.tick()
    assert not page.state["site"]["is_stale"]
    before = numbers(session.now.outcome)
    write_levels(0.5)
    session.tick()
    assert page.state["site"]["is_stale"]
    assert "levels.csv was changed on disk" in page.said
    assert page.state["site"]["changed_survey"] == "levels.csv"
    page("keep_mine")
    session.tick()
    assert not page.state["site"]["is_stale"]
    assert numbers(session.now.outcome) == before
    write_levels(0.75)
    session.tick()
    page("reread")
    session.tick()
    assert not page.state["site"]["is_stale"], page.said
    assert page.thing("mine")
    assert page.state["site"]["unsaved"]
    assert numbers(session.now.outcome) != before
    assert numbers(session.now.outcome) == numbers(judge_ready(checked_draft(session.draft)))
    (session.folder / "levels.csv").unlink()
    session.tick()
    assert page.state["site"]["is_stale"]
    page.refuses("reread", "no such file")


def test_unsaved_work_comes_back_after_a_crash(page, folder):
    """A session that ends without a word leaves its work beside the file; the next one brings it back."""
    page("draw", kind="mount", points=[[-3, -3]], name="mine")
    page("choose_unit", option="from below", unit="D1")
    page("set", setting="tilt", value=2)
    text = page.text
    again = Session(folder)
    again.do({"do": "open", "file": "site.toml"})
    assert "Unsaved work was brought back" in again.message
    assert again.draft.text == text
    assert again.unit.tilt_deg == 2
    again.do({"do": "undo"})
    assert again.draft.content == (folder / "site.toml").read_bytes()
    again.end()


def test_a_session_needs_nothing_of_the_folder_it_did_not_open(page, folder):
    """What is saved leaves the file and the one before it, and nothing else."""
    page("draw", kind="mount", points=[[-3, -3]])
    page("save")
    first, second = sorted(path.name for path in folder.iterdir())
    assert first == "site.toml"
    assert second.startswith("site.toml.before")
