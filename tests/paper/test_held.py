"""Folders that one run at a time writes into."""

from pathlib import Path

from terrain3d.paper.held import IN_USE, held


def test_what_another_run_makes_meanwhile_is_not_taken_for_the_users(tmp_path, monkeypatch):
    """The file of a hold comes and goes with other runs, also between a look at it and the next."""
    lstat = Path.lstat

    def just_before(path: Path):
        monkeypatch.setattr(Path, "lstat", lstat)
        (tmp_path / IN_USE).touch()
        raise FileNotFoundError(path)

    monkeypatch.setattr(Path, "lstat", just_before)
    with held(tmp_path):
        assert (tmp_path / IN_USE).exists()
    assert not (tmp_path / IN_USE).exists()
