"""`terrain3d type`: built-in types listed, a type checked, told and drawn."""

import pytest
from site_files import OWN_TYPE, run

from terrain3d.detector.types import builtin_names, load_type


def test_alone_it_lists_the_types_that_come_along(capsys):
    """Each with what it is; nothing is drawn."""
    assert run("type") == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.partition(":")[0] for line in lines] == builtin_names()
    assert all(load_type(line.partition(":")[0]).about in line for line in lines)


def test_a_type_is_told_and_drawn(tmp_path, capsys):
    """Its numbers on the terminal, its page as a picture of a page's size; the same bytes again."""
    page = tmp_path / "out" / "type-one-head-90-microwave.png"
    pictures = []
    for _ in range(2):
        assert run("type", "one-head-90-microwave", "--range", 8, "--out", tmp_path / "out") == 0
        pictures.append(page.read_bytes())
    told = capsys.readouterr().out
    for words in ("24.1 GHz", "48 mA at 10 to 16 V", "price: 155", "at low sensitivity: 65%", "flat: ±10°"):
        assert words in told
    assert f"page written to {page}" in told
    assert "walk-test every unit" in told
    assert pictures[0] == pictures[1]
    assert pictures[0][:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(pictures[0][16:20], "big") == 1600


def test_a_type_of_ones_own(tmp_path, monkeypatch, capsys):
    """By its path; what it does not state is said to be so."""
    (tmp_path / "own.toml").write_text(OWN_TYPE, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert run("type", "own.toml") == 0
    assert "draws: not stated" in capsys.readouterr().out
    assert (tmp_path / "out" / "type-own.png").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("one-head-09",), "did you mean 'one-head-90'"),
        (("broken.toml",), "broken.toml"),
        (("none.toml",), "no such file"),
        (("one-head-90", "--range", "5"), "no range setting of 5 m"),
    ],
)
def test_faults_are_told_as_those_of_any_file(tmp_path, monkeypatch, capsys, words, says):
    """Exit status 2, what, where and how to mend it, and nothing is written."""
    (tmp_path / "broken.toml").write_text(OWN_TYPE.replace("arc = 90", "arc = 900"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert run("type", *words) == 2
    told = capsys.readouterr().err
    assert says in told
    assert "to mend" in told
    assert not (tmp_path / "out").exists()


def test_what_is_yours_is_not_drawn_over(tmp_path, capsys):
    """A picture of that name that this program did not write stays."""
    (tmp_path / "type-one-head-90.png").write_bytes(b"mine")
    assert run("type", "one-head-90", "--out", tmp_path) == 2
    assert (tmp_path / "type-one-head-90.png").read_bytes() == b"mine"
    assert "type-one-head-90.png" in capsys.readouterr().err
