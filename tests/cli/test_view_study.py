"""`terrain3d view` with a study: what is asked for is studied and handed to the window."""

import pytest
from click.testing import CliRunner
from site_files import YARD, option_text

from terrain3d.cli.main import cli
from terrain3d.show.window import views

SITE = YARD + option_text("down", bearing=180)


@pytest.fixture
def opened(tmp_path, monkeypatch):
    """Runs the command on a small site; the window is not opened, what it would get is noted."""
    got = []
    monkeypatch.setattr(views, "check_display", lambda: None)
    monkeypatch.setattr(views, "open_window", lambda outcome, **more: got.append((outcome, more["study"])))
    site = tmp_path / "site.toml"
    site.write_text(SITE, encoding="utf-8")

    def run(*words):
        return CliRunner().invoke(cli, ["view", str(site), *words]), got

    return run


def test_without_study_the_window_gets_none(opened):
    """As before: the options alone."""
    result, ((outcome, study),) = opened()
    assert result.exit_code == 0, result.output
    assert outcome.options[0].name == "down"
    assert study is None


def test_parts_asked_for_are_studied(opened):
    """The named parts, with so many draws, and nothing else; the window shows the study's own outcome."""
    result, ((outcome, study),) = opened("--part", "doubt", "--part", "animals", "--draws", "3")
    assert result.exit_code == 0, result.output
    assert study.parts == ("animals", "doubt")
    assert study.uncertainty.draws == 3
    assert study.options[0].heat is None
    assert study.outcome is outcome


def test_draws_without_doubt_are_refused(opened):
    """A number of draws for no doubt is an error that says what to give."""
    result, got = opened("--draws", "3", "--part", "animals")
    assert result.exit_code != 0
    assert "--part doubt" in result.output + str(result.exception)
    assert not got
