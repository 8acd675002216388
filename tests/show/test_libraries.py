"""System libraries that drawing needs are looked for before anything is read or drawn."""

import sys

import pytest

from terrain3d.cli.main import main
from terrain3d.errors import InputError
from terrain3d.show import libraries
from terrain3d.show.libraries import check_libraries

linux_only = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems bring their own")


@linux_only
def test_a_missing_library_is_named_with_the_line_that_brings_it():
    """What is there passes; what is not is told with its Debian package."""
    check_libraries({"libc.so.6": "libc6"})
    with pytest.raises(InputError, match=r"lacks: libnone\.so\.7, libno\.so\.1") as caught:
        check_libraries({"libc.so.6": "libc6", "libnone.so.7": "libnone7", "libno.so.1": "libno1"})
    assert caught.value.mend.endswith("apt-get install libnone7 libno1")


@linux_only
@pytest.mark.parametrize("command", ["cover", "compare", "study", "stills", "mounts", "search", "view"])
def test_every_command_that_draws_looks_first(tmp_path, monkeypatch, capsys, command):
    """Without the libraries: one message, status 2, and the site file is not even opened."""
    monkeypatch.setattr(libraries, "_is_there", lambda library: library != "libEGL.so.1")
    monkeypatch.setattr("terrain3d.show.window.views.check_display", lambda: None)
    with pytest.raises(SystemExit) as leaving:
        main([command, str(tmp_path / "none.toml")])
    assert leaving.value.code == 2
    assert "apt-get install libegl1" in capsys.readouterr().err


@linux_only
@pytest.mark.parametrize("command", ["cover", "compare", "study", "mounts", "search"])
def test_what_draws_nothing_asks_for_none_of_them(tmp_path, monkeypatch, capsys, command):
    """With --stills none a machine without a single one of the libraries does."""
    monkeypatch.setattr(libraries, "_is_there", lambda _library: False)
    with pytest.raises(SystemExit):
        main([command, str(tmp_path / "none.toml"), "--stills", "none", "--out", str(tmp_path / "out")])
    assert "there is no such file" in capsys.readouterr().err
