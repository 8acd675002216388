"""A pack whole or not at all, the same twice, and no file that shows other numbers than those beside it."""

import pytest
from packed import LOCAL
from site_files import EVERYTHING, option_text, run, written

from terrain3d.errors import InputError
from terrain3d.job import judge
from terrain3d.pack import extra, write
from terrain3d.pack.names import KINDS, kind_of
from terrain3d.pack.write import write_pack


def files(folder) -> dict[str, bytes]:
    found = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def test_contents_name_every_file(strange):
    """But for the lists of what is ours."""
    text = (strange.folder / "contents.txt").read_text(encoding="utf-8")
    for name in files(strange.folder):
        if not name.endswith(("contents.txt", ".written-by-terrain3d")):
            assert name.split("/")[-1] in text, name
    assert strange.document["why"].split(";")[0] in text
    for number, option in enumerate(strange.outcome.options, 1):
        assert f"{number:02d} {option.name}" in " ".join(text.split())
    assert "A planning aid, not proof of detection" in text
    kinds = {
        kind_of(path.relative_to(strange.folder)) for path in strange.folder.rglob("*") if path.is_file()
    }
    assert kinds - {None} == set(KINDS)


def test_the_same_study_gives_the_same_bytes(strange, tmp_path):
    """But for the report, whose pictures take long: `test_same_bytes` has it too."""
    again = tmp_path / "again"
    write_pack(strange.study, again, [kind for kind in KINDS if kind != "report"])
    one, other = files(strange.folder), files(again)
    differ = {name for name in one if one[name] != other.get(name)}
    assert differ == {"report.pdf", "contents.txt", ".written-by-terrain3d"}
    assert other.keys() == one.keys() - {"report.pdf"}


@pytest.mark.parametrize("kind", ["plan", "rasters"])
def test_when_a_file_fails_nothing_has_changed(local, tmp_path, monkeypatch, kind):
    """The last pack stands, and nothing else does."""
    out = tmp_path / "pack"
    write_pack(local.study, out, ("drawing",))
    before = files(out)

    def fail(_pack, folder):
        (folder / "half.txt").write_text("half")
        raise RuntimeError("no more")

    monkeypatch.setitem(write._MAKERS, kind, fail)
    with pytest.raises(RuntimeError):
        write_pack(local.study, out, LOCAL)
    assert files(out) == before


def test_a_file_of_the_user_is_not_overwritten(local, tmp_path):
    (tmp_path / "plan.dxf").write_text("mine")
    with pytest.raises(InputError, match="not written by terrain3d"):
        write_pack(local.study, tmp_path, LOCAL)
    assert files(tmp_path) == {"plan.dxf": b"mine"}


def test_files_of_the_same_results_stay_and_others_go(local, tmp_path):
    """Asked for one kind after another, it holds both; once the results differ, the new ones alone."""
    out = tmp_path / "pack"
    write_pack(local.study, out, ("plan",))
    write_pack(local.study, out, ("drawing",))
    assert {"plan.svg", "plan.dxf"} <= files(out).keys()
    text = (out / "contents.txt").read_text(encoding="utf-8")
    assert "plan.svg" in text
    (out / "mine.txt").write_text("mine")
    others = study_of_one_option(local)
    write_pack(others, out, ("drawing",))
    assert set(files(out)) == {
        ".written-by-terrain3d",
        "contents.txt",
        "mine.txt",
        "plan.dxf",
        "results.json",
    }
    assert "plan.svg" not in (out / "contents.txt").read_text(encoding="utf-8")


def study_of_one_option(local):
    """The same site with its first option alone."""
    from dataclasses import replace

    from terrain3d.study import study_of

    site = local.outcome.site
    file = site.file.model_copy(update={"option": site.file.option[:1]})
    return study_of(judge(replace(site, file=file)), draws=2)


def test_a_whole_pack_by_command(tmp_path, capsys):
    """It prints what it wrote and what it warns of, and says which kinds a site without a CRS cannot have."""
    far = '[[protect]]\nname = "pond"\noutline = [[13, -14], [14, -14], [14, -13], [13, -13]]\n'
    site = written(tmp_path, EVERYTHING + far + option_text("north"))
    assert run("pack", site, "--out", tmp_path / "pack", "--only", "kml") == 2
    assert "needs a place on earth" in capsys.readouterr().err
    assert not (tmp_path / "pack").exists()
    assert run("pack", site, "--out", tmp_path / "pack", "--only", "plan", "--only", "tables") == 0
    told = capsys.readouterr().out
    assert told.startswith((tmp_path / "pack" / "contents.txt").read_text(encoding="utf-8"))
    assert '1.0 m² of "pond" (100%) lie beyond the reach of every unit' in " ".join(told.split())
    there = {name.split("/")[0] for name in files(tmp_path / "pack")}
    assert there == {
        ".written-by-terrain3d",
        "contents.txt",
        "plan.svg",
        "results.json",
        "tables",
        "tables.xlsx",
    }


def test_a_pack_without_its_extra_names_the_line_that_installs_it(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(extra, "LIBRARIES", ("no_such_library",))
    assert run("pack", written(tmp_path, EVERYTHING + option_text("north"))) == 2
    assert 'pip install "terrain3d[pack]"' in capsys.readouterr().err


def test_a_site_without_options_has_nothing_to_pack(tmp_path, capsys):
    assert run("pack", written(tmp_path, EVERYTHING), "--out", tmp_path / "pack") == 2
    assert not (tmp_path / "pack").exists()
    assert "option" in capsys.readouterr().err
