"""Numbers and maps first, then the answer, then the pictures; none is left that contradicts the numbers."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from site_files import SLOPE, option_text

from terrain3d.errors import InputError
from terrain3d.job import run
from terrain3d.paper.folder import Pictures, check_place, write_results

SITE = SLOPE + option_text("north")


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory):
    """A small site judged with the unit turned two ways."""
    path = tmp_path_factory.mktemp("site") / "site.toml"
    path.write_text(SITE)
    north = run(path)
    path.write_text(SITE.replace("bearing = 0", "bearing = 90"))
    return north, run(path)


def pictures(*names: str, kinds: tuple[str, ...] = ("plan",), fault: BaseException | None = None) -> Pictures:
    """Pictures that hold their own names; the drawing fails half-way where there is a fault."""

    def draw(folder: Path) -> None:
        for name in names:
            (folder / name).write_text(name)
            if fault is not None:
                raise fault

    return Pictures(names, draw, lambda name: name.split("-")[1] in kinds)


def in_folder(out: Path) -> list[str]:
    """The files in a folder but for hidden ones: the lists of what is ours, and its hold while it is held."""
    return sorted(
        str(path.relative_to(out)) for path in out.rglob("*") if path.is_file() and path.name[0] != "."
    )


def test_numbers_then_the_answer_then_pictures(outcomes, tmp_path):
    """The answer is told with the results in their place and before any picture is drawn."""
    seen = []
    drawn = pictures("01-plan-north.png")
    write_results(
        outcomes[0],
        tmp_path,
        replace(drawn, draw=lambda folder: (seen.append("draw"), drawn.draw(folder))),
        tell=lambda: seen.append(in_folder(tmp_path)),
    )
    assert seen == [["results.json", "verdicts.tif"], "draw"]
    assert in_folder(tmp_path) == ["results.json", "stills/01-plan-north.png", "verdicts.tif"]


@pytest.mark.parametrize("fault", [KeyboardInterrupt(), ZeroDivisionError(), OSError(28, "No space left")])
def test_drawing_that_fails_costs_no_numbers_and_leaves_no_old_picture(outcomes, tmp_path, fault):
    """The new results stay, the pictures of the old ones are gone, nothing is half done, and a note tells."""
    write_results(outcomes[0], tmp_path, pictures("01-plan-north.png", "02-plan-south.png"))
    north = (tmp_path / "results.json").read_bytes()
    with pytest.raises((type(fault), InputError)) as failed:
        write_results(outcomes[1], tmp_path, pictures("01-plan-north.png", fault=fault))
    assert failed.value.__notes__ == [
        f"the results are in {tmp_path}; the pictures were not finished: none was written"
    ]
    assert (tmp_path / "results.json").read_bytes() != north
    assert in_folder(tmp_path) == ["results.json", "verdicts.tif"]


def test_pictures_of_the_very_same_results_stay_till_new_ones_are_there(outcomes, tmp_path):
    """What was stopped while it drew the same once more has taken nothing away."""
    write_results(outcomes[0], tmp_path, pictures("01-plan-north.png"))
    with pytest.raises(KeyboardInterrupt):
        write_results(outcomes[0], tmp_path, pictures("01-plan-a.png", fault=KeyboardInterrupt()))
    write_results(outcomes[0], tmp_path, pictures())
    assert in_folder(tmp_path) == ["results.json", "stills/01-plan-north.png", "verdicts.tif"]
    write_results(outcomes[1], tmp_path, pictures())
    assert in_folder(tmp_path) == ["results.json", "verdicts.tif"]


def test_what_is_not_made_anew_stays(outcomes, tmp_path):
    """Pages of another kind, maps and a photo stay; a page of an option that is no more goes."""
    (tmp_path / "stills").mkdir()
    (tmp_path / "stills" / "photo-plan.jpg").write_bytes(b"mine")
    plans = pictures("01-plan-north.png", "02-plan-south.png")
    write_results(outcomes[0], tmp_path, plans, rasters={"chances.tif": b"II*"})
    write_results(outcomes[0], tmp_path, pictures("01-walks-north.png", kinds=("walks",)))
    assert len(in_folder(tmp_path)) == 7
    write_results(outcomes[0], tmp_path, pictures("01-plan-north.png"))
    assert in_folder(tmp_path) == [
        "chances.tif", "results.json", "stills/01-plan-north.png", "stills/01-walks-north.png",
        "stills/photo-plan.jpg", "verdicts.tif",
    ]  # fmt: skip
    assert (tmp_path / "stills" / "photo-plan.jpg").read_bytes() == b"mine"


def test_what_stays_of_other_verdicts_is_told(outcomes, tmp_path):
    """Maps and pages that an earlier run made of other verdicts are named; of the same ones they are not."""
    walks = pictures("01-walks-north.png", kinds=("walks",))
    assert write_results(outcomes[0], tmp_path, walks, rasters={"chances.tif": b"II*"}) == []
    plans = pictures("01-plan-north.png")
    assert write_results(outcomes[0], tmp_path, plans) == []
    older = write_results(outcomes[1], tmp_path, plans)
    assert [str(path.relative_to(tmp_path)) for path in older] == ["chances.tif", "stills/01-walks-north.png"]


def test_what_is_in_the_way_is_refused_before_anything_changes(outcomes, tmp_path):
    """A picture of the user's where one would be drawn costs no results: nothing is written at all."""
    write_results(outcomes[0], tmp_path, pictures("01-plan-north.png"))
    edited = tmp_path / "stills" / "01-plan-north.png"
    edited.write_text("with an arrow")
    before = (tmp_path / "results.json").read_bytes()
    told = []
    with pytest.raises(InputError, match="changed since") as failed:
        write_results(outcomes[1], tmp_path, pictures("01-plan-north.png"), tell=lambda: told.append(1))
    assert failed.value.where == str(edited)
    assert not hasattr(failed.value, "__notes__")
    assert (tmp_path / "results.json").read_bytes() == before
    assert told == []
    write_results(outcomes[1], tmp_path, pictures("02-plan-south.png"))
    assert edited.read_text() == "with an arrow"


def test_a_place_is_checked_before_the_work(tmp_path):
    """Results, a page that may be drawn and the folder of the pictures are looked at; nothing is left."""
    out = tmp_path / "out"
    check_place(out, is_page=lambda name: True)
    assert not out.exists()
    out.mkdir()
    (out / "stills").write_text("mine")
    check_place(out)
    with pytest.raises(InputError, match="a file of yours stands where a folder"):
        check_place(out, is_page=lambda name: True)
    (out / "stills").unlink()
    (out / "stills").mkdir()
    (out / "stills" / "01-plan-a.png").write_text("mine")
    check_place(out, is_page=lambda name: "-walks-" in name)
    with pytest.raises(InputError, match="not written by terrain3d"):
        check_place(out, is_page=lambda name: "-plan-" in name)
    (out / "verdicts.tif").write_text("mine")
    with pytest.raises(InputError, match="not written by terrain3d"):
        check_place(out)
    check_place(out, ())


def test_other_files_in_the_folder_stay(outcomes, tmp_path):
    """Only the results' own names are written."""
    (tmp_path / "notes.txt").write_text("mine")
    write_results(outcomes[0], tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert in_folder(tmp_path) == ["notes.txt", "results.json", "verdicts.tif"]
    assert json.loads((tmp_path / "results.json").read_text())["options"][0]["name"] == "north"


def test_what_fails_elsewhere_changes_nothing_here(outcomes, tmp_path):
    """Where what goes with the results cannot be put into the site file, the results stay as they were."""
    write_results(outcomes[0], tmp_path, pictures("01-plan-north.png"))
    before = {name: (tmp_path / name).read_bytes() for name in in_folder(tmp_path)}

    def put() -> None:
        assert {name: (tmp_path / name).read_bytes() for name in before} == before
        raise InputError("the file may not be written", "site.toml", "change its permissions")

    with pytest.raises(InputError, match="may not be written"):
        write_results(outcomes[1], tmp_path, pictures("02-plan-south.png"), put=put)
    assert {name: (tmp_path / name).read_bytes() for name in in_folder(tmp_path)} == before
